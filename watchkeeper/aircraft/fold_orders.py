"""Orders on their way up, as far as the stream carries them, what is said to them, sticks and switches."""

from __future__ import annotations

import math
from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.hearings import Heard, hears
from watchkeeper.aircraft.intended import ACCEPTED
from watchkeeper.aircraft.state import Aircraft

TILT: Final = INDEX["flight.tilt"]
_EVERYBODY: Final = 0
_SET_MODE: Final = 11


def fold_attitude(aircraft: Aircraft, roll_rad: float, pitch_rad: float, yaw_rad: float, now_us: int) -> None:
    """Fold how it leans: the angle between its thrust and the vertical (cosine: the product of two)."""
    intended = aircraft.intended
    intended.roll_rad, intended.pitch_rad, intended.yaw_rad = roll_rad, pitch_rad, yaw_rad
    intended.attitude.mark(now_us)
    if math.isfinite(roll_rad) and math.isfinite(pitch_rad):
        tilt_deg = math.degrees(math.acos(math.cos(roll_rad) * math.cos(pitch_rad)))
    else:
        tilt_deg = math.nan
    aircraft.readings.put(TILT, tilt_deg, intended.attitude)


@folds(31, TILT)
def _quaternion(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    # to roll, pitch and yaw (Stevens and Lewis, Aircraft Control and Simulation, ch. 1; from memory)
    w, x, y, z = values[1:5]
    roll_rad = math.atan2(2 * (w * x + y * z), 1 - 2 * (x * x + y * y))
    pitch_rad = math.asin(max(-1.0, min(1.0, 2 * (w * y - z * x)))) + 0 * (w + x + y + z)  # a fault stays one
    yaw_rad = math.atan2(2 * (w * z + x * y), 1 - 2 * (y * y + z * z))
    fold_attitude(aircraft, roll_rad, pitch_rad, yaw_rad, now_us)


@folds(35)
def _channels_raw(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    if values[9] == 0:  # the first eight; others come with another port
        aircraft.intended.channels(values[1:9], now_us)


@folds(62)
def _navigation(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    aircraft.intended.target(values[7], now_us)


@folds(77)
def _acknowledged(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    command, result = values[:2]
    if result in ACCEPTED:
        aircraft.intended.order(command, now_us)


def _addressed(heard: Heard, system: int) -> list[Aircraft]:
    """Return the aircraft that a message from another is for."""
    if system == _EVERYBODY:
        return [*heard.aircraft.values()]
    found = heard.aircraft.get(system)
    return [] if found is None else [found]


@hears(76)
@hears(75)
def _command(heard: Heard) -> tuple[Aircraft, ...]:
    command, system = heard.values[7:9]
    for aircraft in _addressed(heard, system):
        aircraft.intended.order(command, heard.now_us)
    return ()


@hears(11)
def _set_mode(heard: Heard) -> tuple[Aircraft, ...]:
    for aircraft in _addressed(heard, heard.values[1]):
        aircraft.intended.order(_SET_MODE, heard.now_us)
    return ()


@hears(84)
@hears(86)
def _target(heard: Heard) -> tuple[Aircraft, ...]:
    for aircraft in _addressed(heard, heard.values[13]):
        aircraft.intended.move_us = heard.now_us
    return ()


@hears(69)
def _manual(heard: Heard) -> tuple[Aircraft, ...]:
    x, y, _, r, _, system = heard.values[:6]
    for aircraft in _addressed(heard, system):
        aircraft.intended.manual((x, y, r), heard.now_us)
    return ()
