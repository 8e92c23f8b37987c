"""The minder: its real process, heard on the null device, and what the watch does to keep one."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
import time
from array import array
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import numpy as np
import pytest

from tests.edges.minder_ear import PATIENCE_S, command, listening, minding
from watchkeeper.edges.configuration import Voice
from watchkeeper.edges.minder import minder as minder_module
from watchkeeper.edges.minder import sound as minder_sound
from watchkeeper.edges.minder.minder import LOST, NO_MINDER, PART, WORDLESS, WORDS, Minder
from watchkeeper.edges.minder.process import BEAT, DISMISS
from watchkeeper.edges.minder.sound import attention, prepare
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.edges.voice.synthesiser import worker_environment

SOUNDS = {"died": attention(1.0), "hung": attention(0.5)}


def test_the_death_of_the_watch_is_sounded_again_and_again_until_one_runs_again(tmp_path: Path) -> None:
    marker = tmp_path / "started"
    with listening() as ear, minding(ear, SOUNDS, marker, REPEAT_EVERY_S=0.1) as minder:
        minder.tell(BEAT)
        began_s = time.monotonic()
        minder.leave()
        assert ear.hear_through(SOUNDS["died"]) - began_s < 5.0  # 0.2 s on a machine that is not loaded
        assert ear.hear()[1]  # once more
        marker.write_text("another watch")
        assert minder.process.wait(PATIENCE_S) == 0


def test_it_gives_up_after_a_few_times(tmp_path: Path) -> None:
    settings = {"REPEATS": 2, "REPEAT_EVERY_S": 0.05}
    with listening() as ear, minding(ear, SOUNDS, tmp_path / "started", **settings) as minder:
        minder.leave()
        for _ in range(2):
            ear.hear_through(SOUNDS["died"])
        assert minder.process.wait(PATIENCE_S) == 0


def test_a_clean_end_is_silent(tmp_path: Path) -> None:
    with listening() as ear, minding(ear, SOUNDS, tmp_path / "started") as minder:
        minder.tell(BEAT + DISMISS)
        minder.leave()
        assert minder.process.wait(PATIENCE_S) == 0
        with pytest.raises(TimeoutError):
            ear.hear(0.01)


def test_a_watch_that_hangs_is_sounded_until_it_goes_on(tmp_path: Path) -> None:
    settings = {"HUNG_AFTER_S": 0.3, "REPEAT_EVERY_S": 0.1}
    with listening() as ear, minding(ear, SOUNDS, tmp_path / "started", **settings) as minder:
        minder.tell(BEAT)
        ear.hear_through(SOUNDS["hung"])
        minder.tell(BEAT + DISMISS)  # it goes on, and then ends well: within a sound, not after six
        assert minder.process.wait(PATIENCE_S) == 0


def test_a_watch_that_hangs_and_is_then_killed_is_sounded_as_dead(tmp_path: Path) -> None:
    settings = {"HUNG_AFTER_S": 0.3, "REPEAT_EVERY_S": 0.05, "REPEATS": 1}
    with listening() as ear, minding(ear, SOUNDS, tmp_path / "started", **settings) as minder:
        ear.hear_through(SOUNDS["hung"])
        minder.leave()
        ear.hear_through(SOUNDS["died"])


def test_term_ends_it_while_it_sounds(tmp_path: Path) -> None:
    with listening() as ear, minding(ear, SOUNDS, tmp_path / "started") as minder:
        minder.leave()
        ear.hear()
        minder.process.terminate()
        assert minder.process.wait(PATIENCE_S) == -signal.SIGTERM


def test_a_watch_that_goes_before_it_has_said_anything_leaves_no_minder() -> None:
    with listening() as ear:
        done = subprocess.run(
            command(ear), input=b"", capture_output=True, timeout=PATIENCE_S, env=worker_environment(), check=True
        )
    assert done.stdout == b""


class News:
    """Reports, to be waited for."""

    def __init__(self) -> None:
        self.reports: list[tuple[str, bool, str]] = []
        self._news = asyncio.Event()

    def report(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self.tell()

    def tell(self) -> None:
        self._news.set()

    async def until(self, ready: Callable[[], bool]) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while not ready():
                self._news.clear()
                await self._news.wait()


@asynccontextmanager
async def running(minder: Minder) -> AsyncIterator[None]:
    task = asyncio.create_task(minder.run())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        await minder.dismiss()


def is_there(pid: int) -> bool:
    """Return whether there is such a process, be it a zombie."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP])
async def test_a_minder_that_dies_or_hangs_is_reported_and_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: signal.Signals
) -> None:
    monkeypatch.setattr(minder_module, "FIRST_PAUSE_S", 0.01)
    if how is signal.SIGSTOP:
        monkeypatch.setattr(minder_module, "SILENT_S", 2.0)
    news = News()
    with listening() as ear:

        class Told(Minder):
            def _heard(self, process: subprocess.Popen[bytes], data: bytes) -> None:
                super()._heard(process, data)
                news.tell()

        minder = Told(news.report, Voice(), tmp_path, command=command(ear))
        async with running(minder):
            await news.until(lambda: minder._ready)
            first = minder.pid
            assert first is not None
            os.kill(first, how)
            await news.until(lambda: len(news.reports) == 2)
            assert news.reports == [(PART, False, LOST), (PART, True, "a minder is there again")]
            second = minder.pid
            assert second not in (None, first)
            assert not is_there(first)  # no zombie either
        assert second is not None
        assert not is_there(second)
        with pytest.raises(TimeoutError):
            ear.hear(0.01)


async def test_no_minder_at_all_is_reported_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(minder_module, "FIRST_PAUSE_S", 0.001)
    monkeypatch.setattr(minder_module, "LONGEST_PAUSE_S", 0.001)
    tries = 0
    news = News()

    class Counted(Minder):
        def _start(self, sounds: object) -> None:
            nonlocal tries
            tries += 1
            news.tell()
            super()._start(sounds)  # type: ignore[arg-type]  # handed on

    async with running(Counted(news.report, Voice(), tmp_path, command=[str(tmp_path / "nothing")])):
        await news.until(lambda: tries >= 3)
    assert news.reports == [(PART, False, NO_MINDER)]


async def test_without_a_synthesiser_it_only_sounds_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = [sys.executable, "-c", ""]
    monkeypatch.setattr("watchkeeper.edges.voice.synthesiser.worker_command", lambda: broken)
    sounds, why = await prepare(WORDS, Voice())
    assert why == "the synthesiser died"
    assert all(sound.count(attention(1.0)) == 2 for sound in sounds.values())
    news = News()
    with listening() as ear:
        async with running(Minder(news.report, Voice(), tmp_path, command=command(ear))):
            await news.until(lambda: bool(news.reports))
    assert news.reports[0] == (PART, False, WORDLESS)


async def test_a_minder_left_by_an_earlier_watch_is_quieted_by_a_new_one(tmp_path: Path) -> None:
    minder = Minder(lambda *_: None, Voice(), tmp_path / "state")
    with listening() as ear, minding(ear, SOUNDS, tmp_path / "state" / "watch-started") as left:
        left.leave()
        await asyncio.to_thread(ear.hear)
        minder.announce()
        assert await asyncio.to_thread(left.process.wait, PATIENCE_S) == 0


def test_the_attention_sound() -> None:
    """MIL-STD-1472E 5.3.3.1.1: 500 to 3000 Hz; 5.3.6.5: half a second at least. No clicks, no clipping."""
    samples = np.frombuffer(attention(1.0), dtype="<i2").astype(float)
    assert len(samples) / RATE_HZ >= 0.5
    power = np.abs(np.fft.rfft(samples)) ** 2
    hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    assert power[(hz >= 500) & (hz <= 3000)].sum() > 0.999 * power.sum()
    assert np.abs(samples).max() < 32_767
    steepest = 20_000 * 2 * np.pi * minder_sound.HIGH_HZ / RATE_HZ  # of a sine; a click is steeper
    assert np.abs(np.diff(samples, prepend=0.0, append=0.0)).max() <= steepest


async def test_words_follow_the_attention_sound_within_half_a_second() -> None:
    """MIL-DTL-87268D 3.3.6.1.1."""
    sounds, why = await prepare(WORDS, Voice())
    assert why == ""
    tone = attention(1.0)
    for sound in sounds.values():
        assert sound.startswith(tone)
        rest = array("h", sound[len(tone) :])
        first = next(n for n, sample in enumerate(rest) if abs(sample) > 300)
        assert first / RATE_HZ <= 0.5
        assert len(rest) / RATE_HZ > 1.5


def test_its_words_keep_to_the_grammar_of_callouts() -> None:
    """Design section 6: level, subject, what, what to do; at most twelve words."""
    for words in WORDS.values():
        level, subject, _, action, rest = words.split(".")
        assert (level, subject.strip(), action.strip(), rest) == ("Caution", "Watch", "Fly without it", "")
        assert len(words.split()) <= 12
