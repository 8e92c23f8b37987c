"""The observer's phone as a whole: real synthesiser, real voice, stream decoded again by another library."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import AsyncIterator
from typing import Any

import numpy as np
import pytest
from scipy.signal import correlate  # type: ignore[import-untyped]

from tests.edges.sound_parts import Samples, as_samples
from tests.edges.test_voice import Ear, alert
from tests.page.phone_parts import a_phone, running
from tests.page.test_sound_stream import DELAY, decoded, loud
from tests.test_before_take_off import Ground, steps
from tests.test_test_calls import ALL, RULES
from watchkeeper.alerts.audience import TEST_CALL
from watchkeeper.alerts.events import AlertChange, Change, Level, Order, RoutineCall, State, Step
from watchkeeper.edges.reached import PHONE, Reached, ways
from watchkeeper.edges.voice.attention import PAUSE_S, attention_sound
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.page.phone import NO_PHONE, Phone

WARNING, CAUTION = Level.WARNING, Level.CAUTION
HIGH = "Warning. Height. Too high. Descend."
LONG = "Caution. People. Somebody walks below the aircraft, far on its left. Fly away from there, and then wait."
TEST = RoutineCall(0, 0, 7, TEST_CALL + "observer", "Test. Watch to observer, confirm that you hear.")


class Listening:
    """One who is connected, keeps all, and says that it plays: once, and if `goes_on` every 5 s."""

    def __init__(self, phone: Phone, ear: Ear, *, goes_on: bool = False) -> None:
        self.phone, self.ear = phone, ear
        self._goes_on = goes_on
        self.bytes = bytearray()
        self.at_s = 0.0
        self._more = asyncio.Event()
        listener = phone.stream.join("observer", lambda: None)
        assert listener is not None
        self.listener = listener
        self._taking = asyncio.create_task(self._take())

    async def _take(self) -> None:
        while part := await self.listener.take():
            self.bytes += part
            self._more.set()
            if self._goes_on and self.phone.stream.at / RATE_HZ > self.at_s + 5.0:
                self.plays()

    def plays(self) -> None:
        self.at_s = max(self.at_s + 1.0, self.phone.stream.at / RATE_HZ)
        assert self.phone.hearing.heard("observer", "a", self.at_s)

    async def lasts(self, seconds: float) -> None:
        """Listen until so much more sound has come."""
        until = self.phone.stream.at + seconds * RATE_HZ
        async with asyncio.timeout(seconds + 30):
            while self.phone.stream.at < until:
                self._more.clear()
                await self._more.wait()

    async def until(self, rule: str) -> tuple[str, str]:
        """Wait until a callout has ended; returns how."""
        await self.ear.until(lambda: any(one[0] == rule for one in self.ear.ends), 40)
        return next((outcome, detail) for name, outcome, detail in self.ear.ends if name == rule)

    def heard(self) -> Samples:
        return decoded(bytes(self.bytes))

    async def leave(self) -> None:
        self.phone.stream.leave(self.listener)
        self.listener.end()
        await self._taking


@contextlib.asynccontextmanager
async def listened(**more: Any) -> AsyncIterator[tuple[Phone, Ear, Listening]]:
    ear = Ear()
    async with running(a_phone(ear, **more)) as phone:
        await phone.voice.synthesiser.start()
        listening = Listening(phone, ear, goes_on=True)
        listening.plays()
        await listening.lasts(0.5)
        yield phone, ear, listening
        await listening.leave()


def place_of(sound: bytes, heard: Samples) -> tuple[int, float]:
    """Return where in what was heard a sound is, and how alike the two are there (1: the same)."""
    wanted = as_samples(sound)
    at = int(np.argmax(correlate(heard, wanted, "valid", "fft")))
    there = heard[at : at + len(wanted)]
    return at, float(np.dot(there, wanted) / np.linalg.norm(there) / np.linalg.norm(wanted))


async def test_the_observer_hears_attention_sound_and_words() -> None:
    async with listened() as (phone, ear, listening):
        at = phone.stream.at
        phone.put(alert(WARNING, HIGH, rule="high"))
        assert (await listening.until("high"))[0] == "spoken"
        await listening.lasts(0.5)
        words = phone.voice.synthesiser.known(HIGH)
        assert words is not None
        heard = listening.heard()
        bell_at, bell_like = place_of(attention_sound(WARNING), heard)
        words_at, words_like = place_of(words, heard)
        assert min(bell_like, words_like) > 0.98
        assert 0 <= bell_at - DELAY - at < 0.1 * RATE_HZ  # it begins with the next step
        between_s = (words_at - bell_at) / RATE_HZ - len(attention_sound(WARNING)) / 2 / RATE_HZ
        assert PAUSE_S - 0.01 <= between_s <= 0.5  # MIL-DTL-87268D 3.3.6.1.1 (facts.md): words within 0.5 s
        before = heard[RATE_HZ // 4 : bell_at - 600]
        after = heard[words_at + len(words) // 2 + 1500 :]
        assert len(before) > 1000
        assert len(after) > 1000
        assert max(np.abs(before).max(), np.abs(after).max()) < 0.005  # silence, but for the hush
        assert ear.reports == []


async def test_a_warning_cuts_off_a_caution_which_is_said_again() -> None:
    async with listened() as (phone, _ear, listening):
        caution = AlertChange(
            0, 0, 1, "people", CAUTION, Change.RAISED, State.UNACKNOWLEDGED, LONG, "", spoken=True, eyes=True
        )
        phone.put(caution)
        await listening.lasts(2.5)
        put_at = phone.stream.at
        phone.put(alert(WARNING, HIGH, rule="high"))
        assert (await listening.until("high"))[0] == "spoken"
        assert (await listening.until("people"))[0] == "spoken"
        await listening.lasts(0.5)
        heard = listening.heard()
        bell_at, like = place_of(attention_sound(WARNING), heard)
        assert like > 0.98
        assert 0 <= bell_at - DELAY - put_at < 0.1 * RATE_HZ
        caution_words = phone.voice.synthesiser.known(LONG)
        assert caution_words is not None
        again_at, like = place_of(caution_words, heard)
        assert again_at > bell_at
        assert like > 0.98


async def test_only_the_observer_and_the_end_quiet_it() -> None:
    async with listened() as (phone, ear, listening):
        await phone.voice.synthesiser.sound(LONG)
        raised = alert(WARNING, LONG, rule="high")
        phone.put(raised)
        phone.put(alert(WARNING, HIGH, rule="near"))
        await listening.lasts(1.0)
        pilots = AlertChange(
            0, 0, 1, "near", WARNING, Change.ACKNOWLEDGED, State.ACKNOWLEDGED, HIGH, "", by="pilot",
            acknowledged_by=("pilot",),
        )  # fmt: skip
        phone.put(pilots)
        assert "near" not in [rule for rule, _, _ in ear.ends]
        put_at = phone.stream.at
        phone.put(alert(WARNING, LONG, rule="high", change=Change.CLEARED))
        assert (await listening.until("high"))[0] == "cut off"
        assert (await listening.until("near"))[0] == "spoken"
        await listening.lasts(0.3)
        heard = listening.heard()
        bell_at = put_at + place_of(attention_sound(WARNING), heard[put_at:])[0]
        assert 0 <= bell_at - DELAY - put_at < 0.1 * RATE_HZ  # what ended gave way at once
        waiting = alert(WARNING, "Warning. Wind. Strong. Land now.", rule="wind")
        phone.put(alert(WARNING, LONG, rule="again"))
        phone.put(waiting)
        observers = AlertChange(
            0, 0, 1, "wind", WARNING, Change.ACKNOWLEDGED, State.UNACKNOWLEDGED, "", "", by="observer",
            acknowledged_by=("observer",),
        )  # fmt: skip
        phone.put(observers)
        assert ear.ends[-1] == ("wind", "dropped", "acknowledged")


async def test_what_is_not_the_observers_is_not_said() -> None:
    async with listened() as (phone, _ear, listening):
        phone.put(alert(CAUTION, "Caution. Battery. Low. Land soon.", rule="battery"))
        assert await listening.until("battery") == ("dropped", "not for this role")


async def test_what_was_said_to_nobody_is_said_once_somebody_listens_if_it_stands() -> None:
    ear = Ear()
    async with running(a_phone(ear, reword=lambda item: f"{item.callout} Now.")) as phone:
        await phone.voice.synthesiser.start()
        for rule in ("high", "near", "far", "quiet"):
            phone.put(alert(WARNING, f"Warning. {rule.capitalize()}.", rule=rule))
        await ear.until(lambda: len(ear.ends) == 4)
        assert {one[1:] for one in ear.ends} == {("dropped", "nobody listens")}
        phone.put(alert(WARNING, "", rule="near", change=Change.CLEARED))
        phone.put(
            AlertChange(
                0, 0, 1, "quiet", WARNING, Change.ACKNOWLEDGED, State.UNACKNOWLEDGED, "", "", by="observer",
                acknowledged_by=("observer",),
            )
        )  # fmt: skip
        ear.ends.clear()
        listening = Listening(phone, ear)
        await listening.lasts(0.2)
        assert ear.ends == []
        listening.plays()
        assert (await listening.until("high"))[0] == "spoken"
        assert (await listening.until("far"))[0] == "spoken"
        assert len(ear.ends) == 2
        words = phone.voice.synthesiser.known("Warning. High. Now.")
        assert words is not None
        await listening.lasts(0.3)
        assert place_of(words, listening.heard())[1] > 0.98
        listening.plays()
        await listening.lasts(0.3)
        assert len(ear.ends) == 2  # once
        await listening.leave()


async def test_what_went_out_while_no_phone_played_was_not_heard() -> None:
    now_us = 0

    ear = Ear()
    async with running(a_phone(ear)) as phone:
        await phone.voice.synthesiser.start()
        phone.hearing._now_us = lambda: now_us
        listening = Listening(phone, ear)
        listening.plays()
        now_us += 13_000_000  # connected still, but its word is missing
        phone.hearing.look()
        phone.put(alert(WARNING, HIGH, rule="high"))
        assert await listening.until("high") == ("failed", NO_PHONE)
        ear.ends.clear()
        listening.plays()
        assert (await listening.until("high"))[0] == "spoken"
        await listening.leave()


@pytest.mark.parametrize(("plays", "step"), [(True, Step.GIVEN), (False, Step.NOT_GIVEN)])
async def test_a_test_call_counts_over_the_phone_only_while_it_plays(plays: bool, step: Step) -> None:
    field = Ground(ALL, RULES)
    field.run(3)
    field.order("test")
    now_us = 0
    ear = Ear()
    done = asyncio.Event()

    def order(given: Order) -> None:
        field.happened += field.engine.order(given, 1_700_000_000.0 + field.second)
        done.set()

    async with running(a_phone(ear)) as phone:
        phone.hearing._now_us = lambda: now_us
        reached = Reached(order, ways(mute=False, quiet=False), by_phone=lambda: phone.wanted)
        tell = phone._tell

        def delivered(item: Any, outcome: str, detail: str) -> None:
            tell(item, outcome, detail)
            reached.delivered(PHONE, item, outcome, detail)

        phone._tell = delivered
        listening = Listening(phone, ear)
        listening.plays()
        now_us += 0 if plays else 13_000_000
        phone.hearing.look()
        before = len(field.happened)
        reached.delivered("voice", TEST, "spoken", "")  # the pilot's voice calls the observer too
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        assert not done.is_set()
        phone.put(TEST)
        await asyncio.wait_for(done.wait(), 40)
        assert [(one.step, one.role, one.by) for one in steps(field.happened[before:])] == [
            (step, "observer", "phone")
        ]
        phone.hearing.stopped("observer", "a")
        done.clear()
        reached.delivered("voice", TEST, "spoken", "")
        await asyncio.wait_for(done.wait(), 20)
        await listening.leave()


async def test_a_synthesiser_that_dies_is_told_in_words_of_its_own() -> None:
    async with listened() as (phone, ear, listening):
        pid = phone.voice.synthesiser.pid
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        phone.put(alert(WARNING, HIGH, rule="high"))
        assert (await listening.until("high"))[0] == "spoken"
        assert ear.reports[0] == ("phone", False, "Voice of the observer's phone failed. A callout came late.")
        assert ear.reports[-1][1] is True
        assert loud(listening.heard()).size > RATE_HZ
