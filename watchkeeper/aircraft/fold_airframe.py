"""Outputs, motor controllers, and texts of the aircraft's other components."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from watchkeeper.aircraft.handlers import Handler, folds
from watchkeeper.aircraft.hearings import Heard, hears
from watchkeeper.aircraft.motors import MOST
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.aircraft.texts import TEXTS

_UNKNOWN_CDEGC: Final = 32767
"""ESC_INFO's temperature where it is not known (INT16_MAX)."""
_ESC_TELEMETRY: Final = {11030: 0, 11031: 4, 11032: 8, 11040: 12, 11041: 16, 11042: 20, 11043: 24, 11044: 28}
"""ESC_TELEMETRY_1_TO_4 and so on: the first motor of each, from 0."""
_SILENT_US: Final = 10_000_000
_GRAVE: Final = 2
"""MAV_SEVERITY_CRITICAL: what a component that does not fly the aircraft says below this is its own affair."""


@folds(241)
def _vibration(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    vibration = aircraft.motors.vibration
    vibration.axes_m_s2, vibration.clipping = values[1:4], values[4:7]
    vibration.stream.mark(now_us)


@folds(36)
def _servo_outputs(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    motors, port = aircraft.motors, values[9]
    if port == 0:
        motors.servo_us = now_us
        motors.outputs.put(0, (*values[1:9], *values[10:18]), now_us)
    elif port == 1:
        motors.outputs.put(16, values[1:9], now_us)


@folds(375)
def _actuator_outputs(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    motors = aircraft.motors
    if motors.servo_us is None or now_us - motors.servo_us > _SILENT_US:
        motors.outputs.put(0, _finite(values[2 : 2 + min(values[1], MOST)]), now_us)


@folds(290)
def _esc_info(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    motors, first = aircraft.motors, values[14]
    count = min(4, max(0, values[15] - first)) if values[15] else 4
    celsius = [None if value == _UNKNOWN_CDEGC else value / 100 for value in values[10 : 10 + count]]
    motors.celsius.put(first, celsius, now_us)
    motors.failures.put(first, values[6 : 6 + count], now_us)


@folds(291)
def _esc_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    motors, first = aircraft.motors, values[13]
    motors.rpm.put(first, [abs(rpm) for rpm in values[1:5]], now_us)  # the sign is the direction
    motors.amps.put(first, _finite(values[9:13]), now_us)


def _telemetry(first: int) -> Handler:
    def esc_telemetry(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
        motors, told = aircraft.motors, values[16:20]
        for row, at, scale in ((motors.amps, 4, 100), (motors.rpm, 12, 1), (motors.celsius, 20, 1)):
            # a controller that has told nothing since power-up is a place that no motor has
            row.put(first, [values[at + i] / scale if told[i] else None for i in range(4)], now_us)

    return esc_telemetry


for _number, _first in _ESC_TELEMETRY.items():
    folds(_number)(_telemetry(_first))


def _finite(values: Sequence[float]) -> list[float | None]:
    return [value if math.isfinite(value) else None for value in values]


@hears(253, *TEXTS)
def _other_text(heard: Heard) -> Sequence[Aircraft]:
    """Take what another component aboard says (one of the aircraft's own system), if it is grave."""
    aircraft = heard.aircraft.get(heard.system)
    severity, raw, _, chunk = heard.values
    if aircraft is None or severity > _GRAVE or chunk:
        return ()
    aircraft.texts.hear(raw, heard.now_us, aircraft.readings)
    return (aircraft,)
