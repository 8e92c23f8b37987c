"""Heights and speeds in the crew's units, in every callout that speaks of one."""

from __future__ import annotations

from typing import Any

import pytest

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.alerts.spoken import NumberStyle, spell_numbers
from watchkeeper.cli.inputs import load_rules
from watchkeeper.rules.spoken_units import HEIGHTS, METRIC, in_units
from watchkeeper.rules.template import parse_template

FEET = CrewUnits(height="ft", speed="kt")
NAMED = {
    "m": "metres", "m/s": "metres", "V": "volts", "%": "percent", "s": "seconds", "dB": "decibels",
    "degC": "degrees", "deg": "degrees", "min": "minutes",
}  # fmt: skip

OVER_THE_GROUND = {
    "crew.home_distance", "hold.moved_away", "home.moved", "position.home_distance", "satellites2.apart",
    "traffic.crew_distance",
}  # fmt: skip


def said(text: str, value: Any, units: CrewUnits) -> str:
    return in_units(parse_template(text, {}), lambda _: value, units)


@pytest.mark.parametrize(
    ("text", "value", "units", "words"),
    [
        # the foot is 0.3048 m and the knot 1852 m an hour by definition (ICAO Annex 5, table 3-3, from memory)
        ("Height {position.height:.0} metres.", 30.48, FEET, "Height 100 feet."),
        ("Height {position.height:.0} metres.", 30.48, METRIC, "Height 30 metres."),
        ("Wind {wind.now:.0} metres per second, high.", 10.0, FEET, "Wind 19 knots, high."),
        ("{wind.now:.0} metres per second, high.", 10.0, CrewUnits(speed="km/h"), "36 kilometres per hour, high."),
        ("Drift {drift.speed:.0} metres a second.", 10.2888, FEET, "Drift 20 knots."),
        ("Height {position.height:.0} metres.", BLIND, FEET, "Height unknown feet."),
        ("{position.height:.0} of something.", 30.48, FEET, "30 of something."),  # no unit is named: as it is
        ("Away {position.home_distance:.0} metres.", 300.0, FEET, "Away 300 metres."),  # over the ground
        ("Down {position.height:.0} metres.", -30.48, FEET, "Down -100 feet."),
    ],
)  # fmt: skip
def test_the_number_and_its_unit_change_together(text: str, value: Any, units: CrewUnits, words: str) -> None:
    assert said(text, value, units) == words


def test_every_height_and_speed_of_the_shipped_callouts_follows_the_choice() -> None:
    """And every number with a unit is spoken with the name of that unit."""
    heights, speeds = 0, 0
    for rule in load_rules([]).rules:
        pairs = zip(rule.say.parts, (*rule.say.parts[1:], ""), strict=True)
        for part, after in pairs:
            if isinstance(part, str):
                continue
            reading = CATALOGUE[part[0]]
            symbol = reading.unit.symbol
            if symbol in ("", "count") or reading.words or reading.text or reading.boolean:
                continue
            assert isinstance(after, str)
            assert after.split()[0].strip(".,") == NAMED[symbol], rule.id
            words = in_units(rule.say, lambda _: 1234.0, FEET)
            if symbol == "m/s":
                speeds += 1
                assert "2399 knots" in words, rule.id
                assert "metres" not in words, rule.id
            elif reading.name in HEIGHTS:
                heights += 1
                assert "4049 feet" in words, rule.id
                assert "metres" not in words, rule.id
            elif symbol == "m":
                assert reading.name in OVER_THE_GROUND, rule.id
                assert "1234 metres" in words, rule.id
    assert heights >= 4
    assert speeds >= 4


def test_what_counts_as_a_height_is_a_length_in_the_catalogue() -> None:
    assert all(CATALOGUE[INDEX[name]].unit.symbol == "m" for name in HEIGHTS)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        # facts.md section 2: ICAO Annex 10 Vol II 5.2.1.4.1
        ("Heading 080.", "Heading zero eight zero."),
        ("Heading 100 degrees.", "Heading one zero zero degrees."),
        ("Height 800 feet.", "Height eight hundred feet."),
        ("Height 3400 feet.", "Height three thousand four hundred feet."),
        ("Height 12000 feet.", "Height one two thousand feet."),
        ("Height 2200 metres.", "Height two thousand two hundred metres."),
        ("Wind 160 degrees 18 knots gusting 30 knots.",
         "Wind one six zero degrees one eight knots gusting three zero knots."),
        ("Pressure 1010.", "Pressure one zero one zero."),
        ("Code 2400.", "Code two four zero zero."),
        ("Wind 36 kilometres per hour.", "Wind three six kilometres per hour."),
    ],
)  # fmt: skip
def test_digits_with_units_as_aviators_speak_them(text: str, words: str) -> None:
    assert spell_numbers(text, NumberStyle.DIGITS) == words


def test_a_metric_crew_hears_what_the_pack_says() -> None:
    for rule in load_rules([]).rules:
        assert in_units(rule.say, lambda _: 7.0, METRIC) == rule.say.render(lambda _: 7.0)
