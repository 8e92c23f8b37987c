"""Two measures of loudness from outside: ITU-T P.56's active speech level, ITU-R BS.1770's loudness."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import signal  # type: ignore[import-untyped]

from watchkeeper.edges.voice.sound import RATE_HZ

Samples = npt.NDArray[np.float64]


def active_speech_level_db(x: Samples) -> float:
    """Return the active speech level by ITU-T P.56 method B: envelope of 30 ms, hang 0.2 s, margin 15.9 dB.

    The recommendation's procedure from memory, with thresholds in steps of 0.5 dB instead of a bisection.
    """
    pole = math.exp(-1 / (RATE_HZ * 0.03))
    envelope = np.abs(x)
    for _ in range(2):
        envelope = signal.lfilter([1 - pole], [1, -pole], envelope)
    hang = round(0.2 * RATE_HZ)
    total = float(np.sum(x * x))
    for threshold_db in np.arange(0.0, -80.0, -0.5):
        above = envelope >= 10 ** (threshold_db / 20)
        if not above.any():
            continue
        since = np.arange(len(x)) - np.maximum.accumulate(np.where(above, np.arange(len(x)), -(10**9)))
        level_db = 10 * math.log10(total / np.count_nonzero(since < hang))
        if level_db - threshold_db >= 15.9:
            return level_db
    raise AssertionError("silence")


def loudness_lufs(x: Samples) -> float:
    """Return the gated loudness of one channel, ITU-R BS.1770-4 (filters of its tables 1 and 2, for 48 kHz)."""
    at48 = signal.resample_poly(x, 320, 147)
    head = signal.lfilter(
        [1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585], at48
    )
    weighted = signal.lfilter([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621], head)
    block, step = 19_200, 4_800
    power = np.array(
        [np.mean(weighted[i : i + block] ** 2) for i in range(0, max(1, len(weighted) - block + 1), step)]
    )
    loudness = -0.691 + 10 * np.log10(power + 1e-12)
    kept = power[loudness > -70]
    gate = -0.691 + 10 * math.log10(float(np.mean(kept))) - 10
    return -0.691 + 10 * math.log10(float(np.mean(power[loudness > max(gate, -70.0)])))
