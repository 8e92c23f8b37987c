"""The voice as a whole: real synthesiser, real player on the null device, whose calls are recorded."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
import threading
import time
from array import array
from collections.abc import AsyncIterator, Callable, Coroutine, Generator
from contextlib import AbstractAsyncContextManager
from typing import Any

import miniaudio
import pytest

from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, Refusal, RoutineCall, State
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice import outlet as voice_module
from watchkeeper.edges.voice import player as voice_player
from watchkeeper.edges.voice.attention import attention_sound
from watchkeeper.edges.voice.outlet import DEVICE_STOPPED, NO_DEVICE, NO_WORDS, Voice
from watchkeeper.edges.voice.player import NoDeviceError, Player

NULL = [miniaudio.Backend.NULL]
ADVISORY, CAUTION, WARNING = Level.ADVISORY, Level.CAUTION, Level.WARNING
HANGS = "import time; print('{\"ready\": true}', flush=True); time.sleep(60)"


def alert(
    level: Level, words: str, *, rule: str = "", change: Change = Change.RAISED, by: str | None = None
) -> AlertChange:
    spoken = change in (Change.RAISED, Change.REPEATED, Change.ESCALATED)
    state = State.NORMAL if change is Change.CLEARED else State.UNACKNOWLEDGED
    return AlertChange(0, 0, 1, rule or words, level, change, state, words, "", spoken=spoken, by=by)


class Ear:
    """What the outlet said about itself, and what became of each callout; can be waited for."""

    def __init__(self) -> None:
        self.reports: list[tuple[str, bool, str]] = []
        self.ends: list[tuple[str, str, str]] = []
        self._news = asyncio.Event()

    def report(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self._news.set()

    def delivered(self, item: Happening, outcome: str, detail: str) -> None:
        self.ends.append((str(item.rule), outcome, detail))
        self._news.set()

    def outcomes(self) -> list[tuple[str, str]]:
        return [(rule, outcome) for rule, outcome, _ in self.ends]

    async def until(self, ready: Callable[[], bool], limit_s: float = 20.0) -> None:
        async with asyncio.timeout(limit_s):
            while not ready():
                self._news.clear()
                await self._news.wait()


def loud(part: bytes) -> bool:
    return bool(part) and max(array("h", part)) > 200


class Recorder:
    """Records when the null device asked for samples, and what it got."""

    def __init__(self) -> None:
        self.calls: list[tuple[float, bytes]] = []
        self.sounding = threading.Event()

    def wrap(self, feed: Generator[bytes, int, None]) -> Generator[bytes, int, None]:
        frames = yield b""
        while True:
            part = feed.send(frames)
            self.calls.append((time.monotonic(), part))
            if loud(part):
                self.sounding.set()
            frames = yield part

    async def sounds(self) -> None:
        assert await asyncio.to_thread(self.sounding.wait, 10)


@pytest.fixture
def recorder(monkeypatch: pytest.MonkeyPatch) -> Recorder:
    recorder = Recorder()

    class Device(miniaudio.PlaybackDevice):  # type: ignore[misc]  # miniaudio has no types
        def start(self, feed: Generator[bytes, int, None]) -> None:
            wrapped = recorder.wrap(feed)
            next(wrapped)
            super().start(wrapped)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", Device)
    return recorder


@contextlib.asynccontextmanager
async def running(voice: Voice) -> AsyncIterator[Voice]:
    task = asyncio.create_task(voice.run())
    try:
        yield voice
    finally:
        began = time.monotonic()
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        assert time.monotonic() - began < 0.7  # the hub's LAST_WORDS_S
        assert voice.synthesiser.pid is None


def start(ear: Ear, **more: Any) -> AbstractAsyncContextManager[Voice]:
    return running(Voice(ear.report, ear.delivered, more.pop("options", None), backends=NULL, **more))


async def test_the_first_sound_comes_within_a_second(recorder: Recorder) -> None:
    """Process and device started in the same second. Then without them: what a warning in flight takes."""
    ear = Ear()
    made = start(ear)
    began = time.monotonic()
    async with made as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await recorder.sounds()
        assert time.monotonic() - began < 1.0
        await ear.until(lambda: len(ear.ends) == 1)
        recorder.sounding.clear()
        began = time.monotonic()
        voice.put(alert(WARNING, "Warning. Link. Lost."))
        await recorder.sounds()
        assert time.monotonic() - began < 0.25
        await ear.until(lambda: len(ear.ends) == 2)
    assert ear.outcomes() == [("armed", "spoken"), ("Warning. Link. Lost.", "spoken")]
    assert ear.reports == []


async def test_a_warning_cuts_off_an_advisory(recorder: Recorder) -> None:
    ear = Ear()
    words = "Advisory. Watch. Cannot see battery, wind, satellites and home."
    async with start(ear) as voice:
        voice.put(alert(ADVISORY, words, rule="low"))
        await recorder.sounds()
        voice.put(alert(WARNING, "Warning. Link. Lost.", rule="high"))
        cut = time.monotonic()
        assert ear.outcomes() == [("low", "cut off")]
        await ear.until(lambda: len(ear.ends) == 2)
        low = await voice.synthesiser.sound(words)
        high = attention_sound(WARNING)
    telling = [(at, part) for at, part in recorder.calls if loud(part) and len(part) > 400]
    # eSpeak NG keeps some consonants as samples: those parts are in both, and tell nothing.
    last_low = max(at for at, part in telling if part in low and part not in high)
    first_high = min(at for at, part in telling if part in high and part not in low)
    still_held_s = voice_player.PERIODS * voice_player.PERIOD_MS / 1e3
    assert last_low - cut + still_held_s < 0.1
    assert 0 < first_high - cut < 0.1
    assert ear.outcomes() == [("low", "cut off"), ("high", "spoken")]


async def test_a_caution_cut_off_is_said_again(recorder: Recorder) -> None:
    ear = Ear()
    async with start(ear) as voice:
        voice.put(alert(CAUTION, "Caution. Battery. Low.", rule="low"))
        await recorder.sounds()
        voice.put(alert(WARNING, "Warning. Link.", rule="high"))
        await ear.until(lambda: len(ear.ends) == 2)
    assert ear.outcomes() == [("high", "spoken"), ("low", "spoken")]


async def test_an_alert_that_ended_stops_being_spoken(recorder: Recorder) -> None:
    ear = Ear()
    async with start(ear) as voice:
        voice.put(alert(WARNING, "Warning. Link. Lost. Fly by sight, check antennas.", rule="link"))
        voice.put(alert(CAUTION, "Caution. Battery. Low.", rule="battery"))
        await recorder.sounds()
        voice.put(alert(WARNING, "", rule="link", change=Change.CLEARED))
        voice.put(alert(CAUTION, "", rule="battery", change=Change.CLEARED))
        assert ear.outcomes() == [("link", "cut off"), ("battery", "dropped")]
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await ear.until(lambda: len(ear.ends) == 3)
    assert ear.outcomes()[2:] == [("armed", "spoken")]


@pytest.mark.usefixtures("recorder")
async def test_what_happens_while_words_are_rendered_stops_them(monkeypatch: pytest.MonkeyPatch) -> None:
    ear = Ear()
    async with start(ear) as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await ear.until(lambda: len(ear.ends) == 1)
        pid = voice.synthesiser.pid
        assert pid is not None
        os.kill(pid, signal.SIGSTOP)  # rendering will not end by itself
        asked = asyncio.Event()
        render = voice.synthesiser.sound

        def note(text: str) -> Coroutine[Any, Any, bytes]:
            asked.set()
            return render(text)

        monkeypatch.setattr(voice.synthesiser, "sound", note)
        voice.put(alert(ADVISORY, "Advisory. Wind.", rule="wind"))
        async with asyncio.timeout(10):
            await asked.wait()
        voice.put(alert(WARNING, "Warning. Link.", rule="link"))
        await ear.until(lambda: len(ear.ends) == 3)
    assert ear.outcomes()[1:] == [("wind", "cut off"), ("link", "spoken")]
    assert ear.reports == []


async def test_every_callout_ends_when_the_watch_ends(recorder: Recorder) -> None:
    ear = Ear()
    async with start(ear) as voice:
        voice.put(alert(CAUTION, "Caution. Battery. Low. Plan the landing.", rule="first"))
        voice.put(alert(ADVISORY, "Advisory. Wind.", rule="second"))
        voice.put(Refusal(0, 0, 1, None, "reset", "nothing to reset"))
        await recorder.sounds()
    assert sorted(ear.outcomes()) == [("first", "cut off"), ("second", "dropped")]


async def test_no_sound_device_is_reported_once(monkeypatch: pytest.MonkeyPatch) -> None:
    opened = 0
    again = threading.Event()

    def fail(**_: Any) -> None:
        nonlocal opened
        opened += 1
        if opened > 1:
            again.set()
        raise miniaudio.MiniaudioError("failed to init device", -401)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", fail)
    monkeypatch.setattr(voice_module, "REOPEN_EVERY_S", 0.01)
    ear = Ear()
    async with running(Voice(ear.report, ear.delivered)) as voice:
        for number in range(3):
            voice.put(alert(CAUTION, f"Caution. Number {number}.", rule=f"r{number}"))
            await ear.until(lambda: len(ear.ends) == number + 1)  # noqa: B023  (awaited in this round)
        assert await asyncio.to_thread(again.wait, 10)
        monkeypatch.setattr(voice_player.Player, "open", lambda _self: asyncio.sleep(0))
        await ear.until(lambda: len(ear.reports) == 2)  # a device has been plugged in
    assert ear.ends == [(f"r{n}", "dropped", "no sound device") for n in range(3)]
    assert ear.reports == [("voice", False, NO_DEVICE), ("voice", True, "voice works again")]


async def test_this_platforms_devices_do_not_count_the_silent_one(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []

    def note(**options: Any) -> None:
        asked.extend(options["backends"])
        raise miniaudio.MiniaudioError("none")

    monkeypatch.setattr(miniaudio, "PlaybackDevice", note)
    with pytest.raises(NoDeviceError):
        await Player().open()
    assert asked
    assert miniaudio.Backend.NULL not in asked


async def test_a_sound_system_that_hangs_holds_nobody_up(monkeypatch: pytest.MonkeyPatch) -> None:
    release = threading.Event()
    monkeypatch.setattr(miniaudio, "PlaybackDevice", lambda **_: release.wait(20))
    player = Player(NULL, open_timeout_s=0.05)
    try:
        async with asyncio.timeout(5):
            with pytest.raises(NoDeviceError, match="does not answer"):
                await player.open()
        assert not player.is_open
    finally:
        release.set()


class Stalling:
    """A device that asks once and never again."""

    def __init__(self, **_: Any) -> None:
        self.closed = False

    def start(self, feed: Generator[bytes, int, None]) -> None:
        feed.send(100)

    def close(self) -> None:
        self.closed = True


async def test_a_device_that_stops_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(miniaudio, "PlaybackDevice", Stalling)
    monkeypatch.setattr(voice_module, "STALLED_AFTER_S", 0.05)
    ear = Ear()
    async with start(ear) as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await ear.until(lambda: len(ear.reports) == 2)  # opened anew, it asked again
    assert ear.ends == [("armed", "failed", "the sound device stopped")]
    assert ear.reports == [("voice", False, DEVICE_STOPPED), ("voice", True, "voice works again")]


async def test_a_device_that_never_asks_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    devices: list[Stalling] = []

    class Mute(Stalling):
        def start(self, feed: Generator[bytes, int, None]) -> None:
            feed.close()
            devices.append(self)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", Mute)
    with pytest.raises(NoDeviceError, match="plays nothing"):
        await Player(NULL, open_timeout_s=0.2).open()
    assert devices[0].closed


async def test_a_synthesiser_that_hangs_costs_one_callout(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch, recorder: Recorder
) -> None:
    """It hangs twice (the callout and its second try), then is itself again: reported, and over."""
    monkeypatch.setattr(voice_module, "PROBE_EVERY_S", 0.01)
    script = f"""
import pathlib, runpy, time
for marker in (pathlib.Path({str(tmp_path)!r}) / "1", pathlib.Path({str(tmp_path)!r}) / "2"):
    if not marker.exists():
        marker.touch()
        print('{{"ready": true}}', flush=True)
        time.sleep(60)
runpy.run_module("watchkeeper.edges.voice.worker", run_name="__main__")
"""
    ear = Ear()
    async with start(ear, worker=[sys.executable, "-c", script], timeout_s=0.3) as voice:
        voice.put(alert(CAUTION, "Caution. First.", rule="first"))
        await ear.until(lambda: len(ear.reports) == 2)  # found to work again with nothing to say
        voice.put(alert(CAUTION, "Caution. Second.", rule="second"))
        await ear.until(lambda: len(ear.ends) == 2)
    assert ear.outcomes() == [("first", "failed"), ("second", "spoken")]
    assert ear.reports == [("voice", False, NO_WORDS), ("voice", True, "voice works again")]
    assert recorder.sounding.is_set()


async def test_a_synthesiser_that_never_works_is_reported_once() -> None:
    ear = Ear()
    async with start(ear, worker=[sys.executable, "-c", ""]) as voice:
        for number in range(3):
            voice.put(alert(CAUTION, "Caution. Low.", rule=f"r{number}"))
        await ear.until(lambda: len(ear.ends) == 3)
    assert {outcome for _, outcome in ear.outcomes()} == {"failed"}
    assert ear.reports == [("voice", False, NO_WORDS)]


async def test_a_killed_synthesiser_loses_nothing(recorder: Recorder) -> None:
    ear = Ear()
    async with start(ear) as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await recorder.sounds()
        assert voice.synthesiser.pid is not None
        os.kill(voice.synthesiser.pid, signal.SIGKILL)
        voice.put(RoutineCall(0, 0, 1, "away", "Away."))
        await ear.until(lambda: len(ear.ends) == 2)
    assert ear.outcomes() == [("armed", "spoken"), ("away", "spoken")]
    assert ear.reports == []


async def test_a_language_without_voice_is_reported() -> None:
    ear = Ear()
    async with start(ear, options=VoiceOptions(language="xx-none")) as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await ear.until(lambda: len(ear.ends) == 1)
    assert ear.outcomes() == [("armed", "spoken")]
    assert ear.reports == [("voice", False, "No voice for xx-none. Speaking English.")]


async def test_words_that_became_old_while_they_waited_are_dropped() -> None:
    now_us = 0
    ear = Ear()
    voice = Voice(ear.report, ear.delivered, backends=NULL, now_us=lambda: now_us)
    voice.put(alert(CAUTION, "Caution. Battery.", rule="old"))
    now_us = 16_000_000
    voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
    async with running(voice):
        await ear.until(lambda: len(ear.ends) == 2)
    assert ear.outcomes() == [("old", "dropped"), ("armed", "spoken")]
