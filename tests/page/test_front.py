"""The page in a real browser: looks, names, orders, countdown, loss and return, hostile text.

What it is held against: axe-core (its rules for WCAG 2.2 A and AA, and best practice), WCAG 2.2 criteria
1.4.10 (reflow), 2.5.8 (targets; ours are 44 px, 64 for the observer), the palette of the brief for 14 CFR 25.1322.
"""

from __future__ import annotations

import re
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.page import scenes
from tests.page.scene_server import STATIC, SceneServer
from watchkeeper.alerts.events import Level
from watchkeeper.brief.page_style import DARK, LIGHT

AXES: Final = (
    Path(".node/node_modules/axe-core/axe.min.js"),
    Path(tempfile.gettempdir(), "axe/node_modules/axe-core/axe.min.js"),
)
PHONE: Final = (390, 844)
SIZES: Final = {
    "phone": PHONE,
    "small phone": (320, 568),
    "phone on its side": (844, 390),
    "laptop": (1366, 768),
    "wall": (1920, 1080),
    "large wall": (3840, 2160),
}
AXE: Final = (
    "async () => (await axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', "
    "'best-practice']})).violations.map(v => `${v.id}: ${v.nodes.map(n => n.target + ' ' + n.failureSummary)}`)"
)
FAULTS_OF_LAYOUT: Final = (Path(__file__).parent / "layout_faults.js").read_text()


@pytest.fixture(scope="module")
def server() -> Iterator[SceneServer]:
    one = SceneServer()
    yield one
    one.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield one
        one.close()


class Visitor:
    """A page, and what it did that it should not."""

    def __init__(self, browser: Browser, server: SceneServer) -> None:
        self.server = server
        self.context = browser.new_context(viewport={"width": 390, "height": 844}, reduced_motion="reduce")
        self.page = self.context.new_page()
        self.outside: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", self._note)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on(
            "console", lambda said: self.errors.append(said.text) if "Content Security" in said.text else None
        )

    def _note(self, request: Any) -> None:
        if not request.url.startswith(self.server.address + "/"):
            self.outside.append(request.url)

    def go(self, scene: str = "calm", role: str | None = "pilot", size: tuple[int, int] = PHONE) -> Page:
        """Open the page on a scene."""
        self.server.show(getattr(scenes, scene)(), role)
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.goto(self.server.address)
        self.page.wait_for_selector("body:not(.waiting)")
        self.page.wait_for_selector("body[data-role]")
        return self.page


@pytest.fixture
def visitor(browser: Browser, server: SceneServer) -> Iterator[Visitor]:
    one = Visitor(browser, server)
    yield one
    one.context.close()
    assert one.outside == []
    assert one.errors == []


def settled(page: Page) -> None:
    """Wait until what depends on sizes has been drawn for the present one."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def another_picture(page: Page) -> None:
    """Wait until one more picture has been drawn."""
    page.evaluate(
        "() => new Promise((done) => new MutationObserver(done).observe(document.getElementById('about'),"
        "{subtree: true, childList: true, characterData: true}))"
    )


STATES: Final = [
    ("calm", "pilot"), ("warning", "observer"), ("link_lost", "post"), ("before", "pilot"), ("board", "post"),
    ("warning", "lost"),
]  # fmt: skip


@pytest.mark.parametrize(("scene", "role"), STATES)
def test_nobody_is_shut_out_and_nothing_overlaps_or_is_cut_off(visitor: Visitor, scene: str, role: str) -> None:
    page = visitor.go(scene, "pilot" if role == "lost" else role)
    if role == "lost":
        visitor.server.set(down=True)
        page.wait_for_selector("#lost:not([hidden])")
    axe = next(path for path in AXES if path.exists()).read_text()
    page.evaluate(axe)
    for name, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        dark = name in ("wall", "laptop")
        page.emulate_media(color_scheme="dark" if dark else "light")
        settled(page)
        assert page.evaluate(FAULTS_OF_LAYOUT) == [], name
        if name in ("phone", "wall"):
            assert page.evaluate(AXE) == [], name


def test_its_colours_are_those_of_the_brief() -> None:
    css = (STATIC / "page.css").read_text()
    light, dark = (
        dict(re.findall(r"--([a-z-]+):(#[0-9a-f]{6})", part))
        for part in css.split("*{box-sizing")[0].split("@media")
    )
    assert light == LIGHT
    assert dark == DARK


def test_most_urgent_first_and_acknowledged_with_the_keyboard_alone(visitor: Visitor) -> None:
    page = visitor.go("warning")
    tags = page.locator("#wrong-list > li > .tag").all_text_contents()
    assert tags == ["Warning", "Caution", "Caution", "Caution"]
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Acknowledge":
            break
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    expect(page.locator("#wrong-list .answer").first).to_have_text("")
    [order] = visitor.server.orders
    assert order == {
        "action": "acknowledge", "station": "north-field", "aircraft": 42, "rule": "return-now", "minutes": None,
        "text": None,
    }  # fmt: skip
    visitor.server.show(scenes.warning()[:1])  # another picture leaves the focus where it is
    another_picture(page)
    assert page.evaluate("document.activeElement.textContent") == "Acknowledge"


def test_who_only_reads_has_nothing_to_press(visitor: Visitor) -> None:
    page = visitor.go("warning", None)
    assert page.locator("#wrong-list button, #observer button:visible").count() == 0
    expect(page.locator("#about")).to_contain_text("reading only")


def test_the_countdown_runs_between_pictures_and_stops_with_them(visitor: Visitor) -> None:
    page = visitor.go("calm")
    expect(page.locator(".figure-count .big-figure")).to_have_text(re.compile("6:4[12]"))
    visitor.server.set(silent=True)
    expect(page.locator(".figure-count .big-figure")).to_have_text("6:40", timeout=4000)
    expect(page.locator("#lost")).to_be_visible(timeout=6000)
    expect(page.locator(".figure-count .figure-small")).to_contain_text("stands still")
    stood = page.locator(".figure-count .big-figure").text_content()
    expect(page.locator("#lost-for")).to_have_text(re.compile("^[5-9] s"), timeout=6000)
    assert page.locator(".figure-count .big-figure").text_content() == stood


def test_a_lost_watch_is_shouted_and_its_return_told(visitor: Visitor) -> None:
    page = visitor.go("calm")
    visitor.server.set(down=True)
    expect(page.locator("#lost")).to_be_visible(timeout=2000)
    expect(page.locator("#lost")).to_contain_text("not heard")
    expect(page.locator("#tell-now")).to_contain_text("not heard")
    assert "NOT HEARD" in page.title()
    assert (
        page.evaluate("getComputedStyle(document.querySelector('#answer-head'), '::after').content") == '" (old)"'
    )
    visitor.server.set(down=False)
    expect(page.locator("#back")).to_contain_text("heard again", timeout=8000)
    expect(page.locator("#lost")).to_be_hidden()


def test_a_picture_that_stands_still_is_not_now(visitor: Visitor) -> None:
    page = visitor.go("calm")
    visitor.server.set(still=True)
    expect(page.locator("#lost")).to_be_visible(timeout=6000)


def test_a_tab_that_was_hidden_shows_no_old_picture_as_now(visitor: Visitor) -> None:
    page = visitor.go("calm")
    visitor.server.set(silent=True)
    # a browser that froze the tab: no timer ran, the clocks went on
    lost_at_once = page.evaluate(
        "() => { const now = Date.now; Date.now = () => now() + 60000;"
        "document.dispatchEvent(new Event('visibilitychange'));"
        "const lost = document.body.classList.contains('lost'); Date.now = now; return lost; }"
    )
    assert lost_at_once


def test_hostile_text_stays_text(visitor: Visitor) -> None:
    page = visitor.go("hostile", "pilot")
    for closed in page.locator("summary").all():
        closed.click()
    settled(page)
    assert page.evaluate("window.bitten") is None
    assert page.locator("main img, main script").count() == 0
    assert page.evaluate(FAULTS_OF_LAYOUT) == []
    assert page.evaluate("document.body.textContent.length") < 40_000
    assert "\u202e" not in (page.locator("body").text_content() or "")
    expect(page.locator("#answer-head")).to_be_visible()
    assert page.evaluate("document.body.className.includes('failed')") is False


def test_an_exercise_is_marked_across_the_page(visitor: Visitor) -> None:
    page = visitor.go("before")
    for css in (".band-top", ".band-bottom", ".side-left", ".side-right", "#exercise-word"):
        expect(page.locator(css)).to_be_visible()
    assert (page.locator(".band-top").text_content() or "").count("Exercise") > 20
    visitor.server.show(scenes.calm())
    expect(page.locator(".band-top")).to_be_hidden()


def test_the_checklist_is_ticked_by_whoever_may(visitor: Visitor) -> None:
    page = visitor.go("before", "pilot")
    page.get_by_label("pack connectors").check()
    expect(page.locator(".ticks [data-sending]")).to_have_count(0)
    assert [(o["action"], o["text"], o["aircraft"]) for o in visitor.server.orders] == [
        ("check", "pack connectors", 42)
    ]
    page = visitor.go("before", "post")
    expect(page.get_by_label("pack connectors")).to_be_disabled()
    with page.expect_response("**/orders"):
        page.get_by_role("button", name="I hear the watch").click()
    assert [o["action"] for o in visitor.server.orders] == ["confirm"]


@pytest.mark.parametrize(("label", "text"), [("People entering", "people"), ("Stop", "stop")])
def test_the_observer_tells_the_pilot_in_one_press(visitor: Visitor, label: str, text: str) -> None:
    page = visitor.go("calm", "observer")
    page.get_by_role("button", name=label).click()
    expect(page.locator("#observer-says")).to_have_text(f"The watch has it, for the pilot: {label}.", timeout=1000)
    assert visitor.server.orders[0]["action"] == "sighted"
    assert visitor.server.orders[0]["text"] == text
    box = page.get_by_role("button", name=label).bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 844  # within reach without scrolling
    assert box["y"] > 844 / 2


@pytest.mark.parametrize("how", ["refused", "no", "down"])
def test_what_was_not_sent_is_said_within_a_second(visitor: Visitor, how: str) -> None:
    page = visitor.go("calm", "observer")
    if how == "refused":
        visitor.server.answer = lambda: (403, {})
    elif how == "no":
        visitor.server.answer = lambda: (200, {"done": False, "reason": "no pilot"})
    else:
        visitor.server.set(down=True)
    page.get_by_role("button", name="Traffic").click()
    expect(page.locator("#observer-says")).to_contain_text("Not sent. Call out.", timeout=1000)


def test_the_board_sorts_by_need_and_opens_one_large(visitor: Visitor) -> None:
    page = visitor.go("board", "post", SIZES["wall"])
    names = page.locator(".one-name").all_text_contents()
    assert [name.split(" ·")[0] for name in names] == ["Petrel 11", "Petrel 12", "Heron 1", "Tern 7", "Tern 9"]
    expect(page.locator(".one").first).to_contain_text("Watch lost")
    page.locator(".one", has_text="Tern 7").click()
    expect(page.locator(".who-is")).to_contain_text("Tern 7")
    page.get_by_role("button", name="Open whichever needs it most").click()
    expect(page.locator(".who-is")).to_contain_text("Petrel 11")


def test_of_equal_need_the_real_flight_comes_before_the_exercise(visitor: Visitor) -> None:
    page = visitor.go("board", "post", SIZES["wall"])
    drill = scenes.station(scenes.aircraft(system=3, name="Drill 3"), station="a-drill", exercise=True)
    real = scenes.station(scenes.aircraft(system=4, name="Real 4"), station="field")
    visitor.server.show([drill, real], "post")
    expect(page.locator(".one-name").first).to_contain_text("Real 4")
    soon = scenes.answer(standing="soon", words="Turn back within one minute.")
    drill = scenes.station(
        scenes.aircraft(system=3, name="Drill 3", answer=soon), station="a-drill", exercise=True
    )
    visitor.server.show([drill, real], "post")
    expect(page.locator(".one-name").first).to_contain_text("Drill 3")


def test_a_station_that_is_lost_stands_once_with_the_reason(visitor: Visitor) -> None:
    page = visitor.go("board", "post", SIZES["wall"])
    why = "The watch has told nothing for 9 s."
    own = scenes.alert("board-lost", Level.CAUTION, "Watch lost. Call its crew.", reason=why)
    lost = scenes.station(scenes.aircraft(), station="south-quarry", state="lost", alerts=[own])
    visitor.server.show([lost], "post")
    alerts = page.locator("#wrong-list")
    expect(alerts).to_contain_text("south-quarry is not heard any more")
    expect(alerts).not_to_contain_text("Call its crew")
    expect(alerts.locator(".reason")).to_have_count(1)  # what stood before, several reasons, has gone
    expect(alerts.locator(".reason")).to_have_text(why)


def test_where_no_watch_speaks_no_listening_is_offered(visitor: Visitor) -> None:
    asked: list[str] = []
    visitor.page.on("request", lambda request: asked.append(request.url))
    visitor.server.more = {"sound": False}
    try:
        page = visitor.go("board", "post", SIZES["wall"])
        expect(page.locator("#listen")).to_have_text("Allow sound")
        page.locator("#listen").click()
        expect(page.locator("#listen-says")).to_have_text("Sounds only if the watch is lost.")
    finally:
        visitor.server.more = {}
    assert not any("listen.js" in url or "/audio" in url for url in asked)


def test_a_screen_reader_hears_each_alert_once(visitor: Visitor) -> None:
    page = visitor.go("warning")
    expect(page.locator("#tell-now p")).to_have_text(["Warning. Return. Turn back now."])
    expect(page.locator("#tell p")).to_have_count(2)
    another_picture(page)
    expect(page.locator("#tell-now p")).to_have_count(1)
    assert page.get_attribute("#tell-now", "role") == "alert"
    assert page.get_attribute("#tell", "role") == "status"


def test_only_what_can_be_done_is_offered(visitor: Visitor) -> None:
    """What the watch says of itself is not shelved; neither are warnings, nor what somebody of the crew sees."""
    page = visitor.go("warning")
    shelves = page.get_by_role("button", name="Shelve 10 min")
    assert [shelves.nth(n).get_attribute("aria-label") for n in range(shelves.count())] == [
        "Shelve 10 min: Heron 1, Caution. Battery. Voltage sag. 3.4 volts. Slow down, avoid climbing.",
        "Shelve 10 min: Heron 1, Caution. Link. Fading. Turn the antenna.",
    ]


def test_on_the_way_home_no_turning_back_is_unknown(visitor: Visitor) -> None:
    page = visitor.go("returning")
    expect(page.locator(".figure-charge")).to_be_visible()
    expect(page.locator(".figure-count")).to_be_hidden()


def test_what_lies_under_the_buttons_can_be_scrolled_out_from_under_them(visitor: Visitor) -> None:
    page = visitor.go("warning", "observer")
    page.evaluate("window.scrollTo(0, document.documentElement.scrollHeight)")
    settled(page)
    footer, bar = page.locator("footer").bounding_box(), page.locator("#observer").bounding_box()
    assert footer is not None
    assert bar is not None
    assert footer["y"] + footer["height"] <= bar["y"] + 1


def test_an_order_without_an_answer_counts_as_not_sent_until_it_is_answered(visitor: Visitor) -> None:
    page = visitor.go("calm", "observer")
    let_go = threading.Event()

    def hang() -> tuple[int, dict[str, Any]]:
        let_go.wait(20)
        return 200, {"done": True}

    visitor.server.answer = hang
    page.get_by_role("button", name="Lost sight").click()
    expect(page.locator("#observer-says")).to_have_text("Not sent. Call out.", timeout=2000)
    let_go.set()
    expect(page.locator("#observer-says")).to_have_text(
        "The watch has it, for the pilot: Lost sight.", timeout=4000
    )


def test_it_sounds_when_the_watch_is_lost_once_sound_is_allowed(visitor: Visitor) -> None:
    visitor.page.add_init_script(
        "window.tones = 0; const One = OscillatorNode; "
        "window.OscillatorNode = class extends One { start(...at) { window.tones += 1; super.start(...at); } };"
    )
    page = visitor.go("calm", None)
    page.get_by_role("button", name="Allow sound").click()
    expect(page.locator("#listen-says")).to_have_text("Sounds only if the watch is lost.")
    assert page.evaluate("window.tones") == 0
    visitor.server.set(down=True)
    expect(page.locator("#lost")).to_be_visible()
    assert page.evaluate("window.tones") > 0
    page.get_by_role("button", name="Quiet the tone").click()
    expect(page.locator("#lost-quiet")).to_be_hidden()
    expect(page.locator("#lost")).to_be_visible()
