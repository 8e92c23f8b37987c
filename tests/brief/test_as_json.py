"""The brief as JSON: keys as documented, values as found, nothing that is no JSON."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.brief import briefs
from watchkeeper.brief import as_json as module
from watchkeeper.brief.as_json import as_json
from watchkeeper.brief.findings import Brief
from watchkeeper.brief.wording import STANDING

PARTS: dict[str, Callable[[Any], Any]] = {
    "top": lambda r: r,
    "remark": lambda r: r["remarks"][0],
    "condition": lambda r: r["conditions"][0],
    "battery": lambda r: r["battery"],
    "pack": lambda r: r["battery"]["packs"][0],
    "leg": lambda r: r["battery"]["legs"][0],
    "threshold": lambda r: r["battery"]["threshold"],
    "deepest": lambda r: r["battery"]["deepest"][0],
    "stage": lambda r: r["battery"]["stages"][0],
    "height": lambda r: r["height"],
    "reach": lambda r: r["reach"],
    "reach.bearing": lambda r: r["reach"]["bearings"][0],
    "point": lambda r: r["reach"]["points"][0],
    "reach.place": lambda r: r["reach"]["places"][0],
    "radio": lambda r: r["reach"]["radio"],
    "dusk": lambda r: r["reach"]["dusk"],
    "settings": lambda r: r["settings"],
    "row": lambda r: r["settings"]["rows"][0],
    "difference": lambda r: r["settings"]["differences"][0],
    "crew": lambda r: r["crew"],
    "role": lambda r: r["crew"]["roles"][0],
    "emergency": lambda r: r["crew"]["emergencies"][0],
    "obstacle": lambda r: r["obstacles"][0],
    "area": lambda r: r["areas"][0],
    "corner": lambda r: r["areas"][0]["corners"][0],
    "place": lambda r: r["places"][0],
    "wind": lambda r: r["wind"],
}


def refuse(constant: str) -> None:
    raise AssertionError(f"{constant} is no JSON")


def loaded(brief: Brief) -> Any:
    return json.loads(as_json(brief), parse_constant=refuse)


def documented() -> dict[str, list[str]]:
    """Return the keys by object, out of the module's own documentation."""
    found: dict[str, list[str]] = {}
    name = ""
    for line in (module.__doc__ or "").splitlines():
        if match := re.match(r"    ([a-z.]+)  +(.*)$", line):
            name = match[1]
            found[name] = match[2].partition("(")[0].split()
        elif line.startswith("     ") and name:
            found[name] += line.split()
    return found


def test_keys_are_those_documented_in_their_order() -> None:
    record = loaded(briefs.FULL)
    assert set(documented()) == set(PARTS)
    for name, part in PARTS.items():
        assert sorted(part(record)) == sorted(documented()[name]), name
    assert list(record)[:4] == ["format", "sortie", "aircraft", "made_at"]
    assert record["format"] == 1


@pytest.mark.parametrize("brief", briefs.ALL.values(), ids=briefs.ALL.keys())
def test_it_is_one_line_of_ascii_that_reads_back_the_same(brief: Brief) -> None:
    text = as_json(brief)
    assert text.isascii()
    assert "\n" not in text
    assert json.dumps(loaded(brief), separators=(",", ":"), allow_nan=False) == text


def same(value: Any, found: Any, where: str) -> None:
    """Check that what was found stands in the record, number by number."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            same(getattr(value, field.name), found[field.name], f"{where}.{field.name}")
    elif isinstance(value, tuple):
        items = list(found.values()) if isinstance(found, dict) else found
        assert len(items) == len(value), where
        for k, (one, other) in enumerate(zip(value, items, strict=True)):
            same(one, other, f"{where}[{k}]")
    elif isinstance(value, float) and not isinstance(value, bool):
        assert found == pytest.approx(value, rel=1e-3, abs=1e-4), where
    else:
        assert found == value, where


@pytest.mark.parametrize(
    "name", ["full", "no battery", "no settings", "nothing at all", "hostile text", "no reach"]
)
def test_nothing_that_was_found_is_lost(name: str) -> None:
    same(briefs.ALL[name], loaded(briefs.ALL[name]), name)


def test_pairs_without_names_get_theirs() -> None:
    record = loaded(briefs.FULL)
    assert record["wind"] == {"speed_m_s": 7.0, "from_deg": 250.0}
    assert record["obstacles"][0] == {
        "name": "wire mast", "distance_m": 610.0, "bearing_deg": 285.0, "top_m": 49.0, "radius_m": 25.0
    }  # fmt: skip
    assert record["reach"]["bearings"][9]["bearing_deg"] == 90.0
    assert record["advice"] == STANDING


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_null(number: float) -> None:
    record = loaded(briefs.with_numbers(briefs.FULL, number))
    assert record["battery"]["threshold"]["volt_v"] is None
    assert record["reach"]["bearings"][0]["distance_m"] is None
    assert record["wind"]["speed_m_s"] is None


def test_whether_a_point_is_within_reach() -> None:
    assert [p["inside"] for p in loaded(briefs.OUT_OF_REACH)["reach"]["points"]] == [True, False]
