"""Where the aircraft is and how it moves, its clock, its wind."""

from __future__ import annotations

import math
from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.fold_battery import fold_gauge
from watchkeeper.aircraft.fold_flight import HIGH_LATENCY
from watchkeeper.aircraft.fold_orders import TILT, fold_attitude
from watchkeeper.aircraft.geodesy import is_place
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.packs import TOUCHED
from watchkeeper.aircraft.state import INTERVAL, LAG, MODE, PLACE, UPSETS, Aircraft, is_live

HEIGHT: Final = INDEX["position.height"]
SPEED: Final = INDEX["position.ground_speed"]
CLIMB: Final = INDEX["position.climb_rate"]
WIND: Final = INDEX["wind.speed"]
WIND_FROM: Final = INDEX["wind.from"]


@folds(33, HEIGHT, SPEED, CLIMB, LAG, also=PLACE | UPSETS)
def _global_position(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    boot_ms, lat, lon, altitude_mm, relative_mm, vx, vy, vz, _ = values
    aircraft.note_boot(boot_ms, now_us)
    stream = aircraft.streams.position
    stream.mark(now_us)
    seen, readings = aircraft.seen, aircraft.readings
    values_now, streams_now = readings.values, readings.streams
    values_now[HEIGHT] = seen.height_m = height_m = relative_mm / 1000
    values_now[SPEED] = seen.speed_m_s = math.hypot(vx, vy) / 100
    streams_now[HEIGHT] = streams_now[SPEED] = stream
    climb_m_s = aircraft.down.climb_m_s(vz / 100, height_m, now_us)
    if not is_live(aircraft.streams.hud, now_us):  # there the sign is beyond doubt
        values_now[CLIMB] = seen.climb_m_s = climb_m_s
        streams_now[CLIMB] = stream
    aircraft.homing.height_m = (altitude_mm - relative_mm) / 1000
    aircraft.set_position(lat / 1e7, lon / 1e7, stream)
    motion = aircraft.motion
    motion.velocity(vx / 100, vy / 100, now_us)
    motion.altitude_m = altitude_mm / 1000
    aircraft.motion_seen(now_us)


@folds(74, HEIGHT, SPEED, CLIMB, also=UPSETS)
def _vfr_hud(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _, ground_speed, altitude, climb, _, throttle = values
    stream = aircraft.streams.hud
    stream.mark(now_us)
    seen, put = aircraft.seen, aircraft.readings.put
    seen.throttle_pct = throttle if throttle <= 100 else None
    seen.climb_m_s = climb if math.isfinite(climb) else None
    put(CLIMB, climb, stream)
    if not is_live(aircraft.streams.position, now_us):
        base_m = aircraft.homing.height_m
        height_m = None if base_m is None else altitude - base_m
        seen.speed_m_s = ground_speed if math.isfinite(ground_speed) else None
        seen.height_m = height_m if height_m is not None and math.isfinite(height_m) else None
        put(SPEED, ground_speed, stream)
        put(HEIGHT, height_m, stream)
    aircraft.motion_seen(now_us)


@folds(30, LAG, TILT, also=UPSETS)
def _attitude(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    boot_ms, roll_rad, pitch_rad, yaw_rad = values[:4]
    aircraft.note_boot(boot_ms, now_us)
    aircraft.motion.attitude(roll_rad, pitch_rad, yaw_rad, now_us)
    fold_attitude(aircraft, roll_rad, pitch_rad, yaw_rad, now_us)


@folds(29)
def _pressure(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _, pressure_hpa, _, centidegrees = values[:4]
    if 300 < pressure_hpa < 1200:  # the range of barometric sensors; NaN is neither
        motion = aircraft.motion
        motion.pressure_hpa, motion.air_degc, motion.air_us = pressure_hpa, centidegrees / 100, now_us


@folds(2, LAG, also=UPSETS)
def _system_time(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    aircraft.note_boot(values[1], now_us)  # the other, the time of day, may step without a start


@folds(242, also=PLACE)
def _home(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    latitude_deg, longitude_deg, height_m = values[0] / 1e7, values[1] / 1e7, values[2] / 1000
    if is_place(latitude_deg, longitude_deg):
        if not is_live(aircraft.streams.position, now_us):
            aircraft.homing.height_m = height_m
        aircraft.set_home(latitude_deg, longitude_deg, "aircraft", now_us)


@folds(168, WIND, WIND_FROM)
def _wind(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    from_deg, speed_m_s, _ = values
    _put_wind(aircraft, speed_m_s, from_deg, now_us)


@folds(231, WIND, WIND_FROM)
def _wind_covariance(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    # the vector along north and east is where the air moves to; NaN is unknown
    north, east = values[1], values[2]
    if math.isnan(north) or math.isnan(east):
        _put_wind(aircraft, None, None, now_us)
    else:
        _put_wind(aircraft, math.hypot(north, east), math.degrees(math.atan2(-east, -north)), now_us)


def _put_wind(aircraft: Aircraft, speed_m_s: float | None, from_deg: float | None, now_us: int) -> None:
    stream = aircraft.streams.wind
    stream.mark(now_us)
    if from_deg is not None and math.isfinite(from_deg):
        from_deg %= 360
    aircraft.readings.put(WIND, speed_m_s, stream)
    aircraft.readings.put(WIND_FROM, from_deg, stream)


@folds(HIGH_LATENCY, HEIGHT, SPEED, CLIMB, INTERVAL, MODE, WIND, also=(*PLACE, *UPSETS, *TOUCHED))
def _high_latency(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    (_, lat, lon, custom_mode, altitude, _, _, _, _, vehicle, autopilot, _, _, throttle, _, _, speed, wind,
     wind_heading, _, _, _, climb, battery) = values[:24]  # fmt: skip
    stream = aircraft.streams.high_latency
    stream.mark(now_us)
    aircraft.autopilot, aircraft.vehicle = autopilot, vehicle
    seen, put, streams = aircraft.seen, aircraft.readings.put, aircraft.streams
    if not is_live(streams.heartbeat, now_us):
        put(INTERVAL, stream.interval_us / 1e6, stream)
        aircraft.set_mode(aircraft.modes.heartbeat(autopilot, vehicle, 1, custom_mode), stream)
    if not is_live(streams.wind, now_us):
        # zeros in both fields are no calm but a wind that nobody worked out
        put(WIND, wind / 5 if wind or wind_heading else None, stream)
    if not is_live(streams.position, now_us):
        base_m = aircraft.homing.height_m
        seen.height_m = None if base_m is None else float(altitude - base_m)
        put(HEIGHT, seen.height_m, stream)
        aircraft.set_position(lat / 1e7, lon / 1e7, stream)
        if not is_live(streams.hud, now_us):
            seen.speed_m_s, seen.climb_m_s = speed / 5, climb / 10
            seen.throttle_pct = throttle if throttle <= 100 else None
            put(SPEED, seen.speed_m_s, stream)
            put(CLIMB, seen.climb_m_s, stream)
    fold_gauge(aircraft, battery, now_us)
    seen.motion_us = now_us
    aircraft.update_phase(now_us)
