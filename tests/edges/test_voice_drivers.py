"""Voices of Windows and macOS by stand-ins of their drivers, under pyttsx3's real engine; none of it ran there."""

from __future__ import annotations

import io
import json
import struct
import sys
import types
import wave
from array import array
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from watchkeeper.edges.voice import worker as voice_worker
from watchkeeper.edges.voice.drivers import choose_voice, own_driver
from watchkeeper.edges.voice.files import make_ours, read_aiff
from watchkeeper.edges.voice.sound import RATE_HZ, read_sound
from watchkeeper.edges.voice.worker import Speaker, serve

TONE_HZ = 440.0


def tone(rate_hz: int, seconds: float = 1.0) -> np.ndarray[Any, np.dtype[np.int16]]:
    at_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return (12_000 * np.sin(2 * np.pi * TONE_HZ * at_s)).astype(np.int16)


def rate_80_bit(rate_hz: int) -> bytes:
    """IEEE 754 80-bit extended, as AIFF's COMM chunk has it: 44100 is 40 0E AC 44 00 ... (Apple's example)."""
    exponent = rate_hz.bit_length() - 1
    return struct.pack(">HQ", 16_383 + exponent, rate_hz << (63 - exponent))


def aiff(samples: Any, rate_hz: int, *, kind: bytes = b"AIFF", coding: bytes = b"", order: str = ">i2") -> bytes:
    data: bytes = samples.astype(order).tobytes()
    common = struct.pack(">hIh", 1, len(samples), 16) + rate_80_bit(rate_hz) + coding
    sound = struct.pack(">II", 0, 0) + data
    body: bytes = (
        b"COMM" + struct.pack(">I", len(common)) + common + b"SSND" + struct.pack(">I", len(sound)) + sound
    )
    return b"FORM" + struct.pack(">I", 4 + len(body)) + kind + body


class Voice:
    def __init__(self, name: str, *languages: Any) -> None:
        self.id = name
        self.name = name
        self.languages = list(languages)


VOICES = [Voice("anna", "de-DE"), Voice("daniel", "en_GB"), Voice("sam", "en-US"), Voice("none")]


def fake_driver(write: Any, calls: list[tuple[str, Any]]) -> types.ModuleType:
    """Return a driver as pyttsx3 has them: it is given commands, and tells when it is no longer busy."""

    class Driver:
        def __init__(self, proxy: Any) -> None:
            self._proxy = proxy

        def destroy(self) -> None:
            pass

        def getProperty(self, name: str) -> Any:  # noqa: N802  (pyttsx3's name)
            return VOICES if name == "voices" else None

        def setProperty(self, name: str, value: Any) -> None:  # noqa: N802  (pyttsx3's name)
            calls.append((name, value))

        def save_to_file(self, text: str, path: str) -> None:
            calls.append(("text", text))
            write(Path(path))

        def startLoop(self) -> None:  # noqa: N802  (pyttsx3's name)
            self._proxy.setBusy(False)

        def stop(self) -> None:
            pass

        def endLoop(self) -> None:  # noqa: N802  (pyttsx3's name)
            pass

    module = types.ModuleType("fake")
    module.buildDriver = Driver  # type: ignore[attr-defined]
    return module


def write_aiff(path: Path) -> None:
    path.write_bytes(aiff(tone(RATE_HZ), RATE_HZ))


def write_wav_44k_stereo(path: Path) -> None:
    both = np.repeat(tone(44_100), 2)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(44_100)
        file.writeframes(both.astype("<i2").tobytes())


def request(path: Path, language: str = "en-US") -> dict[str, Any]:
    return {"id": 1, "text": "Armed now", "path": str(path), "language": language, "rate_wpm": 175, "volume": 0.5}


@pytest.mark.parametrize(
    ("platform", "driver"),
    [("win32", "sapi5"), ("darwin", "nsss"), ("linux", "espeak"), ("freebsd14", "espeak")],
)
def test_the_driver_of_each_platform(platform: str, driver: str) -> None:
    """pyttsx3's own names (pyttsx3.engine._engines_by_sys_platform)."""
    assert own_driver(platform) == driver


@pytest.mark.parametrize(("platform", "write"), [("win32", write_wav_44k_stereo), ("darwin", write_aiff)])
def test_the_systems_own_voice_speaks_the_language_asked_for(
    platform: str, write: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[tuple[str, Any]] = []
    monkeypatch.setitem(sys.modules, f"pyttsx3.drivers.{own_driver(platform)}", fake_driver(write, calls))
    monkeypatch.setattr(voice_worker, "load_library", lambda _: pytest.fail("not needed"))
    path = tmp_path / "1.wav"
    assert Speaker(tmp_path, platform).speak(request(path)) == {"error": None, "language": "en-US"}
    assert calls == [("voice", "sam"), ("rate", 175), ("volume", 0.5), ("text", "Armed now")]
    samples = np.frombuffer(read_sound(path, "Armed now", 175), dtype="<i2").astype(float)
    spectrum = np.abs(np.fft.rfft(samples))
    assert np.argmax(spectrum) * RATE_HZ / len(samples) == pytest.approx(TONE_HZ, abs=2.0)
    assert len(samples) / RATE_HZ == pytest.approx(1.0, abs=0.15)


def refuse(_: Path) -> None:
    raise OSError("the driver fails")


def write_rubbish(path: Path) -> None:
    path.write_bytes(b"FORM\0\0\0\4AIFFCOMM\xff\xff\xff\xff")


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("write", [refuse, write_rubbish, write_aiff])
def test_without_a_voice_or_a_driver_espeak_speaks(
    language: str, write: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyttsx3.drivers.nsss", fake_driver(write, []))
    spoken: list[str] = []

    def espeak(asked: dict[str, Any], driver: Any) -> dict[str, str | None]:
        spoken.append(driver)
        return {"error": None, "language": asked["language"]}

    monkeypatch.setattr(voice_worker, "load_library", lambda _: "espeak")
    monkeypatch.setattr(voice_worker, "synthesise", espeak)
    speaker = Speaker(tmp_path, "darwin")
    for _ in range(2):
        assert speaker.speak(request(tmp_path / "1.wav", language))["language"] == language
    own_speaks = write is write_aiff and language == "en"
    assert spoken == ([] if own_speaks else ["espeak", "espeak"])


def test_a_driver_that_does_not_load_is_no_loss(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As it is here: there is no SAPI on this system."""
    monkeypatch.setattr(voice_worker, "load_library", lambda _: "espeak")
    monkeypatch.setattr(voice_worker, "synthesise", lambda *_: {"error": None, "language": "en"})
    assert Speaker(tmp_path, "win32").speak(request(tmp_path / "1.wav")) == {"error": None, "language": "en"}


@pytest.mark.parametrize(
    ("language", "chosen"),
    [("en-us", "sam"), ("en_US", "sam"), ("en", "daniel"), ("en-au", "daniel"), ("de", "anna"), ("fr", None),
     ("de+f3", "anna"), ("e", None)],
)  # fmt: skip
def test_voices_are_chosen_by_language(language: str, chosen: str | None) -> None:
    voice = choose_voice(VOICES, language)
    assert (voice.id if voice else None) == chosen


def test_espeaks_languages_are_read_too() -> None:
    """pyttsx3 gives them as bytes with a priority in front."""
    assert choose_voice([Voice("x", b"\x05en-gb")], "en-GB") is not None


def test_aiff_of_both_byte_orders_is_read_alike() -> None:
    samples = tone(8000, 0.01)
    wanted = samples.astype("<i2").tobytes()
    assert read_aiff(aiff(samples, 8000)) == (1, 2, 8000, wanted)
    sowt = aiff(samples, 44_100, kind=b"AIFC", coding=b"sowt\0\0", order="<i2")
    assert read_aiff(sowt) == (1, 2, 44_100, wanted)


@pytest.mark.parametrize(
    "raw",
    [b"", b"RIFF", b"FORM", b"FORM\0\0\0\4AIFF", aiff(tone(8000), 8000)[:50],
     aiff(tone(8000), 8000, kind=b"AIFC", coding=b"alaw\0\0")],
)  # fmt: skip
def test_files_of_another_kind_are_refused(raw: bytes, tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(raw)
    with pytest.raises((ValueError, wave.Error, EOFError)):
        make_ours(path)


def test_a_process_ends_after_so_many_callouts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(voice_worker, "most_memory_bytes", lambda: 0)  # a run of all tests is larger than a worker
    out = io.StringIO()
    lines = iter([json.dumps({"id": n}) for n in range(5)])
    serve(lines, out, lambda _: {"error": None, "language": "en"}, max_rendered=2)
    replies = [json.loads(line) for line in out.getvalue().splitlines()]
    assert replies == [
        {"ready": True},
        {"id": 0, "error": None, "language": "en"},
        {"id": 1, "error": None, "language": "en", "last": True},
    ]


def test_a_process_that_has_grown_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(voice_worker, "MAX_MEMORY_BYTES", 1_000_000)
    assert voice_worker.most_memory_bytes() > 1_000_000
    out = io.StringIO()
    serve(iter([json.dumps({"id": 7})] * 2), out, lambda _: {"error": None, "language": "en"})
    assert [json.loads(line).get("last") for line in out.getvalue().splitlines()] == [None, True]


def test_array_has_the_byte_order_that_files_have() -> None:
    """voice_sound reads WAV with array("h"): right on little-endian machines, all that are supported."""
    assert array("h", b"\x01\x00")[0] == 1
