"""What the minder sounds: an attention sound and words, rendered before they are needed."""

from __future__ import annotations

import math
from array import array
from collections.abc import Mapping

from watchkeeper.edges.configuration import Voice
from watchkeeper.edges.voice.sound import RATE_HZ, VoiceError
from watchkeeper.edges.voice.synthesiser import Synthesiser

HIGH_HZ, LOW_HZ = 988.0, 659.0
"""MIL-STD-1472E 5.3.3.1.1: tones between 500 and 3000 Hz; under 1000 Hz they carry furthest."""
TONE_S = 0.16
PAIRS = 3
"""Six tones, 0.96 s: 1472E 5.3.6.5 asks for 0.5 s at least."""
_FADE_S = 0.01
_PEAK = 20_000
GAP_S = 0.15
"""Silence before the words, which are to begin within 0.5 s of the sound (MIL-DTL-87268D 3.3.6.1.1)."""


def attention(volume: float) -> bytes:
    """Return samples (voice_sound) of the attention sound: high and low in turn, no clicks. `volume` 0 to 1."""
    samples = array("h")
    count, fade = round(TONE_S * RATE_HZ), round(_FADE_S * RATE_HZ)
    for tone_hz in (HIGH_HZ, LOW_HZ) * PAIRS:
        for n in range(count):
            edge = min(1.0, n / fade, (count - 1 - n) / fade)
            samples.append(round(volume * _PEAK * edge * math.sin(2 * math.pi * tone_hz * n / RATE_HZ)))
    return samples.tobytes()


def silence(length_s: float) -> bytes:
    """Return samples of silence."""
    return bytes(2 * round(length_s * RATE_HZ))


async def prepare(words: Mapping[str, str], voice: Voice) -> tuple[dict[str, bytes], str]:
    """Return a sound for each key of `words`, and why there are no words in it ("" if there are).

    Without words the attention sound is given twice.
    """
    tone = attention(voice.volume)
    synthesiser = Synthesiser(voice)
    try:
        rendered = {key: await synthesiser.sound(text) for key, text in words.items()}
    except (VoiceError, OSError) as error:
        return dict.fromkeys(words, tone + silence(2 * GAP_S) + tone), str(error)
    finally:
        await synthesiser.close()
    return {key: tone + silence(GAP_S) + sound for key, sound in rendered.items()}, ""
