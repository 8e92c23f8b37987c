"""Attention sounds before warnings and cautions, and a whole callout as samples: sound, pause, words.

Made here, by code. Two are enough to be told apart for certain (MIL-STD-1472E 5.3.4.3.1: at most four). They
differ in three ways, so that any one may be lost in noise: a warning is a row of short, rising, high notes, a
caution two long, level, lower ones, the second below the first. Both last longer than 0.5 s (5.3.6.5), are
different from their first 0.1 s on (5.3.4.3.3 asks for 0.5 s) and keep within 500 to 3000 Hz (5.3.3.1.1): several
partials each, so that no single band of noise hides all of it. Advisories and routine calls have none: what may
be missed needs no bell, and a bell that rings for everything tells nothing.
"""

from __future__ import annotations

import math
from array import array
from functools import cache
from typing import Final

from watchkeeper.alerts.events import Level
from watchkeeper.edges.voice.sound import RATE_HZ, levelled

PAUSE_S: Final = 0.12
"""Between attention sound and words; MIL-DTL-87268D 3.3.6.1.1 allows 0.5 s."""
STAND_IN: Final = {
    Level.WARNING: "Warning. Look at the screen.",
    Level.CAUTION: "Caution. Look at the screen.",
}
"""Said where the words of an alert cannot be had in time."""

_EDGE_S = 0.016
"""Each note begins and ends as a raised cosine: no click, and nothing outside its band."""
_WARNING_NOTE_S, _WARNING_STEP_S, _WARNING_NOTES = 0.12, 0.155, 4
_WARNING_FROM_HZ, _WARNING_TO_HZ = 950.0, 1400.0
_CAUTION_NOTES_HZ = (800.0, 640.0)
_CAUTION_NOTE_S, _CAUTION_STEP_S = 0.31, 0.33
_WARNING_PARTIALS = (1.0, 0.6)
_CAUTION_PARTIALS = (1.0, 0.6, 0.35)


@cache
def attention_sound(level: Level, volume: float = 1.0) -> bytes:
    """Return the attention sound of a level as samples, as loud as the words; empty for levels without one."""
    if level is Level.WARNING:
        glide = (_WARNING_FROM_HZ, _WARNING_TO_HZ)
        notes = [(i * _WARNING_STEP_S, *glide) for i in range(_WARNING_NOTES)]
        return levelled(_notes(notes, _WARNING_NOTE_S, _WARNING_PARTIALS), volume).tobytes()
    if level is Level.CAUTION:
        notes = [(i * _CAUTION_STEP_S, hz, hz) for i, hz in enumerate(_CAUTION_NOTES_HZ)]
        return levelled(_notes(notes, _CAUTION_NOTE_S, _CAUTION_PARTIALS), volume).tobytes()
    return b""


def with_attention(level: Level, words: bytes, volume: float = 1.0) -> bytes:
    """Return a callout as it is heard, as samples: attention sound if its level has one, pause, words."""
    attention = attention_sound(level, volume)
    return attention + silence(PAUSE_S) + words if attention else words


def silence(duration_s: float) -> bytes:
    """Return samples of silence."""
    return bytes(2 * round(duration_s * RATE_HZ))


def _notes(notes: list[tuple[float, float, float]], note_s: float, partials: tuple[float, ...]) -> array[int]:
    """Return notes of one length, each (begin in s, from Hz, to Hz), of partials with these amplitudes."""
    out = array("h", bytes(2 * round((notes[-1][0] + note_s) * RATE_HZ)))
    for begin_s, from_hz, to_hz in notes:
        note = _note(from_hz, to_hz, note_s, partials)
        at = round(begin_s * RATE_HZ)
        out[at : at + len(note)] = note
    return out


@cache
def _note(from_hz: float, to_hz: float, note_s: float, partials: tuple[float, ...]) -> array[int]:
    length = int(note_s * RATE_HZ)
    edge = round(_EDGE_S * RATE_HZ)
    full = 20_000 / sum(partials)
    note = array("h", bytes(2 * length))
    for i in range(length):
        # the phase of a glide is the integral of its frequency
        turns = (from_hz + (to_hz - from_hz) * i / length / 2) * i / RATE_HZ
        inside = min(i, length - 1 - i)
        shape = 0.5 - 0.5 * math.cos(math.pi * inside / edge) if inside < edge else 1.0
        tone = sum(part * math.sin(2 * math.pi * n * turns) for n, part in enumerate(partials, 1))
        note[i] = round(full * shape * tone)
    return note
