"""Makes what another system's voice wrote (WAV, or AIFF on macOS) into a WAV file as voice_sound reads it."""

from __future__ import annotations

import struct
import wave
from pathlib import Path

import miniaudio

from watchkeeper.edges.voice.sound import MAX_WAV_BYTES, RATE_HZ

_KINDS = {
    1: miniaudio.SampleFormat.UNSIGNED8,
    2: miniaudio.SampleFormat.SIGNED16,
    3: miniaudio.SampleFormat.SIGNED24,
    4: miniaudio.SampleFormat.SIGNED32,
}
_BIAS = 16_383
"""Of the exponent in AIFF's 80-bit rate."""


def make_ours(path: Path) -> None:
    """Rewrite the file as mono 16-bit WAV at RATE_HZ. Raises ValueError if it is neither kind, OSError."""
    raw = path.read_bytes()
    if len(raw) > MAX_WAV_BYTES:
        raise ValueError("the sound is far too long")
    if raw[:4] == b"RIFF":
        with wave.open(str(path), "rb") as file:
            channels, width, rate_hz = file.getnchannels(), file.getsampwidth(), file.getframerate()
            samples = file.readframes(file.getnframes())
        if (channels, width, rate_hz) == (1, 2, RATE_HZ):
            return
    else:
        channels, width, rate_hz, samples = read_aiff(raw)
    if width not in _KINDS or not channels or not rate_hz:
        raise ValueError("sound of another kind")
    ours = miniaudio.convert_frames(
        _KINDS[width], channels, rate_hz, samples, miniaudio.SampleFormat.SIGNED16, 1, RATE_HZ
    )
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(bytes(ours))


def read_aiff(raw: bytes) -> tuple[int, int, int, bytes]:
    """Return channels, bytes a sample, rate in Hz and little-endian samples of an AIFF or AIFF-C file.

    The form is Apple's "Audio Interchange File Format" 1.3; of AIFF-C what is not compressed. Raises ValueError.
    """
    if raw[:4] != b"FORM" or raw[8:12] not in (b"AIFF", b"AIFC"):
        raise ValueError("neither WAV nor AIFF")
    common, sound, little = b"", b"", False
    at = 12
    while at + 8 <= len(raw):
        name, size = struct.unpack_from(">4sI", raw, at)
        body = raw[at + 8 : at + 8 + size]
        if name == b"COMM":
            common = body
        elif name == b"SSND" and len(body) >= 8:
            sound = body[8 + struct.unpack_from(">I", body)[0] :]
        at += 8 + size + size % 2
    if len(common) < 18 or not sound:
        raise ValueError("an AIFF file without sound")
    channels, _, bits = struct.unpack_from(">hIh", common)
    exponent, mantissa = struct.unpack_from(">HQ", common, 8)
    rate_hz = round(mantissa * 2.0 ** (exponent - _BIAS - 63)) if exponent < _BIAS + 32 else 0
    if raw[8:12] == b"AIFC" and common[18:22] not in (b"NONE", b"twos", b"sowt"):
        raise ValueError("a compressed AIFF file")
    little = common[18:22] == b"sowt" and raw[8:12] == b"AIFC"
    width = (bits + 7) // 8
    if not 1 <= channels <= 8 or not 1 <= width <= 4:
        raise ValueError("sound of another kind")
    sound = sound[: len(sound) // width * width]
    if width == 1:  # signed in AIFF, unsigned in WAV
        return channels, width, rate_hz, bytes(byte ^ 0x80 for byte in sound)
    if not little:
        turned = bytearray(len(sound))
        for n in range(width):
            turned[n::width] = sound[width - 1 - n :: width]
        sound = bytes(turned)
    return channels, width, rate_hz, sound
