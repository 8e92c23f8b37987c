"""What is heard of one callout after the other: attention sound, words or what stands in for them, and its cut.

On the null device, whose samples are all recorded: places and lengths are samples, not the time of a clock.
"""

from __future__ import annotations

import asyncio
import sys
from array import array
from itertools import pairwise
from pathlib import Path
from typing import Any

import miniaudio
import pytest

from tests.edges.test_voice import HANGS, Ear, Recorder, alert, recorder, running
from watchkeeper.alerts.events import AlertChange, Change, Level, RoutineCall
from watchkeeper.alerts.spoken import NumberStyle
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice import outlet as voice_module
from watchkeeper.edges.voice.attention import STAND_IN, attention_sound
from watchkeeper.edges.voice.mix import FADE
from watchkeeper.edges.voice.outlet import NO_WORDS, Voice
from watchkeeper.edges.voice.player import Player
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.edges.voice.synthesiser import Synthesiser

__all__ = ("recorder",)
NULL = [miniaudio.Backend.NULL]
WARNING, CAUTION, ADVISORY = Level.WARNING, Level.CAUTION, Level.ADVISORY


def voice_for(ear: Ear, **more: Any) -> Voice:
    return Voice(ear.report, ear.delivered, more.pop("options", None), backends=NULL, **more)


def heard(recorder: Recorder) -> bytes:
    return b"".join(part for _, part in recorder.calls)


def after(stream: bytes, *sounds: bytes) -> list[float]:
    """Return the seconds between the end of one sound and the begin of the next, each found as it is, in order."""
    gaps: list[float] = []
    end = None
    for sound in sounds:
        at = stream.find(sound, end or 0)
        assert at >= 0, f"sound {len(gaps)} was not heard"
        gaps.append(0.0 if end is None else (at - end) / 2 / RATE_HZ)
        end = at + len(sound)
    return gaps[1:]


@pytest.mark.parametrize("level", [WARNING, CAUTION])
@pytest.mark.parametrize("known", [True, False])
async def test_words_follow_the_attention_sound(recorder: Recorder, level: Level, *, known: bool) -> None:
    """MIL-DTL-87268D 3.3.6.1.1: within 0.5 s. A repetition begins with the sound again (MIL-STD-411F 5.3.6)."""
    ear = Ear()
    async with running(voice_for(ear)) as voice:
        if known:
            await voice.synthesiser.sound("Watch. Link.")
        voice.put(alert(level, "Watch. Link.", rule="link"))
        await ear.until(lambda: len(ear.ends) == 1)
        voice.put(alert(level, "Watch. Link.", rule="link", change=Change.REPEATED))
        await ear.until(lambda: len(ear.ends) == 2)
        words = await voice.synthesiser.sound("Watch. Link.")
    first, again, second = after(
        heard(recorder), attention_sound(level), words.rstrip(b"\0"), attention_sound(level), words.rstrip(b"\0")
    )
    assert 0.05 < first < 0.5
    assert 0.05 < second < 0.5
    assert again >= 0
    assert ear.outcomes() == [("link", "spoken")] * 2


@pytest.mark.parametrize("level", [ADVISORY, Level.ROUTINE])
async def test_what_may_be_missed_begins_with_its_words(recorder: Recorder, level: Level) -> None:
    ear = Ear()
    item = (
        RoutineCall(0, 0, 1, "call", "Armed.") if level is Level.ROUTINE else alert(level, "Armed.", rule="call")
    )
    async with running(voice_for(ear)) as voice:
        voice.put(item)
        await ear.until(lambda: len(ear.ends) == 1)
        words = await voice.synthesiser.sound("Armed.")
    assert after(heard(recorder), words.rstrip(b"\0")) == []
    assert heard(recorder).strip(b"\0") in words + bytes(2)


def hanging_after(rendered: int, marker: Path) -> list[str]:
    """Return a synthesiser that renders so many texts and hangs from then on, however often it is started."""
    script = f"""
import pathlib, time
import watchkeeper.edges.voice.worker as worker
marker, real = pathlib.Path({str(marker)!r}), worker.synthesise
def synthesise(request, driver):
    with marker.open("a") as file:
        file.write("x")
    if marker.stat().st_size > {rendered}:
        time.sleep(60)
    return real(request, driver)
worker.synthesise = synthesise
worker.main()
"""
    return [sys.executable, "-c", script]


async def test_what_stands_in_for_words_that_do_not_come(
    recorder: Recorder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The synthesiser hangs in flight: what was rendered ahead is heard, all else is told to be on the screen."""
    ahead = (*STAND_IN.values(), "Warning. Link. Lost.")
    ear = Ear()
    done = asyncio.Event()
    monkeypatch.setattr(voice_module, "AHEAD_EVERY_S", 0.0)
    voice = voice_for(ear, ahead=ahead, worker=hanging_after(len(ahead), tmp_path / "count"), timeout_s=1.0)
    render_ahead = voice.synthesiser.render_ahead

    async def note(text: str) -> bool:
        kept = await render_ahead(text)
        if text == ahead[-1]:
            done.set()
        return kept

    monkeypatch.setattr(voice.synthesiser, "render_ahead", note)
    async with running(voice):
        async with asyncio.timeout(20):
            await done.wait()
        voice.put(alert(WARNING, "Warning. Battery. 3 packs give nothing.", rule="packs"))
        voice.put(alert(WARNING, "Warning. Link. Lost.", rule="link"))
        voice.put(alert(CAUTION, "Caution. Battery. Low, 40 percent.", rule="low"))
        await ear.until(lambda: len(ear.ends) == 3)
        instead, lost, caution = (voice.synthesiser.known(text) for text in (ahead[0], ahead[2], ahead[1]))
    assert instead is not None
    assert lost is not None
    assert caution is not None
    bell, soft = attention_sound(WARNING), attention_sound(CAUTION)
    gaps = after(heard(recorder), bell, instead, bell, lost, soft, caution)
    assert max(gaps[0], gaps[2], gaps[4]) < 0.5
    assert ear.outcomes() == [("packs", "failed"), ("link", "spoken"), ("low", "failed")]
    assert ear.reports[0] == ("voice", False, NO_WORDS)


async def test_without_any_words_the_attention_sound_comes_twice(recorder: Recorder) -> None:
    ear = Ear()
    async with running(voice_for(ear, worker=[sys.executable, "-c", HANGS], timeout_s=0.2)) as voice:
        voice.put(alert(WARNING, "Warning. Link. Lost.", rule="link"))
        await ear.until(lambda: len(ear.ends) == 1)
    bell = attention_sound(WARNING)
    assert after(heard(recorder), bell, bell)[0] < 0.5
    assert ear.outcomes() == [("link", "failed")]


async def test_words_that_are_late_follow_what_stood_in_for_them(
    recorder: Recorder, monkeypatch: pytest.MonkeyPatch
) -> None:
    ear = Ear()
    release = asyncio.Event()
    async with running(voice_for(ear)) as voice:
        for text in STAND_IN.values():
            await voice.synthesiser.render_ahead(text)
        render = voice.synthesiser.sound

        async def late(text: str) -> bytes:
            await release.wait()
            return await render(text)

        monkeypatch.setattr(voice.synthesiser, "sound", late)
        play = voice._player.play

        def note(sound: bytes) -> asyncio.Future[None]:
            if sound == voice.synthesiser.known(STAND_IN[WARNING]):
                release.set()
            return play(sound)

        monkeypatch.setattr(voice._player, "play", note)
        voice.put(alert(WARNING, "Warning. Link. Lost.", rule="link"))
        await ear.until(lambda: len(ear.ends) == 1)
        instead, words = voice.synthesiser.known(STAND_IN[WARNING]), await render("Warning. Link. Lost.")
    assert instead is not None
    after(heard(recorder), attention_sound(WARNING), instead, words.rstrip(b"\0"))
    assert ear.outcomes() == [("link", "spoken")]


async def test_words_that_have_waited_are_worded_anew(recorder: Recorder) -> None:
    """A number ten seconds old is a wrong number; one that has not waited is spoken as it was decided."""
    now_us = 0
    asked: list[str] = []

    def reword(item: AlertChange | RoutineCall) -> str | None:
        asked.append(item.rule)
        return "Warning. Motors stop in 2 seconds." if item.rule == "old" else None

    ear = Ear()
    voice = voice_for(ear, now_us=lambda: now_us, reword=reword)
    voice.put(alert(WARNING, "Warning. Motors stop in 12 seconds.", rule="old"))
    voice.put(alert(WARNING, "Warning. Link. Lost.", rule="gone"))
    now_us = 10_000_000
    voice.put(alert(WARNING, "Warning. Height 40 metres.", rule="new"))
    async with running(voice):
        await ear.until(lambda: len(ear.ends) == 3)
        said = [
            voice.synthesiser.known(f"Warning. {words}")
            for words in ("Motors stop in two seconds.", "Link. Lost.", "Height four zero metres.")
        ]
        assert voice.synthesiser.known("Warning. Motors stop in one two seconds.") is None
    assert all(said)
    after(heard(recorder), *(one.rstrip(b"\0") for one in said if one))
    assert "new" not in asked
    assert ear.outcomes() == [("old", "spoken"), ("gone", "spoken"), ("new", "spoken")]


async def test_words_that_wait_behind_a_hang_are_not_spoken_late(monkeypatch: pytest.MonkeyPatch) -> None:
    """The synthesiser holds an advisory until it is eleven seconds old."""
    now_us = 0
    ear = Ear()
    voice = voice_for(ear, now_us=lambda: now_us)

    async def slow(_text: str) -> bytes:
        nonlocal now_us
        now_us += 11_000_000
        return bytes(2 * RATE_HZ)

    monkeypatch.setattr(voice.synthesiser, "sound", slow)
    async with running(voice):
        voice.put(alert(ADVISORY, "Advisory. Wind.", rule="wind"))
        await ear.until(lambda: len(ear.ends) == 1)
    assert ear.ends == [("wind", "dropped", "too old to be true")]


@pytest.mark.parametrize(
    ("numbers", "words"), [("digits", "Charge four zero percent."), ("plain", "Charge forty percent.")]
)
@pytest.mark.usefixtures("recorder")
async def test_numbers_are_spoken_by_the_crews_choice(numbers: str, words: str) -> None:
    ear = Ear()
    async with running(voice_for(ear, options=VoiceOptions(numbers=NumberStyle(numbers)))) as voice:
        voice.put(RoutineCall(0, 0, 1, "charge", "Charge 40 percent."))
        await ear.until(lambda: len(ear.ends) == 1)
        assert voice.synthesiser.known(words) is not None


@pytest.mark.parametrize("size", [7, 100, FADE, 441, 2000])
async def test_a_cut_fades_within_its_first_samples(size: int) -> None:
    """Whatever the device asks for at once: 8 ms after the cut all is silent, no step larger than before."""
    player = Player(NULL)
    feed = player._feed()
    next(feed)
    tone = array("h", [round(20_000 * ((i % 40) - 20) / 20) for i in range(RATE_HZ)])
    player.play(tone.tobytes())
    before = array("h", feed.send(500))
    player.stop()
    rest = array("h", b"".join(feed.send(size) for _ in range(2 * FADE // size + 2)))
    assert before == tone[:500]
    assert abs(rest[0]) > 1000 or abs(tone[500]) < 1000  # no sudden silence
    assert set(rest[FADE:]) == {0}
    joined = [*before[-1:], *rest]
    steps = [abs(b - a) for a, b in pairwise(joined)]
    assert max(steps) <= max(abs(b - a) for a, b in pairwise(tone[:200]))
    sound = array("h", [1000] * 3000)
    player.play(sound.tobytes())
    whole = array("h", b"".join(feed.send(size) for _ in range(3000 // size + 2)))
    assert whole[:3000] == sound


async def test_what_follows_a_cut_comes_after_the_fade_and_is_whole() -> None:
    player = Player(NULL)
    feed = player._feed()
    next(feed)
    player.play(array("h", [9000] * 4000).tobytes())
    feed.send(441)
    bell = attention_sound(WARNING)
    player.stop()
    player.play(bell)
    stream = b"".join(feed.send(441) for _ in range(40))
    assert stream.find(bell) == 2 * FADE


async def test_what_was_rendered_ahead_is_never_given_up() -> None:
    made = Synthesiser(VoiceOptions())
    assert await made.render_ahead("Warning. Link. Lost.")
    kept = made.known("Warning. Link. Lost.")
    made._keep("long", bytes(20_000_000))
    made._keep("other", bytes(20_000_000))
    assert kept is not None
    assert made.known("Warning. Link. Lost.") is kept
    made._ahead_bytes = 12_000_000
    assert not await made.render_ahead("Disarmed.")  # no more room
    await made.close()
