"""A watch that is started again in flight goes on with what was learned, and only then."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.scenario import find, load
from tests.edges.test_live_and_replay import START_US, LiveWatch, replay
from tests.recordings import shipped
from tests.test_engine import T0, Plane, fly
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.alerts.events import AlertChange, Order
from watchkeeper.cli.inputs import load_crew_files
from watchkeeper.engine import Engine
from watchkeeper.estimate.learning import JSON
from watchkeeper.estimate.part import Part
from watchkeeper.estimate.resuming import DECIDED_US, LONGEST_US, UNTIMED_US
from watchkeeper.estimate.suite import EstimateSuite
from watchkeeper.rules.load import RuleSet, load_packs

COUNTED = "satellites.drop"
"""The reading that our own part writes; the part whose it is is left out."""


class Tally:
    """Counts its runs: as simple a thing as can be learned."""

    indexes = (INDEX[COUNTED],)

    def __init__(self) -> None:
        self.stream = Stream()
        self.runs = 0

    def run(self, _now_us: int) -> tuple[float]:
        self.runs += 1
        return (float(self.runs),)

    def learned(self) -> Mapping[str, JSON]:
        return {"runs": self.runs}

    def resume(self, kept: Mapping[str, JSON]) -> None:
        runs = kept["runs"]
        if not isinstance(runs, int):
            raise TypeError("runs")
        self.runs = runs


@pytest.fixture(autouse=True)
def tallied(monkeypatch: pytest.MonkeyPatch) -> None:
    begin = EstimateSuite._begin

    def with_tally(suite: EstimateSuite) -> list[Part]:
        return [*(part for part in begin(suite) if INDEX[COUNTED] not in part.indexes), Tally()]

    monkeypatch.setattr(EstimateSuite, "_begin", with_tally)


class Untimed(Plane):
    """An aircraft that does not tell its own time."""

    def frames(self, second: float) -> bytes:
        self.boot_s = -second
        return super().frames(second)


def take_off(engine: Engine, plane: Plane, until_s: float = 60) -> None:
    """Arm at 5 s, fly from 10 s."""
    plane.armed, plane.landed, plane.height_m = False, 1, 0.0
    fly(engine, [plane], 0, 5)
    plane.armed = True
    fly(engine, [plane], 5, 10)
    plane.landed, plane.height_m = 2, 30.0
    fly(engine, [plane], 10, until_s)


def kept(engine: Engine) -> list[dict[str, Any]]:
    """Return what is learned as it would come out of a file."""
    learned: list[dict[str, Any]] = json.loads(json.dumps(engine.learned(), allow_nan=False))["aircraft"]
    return learned


def restarted(kept: list[dict[str, Any]], at_s: float) -> Engine:
    engine = Engine(shipped())
    engine.tick(T0 + at_s)
    for one in kept:
        engine.order(Order("resume", aircraft=one["system"], role="watch", kept=one), T0 + at_s)
    return engine


def counted(engine: Engine) -> float:
    value = engine.readings(7)[COUNTED]
    assert isinstance(value, float)
    return value


def remark(engine: Engine) -> str:
    return next((line for line in engine.describe_sources() if line.startswith("Aircraft 7: ")), "")


def test_in_flight_it_goes_on_where_it_was() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    learned = kept(before)
    assert [(one["system"], one["phase"], one["learned"]["Tally"]["runs"]) for one in learned] == [
        (7, "airborne", counted(before))
    ]
    after = restarted(learned, 64)
    fly(after, [plane], 64, 70)
    fresh = restarted([], 64)
    fly(fresh, [plane], 64, 70)
    assert counted(fresh) <= 12  # six seconds, twice a second
    assert counted(before) + 10 <= counted(after) <= counted(before) + 13
    assert remark(after) == "Aircraft 7: goes on with what was learned until 4 s before."
    assert remark(fresh) == ""
    assert after.readings(7)["flight.phase"] == "airborne"


def test_home_comes_back_and_not_over_a_better_one() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    place = before.aircraft(7).home
    assert before.readings(7)["position.home_source"] == "arming"
    after = restarted(kept(before), 64)
    fly(after, [plane], 64, 66)
    assert after.aircraft(7).home == place
    assert after.readings(7)["position.home_source"] == "arming"
    assert after.readings(7)["position.home_distance"] == pytest.approx(0, abs=0.1)
    without = restarted([], 64)
    fly(without, [plane], 64, 66)
    assert without.aircraft(7).home is None


def test_a_home_that_the_aircraft_has_told_anew_stays() -> None:
    plane = Plane()
    encode = plane.encoder.encode
    before = Engine(shipped())
    take_off(before, plane)
    before.receive("udp://a", encode("HOME_POSITION", latitude=10_000, longitude=20_000), T0 + 60)
    assert before.readings(7)["position.home_source"] == "aircraft"
    after = restarted(kept(before), 64)
    heartbeat = encode("HEARTBEAT", type=13, autopilot=0, base_mode=128, mavlink_version=3)
    home = encode("HOME_POSITION", latitude=30_000, longitude=20_000)
    after.receive("udp://a", heartbeat + heartbeat + home, T0 + 64)
    assert after.aircraft(7).home == (0.003, 0.002)
    fly(after, [plane], 64, 66)
    assert counted(after) > 100
    assert after.aircraft(7).home == (0.003, 0.002)


def test_what_is_taken_up_counts_at_once() -> None:
    plane = Plane()
    encode = plane.encoder.encode
    before = Engine(shipped())
    take_off(before, plane)
    after = restarted(kept(before), 64)
    heartbeat = encode("HEARTBEAT", type=13, autopilot=0, base_mode=128, mavlink_version=3)
    after.receive("udp://a", heartbeat + heartbeat + encode("GPS_RAW_INT", fix_type=3), T0 + 64)
    assert counted(after) == 1  # it runs before it can be known that it flies
    after.receive("udp://a", plane.frames(64.1), T0 + 64.1)
    assert counted(after) > 100


def test_what_does_not_hold_is_thrown_away() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    learned = kept(before)
    late_s = 60 + LONGEST_US / 1e6

    old = restarted(learned, late_s)
    fly(old, [plane], late_s + 1, late_s + 4)
    assert "too old" in remark(old)

    just = restarted(learned, late_s - 10)
    fly(just, [plane], late_s - 10, late_s - 5)
    assert "goes on" in remark(just)

    again = Plane(boot_s=-61)  # powered up again a second after the last frame
    other = restarted(learned, 64)
    fly(other, [again], 64, 70)
    assert "another power-up" in remark(other)

    down = restarted(learned, 64)
    plane.landed, plane.armed, plane.height_m = 1, False, 0.0
    fly(down, [plane], 64, 70)
    assert "on the ground" in remark(down)

    early = restarted(learned, 40)
    plane.landed, plane.armed, plane.height_m = 2, True, 30.0
    fly(early, [plane], 40, 44)
    assert "of later" in remark(early)

    for engine in (old, other, down, early):
        assert counted(engine) <= 12
        assert engine.aircraft(7).home is None
        assert all(one["learned"]["Tally"]["runs"] <= 12 for one in kept(engine))


def test_a_start_that_cannot_be_told_to_be_the_same_is_not_taken_for_it() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    after = restarted(kept(before), 64)
    plane.boot_s += 20  # powered 20 s earlier than it was: whose time it is cannot be told
    seconds = DECIDED_US // 1_000_000
    fly(after, [plane], 64, 64 + seconds - 1)
    assert remark(after) == ""
    assert [one["learned"] for one in kept(after)] == [one["learned"] for one in kept(before)]
    fly(after, [plane], 64 + seconds - 1, 64 + seconds + 2)
    assert "not seen to be the same flight" in remark(after)
    assert counted(after) <= 2 * seconds + 6


@pytest.mark.parametrize(("gap_s", "taken"), [(UNTIMED_US / 1e6 - 5, True), (UNTIMED_US / 1e6 + 1, False)])
def test_without_a_boot_time_only_for_two_minutes(gap_s: float, taken: bool) -> None:
    plane = Untimed()
    before = Engine(shipped())
    take_off(before, plane)
    learned = kept(before)
    assert learned[0]["started_us"] is None
    after = restarted(learned, 60 + gap_s)
    fly(after, [plane], 60 + gap_s, 64 + gap_s)
    assert (counted(after) > 100) is taken
    assert ("too old without a boot time" in remark(after)) is not taken
    timed, other = restarted(learned, 64), Plane(boot_s=-62)
    other.landed = 0  # that it flies is seen by its height, which comes with a time after all: of another start
    fly(timed, [other], 64, 67)
    assert "another power-up" in remark(timed)


def test_only_what_flies_is_kept_and_a_silent_one_still_flies() -> None:
    engine = Engine(shipped())
    plane, other = Plane(), Plane(8)
    other.armed, other.landed, other.height_m = False, 1, 0.0
    fly(engine, [plane, other], 0, 10)
    engine.tick(T0 + 100)
    learned = kept(engine)
    assert [(one["system"], one["saved_us"], one["heard_us"]) for one in learned] == [
        (7, round((T0 + 100) * 1e6), round((T0 + 9.75) * 1e6))
    ]


def test_what_is_not_decided_yet_is_kept_as_it_was() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    learned = kept(before)
    after = restarted(learned, 64)
    assert kept(after)[0] == {**learned[0]}  # killed again before anybody is heard
    after.tick(T0 + 61 + LONGEST_US / 1e6)
    assert kept(after) == []


def test_once_taken_up_it_is_not_taken_up_again() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    after = restarted(kept(before), 64)
    fly(after, [plane], 64, 80)
    plane.boot_s = -81
    fly(after, [plane], 82, 100)
    assert after.aircraft(7).power_up == 2
    assert counted(after) < 50  # another power-up knows nothing


@pytest.mark.parametrize(
    "wrong",
    [
        {"system": 8},
        {"system": "7"},
        {"saved_us": -1},
        {"saved_us": 1.5},
        {"saved_us": 10**30},
        {"heard_us": None},
        {"started_us": float("nan")},
        {"started_us": []},
        {"home": {"latitude_deg": "x", "longitude_deg": 1.0, "source": "arming"}},
        {"home": {"latitude_deg": float("inf"), "longitude_deg": 1.0, "source": "arming"}},
        {"home": {"latitude_deg": 1.0, "longitude_deg": 1.0, "source": "sortie"}},
        {"learned": [1]},
        {"learned": None},
    ],
    ids=str,
)
def test_rubbish_is_not_taken(wrong: dict[str, Any]) -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    after = Engine(shipped())
    after.tick(T0 + 64)
    assert after.order(Order("resume", aircraft=7, kept={**kept(before)[0], **wrong}), T0 + 64) == []
    assert after.learned() == {"aircraft": []}
    fly(after, [plane], 64, 67)
    assert counted(after) <= 6


@pytest.mark.parametrize("order", [Order("resume"), Order("resume", aircraft=7), Order("resume", kept={})])
def test_an_order_without_anything_to_resume_does_nothing(order: Order) -> None:
    engine = Engine(shipped())
    assert engine.order(order, T0) == []
    assert engine.learned() == {"aircraft": []}


def test_a_place_that_is_none_is_no_home() -> None:
    plane = Plane()
    before = Engine(shipped())
    take_off(before, plane)
    (one,) = kept(before)
    one["home"]["latitude_deg"] = 400.0
    after = restarted([one], 64)
    fly(after, [plane], 64, 66)
    assert counted(after) > 100
    assert after.aircraft(7).home is None


def test_the_charge_and_the_way_home_do_not_begin_anew_from_a_loaded_voltage() -> None:
    """Against a watch that was never ended: its answers after the same flight are what ours should be."""
    scenario = load(find("half-full-and-far"))
    assert isinstance(scenario, FlownScenario)
    files, sortie = load_crew_files([scenario.aircraft] if scenario.aircraft else [], scenario.sortie)
    system = scenario.written.system
    steady, after, fresh = (Engine(shipped(), files, sortie) for _ in range(3))
    killed_s, again_s, end_s = 120.0, 124.0, 128.0
    offered = False
    for sent in FlownDrill(scenario, 1).frames():
        now_s = T0 + sent.time_s
        if sent.time_s > end_s:
            break
        steady.receive("udp://a", sent.data, now_s)
        if sent.time_s >= killed_s and not offered:
            offered = True
            (learned,) = kept(steady)
            after.order(Order("resume", aircraft=system, role="watch", kept=learned), T0 + again_s)
        if sent.time_s >= again_s:
            after.receive("udp://a", sent.data, now_s)
            fresh.receive("udp://a", sent.data, now_s)

    def answers(engine: Engine) -> tuple[float, float]:
        shown = engine.readings(system)
        charge, reserve = shown["battery.charge_left"], shown["return.reserve"]
        assert isinstance(charge, float)
        assert isinstance(reserve, float)
        return charge, reserve

    assert answers(after) == pytest.approx(answers(steady), abs=1.0)  # %
    assert answers(fresh) != pytest.approx(answers(steady), abs=5.0)  # so it was not for nothing


RULE = f"""
pack: tally
about: Speaks of what our own part learned.
rules:
  - id: tallied
    level: advisory
    when: {COUNTED} > 100 %
    during: [in_flight]
    say: "Tally. High."
    why: our own
    cases:
      - {{given: {{flight.phase: airborne, {COUNTED}: 101 %}}, expect: met}}
      - {{given: {{flight.phase: airborne, {COUNTED}: 99 %}}, expect: not met}}
"""


@pytest.fixture
def rules() -> RuleSet:
    return load_packs([("tally.yaml", RULE)])


def test_a_replay_decides_what_the_watch_decided_that_went_on(rules: RuleSet, tmp_path: Path) -> None:
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
    first = LiveWatch(rules, tmp_path / "first")
    plane = Plane()
    for n in range(240):
        first.at(START_US + n * 250_000)
        first.receive("udp://a", plane.frames(n / 4))
    (learned,) = kept(first.engine)
    first.stop()
    second = LiveWatch(rules, tmp_path / "second")
    second.at(START_US + 62_000_000)
    second.order(Order("resume", aircraft=7, role="watch", kept=learned))
    for n in range(248, 300):
        second.at(START_US + n * 250_000)
        second.receive("udp://a", plane.frames(n / 4))
    second.stop()
    tallied = [one for one in second.happenings if isinstance(one, AlertChange) and one.rule == "tallied"]
    assert [one.change.value for one in tallied] == ["raised"]
    assert replay(rules, tmp_path / "second") == second.lines
    actions = tmp_path / "second" / "actions.jsonl"
    lines = actions.read_text().splitlines(keepends=True)
    actions.write_text("".join(line for line in lines if '"resume"' not in line))
    assert replay(rules, tmp_path / "second") != second.lines  # it hangs on that line
