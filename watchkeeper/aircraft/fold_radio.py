"""The radio's own report: RADIO_STATUS, and RADIO, the older form of the same.

A radio is a system of its own; what it tells is about every aircraft heard through it.
"""

from __future__ import annotations

from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.state import Aircraft, is_live

RADIO_STATUS: Final = 109
RADIO: Final = 166
RADIO_MESSAGES: Final = frozenset({RADIO_STATUS, RADIO})
MARGIN: Final = INDEX["link.margin"]
_UNKNOWN: Final = 255
_STEPS_PER_DB: Final = 1.9
"""Radio reports count in steps of 1/1.9 dB (firmware's guide: rssi / 1.9 - 127 dBm, approximate)."""


def margin_db(values: tuple[Any, ...]) -> float | None:
    """Return the signal over noise of the weaker end, dB.

    A remote end that is off reports nothing, which the radio passes on as zeros: then only this end counts.
    """
    rssi, remote_rssi, noise, remote_noise = _steps(values)
    here = None if _UNKNOWN in (rssi, noise) else (rssi - noise) / _STEPS_PER_DB
    if remote_rssi in {0, _UNKNOWN} or remote_noise == _UNKNOWN:
        return here
    there = (remote_rssi - remote_noise) / _STEPS_PER_DB
    return there if here is None or there < here else here


def _steps(values: tuple[Any, ...]) -> tuple[int, int, int, int]:
    return values[2], values[3], values[5], values[6]


@folds(RADIO_STATUS, MARGIN)
def _radio_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    stream = aircraft.streams.radio
    stream.mark(now_us)
    aircraft.readings.put(MARGIN, margin_db(values), stream)


@folds(RADIO, MARGIN)
def _radio(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    if is_live(aircraft.streams.radio, now_us):
        return  # a radio that sends both forms counts once
    stream = aircraft.streams.radio_old
    stream.mark(now_us)
    aircraft.readings.put(MARGIN, margin_db(values), stream)
