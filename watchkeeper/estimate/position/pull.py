"""Signs that a satellite position is led away, or wrong, while the receiver sees nothing wrong.

Two things a receiver cannot know and an aircraft can: how the pressure of the air says that the height changed,
and whether the position moved as its own speed says. False signals that lead the position away with a speed that
fits and leave the height alone are not seen here: an aircraft that holds the false position flies the difference
through the air, which looks as a change of wind by the same speed does.
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.aircraft.receivers import Receiver
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.position.receiverpair import SIGMAS, USER_RANGE_M, place_sd_m

_WINDOW_US: Final = 90 * US
_EVERY_US: Final = 1 * US
_MEAN: Final = 5
"""Samples of which each end of the window is the mean: a single odd one is not a change."""
_FEWEST: Final = 2 * _MEAN
_PRESSURE_US: Final = 3 * US
_BAROMETER_SD_M: Final = 1.5
"""How far a barometric height wanders within a minute or two: gusts on the static port and rotor wash, some 20 Pa
(common practice; 12 Pa are a metre, ISO 2533)."""
_SCALE: Final = 0.05
"""Part of a change of height that temperature hides: 15 degrees off the standard atmosphere are 5 %."""
_SPEED_SHARE: Final = 0.06
"""Part of the dynamic pressure's square of speed, m of height a (m/s)2: 1/(2 g), of which the static port feels
all at worst."""
_SEA_HPA: Final = 1013.25
_EXPONENT: Final = 0.190263
_SCALE_HEIGHT_M: Final = 44330.77
_CLIMB: Final = INDEX["position.climb_rate"]
_SPEED: Final = INDEX["position.ground_speed"]
_LATE_S: Final = 1.0
"""Receivers and barometers are up to a second late (common practice)."""


def pressure_height_m(pressure_hpa: float) -> float:
    """Return the height in the standard atmosphere (ISO 2533, below 11 km)."""
    return _SCALE_HEIGHT_M * (1 - math.pow(pressure_hpa / _SEA_HPA, _EXPONENT))


def height_sd_m(receiver: Receiver) -> float:
    """Return how far off its height may be (one standard deviation): its own word, else by its dilution."""
    if receiver.height_sd_m is not None:
        return receiver.height_sd_m
    if receiver.tall_dilution is not None:
        return USER_RANGE_M * max(1.0, receiver.tall_dilution)
    return 1.6 * place_sd_m(receiver)  # heights are half as bad again as places (13 m to 8 m in 95 %, GPS SPS)


class _Sample:
    """One second: satellite height over barometric height, that height, speed's square, accuracy."""

    __slots__ = ("gap_m", "height_m", "sd_m", "speed2", "time_us")

    def __init__(self, time_us: int, gap_m: float, height_m: float, speed2: float, sd_m: float) -> None:
        self.time_us, self.gap_m, self.height_m, self.speed2, self.sd_m = time_us, gap_m, height_m, speed2, sd_m


class HeightGap:
    """`position.height_gap` and `position.height_gap_most`."""

    indexes = (INDEX["position.height_gap"], INDEX["position.height_gap_most"])

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        self._samples: deque[_Sample] = deque(maxlen=_WINDOW_US // _EVERY_US + 2)
        self._seen = 0
        self._by_pressure = False
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, float | None] | None:
        """Return the change of the gap and what accuracies explain of it, m; None when nothing new came."""
        receiver = self._aircraft.receivers.first
        samples = self._samples
        count = receiver.stream.count
        if count == self._seen or (samples and now_us - samples[-1].time_us < _EVERY_US):
            return None
        self._seen = count
        if not receiver.fixed:
            samples.clear()
            return None, None
        height_m = self._height_m(now_us)
        readings = self._aircraft.readings
        climb, speed = _number(readings, _CLIMB, now_us), _number(readings, _SPEED, now_us)
        if height_m is None or climb is None or abs(climb) > 1.0:
            return None  # the two are not of the same moment
        gap_m = receiver.altitude_m - height_m
        samples.append(_Sample(now_us, gap_m, height_m, (speed or 0.0) ** 2, height_sd_m(receiver)))
        while now_us - samples[0].time_us > _WINDOW_US:
            samples.popleft()
        if len(samples) < _FEWEST:
            return None
        return self._compare()

    def _compare(self) -> tuple[float, float]:
        samples = self._samples
        last = [samples[-i] for i in range(1, _MEAN + 1)]
        first = [samples[i] for i in range(_MEAN)]

        def change(name: str) -> float:
            return (
                sum(float(getattr(s, name)) for s in last) / _MEAN
                - sum(float(getattr(s, name)) for s in first) / _MEAN
            )

        sd_m = math.hypot(max(s.sd_m for s in last), max(s.sd_m for s in first), math.sqrt(2) * _BAROMETER_SD_M)
        most_m = SIGMAS * sd_m + _SCALE * abs(change("height_m")) + _SPEED_SHARE * abs(change("speed2"))
        return change("gap_m"), most_m

    def _height_m(self, now_us: int) -> float | None:
        """Return the barometric height, by pressure where it is told, else the aircraft's own altitude."""
        motion = self._aircraft.motion
        by_pressure = motion.pressure_hpa is not None and now_us - motion.air_us < _PRESSURE_US
        if by_pressure != self._by_pressure:
            self._by_pressure = by_pressure
            self._samples.clear()
        if by_pressure and motion.pressure_hpa is not None:
            return pressure_height_m(motion.pressure_hpa)
        return motion.altitude_m if now_us - motion.velocity_us < _PRESSURE_US else None


_KEPT_US: Final = 5 * US
_LONGEST_S: Final = 3.0
_ACCEL_M_S2: Final = 4.0
"""Harder a heavy multirotor does not speed up or brake: 22 degrees of lean (common practice)."""
_SETTLE_US: Final = 10 * US
"""After a fix was gained, satellites are still being found, and each moves the position (common practice)."""
_SLOW_M_S: Final = 1.0
"""Slower than this receivers tell no course."""


class PlaceJump:
    """`position.jump` and `position.jump_most`."""

    indexes = (INDEX["position.jump"], INDEX["position.jump_most"])

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        self._seen = 0
        self._from: tuple[Around, float, float, int, int] | None = None
        self._worst = (0.0, 1.0)
        self._worst_us = 0
        self._gained_us: int | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float, float] | None:
        """Return the worst of the last 5 s: how far it jumped and how far that is explained, m."""
        receiver = self._aircraft.receivers.first
        if receiver.stream.count == self._seen:
            return None
        self._seen = receiver.stream.count
        velocity = _velocity_m_s(receiver)
        if not receiver.fixed:
            self._gained_us = None
        elif self._gained_us is None:
            self._gained_us = now_us
        if velocity is None or self._gained_us is None or now_us - self._gained_us < _SETTLE_US:
            self._from = None
            return None
        before, self._from = self._from, (
            Around(receiver.latitude_deg, receiver.longitude_deg), *velocity, receiver.told_us,
            receiver.stream.time_us,
        )  # fmt: skip
        if before is None:
            return None
        around, north_m_s, east_m_s, told_us, time_us = before
        elapsed_s, late_s = _elapsed_s(receiver, told_us, time_us)
        if not 0 < elapsed_s <= _LONGEST_S:
            return None
        north_m, east_m = around.flat(receiver.latitude_deg, receiver.longitude_deg)
        jump_m = math.hypot(
            north_m - 0.5 * elapsed_s * (north_m_s + velocity[0]),
            east_m - 0.5 * elapsed_s * (east_m_s + velocity[1]),
        )
        speed_m_s = max(math.hypot(north_m_s, east_m_s), math.hypot(*velocity), _SLOW_M_S)
        most_m = (
            SIGMAS * math.sqrt(2) * place_sd_m(receiver)
            + speed_m_s * late_s
            + 0.5 * _ACCEL_M_S2 * elapsed_s * elapsed_s
        )
        if now_us - self._worst_us > _KEPT_US or jump_m - most_m > self._worst[0] - self._worst[1]:
            self._worst, self._worst_us = (jump_m, most_m), now_us
        return self._worst


def _elapsed_s(receiver: Receiver, told_us: int, time_us: int) -> tuple[float, float]:
    """Return the time between two positions, by their own where that can be, and how far that may be off."""
    elapsed_s = (receiver.stream.time_us - time_us) / US
    told_s = (receiver.told_us - told_us) / US
    if 0 < told_s <= _LONGEST_S and abs(told_s - elapsed_s) < _LONGEST_S:
        return told_s, 0.5
    return elapsed_s, _LATE_S


def _velocity_m_s(receiver: Receiver) -> tuple[float, float] | None:
    speed_m_s, course_deg = receiver.speed_m_s, receiver.course_deg
    if speed_m_s is None or (course_deg is None and speed_m_s > _SLOW_M_S):
        return None
    course_rad = math.radians(course_deg or 0.0)
    return speed_m_s * math.cos(course_rad), speed_m_s * math.sin(course_rad)


def _number(readings: Readings, index: int, now_us: int) -> float | None:
    value = readings.read(index, now_us)
    return float(value) if isinstance(value, (float, int)) else None
