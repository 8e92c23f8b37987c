"""The page: valid, self-contained, escaped, marked up for screen readers, with enough contrast."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET

import pytest

from tests.brief import briefs
from tests.brief.pagecheck import Element, read
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief import sheet
from watchkeeper.brief.findings import Brief
from watchkeeper.brief.page import page
from watchkeeper.brief.page_parts import table
from watchkeeper.brief.page_style import DARK, GRAPHIC_PAIRS, LIGHT, PAPER, TEXT_PAIRS, style_sheet
from watchkeeper.brief.wording import STANDING

UNITS = CrewUnits()
EVERY = pytest.mark.parametrize("brief", briefs.ALL.values(), ids=briefs.ALL.keys())


def row_of(html: str, name: str) -> list[str]:
    """Return the cells behind the row head that begins with `name`."""
    for row in read(html).all("tr"):
        cells = [cell.words() for cell in row.all("th", "td")]
        if cells[0].startswith(name):
            return cells[1:]
    raise AssertionError(f"no row '{name}'")


@EVERY
def test_every_element_is_closed_and_ids_are_unique_and_found(brief: Brief) -> None:
    html = page(brief, UNITS)
    assert html.startswith("<!DOCTYPE html>\n")
    elements = read(html).all()
    ids = [e.attributes["id"] for e in elements if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    for element in elements:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert set(element.attributes.get(name, "").split()) <= set(ids)
    assert set(re.findall(r"url\(#([^)]+)\)", html)) <= set(ids)
    assert read(html).first("html").attributes["lang"] == "en"
    assert read(html).first("title").words()


@EVERY
def test_nothing_is_fetched_and_nothing_runs(brief: Brief) -> None:
    html = page(brief, UNITS)
    for element in read(html).all():
        assert element.name not in {
            "script",
            "link",
            "img",
            "iframe",
            "object",
            "embed",
            "base",
            "form",
            "image",
            "use",
        }
        for name in element.attributes:
            assert name not in {"src", "href", "xlink:href", "srcset", "action", "style"}
            assert not name.startswith("on")
    assert "@import" not in html
    assert set(re.findall(r"url\((.)", html)) <= {"#"}
    assert re.findall(r"https?:[^\"]*", re.sub(r"&[^;]+;", "", html)) == ["http://www.w3.org/2000/svg"]
    policy = next(e for e in read(html).all("meta") if "http-equiv" in e.attributes)
    assert policy.attributes["content"].startswith("default-src 'none'; style-src 'unsafe-inline'")


def test_hostile_text_stays_text() -> None:
    html = page(briefs.ALL["hostile text"], UNITS)
    root = read(html)
    assert not root.all("script")
    assert "<script>alert(1)</script>\" onload='x' &amp; ]]>" in root.first("h1").words()
    assert html.count("<h1") == 1
    assert all(c.isprintable() or c == "\n" for c in html)


def test_hostile_text_stays_within_its_attribute() -> None:
    made = table(sheet.table(briefs.HOSTILE, ["a", sheet.Column("b", numbers=True)], [sheet.row("x", "1")]))
    region = read(made).first("div")
    assert set(region.attributes) == {"class", "role", "tabindex", "aria-label"}
    assert region.attributes["aria-label"].startswith("<script>alert(1)</script>\" onload='x' &amp; ]]>")


@EVERY
def test_headings_go_down_one_by_one(brief: Brief) -> None:
    found = [int(e.name[1]) for e in read(page(brief, UNITS)).all("h1", "h2", "h3", "h4", "h5", "h6")]
    assert found[0] == 1
    assert found.count(1) == 1
    assert all(below <= above + 1 for above, below in itertools.pairwise(found))


@EVERY
def test_tables_are_tables_to_a_screen_reader(brief: Brief) -> None:
    """WCAG 2.2, 1.3.1: heads with their scope, a caption; as many cells in a row as heads."""
    for found in read(page(brief, UNITS)).all("table"):
        assert found.first("caption").words()
        heads = found.first("thead").all("th", "td")
        assert all(e.attributes["scope"] in {"col", "colgroup"} for e in heads if e.name == "th")
        width = sum(1 for e in heads if e.attributes.get("scope") != "colgroup")
        spanned = sum(
            int(e.attributes.get("colspan", "1")) for e in found.first("thead").first("tr").all("th", "td")
        )
        assert spanned == width
        for row in found.first("tbody").all("tr"):
            cells = row.all("th", "td")
            assert len(cells) == width
            assert cells[0].attributes["scope"] == "row"


@EVERY
def test_structure_of_lists_and_landmarks(brief: Brief) -> None:
    root = read(page(brief, UNITS))
    assert [len(root.all(name)) for name in ("header", "main", "footer")] == [1, 1, 1]
    for kind in ("ul", "ol"):
        assert all(c.name == "li" for e in root.all(kind) for c in e.children if isinstance(c, Element))
    for facts in root.all("dl"):
        assert len(facts.all("dt")) == len(facts.all("dd")) > 0
    for box in root.all("input"):
        assert box.parent is not None
        assert box.parent.name == "label"
        assert box.parent.words()
    for scrolling in (e for e in root.all() if e.attributes.get("tabindex") == "0"):
        assert scrolling.attributes["role"] == "region"
        assert scrolling.attributes["aria-label"]


def test_the_plot_is_well_formed_in_the_page_and_told_in_words() -> None:
    html = page(briefs.FULL, UNITS)
    svg = html[html.index("<svg") : html.index("</svg>") + len("</svg>")]
    ET.fromstring(svg)  # noqa: S314 - our own
    figure = read(html).first("figure")
    assert figure.first("svg").attributes["role"] == "img"
    assert "point 2, upper slope at 301°, 940 m, within the reach there of 1110 m" in figure.first("desc").words()


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula() -> None:
    """Black on white is 21; #767676 is the lightest grey that passes 4.5 on white (known of old, from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert 4.5 <= contrast("#767676", "#ffffff") < 4.6
    assert contrast("#777777", "#ffffff") < 4.5


@pytest.mark.parametrize("colours", [LIGHT, DARK, PAPER], ids=["light", "dark", "paper"])
def test_contrast(colours: dict[str, str]) -> None:
    """WCAG 2.2 AA: text 4.5 (1.4.3), meaning in graphics 3 (1.4.11); what is read outdoors, 7."""
    for text, ground in TEXT_PAIRS:
        assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for line, ground in GRAPHIC_PAIRS:
        assert contrast(colours[line], colours[ground]) >= 3.0, (line, ground)
    assert contrast(colours["ink"], colours["paper"]) >= 7.0


def test_every_colour_of_text_is_among_the_pairs_and_every_colour_is_named() -> None:
    css = style_sheet()
    texts = set(re.findall(r"(?<![-a-z])(?:color|fill):var\(--([a-z-]+)\)", css))
    assert texts <= {text for text, _ in TEXT_PAIRS} | {"paper", "reach"}
    body = css[css.index("*{box-sizing") :]
    assert not re.findall(r"#[0-9a-f]{3,8}\b", body.replace("#hatch-", ""))
    assert set(re.findall(r"var\(--([a-z-]+)\)", body)) <= set(LIGHT) == set(DARK) == set(PAPER)


def test_on_paper_all_is_black_on_white() -> None:
    assert {PAPER[name] for name in ("ink", "soft", "accent", "warning", "caution")} == {"#000000"}
    assert {PAPER[name] for name in ("paper", "panel", "reach")} == {"#ffffff"}
    assert "size:A4" in style_sheet()


def test_dark_colours_are_for_screens_alone() -> None:
    assert style_sheet().count("prefers-color-scheme") == 1
    assert "@media screen and (prefers-color-scheme:dark)" in style_sheet()


def test_red_and_amber_stand_for_warning_and_caution_alone() -> None:
    """14 CFR 25.1322. The plot's crossed point out of reach is a warning, too."""
    for rule in re.findall(r"([^{}]+)\{([^{}]*)\}", style_sheet()):
        for weight in ("warning", "caution"):
            if f"var(--{weight})" in rule[1]:
                assert weight in rule[0] or rule[0].strip() == ".p-outside"


def test_every_part_stands_in_the_order_a_crew_needs_it() -> None:
    words = read(page(briefs.FULL, UNITS)).words()
    order = (
        "Against flying: 2 warnings, 2 cautions, 1 advisory", "Low-battery threshold for today", "23600 mAh",
        "Return height, above home", "own low-battery stages", "The plan, leg by leg", "Settings to change",
        "RTL_ALT 6000 cm", "Fit:", "Settings not understood", "Against the baseline", "Crew sheet",
        "Before they are joined", "Telemetry radio", "Civil twilight ends", "Roles", "rotor latches locked",
        "Emergency card",
        "Customary cautions", "The watch will be blind to",
    )  # fmt: skip
    found = [words.index(part) for part in order]
    assert found == sorted(found)


def test_it_says_that_the_crew_decides_before_anything_else_and_at_the_end() -> None:
    root = read(page(briefs.BARE, UNITS))
    assert STANDING in root.first("header").words()
    assert STANDING in root.first("footer").words()
    assert "not certified" in STANDING
    assert "the crew decides" in STANDING


def test_a_voltage_that_dips_below_the_threshold_early_cannot_be_used() -> None:
    volts, use = row_of(page(briefs.FULL, UNITS), "Bus voltage, as measured")
    assert volts == "46.3 V"
    assert use.startswith("No, it would act too early: the bus falls to 45.6 V in a gust, 2:31 min")


def test_points_out_of_reach_and_heights_that_do_not_fit_are_said() -> None:
    assert row_of(page(briefs.OUT_OF_REACH, UNITS), "point 2")[2] == "1110 m: out of reach"
    assert row_of(page(briefs.NO_WINDOW, UNITS), "Advised")[0] == "no height fits"
    assert row_of(page(briefs.FULL, UNITS), "Set")[0] == "40 m, too low"
    assert row_of(page(briefs.CLEAN, UNITS), "Set")[0] == "60 m"


def test_heights_and_wind_in_the_crews_units() -> None:
    """57.4 m are 188.3 ft, 120 m 393.7 ft: a least height goes up, a greatest down; 7 m/s are 13.6 kt."""
    html = page(briefs.FULL, CrewUnits(height="ft", speed="kt"))
    assert row_of(html, "At least")[0] == "189 ft"
    assert row_of(html, "At most")[0] == "393 ft"
    assert "wind 14 kt" in read(html).first("svg").words()


def test_customary_cautions_never_stand_as_the_limit() -> None:
    words = read(page(briefs.FULL, UNITS)).words()
    assert "Your local rules and your licence say what holds; none of these is the limit." in words


def test_checklist_and_emergency_card_stay_on_one_sheet_of_paper() -> None:
    part = next(e for e in read(page(briefs.FULL, UNITS)).all("div") if "Checklist" in e.words()[:12])
    assert part.attributes["class"] == "sheetpart"
    assert "Emergency card" in part.words()
    assert re.search(r"@media print\{.*\.sheetpart\{break-inside:avoid\}", style_sheet(), re.DOTALL)
