"""From margin to lost frames: bits wrong by signal over noise, frames by their length.

Frequency shift keying, detected without its phase: half of exp(-Eb / 2 N0) of the bits are wrong (Proakis, Digital
Communications; from memory). Margin is counted from where that is one in a thousand; there a frame of 50 bytes is
lost every third time, and 3 dB decide between nearly none and nearly all. What makes a real link's loss come
slowly is fading on top, which the caller adds to the margin.
"""

from __future__ import annotations

import math
from typing import Final

from simulators.radio.model import BIT_OVER_NOISE

_WORD_BITS: Final = 24
_DATA_BITS: Final = 12
_MENDED: Final = 3
_BEYOND: Final = tuple((k, math.comb(_WORD_BITS, k)) for k in range(_MENDED + 1, _WORD_BITS + 1))
_CERTAIN_DB: Final = 20.0


def bits_wrong(margin_db: float) -> float:
    """Return the share of bits that arrive wrong."""
    if margin_db > _CERTAIN_DB:
        return 0.0
    return 0.5 * math.exp(-0.5 * BIT_OVER_NOISE * 10.0 ** (0.1 * margin_db))


def words_wrong(bits: float) -> float:
    """Return the share of 24-bit Golay words with more than the 3 wrong bits that the code mends."""
    return min(1.0, sum(ways * bits**k * (1.0 - bits) ** (_WORD_BITS - k) for k, ways in _BEYOND))


def frame_loss(margin_db: float, length: int, *, corrects: bool = False) -> float:
    """Return the chance that a frame of `length` bytes is lost, 0 to 1."""
    wrong = bits_wrong(margin_db)
    if wrong <= 0.0:
        return 0.0
    if corrects:
        wrong, pieces = words_wrong(wrong), math.ceil(8 * length / _DATA_BITS)
    else:
        pieces = 8 * length
    return -math.expm1(pieces * math.log1p(-wrong)) if wrong < 1.0 else 1.0


def mended_share(margin_db: float, length: int) -> float:
    """Return the chance that the code had anything to mend in a frame that arrived."""
    wrong = bits_wrong(margin_db)
    return -math.expm1(2 * 8 * length * math.log1p(-wrong)) if wrong > 0.0 else 0.0
