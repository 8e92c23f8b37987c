"""The page: self-contained, small, readable by everybody, in print too; an exercise says so everywhere."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from playwright.sync_api import Page, sync_playwright

from tests.brief.pagecheck import read
from tests.conftest import ROOT, RequireProgram, _missing
from tests.debrief import aflight
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.alerts.events import Level
from watchkeeper.debrief.findings import (
    AircraftDebrief,
    Around,
    Crossing,
    Curve,
    Debrief,
    DrillScore,
    Entry,
    Expected,
    Figure,
    Fix,
    Flight,
    Forecast,
    Limit,
    Panel,
    Said,
    Source,
    Told,
    Unseen,
    WayHome,
)
from watchkeeper.debrief.page import MOST_BYTES, page
from watchkeeper.edges.clock import utc_text

UNITS = CrewUnits()
AXE = (ROOT / ".node/node_modules/axe-core/axe.min.js", Path("/tmp/axe/node_modules/axe-core/axe.min.js"))  # noqa: S108
HOSTILE = aflight.HOSTILE


def clock(at_s: float) -> str:
    return utc_text(aflight.START_US + round(at_s * 1e6))


def wave(count: int, low: float, high: float) -> tuple[tuple[float, float | None], ...]:
    return tuple((float(k), low + (high - low) * (0.5 + 0.5 * math.sin(k * 1.7))) for k in range(count))


def forecast(at_s: float, reserve: float = 22.0) -> Forecast:
    return Forecast(at_s, clock(at_s), 400.0, 31.2, 95.0, reserve, reserve - 12.0, 60.0, 48.0, 3.71)


def flight(number: int, count: int) -> Flight:
    track = tuple(Fix(float(k), 3.0 * k % 400, 200 * math.sin(k / 50), 30.0) for k in range(count))
    own = Crossing(
        "the aircraft's low1 by voltage",
        "44 V for 5 s",
        "returns",
        "the aircraft's parameters",
        300.0,
        clock(300),
        12.0,
        forecast(300.0, 8.0),
        90.0,
        33.0,
    )
    return Flight(
        number,
        10.0,
        float(count),
        clock(10),
        clock(count),
        False,
        "landed at home",
        True,
        1200.0,
        400.0,
        50.0,
        6.0,
        250.0,
        9.0,
        120.0,
        5.2,
        21.0,
        30.0,
        3.6,
        3.31,
        2.0,
        aflight.HOME,
        track,
        (WayHome("return", forecast(220.0), 33.0, 99.0, 21.0),),
        (
            own,
            replace(own, name="25 % of the gauge", at_s=None, then=None),
            replace(own, name="b", at_s=None, blind="no gauge"),
        ),
        210.0,
        f"Caution. Return. {HOSTILE}",
        forecast(210.0),
        "",
    )


def entry(number: int, system: int, level: Level) -> Entry:
    return Entry(
        number,
        system,
        "return-now",
        level,
        200.0 + number,
        clock(200 + number),
        f"Warning. {HOSTILE}",
        "because",
        {"return.reserve": 12.3, "text.caution": HOSTILE},
        (Told("voice", "spoken", 0.3, HOSTILE),),
        (("pilot", 4.2),),
        31.0,
        "turned back",
        60.0,
        "condition over",
        2,
        "",
        place=Fix(200.0, 120.0, -30.0, 40.0),
        flight=1,
    )


def aircraft(system: int, count: int, flights: int) -> AircraftDebrief:
    reserve = Curve("a", "charge expected", "%", wave(count, 20, 80), wave(count, 10, 70))
    charge = Curve("b", "charge left", "%", wave(count, 30, 90), line="second")
    panel = Panel("Charge", "%", (reserve, charge), (Limit(20.0, "reserve to be kept"),))
    figures = tuple(
        Figure(f"f{k}", f"Figure {k}", (panel, replace(panel, title="More")), "A note.") for k in range(7)
    )
    return AircraftDebrief(
        system,
        f"carrier {HOSTILE}",
        0.0,
        float(count),
        tuple(flight(k, count) for k in range(1, flights + 1)),
        figures,
        (Unseen("wind", 0.8, 12.0),),
        ((100.0, clock(100), 12.0),),
    )


def debrief(
    systems: int = 1, count: int = 400, entries: int = 4, flights: int = 2, *, exercise: bool = True
) -> Debrief:
    levels = (Level.WARNING, Level.CAUTION, Level.ADVISORY)
    around = Around(
        obstacles=((f"mast {HOSTILE}", (10.501, -40.25), 40.0, 10.0),),
        places=(("meadow", (10.502, -40.251)),),
        areas=(
            ("stay", "boundary", ((10.49, -40.26), (10.51, -40.26), (10.51, -40.24))),
            ("quarry", "keep_out", ((10.5, -40.251), (10.501, -40.251), (10.501, -40.2505))),
        ),
    )
    source = Source(
        "rec", clock(0), 500.0, True, "nothing much", ("files",), (HOSTILE,), ("heard",), ("booked A1",)
    )
    score = DrillScore(
        "four", (Expected("a fault", "rule", 50.0, 41.0, True), Expected("b", "r", 50.0, None, True)), "x", "y"
    )
    return Debrief(
        f"field {HOSTILE}",
        exercise,
        clock(900),
        source,
        tuple(aircraft(7 + k, count, flights) for k in range(systems)),
        tuple(entry(k + 1, 7 + k % systems, levels[k % 3]) for k in range(entries)),
        (Said(1.0, clock(1), 7, "Armed."),),
        around,
        score if exercise else None,
        refusals=(Said(2.0, clock(2), 7, "shelve x: not from afar"),),
    )


@pytest.fixture(scope="module")
def html() -> str:
    return page(debrief(systems=2), UNITS)


def test_nothing_is_fetched_and_nothing_runs(html: str) -> None:
    root = read(html)
    assert not root.all("script", "link", "img", "iframe", "object", "embed", "base", "form", "image", "use")
    for element in root.all():
        for name, value in element.attributes.items():
            assert name not in {"src", "xlink:href", "srcset", "action", "style"}
            assert not name.startswith("on")
            if name == "href":
                assert value.startswith("data:image/svg+xml")
    assert "@import" not in html
    assert set(re.findall(r"url\((.)", re.sub(r'href="data:[^"]+"', "", html))) <= {"#"}
    assert set(re.findall(r"url\((...)", "".join(re.findall(r'href="data:[^"]+"', html)))) <= {"%23"}
    plain = html.replace("http://www.w3.org/2000/svg", "")
    assert not re.findall(r"(?:https?|ftp|file|ws)://", plain)
    policy = next(e for e in root.all("meta") if "http-equiv" in e.attributes)
    assert policy.attributes["content"].startswith("default-src 'none'")


def test_structure_for_screen_readers(html: str) -> None:
    root = read(html)
    ids = [e.attributes["id"] for e in root.all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    for element in root.all():
        assert set(element.attributes.get("aria-labelledby", "").split()) <= set(ids)
    found = [int(e.name[1]) for e in root.all("h1", "h2", "h3", "h4")]
    assert found[0] == 1
    assert found.count(1) == 1
    assert all(below <= above + 1 for above, below in itertools.pairwise(found))
    assert all(one.first("caption").words() for one in root.all("table"))
    plots = [e for e in root.all("svg") if e.attributes.get("role") == "img"]
    assert len(plots) == 2 * (7 + 2)
    assert all(len(e.first("desc").words()) > 60 for e in plots)


def test_every_plot_can_be_saved_and_stands_by_itself(html: str) -> None:
    links = [e for e in read(html).all("a") if "download" in e.attributes]
    assert len(links) == 2 * (7 + 2)
    assert len({e.attributes["download"] for e in links}) == len(links)
    for link in links:
        svg = unquote(link.attributes["href"].split(",", 1)[1])
        root = ET.fromstring(svg)  # noqa: S314 - our own
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert "var(" not in svg
        assert "EXERCISE" in svg
        assert set(re.findall(r"url\(#([^)]+)\)", svg.split("</style>")[1])) <= set(
            re.findall(r'id="([^"]+)"', svg)
        )
        assert "script" not in {e.tag.split("}")[1] for e in root.iter()}


def test_an_exercise_says_so_everywhere_and_a_flight_nowhere(html: str) -> None:
    assert read(html).first("h1").words().startswith("Exercise debrief")
    plots = [e for e in read(html).all("svg") if e.attributes.get("role") == "img"]
    assert all("EXERCISE" in plot.words() for plot in plots)
    real = page(debrief(exercise=False), UNITS)
    assert "exercise" not in read(real).first("main").words().lower()
    assert 'content:"EXERCISE"' not in real


def test_the_largest_report_stays_under_three_megabytes() -> None:
    large = page(debrief(systems=8, count=1400, entries=250, flights=24), UNITS)
    assert len(large.encode()) <= MOST_BYTES < 3_000_000
    assert not read(large).all("script")


def test_reaction_and_thresholds_in_words(html: str) -> None:
    words = " ".join(read(html).words().split())
    assert (
        "Acknowledged by pilot after 4.2 s, turned back after 31 s, repeated 2 times, over after 60 s."
        not in words
    )
    assert (
        "Acknowledged by pilot after 4.2 s, turned back after 31 s, repeated 2 times, over after 1 min." in words
    )
    assert "not surely: 8 % expected at landing, but it might not have lasted" in words
    assert "90 s after" not in words
    assert "1 min 30 s after the watch's call" in words
    assert "It took 33.0 Wh (6 % more than forecast)" in words  # 33.0 of 31.2


@pytest.fixture(scope="module")
def browser_page(require_program: RequireProgram) -> Iterator[Page]:
    chromium = require_program("chromium")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        try:
            yield browser.new_page()
        finally:
            browser.close()


def open_at(browser_page: Page, tmp_path: Path, html: str, width: int) -> list[str]:
    """Open a report; return what it asked for beside itself."""
    (tmp_path / "report.html").write_text(html, encoding="utf-8")
    asked: list[str] = []
    browser_page.on("request", lambda request: asked.append(request.url))
    browser_page.set_viewport_size({"width": width, "height": 900})
    browser_page.goto((tmp_path / "report.html").as_uri())
    return [url for url in asked if not url.startswith("file:")]


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (390, "dark")])
def test_axe_finds_nothing_and_nothing_is_cut(
    html: str, tmp_path: Path, browser_page: Page, width: int, scheme: Any
) -> None:
    axe = next((path for path in AXE if path.exists()), None)
    if axe is None:
        _missing("axe-core is not installed")
    browser_page.emulate_media(color_scheme=scheme)
    assert open_at(browser_page, tmp_path, html, width) == []
    assert browser_page.evaluate("document.documentElement.scrollWidth") <= width
    browser_page.evaluate(axe.read_text(encoding="utf-8"))
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
    found = browser_page.evaluate("rules => axe.run(document, rules)", rules)
    assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found["violations"]] == []


@pytest.mark.parametrize("width", [1280, 390])
def test_no_words_of_a_plot_leave_it(html: str, tmp_path: Path, browser_page: Page, width: int) -> None:
    open_at(browser_page, tmp_path, html, width)
    cut = browser_page.evaluate(
        """() => [...document.querySelectorAll('svg[role=img]')].flatMap(svg => {
            const box = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('text')].filter(text => {
                const own = text.getBoundingClientRect();
                return own.left < box.left - 1 || own.right > box.right + 1 || own.top < box.top - 1
                    || own.bottom > box.bottom + 1;
            }).map(text => text.textContent);
        })"""
    )
    assert cut == []
