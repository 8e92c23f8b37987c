"""The countdown of the hold over home, on the simulated aircraft's own return as the truth."""

from __future__ import annotations

import pytest

from simulators.onboard.modes import Mode, Step
from tests.simulators.onboard.flying import airborne, away, height, setup, speed, until
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.home.progress import Progress
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.readiness.holdcountdown import HoldCountdown

PLAN = ReturnPlan(height_m=40.0, hold_s=25.0, hold_m=12.0)


def phase_of(readings: Readings, phase: str) -> None:
    readings.put(INDEX["flight.phase"], phase, Stream())


def test_it_counts_down_to_the_flight_controllers_own_end_of_the_hold() -> None:
    flight = airborne(setup({"return.hold_s": 25.0, "return.hold_m": 12.0}), 20.0)
    flight.pilot.go_to((60.0, 0.0, 20.0))
    until(flight, lambda: abs(away(flight) - 60.0) < 1.0 and speed(flight) < 0.2, 60.0)
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    readings, progress = Readings(), Progress()
    part = HoldCountdown(readings, lambda: progress, lambda: PLAN)
    ends_s: list[float] = []
    held = ended_s = 0.0
    for _ in range(3000):
        flight.step()
        landing = flight.pilot.mode is Mode.LAND
        homing = flight.pilot.homing
        held = held or (flight.time_s if homing is not None and homing.step is Step.HOLD else 0.0)
        if landing and not ended_s:
            ended_s = flight.time_s
        phase = "landing" if landing else "returning"
        phase_of(readings, phase)
        now_us = round(flight.time_s * 1e6)
        progress.follow(phase, away(flight), height(flight), flight.craft.climb_m_s, speed(flight), PLAN, now_us)
        found = part.run(now_us)
        if found is not None and found[0] is not None:
            ends_s.append(flight.time_s + found[0])
        if ended_s and flight.time_s > ended_s + 5.0:
            break
    assert held
    assert ended_s - held == pytest.approx(25.0, abs=1.0)
    assert len(ends_s) > 50
    # when the hold ends by the countdown, beside when it really ended: as good as Progress sees its beginning
    assert ended_s == pytest.approx(ends_s[0], abs=3.5)
    assert ended_s == pytest.approx(ends_s[-1], abs=3.5)


@pytest.mark.parametrize("phase", ["airborne", "landed", None])
def test_where_nothing_is_held_nothing_is_told(phase: str | None) -> None:
    readings, progress = Readings(), Progress()
    progress.held_s = 5.0
    readings.put(INDEX["flight.phase"], phase, Stream())
    part = HoldCountdown(readings, lambda: progress, lambda: PLAN)
    assert part.run(1) is None
    readings.put(INDEX["flight.phase"], "returning", Stream())
    assert part.run(2) == (20.0,)
    readings.put(INDEX["flight.phase"], phase, Stream())
    assert part.run(3) == (None,)  # once, so that nobody goes on reading the old one
    assert part.run(4) is None


def test_a_hold_without_an_end_has_no_countdown() -> None:
    readings, progress = Readings(), Progress()
    progress.held_s = 5.0
    readings.put(INDEX["flight.phase"], "returning", Stream())
    part = HoldCountdown(readings, lambda: progress, lambda: PLAN._replace(hold_s=float("inf")))
    assert part.run(1) is None
