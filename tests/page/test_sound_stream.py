"""The stream of the phones: paced by an injected clock, encoded, and decoded again by another library (dr_mp3).

The length of an MP3 frame at 22.05 kHz, 576 samples, is ISO/IEC 13818-3's; 529 samples of decoder delay and 576 of
the encoder's are LAME's own (its technical FAQ, from memory): what goes in comes out 1105 samples later.
"""

from __future__ import annotations

import asyncio
from array import array

import miniaudio
import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import correlate  # type: ignore[import-untyped]

from tests.edges.sound_parts import Samples, as_samples
from watchkeeper.alerts.events import Level
from watchkeeper.edges.voice.attention import attention_sound
from watchkeeper.edges.voice.mix import FADE
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.page.listeners import BUFFER_S, MOST_LISTENERS, Listener
from watchkeeper.page.sound_stream import LATE_S, STEP, SoundStream

DELAY = 1105
TONE = array("h", (round(12_000 * np.sin(2 * np.pi * 1000 * i / RATE_HZ)) for i in range(3 * RATE_HZ))).tobytes()


def decoded(stream: bytes) -> Samples:
    return as_samples(
        miniaudio.decode(
            stream, output_format=miniaudio.SampleFormat.SIGNED16, nchannels=1, sample_rate=RATE_HZ
        ).samples.tobytes()
    )


def loud(samples: Samples, level: float = 0.02) -> npt.NDArray[np.int64]:
    return np.flatnonzero(np.abs(samples) > level)


class Desk:
    """A stream under a clock of our own, and one who takes all of it."""

    def __init__(self) -> None:
        self.now_us = 1_000_000
        self.stream = SoundStream(now_us=lambda: self.now_us)
        self.listener = self.join()
        self.bytes = bytearray()
        self.stream.begin()

    def join(self) -> Listener:
        listener = self.stream.join("observer", lambda: None)
        assert listener is not None
        return listener

    async def go(self, seconds: float, step_us: int = 20_000) -> None:
        """Let time pass, and the stream take its steps."""
        for _ in range(round(seconds * 1e6 / step_us)):
            self.now_us += step_us
            self.stream.step()
            if not self.listener.gone and self.listener._waiting:
                self.bytes += await self.listener.take()


async def test_the_stream_is_as_long_as_the_time_that_passed() -> None:
    desk = Desk()
    await desk.go(10.0)
    assert 10.0 * RATE_HZ - STEP < desk.stream.at <= 10.0 * RATE_HZ
    heard = decoded(bytes(desk.bytes))
    assert -4 * STEP < len(heard) - desk.stream.at <= 0  # what the encoder still holds
    await desk.go(10.0, 777)  # however the steps fall
    assert 20.0 * RATE_HZ - STEP < desk.stream.at <= 20.0 * RATE_HZ
    assert 40_000 < len(desk.bytes) * 8 / 20.0 < 56_000  # 48 kbit/s: 6 kB a second for a phone


async def test_a_step_is_asked_for_again_when_it_is_due() -> None:
    desk = Desk()
    assert desk.stream.step() == pytest.approx(STEP / RATE_HZ, abs=1e-5)
    desk.now_us += 30_000
    assert desk.stream.step() == pytest.approx(STEP / RATE_HZ - 0.030, abs=1e-5)


async def test_what_is_played_is_heard_where_it_was_put_and_silence_is_nearly_that() -> None:
    desk = Desk()
    await desk.go(2.0)
    put_at = desk.stream.at
    done = desk.stream.play(TONE)
    await desk.go(2.9)
    assert not done.done()
    await desk.go(0.2)
    await asyncio.wait_for(done, 5)
    await desk.go(2.0)
    heard = decoded(bytes(desk.bytes))
    at = loud(heard)
    assert at[0] - put_at == pytest.approx(DELAY, abs=40)
    assert at[-1] - at[0] == pytest.approx(3 * RATE_HZ, abs=200)
    tone = heard[at[0] + 2000 : at[0] + 2000 + RATE_HZ]
    spectrum = np.abs(np.fft.rfft(tone))
    assert np.argmax(spectrum) == 1000  # of one second: hertz
    level_db = 20 * np.log10(tone.std() * np.sqrt(2))
    assert level_db == pytest.approx(20 * np.log10(12_000 / 32_768), abs=0.5)
    for hush in (heard[RATE_HZ : put_at - 1000], heard[at[-1] + 3000 :]):
        hush_db = 20 * np.log10(hush.std())
        assert -72.2 < hush_db < -66  # Chromium counts what is under -72.25 dB as silent (from memory)


async def test_what_is_cut_off_ends_within_a_tenth_of_a_second() -> None:
    """MIL-STD-411F asks for at once; 0.1 s is our bound, counted at the source."""
    for late_us in (0, 17_000, 52_000):
        desk = Desk()
        await desk.go(1.0)
        started_at = desk.stream.at
        done = desk.stream.play(TONE)
        await desk.go(1.0)
        desk.now_us += late_us
        desk.stream.stop()
        stopped_at = (desk.now_us - 1_000_000) * RATE_HZ // 1_000_000
        await desk.go(1.0)
        heard = decoded(bytes(desk.bytes))
        at = loud(heard)
        assert at[0] > started_at
        assert at[-1] - DELAY - stopped_at < 0.1 * RATE_HZ
        assert at[-1] - DELAY - stopped_at > -STEP - FADE
        assert not done.done()
        step = np.abs(np.diff(heard[at[-1] - 400 : at[-1] + 400])).max()
        assert step <= np.abs(np.diff(as_samples(TONE))).max() * 1.1  # no click


async def test_a_warning_takes_the_place_of_what_is_played() -> None:
    desk = Desk()
    await desk.go(1.0)
    desk.stream.play(TONE)
    await desk.go(1.0)
    put_at = desk.stream.at
    desk.stream.play(attention_sound(Level.WARNING))
    await desk.go(2.0)
    heard = decoded(bytes(desk.bytes))
    bell = as_samples(attention_sound(Level.WARNING))
    found = correlate(heard, bell, "valid", "fft")
    assert np.argmax(found) - DELAY == pytest.approx(put_at + FADE, abs=40)


async def test_a_watch_that_stood_still_goes_on_from_now() -> None:
    desk = Desk()
    await desk.go(1.0)
    put_at = desk.stream.at
    desk.stream.play(TONE)
    await desk.go(0.5)
    before = desk.stream.at
    desk.now_us += 60_000_000
    desk.stream.step()
    assert desk.stream.at - before <= LATE_S * RATE_HZ  # no minute of sound at once
    await desk.go(4.0)
    heard = loud(decoded(bytes(desk.bytes)))
    assert heard[0] - DELAY == pytest.approx(put_at, abs=40)
    assert heard[-1] - heard[0] == pytest.approx(3 * RATE_HZ, abs=200)  # and no word is lost


async def test_who_joins_late_hears_what_comes_from_then_on() -> None:
    desk = Desk()
    desk.stream.play(TONE)
    await desk.go(5.0)
    late = desk.join()
    bell = attention_sound(Level.CAUTION)
    await desk.go(0.5)
    desk.stream.play(bell)
    await desk.go(2.0)
    heard = decoded(await late.take())
    at = loud(heard)
    assert len(heard) == pytest.approx(2.5 * RATE_HZ, abs=4 * STEP)
    assert at[0] == pytest.approx(0.5 * RATE_HZ, abs=4 * STEP)
    first = heard[at[0] + 1000 : at[0] + 1000 + RATE_HZ // 5]
    second = heard[at[0] + round(0.36 * RATE_HZ) : at[0] + round(0.56 * RATE_HZ)]
    for tone, hertz in ((first, 800), (second, 640)):  # of the caution's sound
        assert np.argmax(np.abs(np.fft.rfft(tone))) * RATE_HZ / len(tone) == pytest.approx(hertz, abs=6)


async def test_who_does_not_take_it_is_let_go_and_costs_nobody_anything() -> None:
    desk = Desk()
    let_go: list[str] = []
    slow = desk.stream.join("observer", lambda: let_go.append("slow"))
    assert slow is not None
    await desk.go(BUFFER_S - 0.1)
    assert (let_go, slow.gone) == ([], False)
    await desk.go(0.3)
    assert (let_go, slow.gone, len(desk.stream.listeners)) == (["slow"], True, 1)
    assert await slow.take() == b""
    assert not slow._waiting
    await desk.go(1.0)
    assert len(decoded(bytes(desk.bytes))) > (BUFFER_S + 1.0) * RATE_HZ
    assert let_go == ["slow"]


async def test_no_more_listen_than_can() -> None:
    desk = Desk()
    more = [desk.join() for _ in range(MOST_LISTENERS - 1)]
    assert desk.stream.join("observer", lambda: None) is None
    desk.stream.leave(more[0])
    desk.stream.leave(more[0])
    assert desk.stream.join("pilot", lambda: None) is not None


async def test_it_begins_with_the_first_listener_and_rests_after_the_last() -> None:
    stream = SoundStream()
    running = asyncio.create_task(stream.run())
    await asyncio.sleep(0)
    assert (stream._encoder, stream.is_open) == (None, False)
    assert abs(stream.asked_s - asyncio.get_running_loop().time()) < 1.0  # a stream that rests is not late
    for _ in range(2):
        listener = stream.join("observer", lambda: None)
        assert listener is not None
        assert stream.is_open
        async with asyncio.timeout(20):
            heard = b""
            while len(heard) < 1000:
                heard += await listener.take()
        assert heard[0] == 0xFF  # MPEG audio: eleven bits of ones
        assert heard[1] & 0xE0 == 0xE0
        sound = stream.play(TONE[:8000])
        stream.leave(listener)
        await asyncio.wait_for(sound, 20)  # what had begun is played to its end
        at = stream.at
        async with asyncio.timeout(20):
            while stream._paced:  # noqa: ASYNC110  (nobody else is told)
                await asyncio.sleep(0)
        assert stream.at - at <= 2 * STEP
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)
