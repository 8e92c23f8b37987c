"""Telemetry by a stream of bytes that comes and goes: opened, listened to, opened anew. Nothing is ever sent.

What a crew is told, and by whom: that the stream cannot be had, breaks or carries rubbish is a trouble of the
source, and is reported here. That an open stream carries nothing is the silence of what is at its other end: the
rules of the link say that, by the aircraft. It is only logged here, for whoever looks for the reason.
"""

from __future__ import annotations

import asyncio
from typing import Final, Protocol

import structlog

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.reports import Received, Report
from watchkeeper.edges.sources.stream_health import SOUND_AFTER_S, FrameCheck, Health, Trouble, TroubleError
from watchkeeper.errors import bad_input

CHUNK: Final = 16_384
"""Bytes taken at once: less than the engine works through in 50 ms."""
SILENT_S: Final = 30.0
CUT: Final = b""
"""Given to the engine where a stream was cut, so that a torn frame is not glued to what comes next."""


class Stream(Protocol):
    """An open stream. It cannot be written to."""

    async def read(self) -> bytes:
        """Return the next bytes, at most CHUNK. Raises TroubleError at the end."""

    def silent(self) -> Trouble | None:
        """Nothing came for SILENT_S: return what ends it for that reason, if anything does."""

    def close(self) -> None:
        """End it, at once."""


class Opener(Protocol):
    """Opens a stream, again and again."""

    rubbish: Trouble
    """What to say of bytes that hold no frames."""

    async def open(self) -> Stream:
        """Open it. Raises TroubleError."""

    async def first(self) -> Stream | None:
        """Try to open it before the watch begins; None if it has to be waited for. Raises TroubleError."""


class StreamSource:
    """A stream as a source of the watch."""

    def __init__(
        self, name: str, label: str, opener: Opener, clock: Clock, received: Received, report: Report, part: str
    ) -> None:
        """`label` is what the source is called aloud."""
        self.name = name
        self.part = part
        self._opener = opener
        self._clock = clock
        self._received = received
        self._health = Health(name, label, part, report)
        self._stream: Stream | None = None
        self._told_silent = False

    async def open(self) -> None:
        """Try once. Raises BadInputError only for what waiting does not mend."""
        try:
            self._stream = await self._opener.first()
        except TroubleError as error:
            if error.trouble.lasting:
                raise bad_input(f"source '{self.name}': {error.trouble.why}", error.trouble.do) from None

    async def run(self) -> None:
        """Listen until cancelled; open it anew whenever it ends."""
        health, now_s = self._health, self._clock.now_s
        try:
            while True:
                try:
                    if self._stream is None:
                        self._stream = await self._opener.open()
                except TroubleError as error:
                    health.failed(error.trouble)
                else:
                    health.opened(now_s())
                    trouble = await self._listen(self._stream)
                    self._close()
                    health.broke(trouble, now_s())
                await asyncio.sleep(health.pause_s())
        finally:
            self._close()

    async def _listen(self, stream: Stream) -> Trouble:
        """Listen until it ends, and return why it did."""
        frames = FrameCheck()
        heard = False
        patience_s = SOUND_AFTER_S
        while True:
            try:
                async with asyncio.timeout(patience_s):
                    data = await stream.read()
            except TimeoutError:
                if patience_s == SOUND_AFTER_S:
                    patience_s = SILENT_S
                    if not heard:
                        self._health.holds()
                    continue
                trouble: Trouble | None = stream.silent()
                if not self._told_silent:
                    self._told_silent = True
                    log = structlog.get_logger()
                    log.info("telemetry source open, but nothing comes", source=self.name, silent_s=SILENT_S)
            except TroubleError as error:
                trouble = error.trouble
            else:
                heard, self._told_silent, trouble = True, False, None
                now_s = self._clock.now_s()
                self._received(self.name, data, now_s)
                good = frames.take(data, now_s)
                if good:
                    self._health.heard(now_s)
                elif good is False:
                    self._health.useless(self._opener.rubbish)
                await asyncio.sleep(0)  # others have their turn, however much there is
            if trouble is not None:
                if heard:
                    self._received(self.name, CUT, self._clock.now_s())
                return trouble

    def _close(self) -> None:
        if self._stream is not None:
            self._stream.close()
            self._stream = None
