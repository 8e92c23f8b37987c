"""Where it should be while it is not heard, against the simulated aircraft with its radio cut."""

from __future__ import annotations

import itertools
import math
import random
from typing import Any, NamedTuple

import pytest

from tests.estimate.flownwatch import FILE, FlownWatch
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.estimate.home.lostlink import BOUND

SET_TO_RETURN = {"control.lost_s": 3.0, "control.action": 2.0}


class Second(NamedTuple):
    """One second of silence: how long it has lasted, what is foretold, and what is true."""

    silent_s: float
    told: dict[str, float]
    away_m: float
    height_m: float


def fly_out(seed: int, changed: dict[str, float] | None = None, **options: Any) -> FlownWatch:
    """Fly to a place that the seed draws, in a wind that it draws too, with drawn errors of sensors."""
    dice = random.Random(seed)
    far_m, angle, height_m = dice.uniform(100.0, 400.0), dice.uniform(0.0, math.tau), dice.uniform(15.0, 60.0)
    drawn: dict[str, Any] = {
        "wind_m_s": dice.uniform(0.0, 7.0),
        "from_deg": dice.uniform(0.0, 360.0),
        "gusts_m_s": dice.uniform(0.0, 5.0),
        "errors": None,
        "monitor": None,
        "seed": seed,
    }
    watch = FlownWatch({**SET_TO_RETURN, **(changed or {})}, **{**drawn, **options})
    watch.take_off(height_m)
    watch.go(far_m * math.cos(angle), far_m * math.sin(angle), height_m)
    watch.until(lambda: abs(watch.away_m - far_m) < 2.0, 200.0)
    watch.run(15.0)
    return watch


def cut(watch: FlownWatch) -> None:
    """Lose telemetry and control together."""
    watch.heard = False
    watch.flight.pilot.control_link = False


def told(watch: FlownWatch) -> dict[str, float]:
    names = ("home_distance", "height", "doubt", "overhead_in", "overdue_in", "landed_in")
    found = {name: watch.read(f"forecast.{name}") for name in names}
    return {name: value for name, value in found.items() if value is not None}


def unheard(watch: FlownWatch, most_s: float = 400.0) -> list[Second]:
    """Cut the radio and fly until it has landed."""
    cut(watch)
    cut_s = watch.time_s
    log: list[Second] = []
    while watch.flight.pilot.armed and watch.time_s - cut_s < most_s:
        watch.run(1.0)
        found = told(watch)
        if found:
            log.append(Second(watch.time_s - cut_s, found, watch.away_m, watch.height_m))
    return log


def test_place_height_and_time_against_the_truth() -> None:
    """Ten flights of drawn places, winds and errors: within the bounds in at least nine.

    Measured: in all ten at every second; worst 33 m and 5 m off, overhead within 4 s, landed within 4 s.
    """
    good = 0
    for seed in range(1, 11):
        watch = fly_out(seed)
        log = unheard(watch)
        assert len(log) > 50
        begun = log[0]
        over_s = next(one.silent_s for one in log if one.away_m < 4.0)
        overhead_s = begun.silent_s + begun.told["overhead_in"]
        overdue_s = begun.silent_s + begun.told["overdue_in"]
        landed_s = begun.silent_s + begun.told["landed_in"]
        near = all(
            abs(one.told["home_distance"] - one.away_m) <= BOUND * one.told["doubt"]
            and abs(one.told["height"] - one.height_m) <= BOUND * one.told["doubt"]
            for one in log
        )
        good += near and over_s < overdue_s and abs(overhead_s - over_s) <= overdue_s - overhead_s
        assert max(abs(one.told["home_distance"] - one.away_m) for one in log) < 45.0
        assert max(abs(one.told["height"] - one.height_m) for one in log) < 8.0
        assert abs(overhead_s - over_s) < 6.0
        assert abs(landed_s - log[-1].silent_s) < 8.0
    assert good >= 9


def test_bounds_widen_and_the_countdowns_run() -> None:
    log = unheard(fly_out(4))
    doubts = [one.told["doubt"] for one in log]
    assert doubts == sorted(doubts)
    assert doubts[0] == pytest.approx(10.0, abs=0.5)
    assert doubts[-1] > 15.0
    for one, then in itertools.pairwise(log):
        passed_s = then.silent_s - one.silent_s
        for name in ("overhead_in", "overdue_in", "landed_in"):
            assert one.told[name] - then.told[name] == pytest.approx(passed_s, abs=0.06)


def test_flying_on_until_its_fail_safe_acts() -> None:
    """Cut at 8 m/s outwards: it goes on for 3 s and stops, further away than it was last seen."""
    watch = FlownWatch(SET_TO_RETURN)
    watch.take_off(45.0)
    watch.go(2000.0, 0.0, 45.0)
    watch.until(lambda: watch.away_m > 250.0, 120.0)
    seen_m = watch.away_m
    log = unheard(watch)
    assert max(one.away_m for one in log) > seen_m + 30.0
    assert max(abs(one.told["home_distance"] - one.away_m) for one in log) < 35.0
    assert all(abs(one.told["home_distance"] - one.away_m) <= BOUND * one.told["doubt"] for one in log)


@pytest.mark.parametrize("seed", [1, 4, 7])
def test_not_overdue_when_it_comes_home_as_set(seed: int) -> None:
    """Its radio is back when it is near: nothing was said but the lost link, and the forecast ends."""
    watch = fly_out(seed)
    cut(watch)
    watch.until(lambda: watch.away_m < 40.0, 200.0)
    assert told(watch)
    assert not watch.raised("return-overdue")
    watch.heard, watch.flight.pilot.control_link = True, True
    watch.run(60.0)
    assert not watch.raised("return-overdue")
    assert len(watch.raised("link-lost")) == 1
    assert told(watch) == {}


def test_overdue_when_it_does_not_come() -> None:
    """Its parameters said return, and it hangs where it was: said when two deviations have passed, on the grid."""
    watch = fly_out(5)
    watch.flight.parameters.set("control.action", 1.0)
    cut(watch)
    cut_s = watch.time_s
    watch.run(10.0)
    due_s = watch.time_s + told(watch)["overdue_in"]
    watch.run(due_s - watch.time_s - 2.0)
    assert not watch.raised("return-overdue")
    watch.run(6.0)
    raised = watch.raised("return-overdue")
    assert len(raised) == 1
    # seconds of flight and of the engine begin within the first
    assert raised[0] == pytest.approx(due_s, abs=2.5)
    assert watch.away_m > 100.0
    assert due_s - cut_s < 100.0
    watch.heard = True
    watch.run(5.0)
    assert told(watch) == {}


@pytest.mark.parametrize("action", [0.0, 1.0, 3.0, 4.0])
def test_nothing_is_foretold_where_it_is_set_to_something_else(action: float) -> None:
    watch = fly_out(4, {"control.action": action})
    cut(watch)
    watch.run(150.0)
    assert told(watch) == {}
    assert not watch.raised("return-overdue")
    assert watch.raised("link-lost")


@pytest.mark.parametrize("said", [", control: another", ""])
def test_its_control_goes_over_another_link_or_nobody_knows(said: str) -> None:
    """Then a silent telemetry radio sends nobody home, unless it minds the ground station's silence."""
    sortie = load_sortie_file(f"radio: {{kind: sik, frequency: 915 MHz{said}}}", "s.yaml")
    watch = fly_out(4, sortie=sortie)
    watch.heard = False
    watch.run(60.0)
    assert told(watch) == {}


def test_heard_again_it_is_foretold_no_more() -> None:
    watch = fly_out(4)
    cut(watch)
    watch.run(8.0)
    assert told(watch)
    watch.heard = True
    watch.run(2.0)
    assert told(watch) == {}
    # a gap shorter than 3 s is none
    watch.heard = False
    watch.run(2.5)
    assert told(watch) == {}


def test_silent_while_it_lands_at_home_it_is_not_overdue() -> None:
    """Over home the way is done: only the landing is left, and it takes its time."""
    watch = fly_out(7)
    watch.send_home()
    watch.until(lambda: watch.away_m < 3.0 and watch.read("flight.phase") == "landing", 200.0)
    cut(watch)
    watch.until(lambda: not watch.flight.pilot.armed, 100.0)
    assert not watch.raised("return-overdue")


def test_silent_while_it_lands_elsewhere_nothing_is_said_of_home() -> None:
    watch = fly_out(4)
    from simulators.onboard.modes import Mode  # noqa: PLC0415

    assert watch.flight.pilot.enter(Mode.LAND, "order")
    watch.run(3.0)
    assert watch.read("flight.phase") == "landing"
    cut(watch)
    watch.run(60.0)
    assert told(watch) == {}
    assert not watch.raised("return-overdue")


def test_on_the_ground_silence_is_no_flight() -> None:
    watch = FlownWatch(SET_TO_RETURN)
    watch.run(10.0)
    watch.heard = False
    watch.run(20.0)
    assert told(watch) == {}


def test_without_settings_the_file_states_a_return() -> None:
    """After 5 s, which is a guess (common practice: 1 to 5 s); without a file nothing says that it returns."""
    stated = load_aircraft_file(
        "packs: {cells: 12, capacity: 22 Ah, count: 2}\nreturn: {height: 40 m, speed: 8 m/s, hold: 10 s at 8 m}",
        "a.yaml",
    )
    watch = fly_out(4, file=stated, told_settings=False)
    assert unheard(watch)
    watch = fly_out(4, file=FILE, told_settings=False)
    assert not unheard(watch)
