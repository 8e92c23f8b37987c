"""The card: at most 100 columns, readable without colour, and nothing in it steers the terminal."""

from __future__ import annotations

import dataclasses
import re
import unicodedata

import pytest

from tests.brief import briefs
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.card import card
from watchkeeper.brief.card_lines import WIDTH, table_lines, wrap
from watchkeeper.brief.findings import Brief, Remark
from watchkeeper.brief.sheet import Cell, Column, row, table
from watchkeeper.brief.wording import all_remarks, columns

UNITS = CrewUnits()
EVERY = pytest.mark.parametrize("brief", briefs.ALL.values(), ids=briefs.ALL.keys())
WIDE = briefs.with_text(briefs.FULL, "上の斜面へ杭を運ぶ" * 20)
COLOUR = re.compile(r"\x1b\[(1;31|33|0)m")


def shown(brief: Brief, *, colour: bool = False) -> str:
    return card(brief, colour=colour, units=UNITS)


def taken(line: str) -> int:
    """Return the columns a line takes: East Asian wide ones two (UAX 11), combining ones none."""
    return sum(
        0 if unicodedata.combining(c) else 1 + (unicodedata.east_asian_width(c) in {"W", "F"}) for c in line
    )


@pytest.mark.parametrize("brief", [*briefs.ALL.values(), WIDE], ids=[*briefs.ALL, "wide characters"])
@pytest.mark.parametrize("units", [UNITS, CrewUnits(height="ft", speed="km/h")], ids=["m", "ft"])
def test_no_line_is_wider_than_a_hundred_columns(brief: Brief, units: CrewUnits) -> None:
    assert max(taken(line) for line in card(brief, colour=False, units=units).splitlines()) <= 100


@EVERY
def test_nothing_steers_the_terminal(brief: Brief) -> None:
    assert all(c.isprintable() or c == "\n" for c in shown(brief))
    assert all(c.isprintable() or c == "\n" for c in COLOUR.sub("", shown(brief, colour=True)))


@EVERY
def test_colour_adds_nothing_but_colour(brief: Brief) -> None:
    coloured = shown(brief, colour=True)
    assert COLOUR.sub("", coloured) == shown(brief)
    assert all(line.count("\x1b[0m") * 2 == line.count("\x1b[") for line in coloured.splitlines())


def test_red_is_for_warnings_and_amber_for_cautions() -> None:
    """14 CFR 25.1322; and what is coloured says so in words too."""
    coloured = shown(briefs.FULL, colour=True)
    red = " ".join(re.findall(r"\x1b\[1;31m([^\x1b]*)", coloured))
    amber = " ".join(re.findall(r"\x1b\[33m([^\x1b]*)", coloured))
    assert red.count("WARNING") == 2
    assert "CAUTION" not in red
    assert amber.count("CAUTION") == 2
    assert "WARNING" not in amber
    assert "40 m, too low" in red
    assert "ADVISORY" not in red + amber


def test_what_speaks_against_flying_comes_first_and_the_weightiest_first() -> None:
    lines = shown(briefs.FULL).splitlines()
    at = [k for k, line in enumerate(lines) if line.startswith("==")]
    assert lines[at[0]].startswith("== Against flying (2 warnings, 2 cautions, 1 advisory)")
    found = re.findall(r"^  (WARNING|CAUTION|ADVISORY) ", "\n".join(lines), re.MULTILINE)
    assert found == ["WARNING", "WARNING", "CAUTION", "CAUTION", "ADVISORY"]
    assert "            Do: Set the return height to 60 m." in lines


def test_remarks_of_the_parts_are_never_lost_nor_said_twice() -> None:
    radio = Remark("warning", "radio", "no margin at all", "do not go there")
    reach = briefs.REACH
    assert reach.radio is not None
    with_radio = dataclasses.replace(
        briefs.FULL,
        reach=dataclasses.replace(reach, radio=dataclasses.replace(reach.radio, remarks=(radio,))),
    )
    assert all_remarks(with_radio).index(radio) == 2
    assert len(all_remarks(briefs.FULL)) == 5


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nothing to remark", "Nothing that this brief looked at speaks against flying. This is no clearance."),
        ("nothing at all", "Nothing can be said for flying either: not looked at are packs, reach, settings."),
    ],
)
def test_no_remark_is_no_clearance(name: str, said: str) -> None:
    assert said in " ".join(shown(briefs.ALL[name]).split())


def test_todays_numbers_are_rounded_to_the_careful_side() -> None:
    """46.23 V, 46.2 %: turn back earlier. 23 672 mAh, 391 s, 0.187 V, 1110 m, 54.1 %: allow less."""
    text = shown(briefs.FULL)
    for words in ("as measured         46.3 V", "47 %", "23600 mAh", "6 min 30 s", "0.18 V", "1110 m"):
        assert words in text
    assert re.search(r"to point 2, upper slope .* 60 +54$", text, re.MULTILINE)


def test_every_turn_back_of_a_leg_is_there() -> None:
    text = shown(briefs.FULL)
    part = text[text.index("Turn back at") :]
    assert re.search(r"to point 1, lower slope +45\.4 +38 +27300$", part, re.MULTILINE)
    assert re.search(r"to point 2, upper slope +46\.3 +47 +23600$", part, re.MULTILINE)


def test_stages_tell_when_they_act_and_what_is_then_left() -> None:
    text = " ".join(shown(briefs.FULL).split())
    assert "Acts at 10:11 min" in text
    assert "9 %, below the" in text


def test_stages_that_do_nothing_are_named_below_the_others_and_alone_stand_as_they_are() -> None:
    text = " ".join(shown(briefs.FULL).split())
    assert "Not reached on this plan: critical." in text
    battery = dataclasses.replace(briefs.BATTERY, stages=briefs.BATTERY.stages[1:])
    text = " ".join(shown(dataclasses.replace(briefs.FULL, battery=battery)).split())
    assert "critical 42.6 V as measured: land" in text


def test_boxes_to_tick() -> None:
    lines = shown(briefs.FULL).splitlines()
    assert [line[6:] for line in lines if line.startswith("  [ ] ")] == list(briefs.CREW.checklist)


def test_without_an_answer_it_says_so() -> None:
    text = " ".join(shown(briefs.NO_BATTERY).split())
    assert "The packs could not be reckoned with: no threshold, no turn-back, no time on station." in text
    assert "The aircraft's settings were not seen, so nothing is compared." in " ".join(
        shown(briefs.NO_SETTINGS).split()
    )
    assert "The reach could not be worked out." in shown(briefs.NO_REACH)
    assert "no height fits" in shown(briefs.NO_WINDOW)


@EVERY
def test_it_ends_with_who_decides(brief: Brief) -> None:
    text = " ".join(shown(brief).split())
    assert text.endswith("local rules come before anything written here.")
    assert "the crew decides" in text


def test_words_longer_than_a_line_are_broken_and_none_is_lost() -> None:
    lines = wrap("ab " + "x" * 25 + " cd", 10)
    assert lines == ["ab", "x" * 10, "x" * 10, "xxxxx cd"]
    assert wrap("", 10) == [""]
    assert wrap("上の斜面", 4) == ["上の", "斜面"]


def test_a_table_too_wide_is_divided_by_its_groups() -> None:
    heads: list[str | Column] = [
        "Leg",
        *(Column(f"c{k}", "one" if k < 8 else "two", numbers=True) for k in range(16)),
    ]
    lines = table_lines(table("many", heads, [row("leg", *["12345678"] * 16)]), lambda text, _: text)
    assert all(columns(line) <= WIDTH for line in lines)
    assert sum(line.split().count("12345678") for line in lines) == 16
    assert [line.split() for line in lines if line.split() in (["one"], ["two"])] == [["one"], ["two"]]


def test_marks_in_a_table_do_not_move_its_columns() -> None:
    cells = [row("a", Cell("1", "warning"), "x"), row("b", "22", "y")]
    made = table("t", ["n", Column("v", numbers=True), "w"], cells)
    plain = table_lines(made, lambda text, _: text)
    marked = table_lines(made, lambda text, weight: f"\x1b[33m{text}\x1b[0m" if weight else text)
    assert [COLOUR.sub("", line) for line in marked] == plain
    assert plain[-2].index("1") == plain[-1].index("22") + 1
