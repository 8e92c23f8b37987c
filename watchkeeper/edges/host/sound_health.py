"""Tells when what we play is not heard: by what the computer says of its sound, and by a device that stops asking.

Nothing of the computer's sound is ever changed.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import structlog

from watchkeeper.edges.host import sound as host_sound
from watchkeeper.edges.host.sound import LEAST_VOLUME_PCT, Ask, HostSound
from watchkeeper.edges.reports import Report

PART, DEVICE_PART = "sound", "sound-device"
MUTED = "Sound muted on this computer. Callouts are not heard here."
LOW = "Sound too low on this computer. Turn it up."
NOBODY_HEARS = "No loudspeaker connected. Callouts are not heard here."
CHANGED = "Sound device changed. Check that callouts are heard."
LOOK_EVERY_S = 2.0
ANSWERS_WITHIN_S = 2.0
MAX_ANSWER_BYTES = 4_000_000
CHANGE_TOLD_FOR_S = 10.0
STALLED_S = 3.0
"""A device asks every 20 ms; one that has not for this long has gone, or plays nothing."""


async def ask(command: Sequence[str]) -> str | None:
    """Return what a program of the sound system prints; None if it is not there, fails, hangs or never ends."""
    nowhere = asyncio.subprocess.DEVNULL
    try:
        process = await asyncio.create_subprocess_exec(
            *command,
            stdin=nowhere,
            stdout=asyncio.subprocess.PIPE,
            stderr=nowhere,
            env={**os.environ, "LC_ALL": "C"},
            start_new_session=True,
        )
    except OSError:
        return None
    assert process.stdout is not None
    text = bytearray()
    try:
        async with asyncio.timeout(ANSWERS_WITHIN_S):
            while part := await process.stdout.read(65_536):
                text += part
                if len(text) > MAX_ANSWER_BYTES:
                    return None
            return text.decode("utf-8", "replace") if await process.wait() == 0 else None
    except TimeoutError:
        return None
    finally:
        if process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(ANSWERS_WITHIN_S):
                    await process.wait()


def trouble(sound: HostSound) -> str | None:
    """Return the words for what keeps callouts from being heard, the gravest first."""
    if not sound.connected:
        return NOBODY_HEARS
    if sound.muted:
        return MUTED
    return LOW if sound.volume_pct < LEAST_VOLUME_PCT else None


@dataclass(slots=True)
class SoundWatch:
    """Looks every LOOK_EVERY_S; `run` is one of the watch's tasks where there is a voice."""

    report: Report
    ask: Ask = ask
    now_s: Callable[[], float] = time.monotonic
    _told: str | None = None
    _device: str = ""
    _changed_s: float | None = None
    _readable: bool = True

    async def run(self) -> None:
        """Look until cancelled."""
        while True:
            self.take(await host_sound.read(self.ask, os.getpid(), os.environ))
            await asyncio.sleep(LOOK_EVERY_S)

    def take(self, sound: HostSound | None) -> None:
        """Report what is new in what was read; what cannot be read any more stands as it was."""
        if sound is None:
            if self._readable:
                self._readable = False
                structlog.get_logger().info("mute and volume of this computer cannot be read")
            return
        self._readable = True
        found = trouble(sound)
        if found != self._told:
            if self._told is not None:
                self.report(PART, True, "sound of this computer is on")
            if found is not None:
                self.report(PART, False, found)
            self._told = found
        self._follow(sound.device)

    def _follow(self, device: str) -> None:
        now_s = self.now_s()
        if self._changed_s is not None and now_s - self._changed_s >= CHANGE_TOLD_FOR_S:
            self._changed_s = None
            self.report(DEVICE_PART, True, "told")
        if device and self._device and device != self._device:
            if self._changed_s is None:
                self.report(DEVICE_PART, False, CHANGED)
            self._changed_s = now_s
        self._device = device or self._device


class Asking(Protocol):
    """What a player must tell: when its device last asked for samples, by time.monotonic."""

    @property
    def asked_s(self) -> float:
        """Return that time."""


async def stalls(player: Asking, lost: asyncio.Event, *, stalled_s: float = STALLED_S) -> bool:
    """Wait until `lost` is set (False), or the device has not asked for `stalled_s` (True)."""
    began_s = time.monotonic()
    while not lost.is_set():
        if time.monotonic() - max(player.asked_s, began_s) > stalled_s:
            return True
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(stalled_s / 6):
                await lost.wait()
    return False
