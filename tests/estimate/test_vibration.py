"""Vibration. Under 30 m/s2 fine, over 60 m/s2 bad: common practice. Counters wrap at 32 bits (common.xml)."""

from __future__ import annotations

import math

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.motors import Vibration
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.estimate.airframe.vibration import VibrationLevel


class Shaken:
    def __init__(self, limit_m_s2: float | None = None) -> None:
        self.readings, self.told = Readings(), Vibration()
        self.part = VibrationLevel(self.readings, self.told, limit_m_s2)
        self.now_us = 1000 * US
        self.stream = Stream()
        self.speed_m_s = 0.0

    def step(self, level: float, clips: int = 0, phase: str = "airborne", times: int = 1) -> tuple[float, ...]:
        found = None
        for _ in range(times):
            self.now_us += US // 2
            self.stream.mark(self.now_us)
            for name, value in (
                ("flight.phase", phase), ("position.ground_speed", self.speed_m_s), ("position.climb_rate", 0.0),
            ):  # fmt: skip
                self.readings.put(INDEX[name], value, self.stream)
            self.told.axes_m_s2, self.told.clipping = (1.0, -level, 2.0), (0, clips, 0)
            self.told.stream.mark(self.now_us)
            found = self.part.run(self.now_us)
        assert found is not None
        return tuple(found)  # type: ignore[arg-type]


@pytest.mark.parametrize(("hover", "limit"), [(5.0, 30.0), (20.0, 40.0), (29.0, 58.0), (50.0, 60.0)])
def test_the_limit_is_twice_the_hover_within_what_is_fine_and_bad(hover: float, limit: float) -> None:
    shaken = Shaken()
    assert shaken.step(hover)[1] == 60.0  # nothing is known yet
    level, found, _ = shaken.step(hover, times=40)
    assert (level, found) == pytest.approx((hover, limit))
    shaken.speed_m_s = 9.0
    assert shaken.step(3 * hover, times=200)[1] == pytest.approx(limit), "only a hover is learned from"


def test_the_hover_is_that_of_its_first_minute_and_robust() -> None:
    shaken = Shaken()
    shaken.step(20.0, times=10)
    shaken.step(200.0, times=3)
    shaken.step(20.0, times=120)
    assert shaken.step(45.0, times=400)[1] == pytest.approx(40.0)


def test_the_aircraft_file_goes_before() -> None:
    shaken = Shaken(25.0)
    assert shaken.step(20.0, times=40)[1] == 25.0


def test_the_next_flight_has_a_hover_of_its_own() -> None:
    shaken = Shaken()
    shaken.step(25.0, times=40)
    shaken.step(1.0, phase="landed", times=10)
    assert shaken.step(5.0)[1] == 60.0
    assert shaken.step(5.0, times=40)[1] == 30.0


def test_clipping_is_counted_over_ten_seconds_through_resets() -> None:
    shaken = Shaken()
    assert shaken.step(5.0, clips=4000)[2] == 0.0, "what was before nobody saw"
    assert shaken.step(5.0, clips=4003)[2] == 3.0
    assert shaken.step(5.0, clips=2)[2] == 3.0, "begun anew"
    assert shaken.step(5.0, clips=6)[2] == 7.0
    assert shaken.step(5.0, clips=6, times=21)[2] == 0.0
    assert shaken.step(5.0, clips=4_294_967_295)[2] == 0.0, "a leap like this is no count"
    assert shaken.step(5.0, clips=0)[2] == 0.0


def test_the_worst_sensor_counts_once() -> None:
    shaken = Shaken()
    shaken.step(5.0)
    shaken.told.clipping = (7, 5, 6)
    shaken.told.stream.mark(shaken.now_us)
    found = shaken.part.run(shaken.now_us)
    assert found is not None
    assert found[2] == 7.0


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_a_fault_and_gone_with_the_next(bad: float) -> None:
    shaken = Shaken()
    shaken.step(5.0, times=40)
    assert not math.isfinite(shaken.step(bad)[0])
    level, limit, _ = shaken.step(6.0)
    assert (level, limit) == (6.0, 30.0)


def test_nothing_new_is_no_sample() -> None:
    shaken = Shaken()
    shaken.step(5.0)
    assert shaken.part.run(shaken.now_us + 1) is None
