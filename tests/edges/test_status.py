"""The rows of the live status, as text and as a terminal would show them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from tests.edges.status_parts import Shown, aircraft, alert, answer, station
from watchkeeper.alerts.events import Level, State
from watchkeeper.edges.status import rendered, status_lines
from watchkeeper.picture.models import StationPicture

COLOUR = re.compile(r"\x1b\[[0-9;]*m")
KEYS = "keys: a acknowledge, t test calls, c confirm as pilot"


def plain_rows(
    picture: StationPicture, width: int = 100, height: int = 20, *, heard: str = "", keys: str = ""
) -> list[str]:
    return [row.plain for row in status_lines(picture, width, height, heard=heard, keys=keys)]


def test_one_aircraft_in_full() -> None:
    one = aircraft(
        7,
        name="Heavy lifter",
        alerts=[
            alert("Caution. Battery. Voltage sag. 3.2. Slow down.", Level.CAUTION, acknowledged_by=["pilot"]),
            alert("Aircraft 7. Warning. Turn back now.", aircraft=7),
            alert("Link noise.", Level.ADVISORY, over=True, state=State.RETURNED),
            alert("Not to be seen.", state=State.SHELVED),
            alert("Neither.", state=State.SUPPRESSED),
        ],
        answer=answer(standing="now", words="Turn back now.", turn_back_in_s=-12.4),
        blind=["wind: needs WIND / WIND_COV", "motors"],
    )
    picture = station(one, hearing={"pilot": True, "observer": False, "post": None})
    assert plain_rows(picture, heard="udp://a: aircraft 7", keys=KEYS) == [
        "the observer does not hear the watch  watching since 09:30  10:32 UTC  the pilot hears the watch",
        "  field  udp://a: aircraft 7",
        "Heavy lifter (aircraft 7)  airborne  mode AUTO  heard now",
        "  WARNING  Turn back now.",
        "  CAUTION  Battery. Voltage sag. 3.2. Slow down.  [acknowledged]",
        "  ADVISORY  Link noise.  [over]",
        "  Turn back now.  34 % left at landing, at least 22 %  turning back is 12 s late (charge)",
        "  not seen, 2 in all: wind: needs WIND / WIND_COV",
        KEYS,
    ]


@pytest.mark.parametrize(
    ("more", "row"),
    [
        ({}, "  Can get home.  34 % left at landing, at least 22 %  turn back in 4 min 10 s (charge)"),
        ({"reserve_low_pct": None}, "  Can get home.  34 % left at landing  turn back in 4 min 10 s (charge)"),
        (
            {"reserve_low_pct": -0.4, "turn_back_in_s": 59.9},
            "  Can get home.  34 % left at landing, at least -1 %  turn back in 59 s (charge)",
        ),
        (
            {"turn_back_in_s": 1199.0, "turn_back_before": None},
            "  Can get home.  34 % left at landing, at least 22 %  turn back in 19 min",
        ),
        (
            {"standing": "unknown", "words": "Not known yet.", "reserve_pct": None, "turn_back_in_s": None},
            "  Not known yet.",
        ),
        (
            {"standing": "no", "words": "Cannot reach home.", "reserve_pct": -3.0, "reserve_low_pct": None,
             "turn_back_in_s": None, "nearest": "meadow, 120 m, bearing 040"},
            "  Cannot reach home.  -3 % left at landing  meadow, 120 m, bearing 040",
        ),
    ],
)  # fmt: skip
def test_a_bound_and_a_countdown_are_never_told_better_than_they_are(more: dict[str, object], row: str) -> None:
    assert row in plain_rows(station(aircraft(answer=answer(**more))))


@pytest.mark.parametrize(
    ("heard_s", "head"),
    [
        (2.9, "aircraft 42  airborne  mode AUTO  heard now"),
        (12.9, "aircraft 42  not heard for 12 s  airborne  mode AUTO"),
        (130.0, "aircraft 42  not heard for 2 min 10 s  airborne  mode AUTO"),
        (None, "aircraft 42  not heard yet  airborne  mode AUTO"),
    ],
)
def test_how_long_ago_it_was_heard(heard_s: float | None, head: str) -> None:
    assert head in plain_rows(station(aircraft(heard_s=heard_s)))


def test_an_exercise_is_marked_and_so_is_what_is_stale() -> None:
    rows = plain_rows(station(aircraft(alerts=[alert("Warning. Link lost.", stale=True)]), exercise=True))
    assert rows[0].startswith("EXERCISE  ")
    assert "  WARNING  Link lost.  [stale]" in rows


def test_the_neediest_are_shown_and_the_others_counted() -> None:
    listed = [aircraft(n, alerts=[alert("Warning. Land.", aircraft=n)] if n < 3 else []) for n in range(1, 9)]
    rows = plain_rows(station(*listed), 60, 7)
    assert rows[1] == "aircraft 1  WARNING  Land."
    assert rows[2] == "aircraft 2  WARNING  Land."
    assert rows[6] == "+ 3 more"
    assert sum(row.startswith("aircraft ") for row in rows) == 5
    full = plain_rows(station(*listed), 100, 14)
    assert full[1:4] == [  # room that is left goes to the neediest
        "aircraft 1  airborne  mode AUTO  heard now",
        "  WARNING  Land.",
        "  Can get home.  34 % left at landing, at least 22 %  turn back in 4 min 10 s (charge)",
    ]
    assert full[7].startswith("aircraft 3  airborne")
    assert full[9].startswith("aircraft 4  Can get home.")
    assert plain_rows(station(*listed), 60, 2)[1] == "aircraft 1  WARNING  Land."


def test_the_watchs_own_troubles_stand_first_and_give_way() -> None:
    own = [
        alert("Caution. Watch. Minder ended.", Level.CAUTION, aircraft=None),
        alert("Advisory. Watch. Gap.", Level.ADVISORY),
    ]
    listed = station(aircraft(), alerts=own)
    assert plain_rows(listed)[1:3] == ["CAUTION  Watch. Minder ended.", "ADVISORY  Watch. Gap."]
    assert plain_rows(listed, 100, 4)[1:] == [
        "CAUTION  Watch. Minder ended.",
        "aircraft 42  airborne  mode AUTO  heard now",
        "  Can get home.  34 % left at landing, at least 22 %  turn back in 4 min 10 s (charge)",
    ]


def test_red_is_for_warnings_amber_for_cautions_and_no_other_colour_is_there() -> None:
    # 14 CFR 25.1322(e), (f); SGR 31 is red and 33 yellow (ECMA-48)
    listed = [alert(f"{level.value.capitalize()}. Words.", level) for level in Level if level is not Level.ROUTINE]
    over = alert("Warning. Over.", over=True, state=State.RETURNED)
    picture = station(
        aircraft(alerts=[*listed, over], answer=answer(standing="no", words="Cannot reach home.")), exercise=True
    )
    rows = rendered(status_lines(picture, 80, 20, keys=KEYS), 80, colour=True)
    coloured = {COLOUR.sub("", row): set(re.findall(r"\x1b\[(?:\d+;)*(3[0-7]|9[0-7])m", row)) for row in rows}
    assert {row: found for row, found in coloured.items() if found} == {
        "  WARNING  Words.": {"31"},
        "  CAUTION  Words.": {"33"},
    }
    bare = "".join(rendered(status_lines(picture, 80, 20, keys=KEYS), 80, colour=False))
    assert re.findall(r"\x1b\[([0-9;]*)m", bare)  # bold and reversed are no colour
    assert not re.findall(r"\x1b\[(?:\d+;)*(3\d|4\d|9\d|10\d)[;m]", bare)


def test_nothing_from_outside_steers_the_terminal_or_passes_for_markup() -> None:
    evil = "\x1b[2J\x9b31m[red]a\nb\r\u202ec\u0007"
    one = aircraft(name=evil, mode=evil, phase=evil, alerts=[alert(evil)], blind=[evil],
                   answer=answer(words=evil, turn_back_before=evil))  # fmt: skip
    picture = station(one, station=evil, alerts=[alert(evil, aircraft=None)], hearing={evil: True})
    rows = rendered(status_lines(picture, 200, 30, heard=evil, keys=evil), 200, colour=True)
    for row in rows:
        assert COLOUR.sub("", row).isprintable()
    shown = Shown(200, 40)
    shown.feed("\r\n".join(rows).encode())
    assert sum("[red]a?b" in row for row in shown.rows) >= 6  # as written, and no row was wiped


TEXT = st.text(max_size=60) | st.sampled_from(["🚁 lift", "高度 40 m", "a" * 400, "e\u0301" * 50, "", " ", "   x"])


@settings(max_examples=80, deadline=None)
@given(
    width=st.integers(1, 140),
    height=st.integers(0, 30),
    count=st.integers(0, 12),
    text=TEXT,
    more=st.integers(0, 6),
)
def test_no_row_is_wider_than_the_terminal_and_there_are_never_too_many(
    width: int, height: int, count: int, text: str, more: int
) -> None:
    listed = [
        aircraft(n, name=text, mode=text, alerts=[alert(text or "x", aircraft=n)] * more, blind=[text] * more)
        for n in range(count)
    ]
    picture = station(*listed, alerts=[alert(text or "x", aircraft=None)] * more, exercise=True)
    lines = status_lines(picture, width, height, heard=text, keys=text)
    assert len(lines) <= height
    rows = rendered(lines, max(width, 1), colour=True)
    assert len(rows) == len(lines)
    for row in rows:
        assert cell_len(COLOUR.sub("", row)) <= width


@pytest.mark.parametrize("width", [12, 24, 40, 80, 200])
@pytest.mark.parametrize("height", [1, 2, 3, 5, 8, 14])
def test_the_worst_is_in_view_at_every_size(width: int, height: int) -> None:
    bad = aircraft(1, name="A1", alerts=[alert("Warning. Land now.", aircraft=1)], blind=["wind"])
    rows = plain_rows(station(bad, *(aircraft(n) for n in range(2, 9))), width, height, keys=KEYS)
    assert height == 1 or any("A1  W" in row or "WARNING" in row for row in rows)
