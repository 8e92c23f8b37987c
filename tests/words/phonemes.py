"""How words sound, as phonemes of the synthesiser that the voice uses, and how far apart two are."""

from __future__ import annotations

import ctypes
import functools
import re
from typing import Any

import espeakng_loader

_SYNCHRONOUS, _UTF8, _IPA = 2, 1, 2
_NOT_PHONEMES = re.compile(r"[ˈˌː\s]")


@functools.cache
def _library() -> Any:
    library = ctypes.CDLL(espeakng_loader.get_library_path())
    assert library.espeak_Initialize(_SYNCHRONOUS, 0, espeakng_loader.get_data_path().encode(), 0) > 0
    assert library.espeak_SetVoiceByName(b"en-us") == 0
    library.espeak_TextToPhonemes.restype = ctypes.c_char_p
    return library


@functools.cache
def phonemes(text: str) -> str:
    """Return IPA phonemes, without stress, length and blanks."""
    rest = ctypes.c_char_p(text.encode())
    said = []
    while rest.value:
        said.append(_library().espeak_TextToPhonemes(ctypes.byref(rest), _UTF8, _IPA).decode())
    return _NOT_PHONEMES.sub("", "".join(said))


def apart(one: str, other: str) -> float:
    """Return how far apart two texts sound: 0 alike, 1 nothing in common (edits by the longer one's phonemes)."""
    a, b = phonemes(one), phonemes(other)
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row = row, [i]
        for j, y in enumerate(b, 1):
            row.append(min(last[j] + 1, row[-1] + 1, last[j - 1] + (x != y)))
    return row[-1] / max(len(a), len(b), 1)
