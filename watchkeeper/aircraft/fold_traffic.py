"""Others in the air: ADS-B as receivers tell it, remote identification of drones, and the aircraft's own word.

Units and codes for "unknown" are those of MAVLink's common.xml (ADSB_VEHICLE, OPEN_DRONE_ID_LOCATION, which carry
ASTM F3411's).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.catalogues.traffic import AVOIDING, THREATS
from watchkeeper.aircraft.geodesy import is_place
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.hearings import Heard, hears
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.aircraft.traffic import US, Key, Origin, Report, Traffic

ADDRESS_PARAMETERS: Final = {
    dialect.MAV_AUTOPILOT_ARDUPILOTMEGA: "ADSB_ICAO_ID",
    dialect.MAV_AUTOPILOT_PX4: "ADSB_ICAO_ID",
}
"""Parameters that hold the ICAO address an aircraft sends, by MAV_AUTOPILOT (from memory)."""
_RECEIVERS: Final = (dialect.MAV_TYPE_ADSB, dialect.MAV_TYPE_ODID)
_COORDS, _ALTITUDE, _HEADING, _VELOCITY = 1, 2, 4, 8  # ADSB_FLAGS
_SIMULATED, _VERTICAL = 64, 128
_GEOMETRIC: Final = 1
_ON_SURFACE: Final = (17, 18, 19)
"""ADSB_EMITTER_TYPE: vehicles on the ground, and obstacles."""
_OLDEST_S: Final = 60
_FASTEST_M_S: Final = 400.0
_HIGHEST_M: Final = 40_000.0
_ADSB_PLACE_M: Final = 92.6
"""NACp of 8 and more: 95 % within 0.05 nautical miles (14 CFR 91.227(c)(1), from memory)."""
_ADSB_SPEED_M_S: Final = 2.0
"""Steps of one knot, and what satellite receivers get wrong (common practice); the rule asks for 10 m/s only."""
_ADSB_PRESSURE_M: Final = 38.0
"""125 ft with 95 % (14 CFR 91.217(a)(2), from memory)."""
_ADSB_GEOMETRIC_M: Final = 45.0
"""NACv and GVA of 2: within 45 m with 95 % (DO-260B, from memory)."""
_PLACES_M: Final = (30.0, 200.0, 200.0, 200.0, 200.0, 200.0, 200.0, 185.2, 92.6, 30.0, 10.0, 3.0, 1.0)
"""By MAV_ODID_HOR_ACC. Unknown: 30 m, a satellite fix of which nothing is said (common practice). Coarser than
200 m is taken as 200 m: senders set it for want of knowing, and every drone in the district would be a threat."""
_HEIGHTS_M: Final = (45.0, 150.0, 45.0, 25.0, 10.0, 3.0, 1.0)
"""By MAV_ODID_VER_ACC; unknown as 45 m (common practice)."""
_SPEEDS_M_S: Final = (3.0, 10.0, 3.0, 1.0, 0.3)
"""By MAV_ODID_SPEED_ACC; unknown as 3 m/s (common practice)."""
_UNKNOWN_DIRECTION: Final = 36_000
_UNKNOWN_SPEED: Final = 25_500
_UNKNOWN_CLIMB: Final = 6_300
_UNKNOWN_HEIGHT_M: Final = -1000.0
_HOUR_S: Final = 3600
_ON_GROUND: Final = 1
AVOIDANCE: Final = INDEX["traffic.avoidance"]
THREAT: Final = INDEX["traffic.threat"]


def _vector(speed_m_s: float, towards_deg: float) -> tuple[float, float]:
    angle = math.radians(towards_deg)
    return speed_m_s * math.cos(angle), speed_m_s * math.sin(angle)


def _vehicle(traffic: Traffic, values: tuple[Any, ...], origin: Origin, now_us: int) -> None:
    """Take ADSB_VEHICLE in."""
    address, lat, lon, height_mm, course, speed, climb, flags, _, datum, _, emitter, since_s = values
    traffic.note_receiver(origin, now_us, beat=False)
    latitude_deg, longitude_deg = lat / 1e7, lon / 1e7
    if not flags & _COORDS or flags & _SIMULATED or emitter in _ON_SURFACE or since_s > _OLDEST_S:
        return
    if not is_place(latitude_deg, longitude_deg):
        return
    north_m_s = east_m_s = climb_m_s = None
    speed_m_s = speed / 100
    if flags & _VELOCITY and speed_m_s <= _FASTEST_M_S and ((course < 36_000 and flags & _HEADING) or not speed):
        north_m_s, east_m_s = _vector(speed_m_s, course / 100)
    if flags & _VERTICAL:
        climb_m_s = climb / 100
    height_m = height_mm / 1000 if flags & _ALTITUDE and abs(height_mm) < _HIGHEST_M * 1000 else None
    geometric = datum == _GEOMETRIC
    known = datum in {0, _GEOMETRIC}
    report = Report(
        now_us - since_s * US, latitude_deg, longitude_deg, north_m_s, east_m_s, climb_m_s,
        height_m if known and not geometric else None, height_m if geometric else None, False,
        _ADSB_PLACE_M, _ADSB_SPEED_M_S, _ADSB_PRESSURE_M, _ADSB_GEOMETRIC_M,
    )  # fmt: skip
    # an address that is none says nothing of who it is: then one for each that tells of it
    key: Key = ("icao", address) if 0 < address <= 0xFFFFFF else ("icao?", origin[1] << 8 | origin[2])
    traffic.take(key, report, origin, now_us)


def _height(value_m: float) -> float | None:
    known = math.isfinite(value_m) and value_m != _UNKNOWN_HEIGHT_M and abs(value_m) < _HIGHEST_M
    return value_m if known else None


def _of(table: tuple[float, ...], code: int) -> float:
    return table[code] if code < len(table) else table[0]


def _drone_key(name: bytes, system: int) -> Key:
    """Return the key of a drone: without an address it is the sender's own ("only used for other UAs")."""
    return ("mac", name) if any(name) else ("own", system)


def _drone(traffic: Traffic, values: tuple[Any, ...], origin: Origin, now_us: int) -> None:
    """Take OPEN_DRONE_ID_LOCATION in."""
    lat, lon, pressure_m, geometric_m, _, stamp_s, course, speed, climb = values[:9]
    name = bytes(values[11:31])
    status, _, place, height, pressure, speeds, _ = values[31:38]
    key = _drone_key(name, origin[1])
    if key[0] == "mac":
        traffic.note_receiver(origin, now_us, beat=False)
    latitude_deg, longitude_deg = lat / 1e7, lon / 1e7
    if (not lat and not lon) or not is_place(latitude_deg, longitude_deg) or status == _ON_GROUND:
        traffic.tracks.pop(key, None)
        return
    north_m_s = east_m_s = None
    if speed < _UNKNOWN_SPEED and (course < _UNKNOWN_DIRECTION or not speed):
        north_m_s, east_m_s = _vector(speed / 100, course / 100)
    stamped = math.isfinite(stamp_s) and 0 <= stamp_s <= _HOUR_S
    report = Report(
        now_us, latitude_deg, longitude_deg, north_m_s, east_m_s,
        climb / 100 if abs(climb) < _UNKNOWN_CLIMB else None,
        _height(pressure_m), _height(geometric_m), True,
        _of(_PLACES_M, place), _of(_SPEEDS_M_S, speeds), _of(_HEIGHTS_M, pressure), _of(_HEIGHTS_M, height),
        stamp_s if stamped else None,
    )  # fmt: skip
    traffic.take(key, report, origin, now_us)


def _identity(traffic: Traffic, values: tuple[Any, ...], origin: Origin, now_us: int) -> None:
    """Take OPEN_DRONE_ID_BASIC_ID in: the identity, with its kind before it."""
    name, identity = bytes(values[2:22]), bytes((values[22], *values[24:44]))
    key = _drone_key(name, origin[1])
    if key[0] == "own":
        traffic.note_identity(origin[1], identity)
    elif any(identity[1:]):
        traffic.note_receiver(origin, now_us, beat=False)
        traffic.name(key, identity)


def _of_autopilot(aircraft: Aircraft) -> Origin:
    return "", aircraft.system, aircraft.component


def _of_other(heard: Heard) -> Origin:
    return heard.source, heard.system, heard.component


@folds(246)
def _vehicle_forwarded(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _vehicle(aircraft.others.traffic, values, _of_autopilot(aircraft), now_us)


@hears(246)
def _vehicle_heard(heard: Heard) -> Sequence[Aircraft]:
    _vehicle(heard.others.traffic, heard.values, _of_other(heard), heard.now_us)
    return ()


@folds(12901)
def _drone_forwarded(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _drone(aircraft.others.traffic, values, _of_autopilot(aircraft), now_us)


@hears(12901)
def _drone_heard(heard: Heard) -> Sequence[Aircraft]:
    _drone(heard.others.traffic, heard.values, _of_other(heard), heard.now_us)
    return ()


@folds(12900)
def _identity_forwarded(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _identity(aircraft.others.traffic, values, _of_autopilot(aircraft), now_us)


@hears(12900)
def _identity_heard(heard: Heard) -> Sequence[Aircraft]:
    _identity(heard.others.traffic, heard.values, _of_other(heard), heard.now_us)
    return ()


@folds(10001)
def _address_sent(aircraft: Aircraft, values: tuple[Any, ...], _now_us: int) -> None:
    # what its ADS-B sender is set to: the first of the fields is the ICAO address
    aircraft.others.traffic.note_address(aircraft.system, values[0])


@hears(10001)
def _address_heard(heard: Heard) -> Sequence[Aircraft]:
    if heard.system in heard.aircraft:
        heard.others.traffic.note_address(heard.system, heard.values[0])
    return ()


@hears(0)
def _beat(heard: Heard) -> Sequence[Aircraft]:
    if heard.values[1] in _RECEIVERS:
        heard.others.traffic.note_receiver(_of_other(heard), heard.now_us, beat=True)
    return ()


@folds(247, AVOIDANCE, THREAT)
def _collision(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    """Take what the aircraft itself makes of another in the air."""
    action, threat = values[5], values[6]
    readings = aircraft.readings
    before = readings.streams[THREAT]
    stream = before if before is not None else Stream()
    stream.mark(now_us)
    readings.put(AVOIDANCE, AVOIDING[action] if action < len(AVOIDING) else None, stream)
    readings.put(THREAT, THREATS[threat] if threat < len(THREATS) else None, stream)
