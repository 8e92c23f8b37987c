"""Parameters, version and the aircraft's own words."""

from __future__ import annotations

import struct
from typing import Any, Final

from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.phase import DOWN
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.aircraft.texts import TEXTS
from watchkeeper.link.decode import text

PARAMETER: Final = 22
VERSION: Final = 148
PARAMETER_LAYOUT: Final = struct.Struct("<4sHH16sB")
"""PARAM_VALUE with its number left as bytes: read as a float, an integer laid into its place may be changed."""


@folds(PARAMETER, layout=PARAMETER_LAYOUT)
def _parameter(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    raw, count, _, name, kind = values
    aircraft.parameters.take(text(name), raw, kind, count, aircraft.autopilot)


@folds(VERSION)
def _version(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    aircraft.parameters.capabilities(values[0], aircraft.autopilot, values[2])


@folds(253, *TEXTS)
def _status_text(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    severity, words, identity, chunk = values
    grounded = not aircraft.seen.armed and aircraft.tracker.phase in DOWN
    aircraft.texts.take(severity, words, identity, chunk, now_us, aircraft.readings, grounded=grounded)
