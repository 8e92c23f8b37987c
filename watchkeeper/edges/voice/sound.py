"""Rendered words: reads the synthesiser's WAV files, checks that they hold what they should, levels them.

All that is heard has one level: the root mean square of its active parts. As in ITU-T P.56, a part counts as
active that lies within 15.9 dB of that level, which is found by iteration. (P.56 follows an envelope with a hang
time; stretches of 10 ms serve here.) So a pause between words does not make the words after it louder.
"""

from __future__ import annotations

import io
import math
import wave
from array import array
from operator import mul
from pathlib import Path

RATE_HZ = 22_050
MAX_WAV_BYTES = 8_000_000
_SILENCE = 64
"""Samples (of 32 768) no louder than this are silence."""
_STEP = RATE_HZ // 100
_TAIL_STEPS = 10
LEVEL_DB = -21.0
"""Level of the active parts, against a square wave at full scale. Speech peaks up to 20 dB over it."""
MARGIN_DB = 15.9
PEAK = 31_000
"""No sample is louder: where the peaks would be, the level stays lower."""
_ROUNDS = 12

# Seconds of sound as a share of words / rate: 0.87 to 2.07 for every shipped callout at 80 to 300 words a minute.
LEAST_SHARE = 0.5
MOST_SHARE = 3.0
_SLACK_S = 1.0


class VoiceError(Exception):
    """Words could not be made into sound; the text says why."""


def read_sound(path: Path, text: str, rate_wpm: int) -> bytes:
    """Return mono 16-bit samples at RATE_HZ, without the silence around the words.

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


def level_file(path: Path, volume: float) -> None:
    """Level the words in a WAV file without the silence around them. Raises VoiceError if there are none."""
    with wave.open(str(path), "rb") as file:
        frames = file.readframes(file.getnframes())
    samples = _without_silence(array("h", frames[: len(frames) // 2 * 2]))
    path.write_bytes(as_wav(levelled(samples, volume).tobytes()))


def as_wav(samples: bytes) -> bytes:
    """Return samples as a WAV file, for whoever plays it elsewhere."""
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(samples)
    return file.getvalue()


def active_level(samples: array[int]) -> float:
    """Return the root mean square of the active parts; 0 for silence."""
    steps = [samples[i : i + _STEP] for i in range(0, max(1, len(samples) - _STEP + 1), _STEP)]
    powers = [sum(map(mul, step, step)) / _STEP for step in steps]
    power = sum(powers) / len(powers)
    for _ in range(_ROUNDS):
        active = [one for one in powers if one > power * 10 ** (-MARGIN_DB / 10)]
        if not active:
            return 0.0
        before, power = power, sum(active) / len(active)
        if power == before:
            break
    return math.sqrt(power)


def levelled(samples: array[int], volume: float = 1.0) -> array[int]:
    """Return samples at LEVEL_DB times `volume` (0 to 1), or lower where their peaks would pass PEAK."""
    level = active_level(samples)
    if not level:
        return samples
    peak = max(map(abs, samples))
    gain = volume * min(32_768 * 10 ** (LEVEL_DB / 20) / level, PEAK / peak)
    return array("h", map(round, map(gain.__mul__, samples)))


def _without_silence(samples: array[int]) -> array[int]:
    end = len(samples)
    while end > 0 and _silent(samples[max(0, end - _STEP) : end]):
        end -= _STEP
    if end <= 0:
        raise VoiceError("the sound is silent")
    begin = 0
    while _silent(samples[begin : begin + _STEP]):
        begin += _STEP
    return samples[max(0, begin - _STEP) : end + _TAIL_STEPS * _STEP]


def _silent(samples: array[int]) -> bool:
    return max(samples) <= _SILENCE and min(samples) >= -_SILENCE
