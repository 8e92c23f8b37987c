"""One endless sound for all phones: callouts as they are played, and between them next to nothing; MP3.

Paced by the clock, a frame's length at a time, and encoded once however many listen. It begins with the first
listener and rests after the last. A phone that plays it holds some tenths of a second; nothing is held back here.

MP3, since every phone plays it as it comes, in an `audio` element with or without a MediaSource, over plain http.
"""

from __future__ import annotations

import asyncio
import random
import time
from array import array
from collections.abc import Callable

import lameenc  # type: ignore[import-not-found]  # an extension without types

from watchkeeper.edges.clock import steady_us
from watchkeeper.edges.voice.mix import Mix
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.page.listeners import Listener, Listeners

FRAME = 576
"""Samples of one frame at this rate (ISO/IEC 13818-3, layer III, low sampling frequencies): 26 ms."""
STEP = 2 * FRAME
"""Samples of one step of the stream: what is cut off goes on for no longer than this, and a fade."""
BIT_RATE_KBIT_S = 48
_QUALITY = 5
LATE_S = 0.5
"""A stream that is behind by more, after the watch stood still, goes on from now: nobody is to run after it."""
HUSH = 20
"""Peak of the noise between callouts, of 32 768: 69 dB under full scale, which nobody hears. Over 72 dB under full
scale Chromium counts a page as audible, and lets its clocks run when nobody looks at it; and earpieces that save
power on silence do not, and so lose no beginning of a callout."""


class SoundStream:
    """A `Sounding` for the voice; `run` is a task beside it."""

    absent = "nobody listens"
    others = None

    def __init__(self, *, now_us: Callable[[], int] = steady_us) -> None:
        self._now_us = now_us
        self._mix = Mix()
        self._hush = _hush()
        self._began_us = 0
        self._paced = False
        self._asked_s = 0.0
        self._encoder: lameenc.Encoder | None = None
        self.listeners = Listeners()
        self.at = 0
        """Samples streamed since it began."""

    def join(self, role: str, let_go: Callable[[], None]) -> Listener | None:
        """Take a listener from here on; None if there are too many."""
        return self.listeners.join(role, let_go)

    def leave(self, listener: Listener) -> None:
        """Let a listener go."""
        self.listeners.leave(listener)

    async def run(self) -> None:
        """Stream until cancelled."""
        try:
            while True:
                await self.listeners.came.wait()
                self.begin()
                while self.listeners or self._mix.busy:  # noqa: ASYNC110  (paced, not waiting for something)
                    await asyncio.sleep(self.step())
                self._paced = False
        finally:
            self._paced = False
            self._encoder = None

    def begin(self) -> None:
        """Begin at the present time, with an encoder that knows nothing of what was before."""
        self._encoder = _encoder()
        self._began_us = self._now_us()
        self.at = 0
        self._asked_s = time.monotonic()
        self._paced = True

    def step(self) -> float:
        """Stream what is due by now; returns in how many seconds to come again."""
        now = (self._now_us() - self._began_us) * RATE_HZ // 1_000_000
        if now - self.at > LATE_S * RATE_HZ:
            self._began_us += (now - self.at) * 1_000_000 // RATE_HZ
            now = self.at
        self._asked_s = time.monotonic()
        while self.at + STEP <= now:
            self._stream(self._mix.take(STEP))
            self.at += STEP
        due_us = self._began_us + (self.at + STEP) * 1_000_000 // RATE_HZ
        return max(0.0, (due_us - self._now_us()) / 1e6)

    def _stream(self, samples: bytes) -> None:
        assert self._encoder is not None
        encoded = self._encoder.encode(samples if any(samples) else self._hush)
        self.listeners.put(bytes(encoded), STEP / RATE_HZ)

    # What the voice asks of whatever plays:

    @property
    def is_open(self) -> bool:
        """Somebody is connected."""
        return bool(self.listeners)

    @property
    def asked_s(self) -> float:
        """When the stream last took samples; a stream that rests is not late."""
        return self._asked_s if self._paced else time.monotonic()

    async def open(self) -> None:
        """There is nothing to open."""

    async def wished_device_is_there(self) -> bool:
        """There is no other."""
        return True

    def play(self, sound: bytes) -> asyncio.Future[None]:
        """Play samples from the next step on."""
        return self._mix.play(sound)

    def stop(self) -> None:
        """Fade away from the next step on."""
        self._mix.stop()

    async def close(self) -> None:
        """Say no more; who listens stays connected."""
        self._mix.stop()


def _encoder() -> lameenc.Encoder:
    encoder = lameenc.Encoder()
    encoder.set_channels(1)
    encoder.set_in_sample_rate(RATE_HZ)
    encoder.set_out_sample_rate(RATE_HZ)
    encoder.set_bit_rate(BIT_RATE_KBIT_S)
    encoder.set_quality(_QUALITY)
    encoder.silence()
    return encoder


def _hush() -> bytes:
    """Return a step's length of noise, the same at every call."""
    noise = random.Random(1)  # noqa: S311  (nothing secret)
    return array("h", (noise.randint(-HUSH, HUSH) for _ in range(STEP))).tobytes()
