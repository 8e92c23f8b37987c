"""What the shipped rules decide about flights that were really flown."""

from __future__ import annotations

import itertools

import pytest

from tests.conftest import RequireData
from tests.recordings import alerts, chunked, lines, replay, shipped
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.engine import Engine
from watchkeeper.link.recording import RecordingReader

FLIGHTS = ("quad-3s-five-flights", "quad-radio-a", "quad-radio-b", "quad-radio-c", "quad-return-61m")
RADIO = ("quad-radio-a", "quad-radio-b", "quad-radio-c")


def test_the_real_dip_is_called_within_two_seconds_and_nothing_while_disarmed(require_data: RequireData) -> None:
    # the recording: 9.4 V at 14 A falls to 6.98 V at 39.7 A for two samples at 475.5 s; armed and disarmed by its
    # heartbeats at these times
    _, happened = replay(require_data("flights/quad-3s-five-flights.tlog"), shipped())
    raised = [
        t for t, rule, _, change in alerts(happened) if rule == "voltage-sag" and change in ("raised", "escalated")
    ]
    assert any(475.4 <= t <= 477.5 for t in raised)
    armed = [
        (462.0, 574.8),
        (591.8, 734.8),
        (771.1, 776.5),
        (780.4, 785.3),
        (793.4, 857.0),
        (923.2, 952.3),
        (966.3, 1037.8),
    ]
    for t in raised:
        assert any(begin <= t <= end for begin, end in armed)
    for begin, end in armed:
        assert sum(begin <= t <= end for t in raised) <= 2


def test_a_real_return_reads_returning_landing_landed(require_data: RequireData) -> None:
    rules = shipped()
    engine = Engine(rules)
    phases: list[str] = []
    for time_us, raw in RecordingReader().feed(require_data("flights/quad-return-61m.tlog").read_bytes()):
        engine.receive("recording", raw, time_us / 1e6)
        for system in engine.systems():
            phase = engine.aircraft(system).readings.values[INDEX["flight.phase"]]
            if phase is not None and phases[-1:] != [phase]:
                phases.append(phase)
    assert phases == ["returning", "landing", "landed"]


@pytest.mark.parametrize("name", RADIO)
def test_a_battery_that_is_not_measured_raises_nothing(name: str, require_data: RequireData) -> None:
    _, happened = replay(require_data(f"flights/{name}.tlog"), shipped())
    found = alerts(happened)
    pack_of = {rule.id: rule.pack for rule in shipped().rules}
    assert [a for a in found if pack_of.get(a[1]) in ("battery", "return")] == []
    assert [a for a in found if a[2] == "warning"] == []
    blind = [h for h in happened if getattr(h, "rule", "") == "watch-blind"]
    assert any("voltage-sag" in key for key in blind[0].evidence)  # type: ignore[union-attr]


@pytest.mark.parametrize("name", ["quad-3s-five-flights", *RADIO])
def test_falling_silent_on_the_ground_is_an_advisory_and_soon_over(name: str, require_data: RequireData) -> None:
    silent_s = {"quad-3s-five-flights": 1052, "quad-radio-a": 511, "quad-radio-b": 415, "quad-radio-c": 588}[name]
    engine, happened = replay(require_data(f"flights/{name}.tlog"), shipped())
    after = [a for a in alerts(happened) if a[0] > silent_s]
    assert ("aircraft-silent", "advisory", "raised") in [a[1:] for a in after]
    assert {level for _, _, level, _ in after} == {"advisory"}
    if engine.elapsed_s > silent_s + 65:
        assert engine.systems() == []  # after a minute it is gone, with all its alerts


def test_a_link_lost_in_the_air_is_a_warning_and_ends_when_it_is_heard_again(require_data: RequireData) -> None:
    def without(seconds: float, raw: bytes) -> bool:
        return not (400 <= seconds < 460 and raw[3] == 1)  # MAVLink 1: the fourth byte is the system

    _, happened = replay(require_data("flights/quad-radio-c.tlog"), shipped(), without)
    lost = [
        (t, change) for t, rule, level, change in alerts(happened) if rule == "link-lost" and level == "warning"
    ]
    assert [change for _, change in lost if change != "repeated"] == ["raised", "cleared"]
    assert 400 < lost[0][0] <= 405
    assert 460 <= lost[-1][0] <= 461


@pytest.mark.parametrize("name", FLIGHTS)
def test_the_same_recording_gives_the_same_lines_however_it_is_cut(name: str, require_data: RequireData) -> None:
    path = require_data(f"flights/{name}.tlog")
    rules = shipped()
    _, whole = replay(path, rules)
    expected = lines(whole)
    assert len(expected) > 3
    assert lines(replay(path, rules)[1]) == expected
    assert lines(chunked(path, rules, seed=len(name))) == expected


@pytest.mark.parametrize("name", FLIGHTS)
def test_alerts_do_not_chatter(name: str, require_data: RequireData) -> None:
    # usual operational criterion after ISA-18.2: three or more changes of one alarm within 60 s
    _, happened = replay(require_data(f"flights/{name}.tlog"), shipped())
    raised: dict[str, list[float]] = {}
    for t, rule, _, change in alerts(happened):
        if change == "raised":
            raised.setdefault(rule, []).append(t)
    for rule, times in raised.items():
        for first, third in zip(times, itertools.islice(times, 2, None), strict=False):
            assert third - first > 60, rule
