"""Templates, and the one grammar of callouts: level, subject, what, what to do; twelve words, one number."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.rules.condition import Setting
from watchkeeper.rules.load import load_packs
from watchkeeper.rules.template import parse_template
from watchkeeper.rules.wording import callout_faults
from watchkeeper.units import UNITS

VALUES: dict[str, Any] = {
    "battery.sag": 0.149,
    "battery.voltage": -0.04,
    "battery.current": math.pi,
    "flight.phase": "taking_off",
    "flight.armed": True,
    "link.margin": BLIND,
    "link.loss": FAULT,
    "satellites.used": 9,
}


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("Battery. Sag.", "Battery. Sag."),
        ("Sag {battery.sag}.", "Sag 0."),
        ("Sag {battery.sag:.1}.", "Sag 0.1."),
        ("Sag { battery.sag :.2}.", "Sag 0.15."),
        ("Volts {battery.voltage:.1}.", "Volts 0.0."),  # never "minus zero"
        ("{battery.current:.3}{battery.current}.", "3.1423."),
        ("Now {flight.phase}, armed {flight.armed}.", "Now taking off, armed yes."),
        ("Margin {link.margin:.0}, loss {link.loss:.1}.", "Margin unknown, loss unknown."),
        ("Only {satellites.used:.0}.", "Only 9."),
        ("Floor {floor}, {floor:.0}.", "Floor 3.35, 3."),
        ("  Two\n   lines. \n", "Two lines."),
    ],
)
def test_render(written: str, said: str) -> None:
    template = parse_template(written, {"floor": Setting(UNITS["V"], 3.35)})
    assert template.render(lambda i: VALUES[CATALOGUE[i].name]) == said


def test_readings_of_a_template() -> None:
    template = parse_template("Sag {battery.sag:.1}, {floor}.", {"floor": Setting(UNITS["V"], 3.3)})
    assert template.readings == (INDEX["battery.sag"],)


PACK = """\
pack: test
about: a test
rules:
  - id: a-rule
    level: {level}
    when: flight.armed
    say: {say}
    why: a test
    cases:
      - given: {{flight.armed: [[0, false], [1, true]]}}
        expect: [[1, {change}]]
      - given: {{flight.armed: false}}
        expect: not met
"""


def faults_of(level: str, say: str) -> tuple[list[str], list[str]]:
    """Return what is wrong, and the source from where it is said to be wrong."""
    change = "spoken" if level == "routine" else "raised"
    rules = load_packs([("p.yaml", PACK.format(level=level, say=json.dumps(say), change=change))])
    faults = callout_faults(rules.rules[0])
    assert all((fault.file, fault.line) == ("p.yaml", 7) for fault in faults)
    return [f"{fault.what}; {fault.do}" for fault in faults], [f.source_line[f.column - 1 :] for f in faults]


@pytest.mark.parametrize(
    ("level", "say"),
    [
        ("caution", "Battery. Voltage sag. {battery.cell_voltage:.1}. Slow down, avoid climbing."),
        ("warning", "Return. Reserve reached. Turn back now."),
        ("warning", "Return. Cannot reach home. Land at the nearest safe place."),
        ("caution", "Return. Reserve. Turn back within one minute."),
        ("advisory", "Aircraft. Silent on the ground."),
        ("routine", "Taking off."),
        ("caution", "Wind. {wind.speed:.0} metres a second. Land, or move to one lee."),  # twelve words
        # words are no numbers, and count as the longest of them: "north east", "height unknown"
        (
            "caution",
            "Traffic. Look {traffic.octant}, {traffic.level}, {traffic.distance:.0} metres. Land by sight.",
        ),
        ("routine", "Look up. This call has twelve words, with no level in front."),
    ],
)
def test_callouts_that_keep_the_grammar(level: str, say: str) -> None:
    assert faults_of(level, say) == ([], [])


@pytest.mark.parametrize(
    ("level", "say", "message", "at"),
    [
        ("caution", "Battery. Low. Land soon", "a callout ends with a full stop; add it", 'n"'),
        ("caution", "Battery. Low. Now land as soon as you possibly can over there.",
         "13 words with the level; say it in 12", "there."),
        ("caution", "Aircraft says. {text.caution}. Be ready to fly by hand.",
         "14 words with the level; say it in 12", "by hand."),
        ("caution", "Battery. {battery.sag:.1} of {battery.voltage:.1} volts. Land.",
         "2 numbers; say one", "{battery.voltage"),
        ("caution", "Battery. {battery.sag:.1} volts. Land within 2 minutes.", "2 numbers; say one", "2 min"),
        ("caution", "Traffic. See {traffic.octant}, {traffic.level}, {traffic.distance} metres. Look up at it.",
         "13 words with the level; say it in 12", "it."),
        ("caution", "Battery. {battery.sag:.1} volts. Land within twenty-two minutes.",
         "2 numbers; say one", "twenty-two"),
        ("caution", "Battery. {battery.sag:.1} volts. Land within one minute.", "2 numbers; say one", "one min"),
        ("caution", "Battery. Low.",
         "2 of 3 parts; say subject, what, and what to do, each ended by a full stop", "Battery."),
        ("warning", "Battery low, land.",
         "1 of 3 parts; say subject, what, and what to do, each ended by a full stop", "Battery"),
        ("advisory", "Battery low.", "1 of 2 parts; say subject and what, each ended by a full stop", "Battery"),
        ("advisory", "Battery. Low. Or not. Who knows.", "4 parts; say it in 3", "Who"),
        ("caution", "Battery. Low. Turn, reduce power.",
         "says 'reduce power'; an aircraft that climbs or fights wind cannot; say what to do, like 'slow down'",
         "reduce"),
        ("caution", "Battery. Low. Turn, come  home.",
         "says 'come home'; home may not be the safe place; say 'turn back' or 'land'", "come"),
        ("routine", "Return home.",
         "says 'return home'; home may not be the safe place; say 'turn back' or 'land'", "Return"),
        ("caution", "Batery. Low. Land.", "'Batery' is none of the subjects; did you mean 'battery'?", "Batery"),
        ("advisory", "Battery. Low! So so.", "'!' is not spoken; use words, commas and full stops", "!"),
    ],
)  # fmt: skip
def test_callouts_that_break_it(level: str, say: str, message: str, at: str) -> None:
    messages, places = faults_of(level, say)
    assert messages == [f"a-rule: {message}"]
    assert places[0].startswith(at)


def test_a_callout_that_does_not_say_what_to_do() -> None:
    (message,), (place,) = faults_of("caution", "Battery. Low. It is quite empty.")
    assert message.startswith(
        "a-rule: 'It is quite empty' does not say what to do; begin it with what to do: add, "
    )
    assert place.startswith("It is")


def test_a_number_is_one_word_however_it_is_spoken() -> None:
    """ICAO Annex 10 Volume II 5.2.1.4.1 says digits one by one; they are one number all the same."""
    assert faults_of("caution", "Wind. Minus three decimal three metres a second. Land by sight.") == ([], [])
    (message,), (place,) = faults_of("caution", "Wind. Three decimal three, 12 metres. Land.")
    assert message == "a-rule: 2 numbers; say one"
    assert place.startswith("12 metres")
