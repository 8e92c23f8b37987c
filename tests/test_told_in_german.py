"""Decisions do not depend on the language: the same flights, told in English and in German."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from simulators.scenario import find, load
from tests.alerts.speech import german
from tests.recordings import shipped
from tests.test_before_take_off import CREW, FILE, HALF_MV, Ground, raised
from tests.test_engine import T0, Plane
from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.alerts.events import AlertChange, Happening, Order, Preparation, Refusal, RoutineCall
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.cli.drill_flight import begin, start_us
from watchkeeper.edges.console import console_line
from watchkeeper.engine import Engine
from watchkeeper.rules.load import load_packs

GERMAN = german()
WORDED = "ready.why"
"""A reading whose value is words for the crew, in its language."""


def decided(happened: list[Happening]) -> list[Happening]:
    """Return what was decided, without the words in which it was told."""
    bare: list[Happening] = []
    for one in happened:
        if isinstance(one, Refusal | Preparation):
            bare.append(one)
            continue
        evidence = {name: value for name, value in one.evidence.items() if name != WORDED}
        callout = bool(one.callout) and not isinstance(one, RoutineCall)
        bare.append(replace(one, evidence=evidence, callout="said" if callout else ""))
    return bare


def callouts(happened: list[Happening]) -> list[str]:
    return [one.callout for one in happened if not isinstance(one, Refusal | Preparation) and one.callout]


def drill(name: str, language: Language) -> list[Happening]:
    scenario = load(find(name))
    engine = Engine(shipped(), language=language)
    begin_us = start_us(scenario)
    happened = [*engine.tick(begin_us / 1e6)]
    for sent in begin(scenario, 1).frames():
        happened += engine.receive("a", sent.data, max(begin_us + round(sent.time_s * 1e6), begin_us) / 1e6)
    return happened


def test_a_whole_drill_decides_the_same() -> None:
    english, own = drill("four-faults", ENGLISH), drill("four-faults", GERMAN)
    assert decided(english) == decided(own)
    assert len(english) > 20
    said = callouts(own)
    assert "Vorsicht. Akku. Spannungseinbruch, 3,4 Volt. Langsamer fliegen, Steigen vermeiden." in said
    assert "Hinweis. Drohne meldet. Position accuracy falling." in said  # the aircraft's own words
    assert not set(said) & set(callouts(english))


def two(language: Language) -> list[Happening]:
    """Two aircraft; parts of the watch that fail; one aircraft falls silent; orders."""
    engine = Engine(shipped(), language=language)
    planes = [Plane(7), Plane(8)]
    happened: list[Happening] = []
    for quarter in range(480):
        if quarter == 260:
            planes[0].satellites = 5
        if quarter == 300:
            happened += engine.order(
                Order("report", rule="voice", ok=False, text="No sound device. Callouts are not heard here."),
                T0 + quarter / 4,
            )
            happened += engine.order(Order("report", rule="page", ok=False, text=""), T0 + quarter / 4)
            text = "Recording not written. No space left on device."
            happened += engine.order(Order("report", rule="record", ok=False, text=text), T0 + quarter / 4)
            text = "Log not written. Something odd."
            happened += engine.order(Order("report", rule="log", ok=False, text=text), T0 + quarter / 4)
            happened += engine.order(Order("report", rule="odd", ok=False, text="Hm {0} {x}."), T0 + quarter / 4)
        if quarter == 320:
            happened += engine.order(Order("report", rule="voice", text="voice works again"), T0 + quarter / 4)
            happened += engine.order(Order("shelve", rule="nothing", aircraft=7), T0 + quarter / 4)
        for plane in planes[: 1 if quarter > 400 else 2]:
            happened += engine.receive("a", plane.frames(quarter / 4), T0 + quarter / 4)
    return happened


def test_two_aircraft_and_parts_that_fail() -> None:
    english, own = two(ENGLISH), two(GERMAN)
    assert decided(english) == decided(own)
    said = callouts(own)
    for words in (
        "Vorsicht. Wache. Kein Tongerät. Ansagen sind hier nicht zu hören.",
        "Vorsicht. Wache. Ausgefallen: page.",
        "Vorsicht. Wache. Aufzeichnung nicht geschrieben. Datenträger voll.",
        "Vorsicht. Wache. Protokoll nicht geschrieben. Something odd.",  # nobody's words but the system's
        "Vorsicht. Wache. Hm {0} {x}.",  # an unknown report is told as it is
        "Drohne 8. Warnung. Verbindung. Verloren. Nach Sicht fliegen, Antennen prüfen.",
    ):
        assert words in said, words
    assert any(words.startswith("Hinweis. Wache. Nicht zu sehen: ") for words in said)
    assert any(words.startswith("Drohne 7. Hinweis. Satelliten. Gefallen auf 5, ") for words in said)


def waiting(language: Language) -> Ground:
    """Return an aircraft with half-full packs and an open checklist; it gets its fix late."""
    ground = Ground()
    ground.engine = Engine(shipped(), [FILE], load_sortie_file(CREW, "s.yaml"), language=language)
    ground.fix, ground.packs_mv = 1, [HALF_MV, HALF_MV]
    ground.run(2)
    ground.order("check", text="rotor latches")
    ground.run(70)
    ground.fix = 3
    ground.run(5)
    return ground


def test_reasons_to_wait_are_counted_alike_and_told_in_german() -> None:
    english, own = waiting(ENGLISH), waiting(GERMAN)
    assert decided(english.happened) == decided(own.happened)
    assert len(english.reasons) == len(own.reasons)
    known, told = english.engine.readings(7), own.engine.readings(7)
    assert {name for name in known if known[name] != told[name]} == {WORDED}
    assert known["ready.mendable"] != known["ready.reasons"]  # what cannot be seen is not mended by waiting
    for pair in (
        ("Checklist. Open: pack connectors.", "Checkliste. Offen: pack connectors."),  # the crew's own item
        (
            "Crew. No test call to the observer yet.",
            "Besatzung. Noch keine Probeansage: Beobachter.",
        ),
    ):
        assert pair[0] in english.reasons
        assert pair[1] in own.reasons
    assert own.of("Akku. Nicht voll, ")
    assert not set(english.reasons) & set(own.reasons)
    line = console_line(raised(own.happened, "take-off-wait")[0], language=GERMAN)
    assert "HINWEIS" in line
    assert "  Drohne 7 " in line
    assert "Hinweis. Start. Gründe zu warten, " in line
    assert "Position. Keine Satellitenposition, also kein Rückkehrpunkt." in line


def test_an_alert_that_is_over_is_shown_in_german() -> None:
    over = [one for one in two(GERMAN) if isinstance(one, AlertChange) and one.rule == "watch-voice"][-1]
    assert console_line(over, language=GERMAN).endswith("[vorbei: Sprachausgabe arbeitet wieder]")
    assert "VORSICHT" in console_line(over, language=GERMAN)
    assert console_line(over).endswith("[over: voice works again]")


OWN = """\
pack: own
about: a crew's own pack
settings: {floor: 3.3 V}
rules:
  - id: own-rule
    level: advisory
    when: satellites.used < 9 count
    say: "Satelliten. {satellites.used:.1}, unter {floor}."
    why: a test
    cases:
      - given: {satellites.used: 3 count}
        expect: met
      - given: {satellites.used: 20 count}
        expect: not met
  - id: satellite-loss
    replaces: satellite-loss
    level: caution
    when: satellites.used < 8 count
    say: "Satellites. Too few. Land."
    why: a test
    cases:
      - given: {satellites.used: 3 count}
        expect: met
      - given: {satellites.used: 20 count}
        expect: not met
"""


def test_a_crews_own_rules_are_spoken_as_written(tmp_path: Path) -> None:
    packs = [(str(path), path.read_text()) for path in sorted(Path("rules").glob("*.yaml"))]
    rules = load_packs([*packs, (str(tmp_path / "own.yaml"), OWN)])
    engine, plane = Engine(rules, language=GERMAN), Plane(7)
    happened: list[Happening] = []
    for quarter in range(80):
        plane.satellites = 20 if quarter < 40 else 5
        happened += engine.receive("a", plane.frames(quarter / 4), T0 + quarter / 4)
    said = callouts(happened)
    assert "Hinweis. Satelliten. 5,0, unter 3.3." in said  # a setting stands as it is written
    assert "Vorsicht. Satellites. Too few. Land." in said
