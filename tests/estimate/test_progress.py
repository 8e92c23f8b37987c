"""How far a return has come: scripted moves, and the simulated aircraft's own steps as the truth."""

from __future__ import annotations

import itertools
import math

import pytest

from simulators.onboard.modes import Mode, Step
from tests.estimate.flownwatch import FlownWatch
from tests.simulators.onboard.flying import airborne, away, height, setup, speed, until
from watchkeeper.estimate.home.progress import Progress
from watchkeeper.estimate.home.returnplan import ReturnPlan

S = 1_000_000
PLAN = ReturnPlan(height_m=40.0, hold_s=30.0, hold_m=8.0)
NAMES = {Step.CLIMB: "climb", Step.CRUISE: "cruise", Step.DESCEND: "descend", Step.HOLD: "hold"}

ORDERS: dict[str, tuple[dict[str, float], ReturnPlan]] = {
    "as usual": ({}, PLAN._replace(hold_s=10.0)),
    "long hold": ({"return.hold_s": 25.0, "return.hold_m": 12.0}, PLAN._replace(hold_s=25.0, hold_m=12.0)),
    "holds high": (
        {"return.order": 12356.0, "return.hold_s": 15.0},
        PLAN._replace(order=("climb", "cruise", "hold", "land"), hold_s=15.0, hold_m=None),
    ),
    "no hold": ({"return.order": 136.0}, PLAN._replace(order=("climb", "cruise", "land"), hold_m=None)),
}


@pytest.mark.parametrize("name", ORDERS)
def test_legs_behind_follow_the_steps_that_are_flown(name: str) -> None:
    """Within 4 s of the flight controller's own steps, whose margins are its own.

    Measured: at most 3.0 s too soon, 3.5 s too late.
    """
    parameters, plan = ORDERS[name]
    flight = airborne(setup(parameters), 20.0)
    flight.pilot.go_to((120.0, 0.0, 20.0))
    until(flight, lambda: abs(away(flight) - 120.0) < 1.0 and speed(flight) < 0.2, 60.0)
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    progress = Progress()
    true_s: dict[str, float] = {}
    seen_s: dict[str, float] = {}
    for _ in range(3000):
        flight.step()
        homing = flight.pilot.homing
        at = list(homing.steps).index(homing.step) if homing is not None and homing.step is not None else None
        landing = flight.pilot.mode is Mode.LAND
        for i, step in enumerate(homing.steps if homing is not None else ()):
            if step in NAMES and (landing or (at is not None and i < at)):
                true_s.setdefault(NAMES[step], flight.time_s)
        if landing:
            for leg in plan.order[:-1]:
                true_s.setdefault(leg, flight.time_s)
        progress.follow(
            "landing" if landing else "returning",
            away(flight),
            height(flight),
            flight.craft.climb_m_s,
            speed(flight),
            plan,
            round(flight.time_s * S),
        )
        for leg in progress.done:
            seen_s.setdefault(leg, flight.time_s)
        if not flight.pilot.armed:
            break
    for leg, at_s in true_s.items():
        assert seen_s[leg] == pytest.approx(at_s, abs=4.0), leg
    # the hold was counted while it lasted
    if "hold" in plan.order:
        assert progress.held_s == pytest.approx(plan.hold_s, abs=3.0)


def follow(
    progress: Progress, rows: list[tuple[str, float, float, float, float]], plan: ReturnPlan = PLAN
) -> None:
    """Feed rows of phase, distance, height, climb and speed, half a second apart."""
    for i, (phase, distance_m, height_m, climb_m_s, speed_m_s) in enumerate(rows, 1):
        progress.follow(phase, distance_m, height_m, climb_m_s, speed_m_s, plan, i * S // 2)


def test_nothing_is_behind_before_a_return_and_after_one_that_is_broken_off() -> None:
    progress = Progress()
    follow(progress, [("airborne", 100.0, 50.0, 0.0, 0.0)] * 5)
    assert progress.done == frozenset()
    follow(progress, [("returning", 100.0, 50.0, 0.0, 5.0)] * 5)
    assert progress.done == {"climb"}
    follow(progress, [("airborne", 90.0, 50.0, 0.0, 0.0)])
    assert progress.done == frozenset()


def test_closing_on_home_shows_that_its_climb_is_over_whatever_its_height() -> None:
    """Its height may drift by metres; nobody flies home before the climb is done."""
    progress = Progress()
    follow(progress, [("returning", 100.0 - 0.5 * i, 35.0, 0.0, 1.0) for i in range(30)])
    assert "climb" in progress.done
    assert "cruise" not in progress.done


def test_passing_home_by_is_not_arriving() -> None:
    """At 8 m/s through the ring around home: not arrived; at rest in it, arrived."""
    progress = Progress()
    follow(progress, [("returning", 50.0, 40.0, 0.0, 8.0), ("returning", 5.0, 40.0, 0.0, 8.0)])
    assert "cruise" not in progress.done
    follow(progress, [("returning", 3.0, 40.0, 0.0, 0.3)])
    assert "cruise" in progress.done


def test_a_landing_elsewhere_leaves_only_the_way_down() -> None:
    progress = Progress()
    follow(progress, [("landing", 300.0, 30.0, -1.0, 0.0)])
    assert {"climb", "cruise", "hold"} <= progress.done


def test_a_gap_begins_it_anew() -> None:
    progress = Progress()
    follow(progress, [("returning", 3.0, 8.0, 0.0, 0.1)] * 30)
    held_s = progress.held_s
    assert held_s > 10.0
    progress.follow("returning", 3.0, 8.0, 0.0, 0.1, PLAN, 100 * S)
    assert progress.held_s <= held_s + 0.5  # what was not seen is not counted as held


def test_hover_over_home_is_the_hold_and_sinking_ends_it() -> None:
    progress = Progress()
    hover = [("returning", 1.0, 8.2, 0.05 * math.sin(i), 0.2) for i in range(41)]
    follow(progress, hover)
    assert progress.held_s == pytest.approx(20.0, abs=1.0)
    assert "hold" not in progress.done


def test_a_real_return_over_the_engine_counts_its_legs_down() -> None:
    """What is left never grows by more than 3 s from one second to the next, from the order until the ground."""
    watch = FlownWatch(charge=0.8)
    watch.take_off(20.0)
    watch.go(150.0, 0.0, 20.0)
    watch.until(lambda: watch.away_m > 148.0, 60.0)
    watch.run(10.0)
    watch.send_home()
    begun_s = watch.time_s
    left: list[tuple[float, float]] = []
    while watch.flight.pilot.armed:
        watch.run(1.0)
        found = watch.read("return.time")
        if found is not None and watch.height_m > 0.3:
            left.append((watch.time_s, found))
        assert watch.time_s - begun_s < 200.0
    landed_s = left[-1][0]
    for (_, one), (_, then) in itertools.pairwise(left[3:]):
        assert then < one + 3.0
    for at_s, told_s in left[3:]:
        assert told_s == pytest.approx(
            landed_s - at_s, abs=6.0
        )  # measured: 2.1 s, for 3 s at the top of its climb 5
