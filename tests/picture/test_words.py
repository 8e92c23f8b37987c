"""Every word of a picture is in the crew's language."""

from __future__ import annotations

import ast

from tests.alerts.phrases_in_code import text_of
from tests.alerts.speech import german
from tests.conftest import ROOT
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.alerts.language import ENGLISH
from watchkeeper.alerts.phrases import PHRASES, WHY_UNKNOWN
from watchkeeper.estimate.packs.battery import BatteryEstimates
from watchkeeper.picture.histories import KINDS
from watchkeeper.picture.lists import blind_words

HOME = ROOT / "watchkeeper" / "estimate" / "home" / "returning.py"
PACKS = ROOT / "watchkeeper" / "estimate" / "packs" / "battery.py"


def test_why_nothing_is_known_is_listed() -> None:
    """What `ReturnHome` and `why_unknown` may give as a reason, found in their code."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(HOME.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "_blind":
            found |= {text for part in ast.walk(node) if (text := text_of(part))}
    for node in ast.walk(ast.parse(PACKS.read_text("utf-8"))):
        if isinstance(node, ast.FunctionDef) and node.name == BatteryEstimates.why_unknown.__name__:
            returned = [part.value for part in ast.walk(node) if isinstance(part, ast.Return) and part.value]
            found |= {text for value in returned if (text := text_of(value))}
    assert len(found) >= 10
    assert found == set(WHY_UNKNOWN)


def test_a_reason_with_numbers_is_told_in_german() -> None:
    assert german().tell("only 1 of 2 packs is told") == "nur 1 von 2 Akkus wird gemeldet"


def test_all_that_is_drawn_has_a_name() -> None:
    names = {kind.words for kind in KINDS} | {drawn.words for kind in KINDS for drawn in kind.drawn}
    assert names <= PHRASES


def test_what_is_blind_is_one_line_a_subject() -> None:
    lacks = {
        (7, "return-now"): ("Return", ("return.turn_back_in", "its height is not told")),
        (7, "home-unreachable"): ("Return", ("return.reserve", "its height is not told")),
        (7, "satellites-few"): ("Satellites.", ("satellites.used", "satellites.hdop")),
        (7, "own-action"): ("Own action.", ("own.action_in", "own.action")),
        (7, "weak"): ("Battery.", ("battery.weak_cell",)),
        (7, "gone"): ("Wind", ()),
    }
    lines = blind_words(lacks, ENGLISH)
    assert lines == [
        "Battery: readings are missing",
        "Own action: needs the aircraft's parameters",
        "Return: its height is not told",
        "Satellites: needs GPS_RAW_INT",
        "Wind",
    ]
    assert {"Rückflug: die Höhe wird nicht gemeldet", "Satelliten: braucht GPS_RAW_INT", "Wind"} <= {
        *blind_words(lacks, german())
    }


def test_what_is_blind_names_no_reading() -> None:
    """A crew turns on messages of the stream; names of readings are the program's own."""
    for name in INDEX:
        assert name not in blind_words({(7, "one"): ("Any.", (name,))}, ENGLISH)[0]
