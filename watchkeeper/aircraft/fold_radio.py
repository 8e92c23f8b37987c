"""The radio's own report: RADIO_STATUS, and RADIO, the older form of the same.

A radio is a system of its own; what it tells is about every aircraft heard through it.
"""

from __future__ import annotations

from typing import Any, Final

# also registers who steers: what hears stations and radios is one subject
from watchkeeper.aircraft import fold_control  # noqa: F401
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.control import RADIO_AGE
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft, is_live

RADIO_STATUS: Final = 109
RADIO: Final = 166
RADIO_MESSAGES: Final = frozenset({RADIO_STATUS, RADIO})
MARGIN: Final = INDEX["link.margin"]
SIGNAL: Final = INDEX["radio.signal"]
NOISE: Final = INDEX["radio.noise"]
FAR_NOISE: Final = INDEX["radio.noise_far"]
_TOLD: Final = (MARGIN, SIGNAL, NOISE, FAR_NOISE, RADIO_AGE)
_UNKNOWN: Final = 255
_STEPS_PER_DB: Final = 1.9
"""Radio reports count in steps of 1/1.9 dB (firmware's guide: rssi / 1.9 - 127 dBm, approximate)."""


def margin_db(values: tuple[Any, ...]) -> float | None:
    """Return the signal over noise of the weaker end, dB.

    A remote end that is off reports nothing, which the radio passes on as zeros: then only this end counts.
    """
    rssi, remote_rssi, noise, remote_noise = _steps(values)
    here = None if _UNKNOWN in (rssi, noise) or rssi == noise == 0 else (rssi - noise) / _STEPS_PER_DB
    if remote_rssi in {0, _UNKNOWN} or remote_noise == _UNKNOWN:
        return here
    there = (remote_rssi - remote_noise) / _STEPS_PER_DB
    return there if here is None or there < here else here


def _steps(values: tuple[Any, ...]) -> tuple[int, int, int, int]:
    return values[2], values[3], values[5], values[6]


def _fold(aircraft: Aircraft, values: tuple[Any, ...], stream: Stream) -> None:
    put = aircraft.readings.put
    rssi, remote_rssi, noise, remote_noise = _steps(values)
    far = remote_rssi not in {0, _UNKNOWN}
    if rssi == _UNKNOWN:
        signal_db = remote_rssi / _STEPS_PER_DB if far else None
    else:  # a path is the same both ways: the mean of both ends has less scatter than either
        signal_db = ((rssi + remote_rssi) / 2 if far else rssi) / _STEPS_PER_DB
    put(MARGIN, margin_db(values), stream)
    put(SIGNAL, signal_db, stream)
    # a radio that has only begun reports zeros, which is no quiet
    put(NOISE, None if noise in {0, _UNKNOWN} else noise / _STEPS_PER_DB, stream)
    put(FAR_NOISE, remote_noise / _STEPS_PER_DB if far and remote_noise not in {0, _UNKNOWN} else None, stream)
    aircraft.control.told_by = aircraft.control.reporting


@folds(RADIO_STATUS, *_TOLD)
def _radio_status(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    stream = aircraft.streams.radio
    stream.mark(now_us)
    _fold(aircraft, values, stream)


@folds(RADIO, *_TOLD)
def _radio(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    if is_live(aircraft.streams.radio, now_us):
        return  # a radio that sends both forms counts once
    stream = aircraft.streams.radio_old
    stream.mark(now_us)
    _fold(aircraft, values, stream)
