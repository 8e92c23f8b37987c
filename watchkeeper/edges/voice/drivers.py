"""Which of pyttsx3's drivers speaks on which system, and which of its voices speaks a language.

Linux: eSpeak NG out of its wheel. Windows: SAPI 5, the system's own voices. macOS: NSSpeechSynthesizer's. Where
the system's own has no voice of the language, or does not load, eSpeak NG speaks: its wheel is for all three.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable
from typing import Any, Protocol

ESPEAK, SAPI, NSSS = "espeak", "sapi5", "nsss"
_OWN = {"win32": SAPI, "darwin": NSSS}


class VoiceOfDriver(Protocol):
    """pyttsx3.voice.Voice, as far as it is used here."""

    id: Any
    languages: list[Any]


def own_driver(platform: str = sys.platform) -> str:
    """Return the name of the driver for the system's own voices."""
    return _OWN.get(platform, ESPEAK)


def choose_voice(voices: Iterable[VoiceOfDriver], language: str) -> VoiceOfDriver | None:
    """Return a voice of `language` ("en", "en-us"): of that region, else of the language, else None."""
    wanted = _tag(language.split("+", maxsplit=1)[0])  # what follows is a variant of eSpeak NG's
    same: VoiceOfDriver | None = None
    for voice in voices:
        tags = [_tag(one) for one in voice.languages if one]
        if wanted in tags:
            return voice
        if same is None and any(tag.split("-")[0] == wanted.split("-")[0] for tag in tags):
            same = voice
    return same


def _tag(language: Any) -> str:
    """Return "en-us" for "en_US", "en-US", and eSpeak NG's bytes with a priority before them."""
    text = language.decode("ascii", "replace") if isinstance(language, bytes) else str(language)
    return re.sub(r"[^a-z0-9-]", "", text.lower().replace("_", "-"))


def speak_to_file(driver: str, request: dict[str, Any]) -> dict[str, str | None]:
    """Have the system's own voice write `request` to its path. Returns the reply of voice_worker.

    What it writes is of its own kind; voice_files makes it ours. Raises LookupError if it has no voice of the
    language, and whatever the driver raises.
    """
    from pyttsx3.engine import Engine  # noqa: PLC0415  (loads what only the worker needs)

    engine = Engine(driver)
    errors: list[str] = []
    engine.connect("error", lambda name, exception: errors.append(repr(exception)))  # noqa: ARG005  (its names)
    language = str(request["language"])
    voice = choose_voice(engine.getProperty("voices"), language)
    if voice is None:
        raise LookupError(f"no voice for {language}")
    engine.setProperty("voice", voice.id)
    engine.setProperty("rate", int(request["rate_wpm"]))
    engine.setProperty("volume", float(request["volume"]))
    engine.save_to_file(str(request["text"]), str(request["path"]))
    engine.runAndWait()
    return {"error": errors[0] if errors else None, "language": language}
