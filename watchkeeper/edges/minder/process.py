"""The minder's own process: sounds, and says so, when the watch that started it dies or hangs.

It is held by two pipes and needs nothing else of the watch: no synthesiser, no file. Standard input: a size in
SIZE_BYTES, JSON of that size, {"words": {"died", "hung"}, "sounds": their sizes, "terminal", "marker"},
the sounds' samples (voice_sound), then a BEAT every half second; a DISMISS ends it without a sound. The end of
standard input is the death of the watch, by whatever cause. Standard output: READY, then a beat for a beat, so
that the watch sees that it lives.

The sound device is open only while something sounds. It sounds REPEATS times; earlier it ends when a watch has
been started again (the marker file has changed) or by TERM.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from watchkeeper.edges.voice.player import NoDeviceError, Player
from watchkeeper.edges.voice.sound import RATE_HZ

SIZE_BYTES = 4
READY, BEAT, DISMISS = b"r", b".", b"q"
HUNG_AFTER_S = 5.0
"""The watch's loop is never held up by a tenth of this; a machine that is short of everything may be."""
LOOK_EVERY_S = 0.25
HELD_UP_S = 1.0
"""A look that comes this much late tells that this process stood still as well (the computer slept)."""
REPEAT_EVERY_S = 10.0
REPEATS = 6
NO_DEVICE_PAUSE_S = 2.0
GIVE_UP_AFTER_S = 300.0
"""Without a sound device: how long one is looked for."""
TAIL_S = 0.3
"""What a device has been given and has not played yet."""


class Minder:
    """Listens to one watch and sounds for it. `sounds` by "died" and "hung"."""

    def __init__(self, sounds: Mapping[str, bytes], words: Mapping[str, str], terminal: str, marker: str) -> None:
        self.dead = asyncio.Event()
        self._sounds = sounds
        self._words = words
        self._terminal = terminal
        self._marker = Path(marker)
        self._dismissed = False
        self._last_beat_s = time.monotonic()
        self._news = asyncio.Event()

    def heard(self, data: bytes) -> None:
        """Take what came from the watch; nothing at all is its end. On the event loop."""
        if DISMISS in data:
            self._dismissed = True
        if not data:
            self.dead.set()
        self._last_beat_s = time.monotonic()
        self._news.set()

    async def run(self) -> None:
        """Mind the watch to its end, and sound for it."""
        while not self.dead.is_set() and not self._dismissed:
            look_s = time.monotonic()
            await self._pause(LOOK_EVERY_S)
            now_s = time.monotonic()
            if now_s - look_s > LOOK_EVERY_S + HELD_UP_S:
                self._last_beat_s = now_s
            elif now_s - self._last_beat_s >= HUNG_AFTER_S:
                await self._hung()
        if not self._dismissed:
            await self._died()

    async def _hung(self) -> None:
        since_s = self._last_beat_s
        self._write("hung")
        await self._repeat("hung", lambda: self._last_beat_s != since_s)
        while self._last_beat_s == since_s:
            await self._pause(LOOK_EVERY_S)

    async def _died(self) -> None:
        before = self._started()
        self._write("died")
        await self._repeat("died", lambda: self._started() != before)

    async def _repeat(self, what: str, over: Callable[[], bool]) -> None:
        sounded = 0
        begin_s = time.monotonic()
        while sounded < REPEATS and not over() and time.monotonic() - begin_s < GIVE_UP_AFTER_S:
            began_s = time.monotonic()
            heard = await self._sound(what, over)
            sounded += heard
            next_s = began_s + (REPEAT_EVERY_S if heard else NO_DEVICE_PAUSE_S)
            while not over() and time.monotonic() < next_s and sounded < REPEATS:
                await self._pause(LOOK_EVERY_S)

    async def _sound(self, what: str, over: Callable[[], bool]) -> bool:
        """Play to the end, or until it is over. Returns whether a device played it."""
        sound = self._sounds[what]
        player = Player()
        try:
            await player.open()
            playing = player.play(sound)
            end_s = time.monotonic() + len(sound) / 2 / RATE_HZ + 1.5
            while not playing.done() and not over() and time.monotonic() < end_s:
                await asyncio.wait([playing], timeout=LOOK_EVERY_S / 5)
            if playing.done():
                await asyncio.sleep(TAIL_S)
            return playing.done() or over()
        except NoDeviceError:
            return False
        finally:
            await player.close()

    async def _pause(self, length_s: float) -> None:
        self._news.clear()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(length_s):
                await self._news.wait()

    def _started(self) -> bytes:
        """Return what the last watch that was started left; nothing if none did."""
        try:
            return self._marker.read_bytes()[:100]
        except OSError:
            return b""

    def _write(self, what: str) -> None:
        """Say it on the watch's terminal too, which is held only for this moment and never waited for."""
        if not self._terminal:
            return
        # what stands below of a status is not true any more
        below = "" if os.environ.get("TERM", "dumb") in ("", "dumb") else "\x1b[J"
        line = f"\r\n{below}\a{self._words[what]} (kill {os.getpid()} ends the sound)\r\n".encode()
        with contextlib.suppress(OSError):
            flags = os.O_WRONLY | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_NONBLOCK", 0)
            terminal = os.open(self._terminal, flags)
            try:
                os.write(terminal, line)
            finally:
                os.close(terminal)


def _read(loop: asyncio.AbstractEventLoop, minder: Minder) -> None:
    """Carry beats to the loop, and back. In a thread: not every system can wait for a pipe otherwise."""
    while True:
        try:
            data = os.read(0, 4096)
        except OSError:
            data = b""
        with contextlib.suppress(RuntimeError):  # the loop has ended
            loop.call_soon_threadsafe(minder.heard, data)
        if not data:
            return
        with contextlib.suppress(OSError):  # nobody reads any more: its end will be read next
            os.write(1, data)


def _exactly(count: int) -> bytes:
    """Read so many bytes; fewer if the watch ends before."""
    parts = bytearray()
    while len(parts) < count and (part := os.read(0, count - len(parts))):
        parts += part
    return bytes(parts)


async def _mind(asked: Mapping[str, Any], sounds: Mapping[str, bytes]) -> None:
    minder = Minder(sounds, asked["words"], asked["terminal"] or "", asked["marker"])
    reading = (asyncio.get_running_loop(), minder)
    threading.Thread(target=_read, args=reading, name="the watch", daemon=True).start()
    await minder.run()


def main() -> None:
    """Run the process."""
    size = int.from_bytes(_exactly(SIZE_BYTES), "big")
    head = _exactly(size)
    if not size or len(head) < size:
        return
    asked = json.loads(head)
    sounds = {key: _exactly(count) for key, count in asked["sounds"].items()}
    os.chdir(os.sep)  # holds no folder of anybody's
    with contextlib.suppress(OSError):
        os.write(1, READY)
    asyncio.run(_mind(asked, sounds))
    os._exit(0)  # a sound system that hangs in a thread of its own holds nothing up


if __name__ == "__main__":
    main()
