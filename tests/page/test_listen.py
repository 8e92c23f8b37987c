"""A real browser listens: what HTML says of a media element that plays is `paused` false and `currentTime` rising.

(HTML standard, "Media elements": it is potentially playing when it is not paused and has data.) Over plain http.
"""

from __future__ import annotations

import asyncio
import json
import time

import pytest
from playwright.async_api import Page, expect

from tests.edges.test_voice import Ear, alert
from tests.page.phone_parts import ELEMENT, Gate, a_phone, browsed
from watchkeeper.alerts.events import Level
from watchkeeper.edges.voice.sound import RATE_HZ
from watchkeeper.page.hearing import NOT_HEARING, STOPPED

LIMIT_MS = 60_000
WITHOUT_SOURCE = "delete window.MediaSource; delete window.ManagedMediaSource;"
HIGH = "Warning. Height. Too high. Descend."


async def state(page: Page, wanted: str) -> None:
    await expect(page.locator("#state")).to_have_text(wanted, timeout=LIMIT_MS)


async def word(page: Page) -> tuple[dict[str, object], dict[str, object]]:
    """Wait for the phone's next word; returns it and its answer."""
    async with page.expect_response("**/heard", timeout=LIMIT_MS) as found:
        pass
    response = await found.value
    return json.loads(response.request.post_data or ""), await response.json()


@pytest.mark.parametrize("before", ["", WITHOUT_SOURCE], ids=["fed", "plain element"])
async def test_it_plays_near_the_live_end_and_says_so(before: str) -> None:
    ear = Ear()
    gate = Gate(a_phone(ear))
    async with browsed(gate, before=before) as (page, _):
        assert await page.evaluate("'MediaSource' in window") is (before == "")
        assert gate.asked == 0
        await page.click("#go")
        first, answer = await word(page)
        assert answer == {"hears": True}
        await state(page, "hearing")
        second, _ = await word(page)
        assert first["phone"] == second["phone"]
        assert float(str(second["at_s"])) - float(str(first["at_s"])) == pytest.approx(5.0, abs=1.5)
        assert gate.phone.hearing.by_role() == {"pilot": None, "observer": True, "post": None}
        await page.evaluate("window.meter()")
        put_ms = time.time() * 1000
        gate.phone.put(alert(Level.WARNING, HIGH, rule="high"))
        await expect(page.locator("#loud")).to_have_text("loud", timeout=LIMIT_MS)
        loud_ms, loud_at_s = await page.evaluate("window.loud")
        assert 0 < loud_ms - put_ms < 3000  # 0.4 s as measured; the machine may be busy
        element = await page.evaluate(ELEMENT)
        assert element["paused"] is False
        assert element["at"] >= loud_at_s > float(str(second["at_s"]))
        assert gate.phone.stream.at / RATE_HZ - element["at"] < 3.0
        await ear.until(lambda: ear.outcomes() == [("high", "spoken")])
        assert await page.evaluate("[window.states.join(), window.tones, window.shakes]") == [
            "off,starting,hearing", 0, 0,
        ]  # fmt: skip
        assert gate.asked == 1


async def test_a_stream_that_ends_is_taken_up_again_at_once() -> None:
    gate = Gate(a_phone(Ear()))
    async with browsed(gate) as (page, _):
        await page.click("#go")
        await state(page, "hearing")
        for connections in (2, 3):
            async with page.expect_response("**/audio", timeout=LIMIT_MS):
                for listener in gate.phone.stream.listeners:
                    listener.end()
            await word(page)
            assert gate.asked == connections
        assert (await page.evaluate(ELEMENT))["paused"] is False
        assert gate.phone.hearing.by_role()["observer"] is True


async def test_it_shouts_while_it_is_lost_and_comes_back_by_itself() -> None:
    gate = Gate(a_phone(Ear()))
    async with browsed(gate) as (page, _):
        await page.click("#go")
        await state(page, "hearing")
        gate.open = False
        for listener in gate.phone.stream.listeners:
            listener.end()
        await state(page, "lost")
        tones, shakes = await page.evaluate("[window.tones, window.shakes]")
        assert (tones % 6, tones >= 6, shakes >= 1) == (0, True, True)
        refused = gate.asked
        async with page.expect_response("**/audio", timeout=LIMIT_MS):
            pass
        assert gate.asked > refused  # it goes on trying
        gate.open = True
        await state(page, "hearing")
        assert (await word(page))[1] == {"hears": True}
        assert await page.evaluate("window.states.join()") == "off,starting,hearing,lost,hearing"


async def test_a_stream_that_stands_still_is_a_lost_one(monkeypatch: pytest.MonkeyPatch) -> None:
    gate = Gate(a_phone(Ear()))
    async with browsed(gate) as (page, _):
        await page.click("#go")
        await state(page, "hearing")
        step = gate.phone.stream.step
        monkeypatch.setattr(gate.phone.stream, "step", lambda: 0.05)
        await state(page, "lost")
        monkeypatch.setattr(gate.phone.stream, "step", step)
        await state(page, "hearing")


async def test_a_wished_stop_and_a_page_that_is_gone_are_told_apart() -> None:
    ear = Ear()
    gate = Gate(a_phone(ear))
    late_us = 0
    hearing = gate.phone.hearing
    clock = hearing._now_us
    hearing._now_us = lambda: clock() + late_us
    async with browsed(gate) as (page, _):
        await page.click("#go")
        await word(page)
        async with page.expect_response("**/heard", timeout=LIMIT_MS) as stopped:
            await page.evaluate("window.ear.stop()")
        assert (await stopped.value).status == 200
        assert ear.reports == [("observer", False, STOPPED)]
        assert await page.evaluate("[window.ear.state, document.querySelector('audio').paused]") == ["off", True]
        await page.click("#go")
        await word(page)
        assert (ear.reports[-1][1], hearing.by_role()["observer"]) == (True, True)
        await page.close()
        async with asyncio.timeout(60):
            while gate.phone.stream.listeners.has("observer"):  # noqa: ASYNC110  (nobody else is told)
                await asyncio.sleep(0.05)
        late_us = 13_000_000
        await ear.until(lambda: ear.reports[-1] == ("observer", False, NOT_HEARING))


async def test_without_a_key_nobody_listens() -> None:
    gate = Gate(a_phone(Ear()))
    async with browsed(gate) as (page, _):
        await page.context.clear_cookies()
        await page.click("#go")
        await state(page, "lost")
        assert len(gate.phone.stream.listeners) == 0
