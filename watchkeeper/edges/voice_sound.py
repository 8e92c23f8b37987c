"""Rendered words: reads the synthesiser's WAV files and checks that they hold what they should."""

from __future__ import annotations

import wave
from array import array
from pathlib import Path

RATE_HZ = 22_050
MAX_WAV_BYTES = 8_000_000
_SILENCE = 64
"""Samples (of 32 768) no louder than this are silence."""
_STEP = RATE_HZ // 100
_TAIL_STEPS = 10

# Seconds of sound as a share of words / rate: 0.87 to 2.07 for every shipped callout at 80 to 300 words a minute.
LEAST_SHARE = 0.5
MOST_SHARE = 3.0
_SLACK_S = 1.0


class VoiceError(Exception):
    """Words could not be made into sound; the text says why."""


def read_sound(path: Path, text: str, rate_wpm: int) -> bytes:
    """Return mono 16-bit samples at RATE_HZ, without the silence after the words.

    Raises VoiceError if the file is missing, empty, silent, or too short or too long for the words of `text`.
    """
    try:
        if path.stat().st_size > MAX_WAV_BYTES:
            raise VoiceError("the sound is far too long")
        with wave.open(str(path), "rb") as file:
            shape = (file.getnchannels(), file.getsampwidth(), file.getframerate())
            frames = file.readframes(file.getnframes())
    except (OSError, EOFError, wave.Error) as error:
        raise VoiceError(f"no sound was written: {error}") from None
    if shape != (1, 2, RATE_HZ):
        raise VoiceError(f"sound of another kind: {shape}")
    samples = _without_silence(array("h", frames[: len(frames) // 2 * 2]))
    seconds = len(samples) / RATE_HZ
    nominal_s = max(1, len(text.split())) * 60.0 / rate_wpm
    if not LEAST_SHARE * nominal_s <= seconds <= MOST_SHARE * nominal_s + _SLACK_S:
        raise VoiceError(f"{seconds:.2f} s of sound for words of about {nominal_s:.2f} s")
    return samples.tobytes()


def _without_silence(samples: array[int]) -> array[int]:
    end = len(samples)
    while end > 0 and _silent(samples[max(0, end - _STEP) : end]):
        end -= _STEP
    if end <= 0:
        raise VoiceError("the sound is silent")
    return samples[: end + _TAIL_STEPS * _STEP]


def _silent(samples: array[int]) -> bool:
    return max(samples) <= _SILENCE and min(samples) >= -_SILENCE
