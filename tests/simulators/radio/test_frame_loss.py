"""Loss against margin: calibrated where sensitivity is stated, monotone, and as the binomials say."""

from __future__ import annotations

import importlib
import math
from itertools import pairwise
from typing import Any

import pytest

from simulators.radio.loss import bits_wrong, frame_loss, mended_share, words_wrong
from simulators.radio.model import RadioModel

STATS: Any = importlib.import_module("scipy.stats")  # comes without types


def test_bits_wrong_where_sensitivity_is_stated() -> None:
    # Half of exp(-Eb / 2 N0); 10.94 dB gives one in a thousand, 13.35 dB one in 100 000 (Proakis; from memory).
    assert bits_wrong(0.0) == pytest.approx(1e-3)
    assert bits_wrong(13.35 - 10.94) == pytest.approx(1e-5, rel=0.1)
    assert bits_wrong(-100.0) == pytest.approx(0.5)
    assert bits_wrong(30.0) == 0.0


@pytest.mark.parametrize(
    ("margin_db", "length", "low", "high"),
    [(0.0, 50, 0.329, 0.331), (0.0, 280, 0.89, 0.90), (3.0, 50, 0.0, 0.002), (-3.0, 50, 0.999, 1.0),
     (6.0, 280, 0.0, 1e-7)],
)  # fmt: skip
def test_frames_lost_at_stated_margins(margin_db: float, length: int, low: float, high: float) -> None:
    # 1 - (1 - p)^(8 n): at margin 0 a frame of 50 bytes is lost every third time.
    assert low <= frame_loss(margin_db, length) <= high


@pytest.mark.parametrize("corrects", [False, True])
def test_less_margin_and_longer_frames_lose_more(corrects: bool) -> None:
    margins = [0.25 * i - 15.0 for i in range(200)]
    for length in (12, 50, 280):
        losses = [frame_loss(margin, length, corrects=corrects) for margin in margins]
        assert losses[0] > 0.99
        assert losses[-1] == 0.0
        assert all(a >= b for a, b in pairwise(losses))
    for margin in margins:
        lost = [frame_loss(margin, length, corrects=corrects) for length in (12, 50, 280)]
        assert all(a <= b for a, b in pairwise(lost))


@pytest.mark.parametrize("bits", [0.0, 1e-3, 0.01, 0.05, 0.2, 0.5])
def test_a_word_takes_three_wrong_bits(bits: float) -> None:
    # The binomial of scipy as oracle; the code: Golay (24, 12, 8), which mends 3.
    assert words_wrong(bits) == pytest.approx(float(STATS.binom.sf(3, 24, bits)), abs=1e-12)


def test_a_code_that_mends_gains_decibels() -> None:
    assert frame_loss(0.0, 50, corrects=True) < 1e-5
    assert frame_loss(-2.0, 50, corrects=True) < 0.02 < frame_loss(-2.0, 50)
    assert mended_share(0.0, 50) == pytest.approx(1.0 - 0.999**800)
    assert mended_share(30.0, 50) == 0.0


def test_sensitivity_follows_from_noise() -> None:
    # k T B at 290 K: -174 dBm/Hz (common practice); bit energy over noise 10.94 dB for one bit in a thousand.
    model = RadioModel()
    thermal = -174.0 + 10.0 * math.log10(128_000.0)
    assert model.noise_dbm == pytest.approx(thermal + 7.0, abs=0.05)
    assert model.required_db == pytest.approx(10.94 - 10.0 * math.log10(2.0), abs=0.01)
    assert model.sensitivity_dbm == model.noise_dbm + model.required_db
    assert -112.0 < model.sensitivity_dbm < -104.0  # usual at 64 kbit/s (common practice)


@pytest.mark.parametrize("key", ["frequency_mhz", "bandwidth_hz", "share", "station_antenna_m", "air_bits_s"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_radio_without_size_is_refused(key: str, value: float) -> None:
    keys: dict[str, Any] = {key: value}
    with pytest.raises(ValueError, match="above 0"):
        RadioModel(**keys)
