"""The outlet that speaks: callouts one at a time, most urgent first, on the computer's sound device."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Literal

import miniaudio
import structlog

from watchkeeper.alerts.callqueue import Call, CallQueue, Unspoken
from watchkeeper.alerts.events import Happening
from watchkeeper.alerts.spoken import ENGLISH_NUMERALS, NumberStyle, Numerals, spell_numbers
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.outlets import Delivered
from watchkeeper.edges.reports import Report
from watchkeeper.edges.voice_player import NoDeviceError, Player
from watchkeeper.edges.voice_sound import RATE_HZ, VoiceError
from watchkeeper.edges.voice_synthesiser import TIMEOUT_S, Synthesiser

NO_DEVICE = "No sound device. Callouts are not heard here."
DEVICE_STOPPED = "Sound device stopped. Callouts are not heard here."
NO_WORDS = "Voice failed. Callouts are not heard here."
PROBE = "Watch."
"""Rendered to find out whether a synthesiser that failed works again."""
PROBE_EVERY_S = 5.0
REOPEN_EVERY_S = 30.0
STALLED_AFTER_S = 1.5
"""A device that is this much later than the length of what it plays has stopped."""


def _monotonic_us() -> int:
    return time.monotonic_ns() // 1000


class Voice:
    """Speaks callouts. Bounded by the queue's bound; every callout ends with one word to `delivered`.

    "spoken", "cut off" (its alert ended, or a warning came), "dropped" (not begun, and why) or "failed".
    """

    name = "voice"

    def __init__(
        self,
        report: Report,
        delivered: Delivered,
        options: VoiceOptions | None = None,
        *,
        backends: Sequence[miniaudio.Backend] | None = None,
        worker: Sequence[str] | None = None,
        numbers: NumberStyle = NumberStyle.DIGITS,
        numerals: Numerals = ENGLISH_NUMERALS,
        timeout_s: float = TIMEOUT_S,
        now_us: Callable[[], int] = _monotonic_us,
    ) -> None:
        """`backends`, `worker` (the synthesiser's command) and the times are for tests."""
        self._report = report
        self._delivered = delivered
        self._numbers = numbers
        self._numerals = numerals
        self._now_us = now_us
        self._queue = CallQueue()
        self._player = Player(backends)
        self._options = options or VoiceOptions()
        self.synthesiser = Synthesiser(self._options, command=worker, timeout_s=timeout_s)
        self._came = asyncio.Event()
        self._stopping: asyncio.Event | None = None
        self._device_tried = asyncio.Event()
        self._device_lost = asyncio.Event()
        self._faults: dict[str, str] = {}

    def put(self, item: Happening) -> None:
        """Take what happened: a callout to speak, or the end of one. What is to stop is silent from here on."""
        effect = self._queue.offer(item, self._now_us())
        if effect.stop:
            self._player.stop()
            if self._stopping is not None:
                self._stopping.set()
        self._ended(effect.ended)
        self._came.set()

    async def run(self) -> None:
        """Speak until cancelled."""
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._keep_device(), name="sound device")
                group.create_task(self._speak(), name="callouts")
        finally:
            self._device_tried.clear()
            self._ended(self._queue.clear("the voice ended"))
            await asyncio.gather(self._player.close(), self.synthesiser.close())

    async def _keep_device(self) -> None:
        while True:
            try:
                await self._player.open()
            except NoDeviceError as error:
                if "device" not in self._faults:
                    structlog.get_logger().debug("no sound device", error=str(error))
                    self._fault("device", NO_DEVICE)
                self._device_tried.set()
                await asyncio.sleep(REOPEN_EVERY_S)
                continue
            self._device_lost.clear()
            self._device_tried.set()
            self._works("device")
            await self._device_lost.wait()
            await asyncio.sleep(STALLED_AFTER_S)

    async def _speak(self) -> None:
        with contextlib.suppress(VoiceError):  # it is started again, and reported, with the first callout
            await self.synthesiser.start()
        await self._device_tried.wait()
        while True:
            self._came.clear()
            call, late = self._queue.take(self._now_us())
            self._ended(late)
            if call is None:
                await self._wait()
            elif not self._player.is_open:
                self._end(call, "dropped", "no sound device")
            else:
                await self._say(call)

    async def _wait(self) -> None:
        """Wait for the next callout; meanwhile try a synthesiser that failed."""
        try:
            async with asyncio.timeout(PROBE_EVERY_S if "words" in self._faults else None):
                await self._came.wait()
        except TimeoutError:
            with contextlib.suppress(VoiceError):
                await self.synthesiser.sound(PROBE, cached=False)
                self._works("words")

    async def _say(self, call: Call) -> None:
        began_us = self._now_us()
        words = spell_numbers(call.words, self._numbers, self._numerals)
        self._stopping = asyncio.Event()
        stopping = asyncio.ensure_future(self._stopping.wait())
        rendering = asyncio.ensure_future(self.synthesiser.sound(words))
        working: set[asyncio.Future[Any]] = {rendering, stopping}
        try:
            await asyncio.wait(working, return_when=asyncio.FIRST_COMPLETED)
            if self._stopping.is_set():
                return
            sound = rendering.result()
            self._works("words")
            if self.synthesiser.language not in (None, self._options.language):
                self._fault("language", f"No voice for {self._options.language}. Speaking English.")
            now_us = self._now_us()
            if self._queue.too_old(call, now_us):
                self._end(call, "dropped", "too old to be true")
                return
            await self._play(call, sound, stopping, f"after {(now_us - began_us) / 1e6:.3f} s of rendering")
        except VoiceError as error:
            self._end(call, "failed", str(error))
            self._fault("words", NO_WORDS)
        finally:
            self._player.stop()
            self._stopping = None
            stopping.cancel()
            rendering.cancel()
            await asyncio.gather(*working, return_exceptions=True)

    async def _play(self, call: Call, sound: bytes, stopping: asyncio.Future[Literal[True]], detail: str) -> None:
        playing = self._player.play(sound)
        limit_s = len(sound) / 2 / RATE_HZ + STALLED_AFTER_S
        waiting: set[asyncio.Future[Any]] = {playing, stopping}
        await asyncio.wait(waiting, timeout=limit_s, return_when=asyncio.FIRST_COMPLETED)
        if self._queue.speaking is not call:  # stopped, and already told
            return
        if playing.done():
            self._end(call, "spoken", detail)
            return
        self._end(call, "failed", "the sound device stopped")
        self._fault("device", DEVICE_STOPPED)
        self._device_lost.set()
        await self._player.close()

    def _end(self, call: Call, outcome: str, detail: str) -> None:
        self._queue.finish(spoken=outcome == "spoken")
        self._delivered(call.item, outcome, detail)

    def _ended(self, unspoken: Iterable[Unspoken]) -> None:
        for one in unspoken:
            self._delivered(one.item, one.outcome, one.detail)

    def _fault(self, part: str, text: str) -> None:
        if self._faults.get(part) != text:
            self._faults[part] = text
            self._report(self.name, False, text)

    def _works(self, part: str) -> None:
        if self._faults.pop(part, None) is not None and not self._faults:
            self._report(self.name, True, "voice works again")
