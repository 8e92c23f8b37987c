"""Messages to readings: one handler a message, in wire order, SI units, unknown as None.

Sentinels and scales are those of the message definitions (MAVLink common.xml). Each handler is registered with
the readings it may write, from which the table TOUCHES is made.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any, Final, TypeAlias

from watchkeeper.aircraft import modes
from watchkeeper.aircraft.catalogue import FIXES, INDEX
from watchkeeper.aircraft.packs import FLIGHT_FUNCTIONS, TOUCHED, Sample
from watchkeeper.aircraft.state import (
    ARMED,
    CLIMB,
    HEIGHT,
    LAG,
    MADE_FROM_POSITION,
    MODE,
    SPEED,
    Aircraft,
)
from watchkeeper.link.decode import text

Handler: TypeAlias = Callable[[Aircraft, tuple[Any, ...], int], None]
HANDLERS: Final[dict[int, Handler]] = {}
TOUCHES: Final[dict[int, frozenset[int]]] = {}

USED: Final = INDEX["satellites.used"]
HDOP: Final = INDEX["satellites.hdop"]
FIX: Final = INDEX["satellites.fix"]
WIND: Final = INDEX["wind.speed"]
WIND_FROM: Final = INDEX["wind.from"]
MARGIN: Final = INDEX["link.margin"]
_ARMED_FLAG: Final = 128
"""MAV_MODE_FLAG_SAFETY_ARMED"""
_FIX_3D: Final = 3
_MOST_CA: Final = 32767
"""The field ends at 327.67 A: at that value the current may be any above, and is not known."""
_BOOT_EVERY_US: Final = 200_000
_STEPS_PER_DB: Final = 1.9
"""Radio reports count in steps of 1/1.9 dB (firmware's guide: rssi / 1.9 - 127 dBm, approximate)."""


def _folds(message: int, *touched: int, also: Iterable[int] = ()) -> Callable[[Handler], Handler]:
    def register(handler: Handler) -> Handler:
        HANDLERS[message] = handler
        TOUCHES[message] = frozenset((*touched, *also))
        return handler

    return register


def _finite(value: float) -> float | None:
    """Return None for NaN, which the standard uses for unknown."""
    return None if math.isnan(value) else value


@_folds(0, MODE, ARMED, also=MADE_FROM_POSITION)
def _heartbeat(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    custom_mode, vehicle, autopilot, base_mode, _, _ = values
    aircraft.autopilot = autopilot
    aircraft.vehicle = vehicle
    stream = aircraft.stream("heartbeat", now_us)
    aircraft.set_armed(armed=bool(base_mode & _ARMED_FLAG), stream=stream)
    if not aircraft.live("mode", now_us):
        word, aircraft.mode_name = modes.from_heartbeat(autopilot, vehicle, base_mode, custom_mode)
        aircraft.mode = word
        aircraft.readings.put(MODE, word, stream)
    aircraft.update_phase(now_us)


@_folds(436, MODE)
def _current_mode(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _, intended, standard = values
    aircraft.intended_mode = intended or None
    word = modes.STANDARD.get(standard)
    if word is not None:
        aircraft.mode = word
        aircraft.readings.put(MODE, word, aircraft.stream("mode", now_us))
        aircraft.update_phase(now_us)


@_folds(245)
def _extended_system_state(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    aircraft.landed = values[1] if values[1] <= 4 else 0
    aircraft.stream("landed", now_us)
    aircraft.update_phase(now_us)


@_folds(33, HEIGHT, SPEED, CLIMB, LAG, also=MADE_FROM_POSITION)
def _global_position(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    boot_ms, lat, lon, _, relative_mm, vx, vy, vz, _ = values
    aircraft.note_boot(boot_ms, now_us)
    stream = aircraft.stream("position", now_us)
    put = aircraft.readings.put
    put(HEIGHT, relative_mm / 1000, stream)
    put(SPEED, math.hypot(vx, vy) / 100, stream)
    put(CLIMB, -vz / 100, stream)
    aircraft.set_position(lat / 1e7, lon / 1e7, stream)
    aircraft.update_phase(now_us)


@_folds(74, HEIGHT, SPEED, CLIMB)
def _vfr_hud(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _, ground_speed, altitude, climb, _, throttle = values
    aircraft.throttle_pct = float(throttle) if throttle <= 100 else None
    if aircraft.live("position", now_us):
        return
    stream = aircraft.stream("hud", now_us)
    put = aircraft.readings.put
    put(SPEED, _finite(ground_speed), stream)
    put(CLIMB, _finite(climb), stream)
    base_m = aircraft.home_height_m
    put(HEIGHT, None if base_m is None or math.isnan(altitude) else altitude - base_m, stream)
    aircraft.update_phase(now_us)


@_folds(30, LAG)
def _attitude(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    if now_us - aircraft.boot_us >= _BOOT_EVERY_US:  # it may come fifty times a second
        aircraft.note_boot(values[0], now_us)


@_folds(2, LAG)
def _system_time(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    aircraft.note_boot(values[1], now_us)


@_folds(242, also=MADE_FROM_POSITION)
def _home(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    lat, lon, alt = values[0], values[1], values[2]
    if lat or lon:
        aircraft.home_height_m = alt / 1000
        aircraft.set_home(lat / 1e7, lon / 1e7, "aircraft", now_us)


@_folds(24, USED, HDOP, FIX)
def _gps(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    eph, fix, used = values[4], values[8], values[9]
    stream = aircraft.stream("gps", now_us)
    put = aircraft.readings.put
    put(USED, None if used == 255 else used, stream)
    put(HDOP, None if eph == 65535 else eph / 100, stream)
    put(FIX, FIXES[fix] if fix < len(FIXES) else None, stream)
    aircraft.fixed = fix >= _FIX_3D


@_folds(1, also=TOUCHED)
def _system_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    millivolts, centiamps, left = values[4], values[5], values[12]
    sample = Sample(
        voltage_v=None if millivolts in {0, 65535} else millivolts / 1000,
        current_a=_amps(centiamps),
        gauge_pct=float(left) if 0 <= left <= 100 else None,
    )
    aircraft.packs.system_status(sample, armed=bool(aircraft.armed), now_us=now_us)


@_folds(147, also=TOUCHED)
def _battery_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    fold_battery(aircraft, aircraft.component, values, now_us)


def fold_battery(aircraft: Aircraft, component: int, values: tuple[Any, ...], now_us: int) -> None:
    """Fold BATTERY_STATUS, which smart batteries send as components of their own."""
    consumed, _, temperature = values[0], values[1], values[2]
    volts, centiamps, identity, function = values[3:13], values[13], values[14], values[15]
    left, extra = values[17], values[20:24]
    if function not in FLIGHT_FUNCTIONS:
        return
    pack_v, cells_v = _voltages(volts, extra)
    sample = Sample(
        voltage_v=pack_v,
        current_a=_amps(centiamps),
        gauge_pct=float(left) if 0 <= left <= 100 else None,
        consumed_ah=None if consumed < 0 else consumed / 1000,
        temperature_degc=None if temperature == 32767 else temperature / 100,
        cells_v=cells_v,
    )
    aircraft.packs.battery_status(component, identity, sample, armed=bool(aircraft.armed), now_us=now_us)


def _amps(centiamps: int) -> float | None:
    return None if centiamps < 0 or centiamps >= _MOST_CA else centiamps / 100


def _voltages(volts: tuple[int, ...], extra: tuple[int, ...]) -> tuple[float | None, tuple[float, ...]]:
    """Return (pack, cells) in volts. Cells 1 to 10 are absent at 65535, cells 11 to 14 at 0.

    With cells unknown the first field holds the pack's voltage, and what exceeds 65 534 mV goes on in the next.
    """
    present = [v for v in volts if v != 65535]
    if not present:
        return None, ()
    if present[0] == 65534 or len(present) == 1 or present[0] > 6000:
        total = 0
        for v in volts:
            if v == 65535:
                break
            total += v
            if v < 65534:
                break
        return (total / 1000 or None), ()
    cells = [v / 1000 for v in present] + [v / 1000 for v in extra if v not in {0, 65535}]
    return (sum(cells) or None), tuple(cells)


@_folds(168, WIND, WIND_FROM)
def _wind(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    direction, speed, _ = values
    _put_wind(aircraft, speed, direction, now_us)


@_folds(231, WIND, WIND_FROM)
def _wind_covariance(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    # the vector along north and east is where the air moves to
    north, east = values[1], values[2]
    if math.isfinite(north) and math.isfinite(east):
        _put_wind(aircraft, math.hypot(north, east), math.degrees(math.atan2(-east, -north)), now_us)


def _put_wind(aircraft: Aircraft, speed_m_s: float, from_deg: float, now_us: int) -> None:
    stream = aircraft.stream("wind", now_us)
    aircraft.readings.put(WIND, _finite(speed_m_s), stream)
    aircraft.readings.put(WIND_FROM, from_deg % 360 if math.isfinite(from_deg) else None, stream)


@_folds(235, HEIGHT, SPEED, CLIMB, MODE, WIND, also=(*MADE_FROM_POSITION, *TOUCHED))
def _high_latency(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    (_, lat, lon, custom_mode, altitude, _, _, _, _, vehicle, autopilot, _, _, throttle, _, _, ground_speed,
     wind, _, _, _, _, climb, battery) = values[:24]  # fmt: skip
    aircraft.autopilot, aircraft.vehicle = autopilot, vehicle
    aircraft.throttle_pct = float(throttle) if throttle <= 100 else None
    if not aircraft.live("position", now_us):
        stream = aircraft.stream("high latency", now_us)
        put = aircraft.readings.put
        put(SPEED, ground_speed / 5, stream)
        put(CLIMB, climb / 10, stream)
        base_m = aircraft.home_height_m
        put(HEIGHT, None if base_m is None else altitude - base_m, stream)
        put(WIND, wind / 5, stream)
        aircraft.set_position(lat / 1e7, lon / 1e7, stream)
    if not aircraft.live("heartbeat", now_us):
        word, aircraft.mode_name = modes.from_heartbeat(autopilot, vehicle, 1, custom_mode)
        aircraft.mode = word
        aircraft.readings.put(MODE, word, aircraft.stream("high latency mode", now_us))
    if 0 <= battery <= 100:
        aircraft.packs.system_status(Sample(None, None, float(battery)), armed=True, now_us=now_us)
    aircraft.update_phase(now_us)


@_folds(42)
def _mission_current(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    current, total = values[0], values[1]
    if total not in {0, 65535}:
        aircraft.plan_total = total
    if current != aircraft.plan_current:
        aircraft.plan_current = current
        aircraft.update_phase(now_us)


@_folds(44)
def _mission_count(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    aircraft.plan_total = values[0]


@_folds(39)
def _mission_item(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    aircraft.add_plan_item(values[7], values[8])


@_folds(73)
def _mission_item_int(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    aircraft.add_plan_item(values[7], values[8])


@_folds(22)
def _parameter(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    value, count, _, name, kind = values
    aircraft.parameters.take(text(name), value, kind, count, aircraft.autopilot)


@_folds(148)
def _version(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    aircraft.parameters.capabilities(values[0], aircraft.autopilot)


@_folds(253)
def _status_text(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    severity, words, identity, chunk = values
    aircraft.texts.take(severity, words, identity, chunk, now_us)


RADIO_MESSAGES: Final = frozenset({109, 166})
"""RADIO_STATUS, and RADIO, the older form of the same. Sent by the radio as a system of its own."""
for _number in RADIO_MESSAGES:
    TOUCHES[_number] = frozenset({MARGIN})


def fold_radio(aircraft: Aircraft, message: int, values: tuple[Any, ...], now_us: int) -> bool:
    """Fold a radio's report; return whether it was used (a radio that sends both forms counts once)."""
    if message != 109 and aircraft.live("radio 109", now_us):
        return False
    _, _, rssi, remote_rssi, _, noise, remote_noise = values
    here = None if rssi == 255 or noise == 255 else (rssi - noise) / _STEPS_PER_DB
    # a remote end that is off reports nothing, which the radio passes on as zeros
    unheard = remote_rssi in {0, 255} or remote_noise == 255
    there = None if unheard else (remote_rssi - remote_noise) / _STEPS_PER_DB
    ends = [end for end in (here, there) if end is not None]
    aircraft.readings.put(MARGIN, min(ends) if ends else None, aircraft.stream(f"radio {message}", now_us))
    return True
