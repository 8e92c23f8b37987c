"""Others in the air over a flight, and the receiver at the station that tells of them once a second.

Others fly straight on at a constant speed. What the receiver says of them is what they sent half a second ago:
places from satellites, pressure altitude in steps of 25 ft, speeds in knots, as transponders send it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from simulators.flown.flight import FastFlight
from simulators.physics.atmosphere import LAPSE_K_PER_M, STANDARD_PRESSURE_PA, STANDARD_TEMPERATURE_K, Atmosphere
from simulators.wire.packing import Sender, kind

SYSTEM: Final = 77
COMPONENT: Final = 156
"""MAV_COMP_ID_ADSB."""
RANGE_M: Final = 60_000.0
"""A small aerial near the ground hears aircraft so far off (common practice)."""
_HEARTBEAT: Final = kind("HEARTBEAT")
_VEHICLE: Final = kind("ADSB_VEHICLE")
_RECEIVER_TYPE, _NO_AUTOPILOT, _ACTIVE = 27, 8, 4  # MAV_TYPE_ADSB
_FLAGS: Final = 1 | 2 | 4 | 8 | 128
"""ADSB_FLAGS: coordinates, altitude, heading, velocity, vertical velocity."""
_SINCE_S: Final = 0.5
_STEP_MM: Final = 7620
_KNOT_M_S: Final = 1852 / 3600
_POWER: Final = 287.05287 * LAPSE_K_PER_M / 9.80665
_FIRST_ADDRESS: Final = 0xF00001
"""Of a block that no state has (ICAO Annex 10 Volume III, from memory)."""


@dataclass(frozen=True, slots=True)
class Other:
    """One that flies by: where it is when it is first told of, m from the field, and how it moves."""

    north_m: float
    east_m: float
    height_m: float
    speed_m_s: float
    course_deg: float
    climb_m_s: float = 0.0


class Overhead:
    """All others over one flight, and the receiver, if there is one."""

    def __init__(self, flight: FastFlight, others: tuple[Other, ...], *, receiver: bool) -> None:
        self.listens = receiver
        self._flight: Final = flight
        self._air: Final = Atmosphere(flight.setup.altitude_m, flight.setup.weather.temperature_degc)
        self._sender: Final = Sender(SYSTEM, COMPONENT)
        self._others = [(0.0, other) for other in others]

    def add(self, other: Other) -> None:
        """Let another come, from now on."""
        self._others.append((self._flight.time_s, other))

    def frames(self) -> list[bytes]:
        """Return what the receiver says in this second."""
        if not self.listens:
            return []
        told = [self._sender.frame(_HEARTBEAT, 0, _RECEIVER_TYPE, _NO_AUTOPILOT, 0, _ACTIVE, 3)]
        for number, (begin_s, other) in enumerate(self._others):
            flown_s = max(0.0, self._flight.time_s - begin_s - _SINCE_S)
            course = math.radians(other.course_deg)
            north_m = other.north_m + other.speed_m_s * math.cos(course) * flown_s
            east_m = other.east_m + other.speed_m_s * math.sin(course) * flown_s
            if math.hypot(north_m, east_m) <= RANGE_M:
                height_m = other.height_m + other.climb_m_s * flown_s
                told.append(self._vehicle(_FIRST_ADDRESS + number, north_m, east_m, height_m, other))
        return told

    def _vehicle(self, address: int, north_m: float, east_m: float, height_m: float, other: Other) -> bytes:
        latitude_deg, longitude_deg = self._flight.pilot.field.degrees(north_m, east_m)
        share = self._air.pressure_pa(height_m) / STANDARD_PRESSURE_PA
        pressure_mm = STANDARD_TEMPERATURE_K / LAPSE_K_PER_M * (1 - share**_POWER) * 1000
        speed_m_s = round(other.speed_m_s / _KNOT_M_S) * _KNOT_M_S
        return self._sender.frame(
            _VEHICLE, address, round(latitude_deg * 1e7), round(longitude_deg * 1e7),
            round(pressure_mm / _STEP_MM) * _STEP_MM, round(other.course_deg * 100) % 36_000,
            round(speed_m_s * 100), round(other.climb_m_s * 100), _FLAGS, 0, 0, b"", 1, 0,
        )  # fmt: skip
