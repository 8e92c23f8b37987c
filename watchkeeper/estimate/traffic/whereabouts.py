"""Where an aircraft of the crew's is, gathered out of its readings for the rest of the fleet."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.aircraft.traffic import US, Whereabouts
from watchkeeper.estimate.traffic.heights import pressure_altitude_m

OLDEST_US: Final = 3 * US
"""A position older than this is none to judge an approach by: 60 m at 20 m/s."""
_HEIGHTS_OLDEST_US: Final = 10 * US
_PHASE: Final = INDEX["flight.phase"]


def whereabouts(aircraft: Aircraft, now_us: int) -> Whereabouts | None:
    """Return where it is, or None while that is not known."""
    motion, position = aircraft.motion, aircraft.position
    streams = aircraft.streams
    newest = max(streams.position, streams.high_latency, key=lambda stream: stream.time_us)
    if position is None or not newest.count or now_us - newest.time_us > OLDEST_US:
        return None
    moving = motion.north_m_s is not None and now_us - motion.velocity_us <= OLDEST_US
    pressure = motion.pressure_hpa if now_us - motion.air_us <= _HEIGHTS_OLDEST_US else None
    return Whereabouts(
        newest.time_us,
        *position,
        motion.north_m_s or 0.0 if moving else 0.0,
        motion.east_m_s or 0.0 if moving else 0.0,
        aircraft.seen.climb_m_s or 0.0,
        motion.altitude_m if now_us - streams.position.time_us <= _HEIGHTS_OLDEST_US else None,
        None if pressure is None else pressure_altitude_m(pressure),
        motion.ellipsoid_m if now_us - motion.ellipsoid_us <= _HEIGHTS_OLDEST_US else None,
        aircraft.readings.values[_PHASE] in PHASE_GROUPS["in_flight"],
    )
