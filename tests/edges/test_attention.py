"""Attention sounds against MIL-STD-1472E and MIL-DTL-87268D (facts.md section 2): length, spectrum, noise."""

from __future__ import annotations

import io
import wave
from itertools import pairwise

import numpy as np
import pytest
from scipy import signal  # type: ignore[import-untyped]

from tests.edges.loudness import Samples, active_speech_level_db, loudness_lufs
from tests.edges.sound_parts import as_samples
from watchkeeper.alerts.ahead import fixed_warnings
from watchkeeper.alerts.events import Level
from watchkeeper.cli.inputs import load_rules
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice.attention import STAND_IN, attention_sound, with_attention
from watchkeeper.edges.voice.sound import RATE_HZ, as_wav
from watchkeeper.edges.voice.synthesiser import Synthesiser

URGENT = (Level.WARNING, Level.CAUTION)
NOISE_RATIO_DB = 0.0
"""Sound over noise within 500 to 3000 Hz: 5.3.4.1 asks for 20 dB in one octave, this is far worse."""


def sound_of(level: Level) -> Samples:
    return as_samples(attention_sound(level))


@pytest.mark.parametrize("level", URGENT)
def test_it_is_long_enough_and_not_too_long(level: Level) -> None:
    """5.3.6.5: at least 0.5 s. Longer than 1 s would only hold up the words (from ourselves)."""
    assert 0.5 <= len(sound_of(level)) / RATE_HZ <= 1.0


@pytest.mark.parametrize("level", [Level.ADVISORY, Level.ROUTINE])
def test_what_may_be_missed_has_none(level: Level) -> None:
    assert attention_sound(level) == b""
    assert with_attention(level, b"ab") == b"ab"


@pytest.mark.parametrize("level", URGENT)
def test_all_of_it_is_between_500_and_3000_hz(level: Level) -> None:
    """5.3.3.1.1. All but a thousandth of its power (30 dB), in every 60 ms too, so that no edge clicks."""
    x = sound_of(level)
    frequency, power = signal.periodogram(x, RATE_HZ)
    outside = (frequency < 500) | (frequency > 3000)
    assert power[outside].sum() < 1e-3 * power.sum()
    frequency, _, each = signal.spectrogram(x, RATE_HZ, window="hann", nperseg=1323, noverlap=992, mode="psd")
    loudest = each.sum(axis=0).max()
    assert each[frequency > 3000].sum(axis=0).max() < 1e-3 * loudest


@pytest.mark.parametrize("level", URGENT)
def test_it_has_several_partials(level: Level) -> None:
    """No single band of noise hides it: without its strongest third of an octave a tenth of the power is left."""
    frequency, power = signal.periodogram(sound_of(level), RATE_HZ)
    peak = frequency[power.argmax()]
    left = (frequency < peak * 2 ** (-1 / 6)) | (frequency > peak * 2 ** (1 / 6))
    assert power[left].sum() > 0.1 * power.sum()


@pytest.mark.parametrize("level", URGENT)
def test_it_begins_and_ends_softly(level: Level) -> None:
    """No click: 2 ms at either end stay under a tenth of the peak, and no step is larger than inside the tone."""
    x = sound_of(level)
    edge = RATE_HZ // 500
    assert max(abs(x[:edge]).max(), abs(x[-edge:]).max()) < 0.1 * abs(x).max()
    whole = np.concatenate([[0.0], x, [0.0]])
    inside = 2 * np.pi * 3000 / RATE_HZ * abs(x).max()
    assert abs(np.diff(whole)).max() < inside


def picture(x: Samples) -> Samples:
    """Return the spectrum over time of half a second, from 500 to 3000 Hz, on a scale of loudness."""
    frequency, _, power = signal.spectrogram(x, RATE_HZ, nperseg=512, noverlap=256)
    image: Samples = power[(frequency >= 500) & (frequency <= 3000)] ** 0.25
    image -= image.mean()
    return image


def outdoor_noise(samples: int, random: np.random.Generator) -> Samples:
    """Return wind and a multirotor's hum: noise falling by 3 dB an octave, and harmonics of 90 to 130 Hz."""
    spectrum = np.fft.rfft(random.standard_normal(samples))
    pink = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(len(spectrum)), 1)), samples)
    t = np.arange(samples) / RATE_HZ
    blade = random.uniform(90, 130)
    hum = sum(np.sin(2 * np.pi * n * blade * t + random.uniform(0, 6)) / n for n in range(1, 30))
    return np.asarray(pink / pink.std() + hum / np.std(hum))


def test_the_first_half_second_tells_them_apart_in_outdoor_noise() -> None:
    """5.3.4.3.3, at 0 dB in the band: 400 of 400 told by the nearer of two pictures, wherever it begins."""
    random = np.random.default_rng(8)
    half = RATE_HZ // 2
    band = signal.butter(4, [500, 3000], "bandpass", fs=RATE_HZ, output="sos")
    known = {level: picture(sound_of(level)[:half]) for level in URGENT}
    for level in URGENT:
        first = sound_of(level)[:half]
        for _ in range(200):
            late = int(random.integers(0, RATE_HZ // 20))
            x = np.zeros(half + RATE_HZ // 20)
            x[late : late + half] = first
            noise = outdoor_noise(len(x), random)
            over = signal.sosfilt(band, noise).std() / signal.sosfilt(band, first).std()
            heard = picture(x + noise / over * 10 ** (-NOISE_RATIO_DB / 20))
            wide = known[level].shape[1]
            fits = {
                one: max((heard[:, i : i + wide] * image).sum() for i in range(heard.shape[1] - wide + 1))
                / np.linalg.norm(image)
                for one, image in known.items()
            }
            assert max(fits, key=lambda one: fits[one]) is level


async def test_callouts_and_sounds_are_equally_loud_and_never_clip() -> None:
    """Over all fixed warnings and stand-ins: levels by P.56 within 2 dB, by BS.1770 within 3 LU, sounds included.

    3 LU is what common practice lets differ between items of speech (from memory).
    """
    synthesiser = Synthesiser(VoiceOptions())
    words = [*STAND_IN.values(), *fixed_warnings(load_rules([]).rules)]
    assert len(words) > 10
    sounds = [as_samples(await synthesiser.sound(one)) for one in words] + [sound_of(level) for level in URGENT]
    await synthesiser.close()
    levels_db = [active_speech_level_db(x) for x in sounds]
    loudness = [loudness_lufs(x) for x in sounds]
    assert max(levels_db) - min(levels_db) < 2.0
    assert max(loudness) - min(loudness) < 3.0
    assert min(levels_db) > -24.0
    assert max(abs(x).max() for x in sounds) < 0.95


async def test_the_words_begin_within_half_a_second() -> None:
    """MIL-DTL-87268D 3.3.6.1.1; and the samples are those for any outlet, as a WAV file too."""
    synthesiser = Synthesiser(VoiceOptions())
    words = await synthesiser.sound("Warning. Link. Lost.")
    await synthesiser.close()
    whole = with_attention(Level.WARNING, words)
    attention = attention_sound(Level.WARNING)
    assert whole.startswith(attention)
    assert whole.endswith(words)
    after = as_samples(whole)[len(attention) // 2 :]
    begins_s = np.flatnonzero(abs(after) > 0.02)[0] / RATE_HZ
    assert 0.05 < begins_s < 0.5
    with wave.open(io.BytesIO(as_wav(whole))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        assert file.readframes(file.getnframes()) == whole


def test_volume_counts_for_the_sound_too() -> None:
    loud = [abs(as_samples(attention_sound(Level.WARNING, volume))).max() for volume in (1.0, 0.5, 0.25)]
    for louder, softer in pairwise(loud):
        assert softer == pytest.approx(louder / 2, rel=0.01)
