"""Keeps the minder: a small process of its own that sounds if this one dies or hangs (process.py).

The watch's only word to it is a beat. It is in a session of its own and is given nothing of ours but two pipes,
so that no Ctrl-C reaches it and no terminal waits for it. If it dies or hangs itself, that is reported, and
another is started.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import structlog

from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.minder.process import BEAT, DISMISS, SIZE_BYTES
from watchkeeper.edges.minder.sound import prepare
from watchkeeper.edges.reports import Report
from watchkeeper.edges.voice.synthesiser import worker_environment

PART = "minder"
LOST = "Minder ended. Another is started."
NO_MINDER = "No minder. Nothing will sound if the watch stops."
WORDLESS = "Minder has no words. It only sounds."
WORDS: Mapping[str, str] = {
    "died": "Caution. Watch. Stopped. Fly without it.",
    "hung": "Caution. Watch. Hangs. Fly without it.",
}
BEAT_EVERY_S = 0.5
SILENT_S = 10.0
"""A minder that has answered no beat for this long hangs."""
READY_WITHIN_S = 30.0
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 30.0
ENDS_WITHIN_S = 0.5
STARTED_FILE = "watch-started"


def minder_command() -> list[str]:
    """Return the command that starts a minder."""
    return [sys.executable, "-P", "-m", "watchkeeper.edges.minder.process"]


class Minder:
    """One minder after another for as long as the watch runs; `run` is one of the watch's tasks."""

    def __init__(
        self,
        report: Report,
        voice: VoiceOptions,
        folder: Path,
        *,
        words: Mapping[str, str] = WORDS,
        command: Sequence[str] | None = None,
    ) -> None:
        """`folder` keeps the mark by which a minder that sounds sees that a watch runs again."""
        self._report = report
        self._voice = voice
        self._marker = folder / STARTED_FILE
        self._words = words
        self._command = minder_command() if command is None else list(command)
        self._process: subprocess.Popen[bytes] | None = None
        self._ended = asyncio.Event()
        self._heard_s = 0.0
        self._ready = False
        self._lost = False

    @property
    def pid(self) -> int | None:
        """The minder's process, if one runs."""
        return self._process.pid if self._process is not None else None

    def announce(self) -> None:
        """Let minders of earlier watches be silent: a watch runs again."""
        with contextlib.suppress(OSError):  # then they go on to their end
            self._marker.parent.mkdir(parents=True, exist_ok=True)
            self._marker.write_text(f"{os.getpid()} {time.time_ns()}\n", encoding="ascii")

    async def run(self) -> None:
        """Keep a minder until cancelled. It is left running then: only `dismiss` is a clean end."""
        sounds, fault = await prepare(self._words, self._voice)
        if fault:
            structlog.get_logger().warning("no words for the minder", error=fault)
            self._report(PART, False, WORDLESS)
        pause_s = FIRST_PAUSE_S
        while True:
            began_s = time.monotonic()
            try:
                self._start(sounds)
            except OSError:
                self._say_lost(NO_MINDER)
            else:
                await self._beat()
                await self._kill()
                self._say_lost(LOST)
            if time.monotonic() - began_s > LONGEST_PAUSE_S:
                pause_s = FIRST_PAUSE_S
            await asyncio.sleep(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    async def dismiss(self) -> None:
        """Tell the minder that this is a clean end, and see it go. Only after `run` has ended."""
        process = self._process
        if process is None or process.stdin is None:
            return
        with contextlib.suppress(OSError):
            process.stdin.write(DISMISS)
        await self._gone()
        await self._kill()

    def _start(self, sounds: Mapping[str, bytes]) -> None:
        """Start a process, and a thread that talks with it: not every system can wait for it otherwise."""
        asked = json.dumps({
            "words": dict(self._words),
            "sounds": {key: len(sound) for key, sound in sounds.items()},
            "terminal": _terminal(),
            "marker": str(self._marker.absolute()),
        }).encode()  # fmt: skip
        process = subprocess.Popen(  # noqa: S603  (our own module by this interpreter)
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env=worker_environment(),
            start_new_session=True,
        )
        self._process = process
        self._ended.clear()
        self._ready = False
        self._heard_s = time.monotonic()
        given = b"".join((len(asked).to_bytes(SIZE_BYTES, "big"), asked, *sounds.values()))
        talking = (asyncio.get_running_loop(), process, given)
        threading.Thread(target=self._talk, args=talking, name="minder", daemon=True).start()

    def _talk(self, loop: asyncio.AbstractEventLoop, process: subprocess.Popen[bytes], given: bytes) -> None:
        """Run in a thread: give a minder what it needs, hand on what it says, reap it after its last word."""
        assert process.stdin is not None
        assert process.stdout is not None
        with contextlib.suppress(OSError):  # gone already, which is seen at once
            while given:
                given = given[process.stdin.write(given) or 0 :]
            os.set_blocking(process.stdin.fileno(), False)
        while data := process.stdout.read(4096):
            with contextlib.suppress(RuntimeError):  # the loop has ended
                loop.call_soon_threadsafe(self._heard, process, data)
        process.wait()
        process.stdout.close()
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(self._heard, process, b"")

    def _heard(self, process: subprocess.Popen[bytes], data: bytes) -> None:
        if process is not self._process:
            return
        self._heard_s = time.monotonic()
        if not data:
            self._ended.set()
        elif not self._ready:
            self._ready = True
            if self._lost:
                self._lost = False
                self._report(PART, True, "a minder is there again")

    async def _beat(self) -> None:
        """Beat until the minder has ended or hangs."""
        assert self._process is not None
        assert self._process.stdin is not None
        look_s = time.monotonic()
        while not self._ended.is_set():
            before_s, look_s = look_s, time.monotonic()
            if look_s - before_s > SILENT_S / 2:  # this process stood still, and has not read the answers yet
                self._heard_s = look_s
            silent_s = time.monotonic() - self._heard_s
            if silent_s > (SILENT_S if self._ready else READY_WITHIN_S):
                return
            if self._ready:  # until then a thread writes, which may wait
                with contextlib.suppress(OSError):  # full or closed: its silence tells
                    self._process.stdin.write(BEAT)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(BEAT_EVERY_S):
                    await self._ended.wait()

    async def _kill(self) -> None:
        process = self._process
        if process is None:
            return
        process.kill()
        await self._gone()
        self._process = None
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()

    async def _gone(self) -> None:
        """Wait until the process has ended and been reaped, for as long as that may take."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(ENDS_WITHIN_S):
                await self._ended.wait()

    def _say_lost(self, text: str) -> None:
        if not self._lost:
            self._lost = True
            self._report(PART, False, text)


def _terminal() -> str | None:
    """Return the path of the terminal that this program was started from."""
    try:
        return os.ttyname(2)
    except (OSError, AttributeError):
        return None
