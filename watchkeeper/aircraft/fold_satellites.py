"""Its satellite receivers: fix, count, dilution, accuracies, what they say of jamming and false signals."""

from __future__ import annotations

from typing import Any, Final

from watchkeeper.aircraft.catalogue import FIXES, INDEX
from watchkeeper.aircraft.fold_filter import VALID, judge_position
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.readingtypes import FOREIGN_SIGNALS
from watchkeeper.aircraft.receivers import Receiver
from watchkeeper.aircraft.state import Aircraft

USED: Final = INDEX["satellites.used"]
HDOP: Final = INDEX["satellites.hdop"]
FIX: Final = INDEX["satellites.fix"]
USED2: Final = INDEX["satellites2.used"]
HDOP2: Final = INDEX["satellites2.hdop"]
FIX2: Final = INDEX["satellites2.fix"]
JAMMING: Final = INDEX["satellites.jamming"]
SPOOFING: Final = INDEX["satellites.spoofing"]
_FIX_3D: Final = 3
_UNKNOWN_U16: Final = 65535
_UNKNOWN_U8: Final = 255
_MOST_SD_MM: Final = 1_000_000
"""A kilometre and more is a receiver's way to say that it does not know."""


def _sd_m(told_mm: int) -> float | None:
    return told_mm / 1000 if 0 < told_mm < _MOST_SD_MM else None


def _take(
    receiver: Receiver, told_us: int, place: tuple[int, int, int], dilutions: tuple[int, int], fix: int,
    motion: tuple[int, int], sds_mm: tuple[int, int], now_us: int,
) -> None:  # fmt: skip
    receiver.stream.mark(now_us)
    receiver.told_us = told_us
    receiver.latitude_deg, receiver.longitude_deg = place[0] / 1e7, place[1] / 1e7
    receiver.altitude_m = place[2] / 1000
    known = fix < len(FIXES)
    fixed = receiver.fixed = fix >= _FIX_3D if known else None
    receiver.had_fix = receiver.had_fix or bool(fixed)
    flat, tall = dilutions
    receiver.dilution = None if flat == _UNKNOWN_U16 else flat / 100
    receiver.tall_dilution = None if tall in {0, _UNKNOWN_U16} else tall / 100
    speed, course = motion
    receiver.speed_m_s = None if speed == _UNKNOWN_U16 else speed / 100
    receiver.course_deg = course / 100 if course <= 36000 else None
    receiver.place_sd_m, receiver.height_sd_m = _sd_m(sds_mm[0]), _sd_m(sds_mm[1])


@folds(24, USED, HDOP, FIX, VALID)
def _first(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    (told_us, lat, lon, alt, eph, epv, speed, course, fix, used, _, h_sd, v_sd) = values[:13]
    receiver = aircraft.receivers.first
    _take(receiver, told_us, (lat, lon, alt), (eph, epv), fix, (speed, course), (h_sd, v_sd), now_us)
    stream = receiver.stream
    put = aircraft.readings.put
    put(USED, None if used == _UNKNOWN_U8 else used, stream)
    put(HDOP, receiver.dilution, stream)
    put(FIX, FIXES[fix] if fix < len(FIXES) else None, stream)
    aircraft.fixed = _FIX_3D <= fix < len(FIXES)
    if values[10] and aircraft.fixed:
        aircraft.motion.ellipsoid_m, aircraft.motion.ellipsoid_us = values[10] / 1000, now_us
    judge_position(aircraft, now_us)


@folds(124, USED2, HDOP2, FIX2, VALID)
def _second(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    (told_us, lat, lon, alt, _, eph, epv, speed, course, fix, used, _, _, _, h_sd, v_sd) = values[:16]
    receiver = aircraft.receivers.second
    _take(receiver, told_us, (lat, lon, alt), (eph, epv), fix, (speed, course), (h_sd, v_sd), now_us)
    stream = receiver.stream
    put = aircraft.readings.put
    put(USED2, None if used == _UNKNOWN_U8 else used, stream)
    put(HDOP2, receiver.dilution, stream)
    put(FIX2, FIXES[fix] if fix < len(FIXES) else None, stream)
    judge_position(aircraft, now_us)


@folds(441, JAMMING, SPOOFING)
def _integrity(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    receiver, _, jamming, spoofing = values[3:7]
    receivers = aircraft.receivers
    known = len(FOREIGN_SIGNALS) + 1
    worst = receivers.take_integrity(
        receiver, jamming if jamming < known else 0, spoofing if spoofing < known else 0, now_us
    )
    stream = receivers.integrity
    stream.mark(now_us)
    for index, state in zip((JAMMING, SPOOFING), worst, strict=True):
        aircraft.readings.put(index, FOREIGN_SIGNALS[state - 1] if state else None, stream)
