"""The outlet that speaks: callouts one at a time, most urgent first, on a sound device or whatever plays.

A warning or caution begins with its attention sound, which needs no rendering and starts at once; meanwhile its
words are rendered, if they are not there already. Should they not come in time, "Look at the screen" stands in
for them (or, where even that is missing, the attention sound again), and they follow when they come.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeAlias

import miniaudio
import structlog

from watchkeeper.alerts.callqueue import Call, CallQueue, Unspoken
from watchkeeper.alerts.events import AlertChange, Happening, RoutineCall
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.spoken import spell_numbers
from watchkeeper.edges.clock import steady_us
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.host.sound_health import stalls
from watchkeeper.edges.outlets import Delivered
from watchkeeper.edges.reports import Report
from watchkeeper.edges.voice.attention import PAUSE_S, STAND_IN, attention_sound, silence, with_attention
from watchkeeper.edges.voice.mix import Sounding
from watchkeeper.edges.voice.player import NoDeviceError, Player
from watchkeeper.edges.voice.sound import RATE_HZ, VoiceError
from watchkeeper.edges.voice.synthesiser import TIMEOUT_S, Synthesiser

NO_DEVICE = "No sound device. Callouts are not heard here."
DEVICE_STOPPED = "Sound device stopped. Callouts are not heard here."
NO_WORDS = "Voice failed. Callouts are not heard here."
RESTARTED = "Voice failed and was started again. A callout came late."
PROBE = "Watch."
"""Rendered to find out whether a synthesiser that failed works again."""
PROBE_EVERY_S = 5.0
REOPEN_EVERY_S = 5.0
WORDS_WITHIN_S = 0.3
"""After attention sound and pause: then something else is said, for words are to follow within 0.5 s."""
WORDED_FOR_US = 2_000_000
"""A callout that has waited for longer is worded anew: the numbers in it have changed."""
AHEAD_EVERY_S = 0.1
"""Between callouts rendered ahead: no more than a third of one core, and for seconds only."""
STALLED_AFTER_S = 1.5
"""A device that is this much later than the length of what it plays has stopped."""


Reword: TypeAlias = Callable[[AlertChange | RoutineCall], str | None]
"""reword(item): its words with the readings as they are now; None if there are none."""


class Voice:
    """Speaks callouts. Bounded by the queue's bound; every callout ends with one word to `delivered`.

    "spoken", "cut off" (its alert ended, or a warning came), "dropped" (not begun, and why) or "failed".
    """

    def __init__(
        self,
        report: Report,
        delivered: Delivered,
        options: VoiceOptions | None = None,
        *,
        name: str = "voice",
        player: Sounding | None = None,
        troubles: Mapping[str, str] = {},
        language: Language = ENGLISH,
        ahead: Sequence[str] = (),
        reword: Reword = lambda _: None,
        backends: Sequence[miniaudio.Backend] | None = None,
        worker: Sequence[str] | None = None,
        timeout_s: float = TIMEOUT_S,
        now_us: Callable[[], int] = steady_us,
    ) -> None:
        """Speak on the computer's sound device, or where `player` plays; then `troubles` has other words for ours.

        `ahead` are words to be rendered while there is time; `backends` and what follows are for tests.
        """
        self.name = name
        self._report = report
        self._troubles = troubles
        self._delivered = delivered
        self._ahead = ahead
        self._reword = reword
        self._numerals = language.numerals
        self._stand_in = {level: language.phrase(words) for level, words in STAND_IN.items()}
        self._now_us = now_us
        self._options = options or VoiceOptions()
        self._queue = CallQueue(self._options.role)
        self._player = Player(backends, device=self._options.device) if player is None else player
        for level in STAND_IN:
            attention_sound(level, self._options.volume)  # made now: in flight there is no time for it
        self.synthesiser = Synthesiser(self._options, command=worker, timeout_s=timeout_s, mended=self._mended)
        self._came = asyncio.Event()
        self._idle = asyncio.Event()
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
        if self._queue.busy:
            self._idle.clear()
        self._came.set()

    async def run(self) -> None:
        """Speak until cancelled."""
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._keep_device(), name="sound device")
                group.create_task(self._speak(), name="callouts")
                group.create_task(self._render_ahead(), name="words ahead")
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
            if self._player.others is None:
                self._works("device")
            else:
                structlog.get_logger().warning("sound devices that there are", names=self._player.others)
                self._fault("device", "Named sound device not found. Speaking on the usual one.")
            if await self._until_lost_or_another():
                await asyncio.sleep(STALLED_AFTER_S)

    async def _until_lost_or_another(self) -> bool:
        """Return True when the device was lost, False when that of the wished name is there instead."""
        while True:
            lasting = None if self._player.others is None else REOPEN_EVERY_S
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(lasting):
                    if await stalls(self._player, self._device_lost):
                        self._fault("device", DEVICE_STOPPED)
                        await self._player.close()
                    return True
            if not self._queue.busy and await self._player.wished_device_is_there() and not self._queue.busy:
                await self._player.close()
                return False

    async def _speak(self) -> None:
        await self._device_tried.wait()
        while True:
            self._came.clear()
            call, late = self._queue.take(self._now_us())
            self._ended(late)
            if call is None:
                await self._wait()
            elif not self._player.is_open:
                self._end(call, "dropped", self._player.absent)
            else:
                await self._say(call)

    async def _wait(self) -> None:
        """Wait for the next callout; meanwhile try a synthesiser that failed."""
        self._idle.set()
        try:
            async with asyncio.timeout(PROBE_EVERY_S if "words" in self._faults else None):
                await self._came.wait()
        except TimeoutError:
            with contextlib.suppress(VoiceError):
                await self.synthesiser.sound(PROBE, cached=False)
                self._works("words")

    async def _render_ahead(self) -> None:
        """Start the synthesiser; then render what will be needed in a hurry, while nothing is to be said."""
        with contextlib.suppress(VoiceError):  # it is started again, and reported, with the first words
            await self.synthesiser.start()
        for words in self._ahead:
            await self._idle.wait()
            try:
                if not await self.synthesiser.render_ahead(self._spelt(words)):
                    break
                self._works("words")
            except VoiceError:
                self._fault("words", NO_WORDS)
                await asyncio.sleep(PROBE_EVERY_S)
            await asyncio.sleep(AHEAD_EVERY_S)

    async def _say(self, call: Call) -> None:
        self._stopping = asyncio.Event()
        stopping = asyncio.ensure_future(self._stopping.wait())
        rendering = asyncio.ensure_future(self._render(call))
        try:
            await self._in_turn(call, rendering, stopping)
        except VoiceError as error:
            self._end(call, "failed", str(error))
            self._fault("words", NO_WORDS)
        finally:
            self._player.stop()
            self._stopping = None
            stopping.cancel()
            rendering.cancel()
            await asyncio.gather(rendering, stopping, return_exceptions=True)

    async def _in_turn(self, call: Call, rendering: asyncio.Future[bytes], stopping: asyncio.Future[Any]) -> None:
        """Play attention sound and words, or what stands in for them. Raises VoiceError if there are no words."""
        volume = self._options.volume
        attention = attention_sound(call.level, volume)
        began_us = self._now_us()
        await asyncio.sleep(0)  # words that are known are there now
        if attention and not rendering.done():
            if not await self._play(call, attention + silence(PAUSE_S), stopping):
                return
            attention = b""
            await asyncio.wait({rendering, stopping}, timeout=WORDS_WITHIN_S, return_when=asyncio.FIRST_COMPLETED)
            if not stopping.done() and (not rendering.done() or rendering.exception() is not None):
                words = self.synthesiser.known(self._stand_in[call.level]) or attention_sound(call.level, volume)
                if not await self._play(call, words, stopping):
                    return
        await asyncio.wait({rendering, stopping}, return_when=asyncio.FIRST_COMPLETED)
        if stopping.done():
            return
        words = rendering.result()
        self._works("words")
        self._check_language()
        now_us = self._now_us()
        if self._queue.too_old(call, now_us):
            self._end(call, "dropped", "too old to be true")
        elif await self._play(call, with_attention(call.level, words, volume) if attention else words, stopping):
            self._end(call, "spoken", f"after {(now_us - began_us) / 1e6:.3f} s of rendering")

    async def _render(self, call: Call) -> bytes:
        """Return the words of a callout, worded anew if they have waited, once more if they had to wait here."""
        words = self._words_now(call)
        sound = await self.synthesiser.sound(words)
        later = self._words_now(call)
        return sound if later == words else await self.synthesiser.sound(later)

    def _words_now(self, call: Call) -> str:
        waited = self._now_us() - call.since_us > WORDED_FOR_US
        return self._spelt((self._reword(call.item) if waited else None) or call.words)

    def _spelt(self, words: str) -> str:
        return spell_numbers(words, self._options.numbers, self._numerals)

    async def _play(self, call: Call, sound: bytes, stopping: asyncio.Future[Any]) -> bool:
        """Play to the end; False if it was stopped, or the device did (and all that follows is done)."""
        playing = self._player.play(sound)
        limit_s = len(sound) / 2 / RATE_HZ + STALLED_AFTER_S
        waiting: set[asyncio.Future[Any]] = {playing, stopping}
        await asyncio.wait(waiting, timeout=limit_s, return_when=asyncio.FIRST_COMPLETED)
        if self._queue.speaking is not call:  # stopped, and already told
            return False
        if playing.done():
            return True
        self._end(call, "failed", "the sound device stopped")
        self._fault("device", DEVICE_STOPPED)
        self._device_lost.set()
        await self._player.close()
        return False

    def _check_language(self) -> None:
        if self.synthesiser.language not in (None, self._options.language):
            self._fault("language", f"No voice for {self._options.language}. Speaking English.")

    def _end(self, call: Call, outcome: str, detail: str) -> None:
        self._queue.finish(spoken=outcome == "spoken")
        self._delivered(call.item, outcome, detail)

    def _ended(self, unspoken: Iterable[Unspoken]) -> None:
        for one in unspoken:
            self._delivered(one.item, one.outcome, one.detail)

    def _mended(self) -> None:
        if not self._faults:
            self._report(self.name, False, self._troubles.get(RESTARTED, RESTARTED))
            self._report(self.name, True, "voice works again")

    def _fault(self, part: str, text: str) -> None:
        if self._faults.get(part) != text:
            self._faults[part] = text
            self._report(self.name, False, self._troubles.get(text, text))

    def _works(self, part: str) -> None:
        if self._faults.pop(part, None) is not None and not self._faults:
            self._report(self.name, True, "voice works again")
