"""What is played, sample by sample: one sound or silence, and a fade wherever a sound is cut off."""

from __future__ import annotations

import asyncio
import contextlib
import math
from array import array
from typing import Protocol

from watchkeeper.edges.voice.sound import RATE_HZ

FADE = RATE_HZ // 125
"""Samples (8 ms) over which sound that is cut off fades, so that the cut does not click."""
_FADING = [0.5 + 0.5 * math.cos(math.pi * (i + 1) / FADE) for i in range(FADE)]


class Sounding(Protocol):
    """Where callouts sound: a sound device, or a stream that others listen to."""

    absent: str
    """Why nothing sounds while it is not open."""

    @property
    def is_open(self) -> bool:
        """What is played now may be heard."""

    @property
    def others(self) -> tuple[str, ...] | None:
        """None while it is what was wished for; else the names of those that there are instead."""

    @property
    def asked_s(self) -> float:
        """When samples were last asked for, by time.monotonic."""

    async def open(self) -> None:
        """Get ready to play. Raises NoDeviceError."""

    async def wished_device_is_there(self) -> bool:
        """Return whether what was wished for could be opened now."""

    def play(self, sound: bytes) -> asyncio.Future[None]:
        """Play samples from now on, instead of what is being played. The future ends with the last of them."""

    def stop(self) -> None:
        """Be silent as soon as can be."""

    async def close(self) -> None:
        """Give back what was opened."""


class _Track:
    """What is being played. Only whoever takes the samples moves `at`."""

    __slots__ = ("at", "done", "loop", "sound")

    def __init__(self, sound: bytes, loop: asyncio.AbstractEventLoop) -> None:
        self.sound = sound
        self.at = 0
        self.loop = loop
        self.done: asyncio.Future[None] = loop.create_future()

    def take(self, size: int) -> bytes:
        part = self.sound[self.at : self.at + size]
        self.at += len(part)
        if self.at >= len(self.sound):
            with contextlib.suppress(RuntimeError):  # the loop has ended: nobody waits
                self.loop.call_soon_threadsafe(self._finish)
        return part

    def fade(self) -> bytes:
        """Return what remains to be heard of a track that is cut off."""
        rest = array("h", self.sound[self.at : self.at + 2 * FADE])
        self.at = len(self.sound)
        return array("h", map(int, map(float.__mul__, _FADING, map(float, rest)))).tobytes()

    def _finish(self) -> None:
        if not self.done.done():
            self.done.set_result(None)


class Mix:
    """One sound at a time. `play` and `stop` on the event loop, `take` in one thread, which may be another."""

    def __init__(self) -> None:
        self._wanted: _Track | None = None
        self._playing: _Track | None = None
        self._fading = b""

    @property
    def busy(self) -> bool:
        """Something sounds, or is about to."""
        track = self._wanted
        return bool(self._fading) or (track is not None and track.at < len(track.sound))

    def play(self, sound: bytes) -> asyncio.Future[None]:
        """Play samples from the next `take` on. The future ends with the last of them; never, if cut off."""
        track = _Track(sound, asyncio.get_running_loop())
        self._wanted = track
        return track.done

    def stop(self) -> None:
        """Fade away from the next `take` on."""
        self._wanted = None

    def take(self, frames: int) -> bytes:
        """Return the next samples; silence where nothing is played."""
        size = 2 * frames
        wanted = self._wanted
        if self._playing is not None and self._playing is not wanted:
            self._fading += self._playing.fade()
        self._playing = wanted
        part, self._fading = self._fading[:size], self._fading[size:]
        if wanted is not None and wanted.at < len(wanted.sound):
            part += wanted.take(size - len(part))
        return part.ljust(size, b"\0")
