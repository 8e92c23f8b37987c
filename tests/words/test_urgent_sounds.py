"""The ten most urgent callouts as sound, the words alone: levels equal, nothing clipped, clicking or cut."""

from __future__ import annotations

import math
import wave
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.words.callouts import shipped
from tests.words.recognition import active_rms, spoken_by
from watchkeeper.alerts.spoken import NumberStyle
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.edges.voice.synthesiser import render_wav
from watchkeeper.rules.levels import Level

URGENT = (
    "obstacle-now", "separation-lost", "traffic-near", "falling", "upset", "motor-stopped", "return-now",
    "position-lost", "control-lost", "link-lost",
)  # fmt: skip
"""Warnings whose action is immediate."""
QUIET = 128.0
"""No louder than this, 48 dB below full, a start or end is no click."""
CLICK = 15.0
"""Bursts of t and k come to 10 (measured), a jump of 20 000 in a quiet place to 156."""


def click(samples: NDArray[np.float64]) -> float:
    """Return the largest jump between samples over the root mean square of the jumps within 2 ms of it."""
    jumps = np.abs(np.diff(samples, prepend=0.0, append=0.0))
    power = np.convolve(jumps**2, np.ones(89), "same") - np.convolve(jumps**2, np.ones(5), "same")
    return float((jumps / (np.sqrt(np.maximum(power, 0.0) / 84) + QUIET)).max())


def read(path: Path) -> NDArray[np.float64]:
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        return np.frombuffer(file.readframes(file.getnframes()), np.int16).astype(float)


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, NDArray[np.float64]]:
    folder = tmp_path_factory.mktemp("urgent")
    found = {}
    for rule in shipped():
        if rule.id in URGENT:
            assert rule.level is Level.WARNING
            render_wav(spoken_by(rule, 1, NumberStyle.DIGITS), folder / f"{rule.id}.wav", timeout_s=60.0)
            found[rule.id] = read(folder / f"{rule.id}.wav")
    assert len(found) == len(URGENT)
    return found


def test_levels_are_equal(sounds: dict[str, NDArray[np.float64]]) -> None:
    """Within 3 dB: a step in loudness that is only just plain to the ear (common practice)."""
    levels = {name: 20 * math.log10(active_rms(samples, RATE_HZ) / 32_768) for name, samples in sounds.items()}
    assert max(levels.values()) - min(levels.values()) < 3.0, levels


def test_nothing_is_clipped(sounds: dict[str, NDArray[np.float64]]) -> None:
    for name, samples in sounds.items():
        peak = np.abs(samples).max()
        assert 8_000 < peak < 32_767, name
        assert int(np.sum(np.abs(samples) >= 0.999 * peak)) < 4, name  # no flat tops at a lower ceiling either


def test_nothing_clicks(sounds: dict[str, NDArray[np.float64]]) -> None:
    for name, samples in sounds.items():
        assert click(samples) < CLICK, name


def test_beginnings_and_ends_are_whole(sounds: dict[str, NDArray[np.float64]]) -> None:
    """It starts and ends at rest, begins within 0.1 s and keeps silence after the words."""
    for name, samples in sounds.items():
        loud = np.flatnonzero(np.abs(samples) > QUIET)
        assert np.abs(samples[:2]).max() <= QUIET, name
        assert np.abs(samples[-2:]).max() <= QUIET, name
        assert loud[0] < RATE_HZ // 10, name
        assert len(samples) - loud[-1] > RATE_HZ // 50, name


def test_the_measures_find_what_they_are_for(sounds: dict[str, NDArray[np.float64]]) -> None:
    samples = sounds["return-now"]
    broken = samples.copy()
    moving = np.convolve(np.abs(np.diff(samples)), np.ones(221), "same")  # a click is heard where it is quiet
    broken[len(samples) // 4 + int(moving[len(samples) // 4 : len(samples) // 2].argmin())] += 20_000
    assert click(broken) > CLICK
    assert active_rms(samples / 2, RATE_HZ) == pytest.approx(active_rms(samples, RATE_HZ) / 2)
