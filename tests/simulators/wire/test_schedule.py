"""When messages are due."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.wire.schedule import STREAMS, Schedule
from watchkeeper.link.tables import by_name

RATES = {
    "HEARTBEAT": 1.0, "ATTITUDE": 10.0, "GLOBAL_POSITION_INT": 5.0, "VFR_HUD": 4.0, "SYS_STATUS": 2.0,
    "BATTERY_STATUS": 0.5, "GPS_RAW_INT": 5.0, "HOME_POSITION": 0.0,
}  # fmt: skip


def count(schedule: Schedule, seconds: float, start_s: float = 0.0, step_s: float = 0.02) -> Counter[str]:
    found: Counter[str] = Counter()
    for step in range(round(seconds / step_s)):
        names = schedule.due(start_s + step * step_s)
        assert len(names) == len(set(names))
        found.update(names)
    return found


def test_each_comes_at_its_rate() -> None:
    found = count(Schedule(RATES), 60)
    assert found == {name: round(60 * hz) for name, hz in RATES.items() if hz}


def test_they_are_spread_over_the_steps() -> None:
    schedule = Schedule(dict.fromkeys(list(RATES), 1.0))
    assert max(len(schedule.due(step * 0.02)) for step in range(500)) == 1  # eight a second in fifty steps


def test_distances_are_even_at_fifty_steps_a_second() -> None:
    schedule = Schedule({"HEARTBEAT": 1.0, "ATTITUDE": 10.0, "VFR_HUD": 50.0})
    steps = [step for step in range(5000) if "ATTITUDE" in schedule.due(step * 0.02)]
    assert {b - a for a, b in pairwise(steps)} == {5}
    assert count(schedule, 10, start_s=100)["VFR_HUD"] == 500


def test_a_late_call_gives_each_once() -> None:
    schedule = Schedule(RATES)
    schedule.due(0.0)
    assert sorted(schedule.due(3600.0)) == sorted(name for name, hz in RATES.items() if hz)
    assert len(schedule.due(3600.001)) <= 1
    assert count(schedule, 10, start_s=3600.02)["ATTITUDE"] == 100


def test_what_is_asked_for_comes_once_and_first() -> None:
    schedule = Schedule(RATES)
    for _ in range(3):
        schedule.request("HOME_POSITION")
    assert schedule.due(0.0)[0] == "HOME_POSITION"
    assert "HOME_POSITION" not in count(schedule, 10, start_s=1)
    with pytest.raises(KeyError):
        schedule.request("WIND_COV")


def test_rates_are_set_bounded_switched_off_and_put_back() -> None:
    schedule = Schedule(RATES)
    schedule.due(0.0)
    schedule.set_rate("VFR_HUD", 400.0)
    assert schedule.rate("VFR_HUD") == 50
    assert schedule.interval_us("VFR_HUD") == 20_000
    schedule.set_rate("ATTITUDE", 0.0)
    assert schedule.interval_us("ATTITUDE") == -1
    found = count(schedule, 10, start_s=0.02)
    assert (found["VFR_HUD"], found["ATTITUDE"]) == (500, 0)
    schedule.set_rate("ATTITUDE", None)
    schedule.set_rate("VFR_HUD", -3)
    found = count(schedule, 10, start_s=10.02)
    assert (found["VFR_HUD"], found["ATTITUDE"]) == (0, 100)
    schedule.set_rate("VFR_HUD", 1e-12)
    assert schedule.interval_us("VFR_HUD") == 2**31 - 1


def test_setting_a_rate_without_end_does_not_keep_a_message_back() -> None:
    schedule = Schedule(RATES)
    found: Counter[str] = Counter()
    for step in range(500):
        schedule.set_rate("GPS_RAW_INT", 5.0)
        found.update(schedule.due(step * 0.02))
    assert found["GPS_RAW_INT"] == 50


def test_a_slow_radio_gets_less_of_all_but_the_heartbeat() -> None:
    schedule = Schedule(RATES)
    schedule.scale(0.25)
    found = count(schedule, 80)
    assert found["HEARTBEAT"] == 80
    assert found["ATTITUDE"] == 200
    assert found["BATTERY_STATUS"] == 10
    assert schedule.rate("ATTITUDE") == pytest.approx(2.5)
    with pytest.raises(ValueError, match="scale"):
        schedule.scale(0)


def test_streams_reach_their_messages_and_never_the_heartbeat() -> None:
    schedule = Schedule(RATES)
    assert schedule.set_stream(6, 2)  # MAV_DATA_STREAM_POSITION
    assert schedule.rate("GLOBAL_POSITION_INT") == 2
    assert not schedule.set_stream(77, 2)
    assert schedule.set_stream(0, 0)  # MAV_DATA_STREAM_ALL
    assert {name: schedule.rate(name) for name in RATES} == {**dict.fromkeys(RATES, 0), "HEARTBEAT": 1}


def test_names_and_ids_are_the_standards() -> None:
    assert Schedule(RATES).name_of(30) == "ATTITUDE"
    assert Schedule(RATES).name_of(230) is None
    assert all(by_name(name) for names in STREAMS.values() for name in names)
    with pytest.raises(KeyError):
        Schedule({"NO_SUCH": 1})
    with pytest.raises(ValueError, match="51"):
        Schedule({"ATTITUDE": 51})


@settings(deadline=None)  # a loaded machine is no fault
@given(st.lists(st.floats(0.001, 3.0), max_size=60), st.floats(0.01, 50))
def test_never_more_than_the_rate_whatever_the_steps(steps_s: list[float], hz: float) -> None:
    schedule = Schedule({"HEARTBEAT": 1.0, "ATTITUDE": hz})
    now_s = 0.0
    sent = 0
    for step_s in steps_s:
        now_s += step_s
        sent += schedule.due(now_s).count("ATTITUDE")
    assert sent <= now_s * hz + 1
