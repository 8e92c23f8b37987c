"""German, complete: every rule, every phrase in the code, every word of a reading; its grammar, its sound.

Phonemes and language switches are those of eSpeak NG's program; the expected strings were read one by one and are
what a German speaker says. Plain numbers are held against num2words. The digits are those of
German-speaking radiotelephony (from memory: Bekanntmachung über die Sprechfunkverfahren, NfL; "zwo" for 2).
"""

from __future__ import annotations

import errno
import os
import re
import subprocess
from collections.abc import Iterable
from dataclasses import replace
from functools import partial

import pytest
from num2words import num2words

from tests.alerts.phrases_in_code import handed_over, sentences, speaking_files
from tests.alerts.speech import OWN_WORDS, callouts, german
from tests.conftest import RequireProgram
from tests.recordings import shipped
from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.alerts import wording
from watchkeeper.alerts.ahead import fixed_warnings
from watchkeeper.alerts.checks import ROLES
from watchkeeper.alerts.language import ENGLISH
from watchkeeper.alerts.language_file import WORDS, wording_faults
from watchkeeper.alerts.phrases import PHRASES, WHY_UNKNOWN
from watchkeeper.alerts.spoken import NumberStyle, spell_numbers
from watchkeeper.cli import paging
from watchkeeper.edges import kept, ledger_file, settings_check
from watchkeeper.edges.broker import embedded as broker
from watchkeeper.edges.host import sound_health, staying_awake
from watchkeeper.edges.minder import minder
from watchkeeper.edges.mqtt import health as mqtt_health
from watchkeeper.edges.mqtt import spool as mqtt_spool
from watchkeeper.edges.mqtt.login import LoginError
from watchkeeper.edges.mqtt.trouble import of_network
from watchkeeper.edges.records import recorder, watch_log
from watchkeeper.edges.sources import gaps
from watchkeeper.edges.sources.gaps import spoken_length
from watchkeeper.edges.voice.attention import STAND_IN
from watchkeeper.picture.histories import KINDS
from watchkeeper.rules.levels import Change, Level
from watchkeeper.rules.spoken_units import chosen, in_units
from watchkeeper.rules.template import parse_template
from watchkeeper.rules.wording import MOST_WORDS, callout_faults

GERMAN = german()
PLACE = re.compile(r"\{[^{}]*\}")
SAYING_PARTS = (
    *(broker, gaps, kept, ledger_file, minder, mqtt_spool, recorder, settings_check, sound_health, staying_awake),
    watch_log,
)
NOT_SPOKEN = {"Aircraft {}: {}.", "{}: {}"}
"""Sentences in the code that are no part of an alert."""
BOTH = {
    *("an", "autopilot", "fast", "filter", "hand", "in", "m", "min", "minute", "mission", "motor", "name"),
    *("pilot", "plan", "position", "reserve", "sender", "stand", "start", "still", "text"),
    *("multirotor", "pack", "packs", "s", "vibration", "was", "west", "wind"),
}
"""Words that are spelled alike in both languages; each was read."""


# ---- complete


def test_every_rule_has_german_words() -> None:
    for rule in shipped().rules:
        assert rule.say.text in GERMAN.rules, rule.id
        own = GERMAN.say(rule)
        assert sorted(PLACE.findall(own.text)) == sorted(PLACE.findall(rule.say.text))
        assert set(own.readings) == set(rule.say.readings)
    assert len(GERMAN.rules) == len({rule.say.text for rule in shipped().rules})


def test_what_the_code_says_is_listed_and_translated() -> None:
    found: dict[str, str] = {}
    for path in speaking_files():
        for line, text in (*sentences(path), *handed_over(path)):
            found.setdefault(text, f"{path.name}:{line}")
    unlisted = {place: text for text, place in found.items() if text not in PHRASES | NOT_SPOKEN}
    assert not unlisted, "add these to alerts/phrases.py and to the language files"
    assert set(GERMAN.phrases) == PHRASES
    assert len(found) > 80  # it does find them


def test_nothing_is_listed_that_nobody_says() -> None:
    found = {text for path in speaking_files() for _, text in (*sentences(path), *handed_over(path))}
    parts = {module.PART for module in SAYING_PARTS}
    parts |= {sound_health.DEVICE_PART, "voice", "phone", "console", "status", "mqtt", "rules", "source"}
    system = {os.strerror(number) for number in errno.errorcode}
    named = {
        *(level.value.capitalize() for level in Level),
        *(change.value for change in Change),
        *ROLES,
        *parts,
        *system,
        *(text.lower() for text in system),
        *(mqtt_health.REACHED, mqtt_health.TAKES_AGAIN),
        *("Watch. {}", "watch", "over", "condition over", "aircraft gone", "phase is {}"),
        *("Telemetry", "Telemetry source {}", "{} second", "{} seconds", "{} minutes", "{} hours"),
        *("password file: {}", "authority file: {}", "certificate or key: {}", "not found", mqtt_spool.ANOTHERS),
        *("key does not belong to certificate", "name the two that belong together"),
        *("certificate or key cannot be used", "name PEM files with certificate and key"),
        *("rule removed", "rule changed", "terminal takes lines again", "{}, today asks {}"),
        *("not pressed again", "seen again", "all clear by {}", paging.NEW_KEYS),
        *WHY_UNKNOWN,
        *(kind.words for kind in KINDS),
        *(drawn.words for kind in KINDS for drawn in kind.drawn),
        *("charge", "voltage", "wind", "dusk"),
    }
    assert not PHRASES - found - named


def test_every_word_of_a_reading_is_translated() -> None:
    assert set(GERMAN.words) == WORDS
    assert {word.replace("_", " ") for reading in CATALOGUE for word in reading.words} <= WORDS


def test_a_subject_has_one_name_everywhere() -> None:
    """Else what the watch cannot see, told by subjects, would be counted otherwise than in English."""
    pairs = {(rule.subject, GERMAN.say(rule).text.split(".")[0]) for rule in shipped().rules}
    told = [(english, own) for english, own in pairs if "{" not in english]
    assert len({english for english, _ in told}) == len(told)
    assert len({own for _, own in told}) == len(told)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f"Computer slept {spoken_length(14.0)}. Look at the aircraft.",
         "Rechner hat geschlafen, 14 Sekunden. Nach der Drohne sehen."),
        (f"Stood still {spoken_length(1.0)}. Look at the aircraft.",
         "Stand still, 1 Sekunde. Nach der Drohne sehen."),
        ("Telemetry source 2: serial port busy. End the other program.",
         "Telemetriequelle 2: Serieller Anschluss belegt. Anderes Programm beenden."),
        ("Telemetry is silent. Check the sender.", "Telemetrie ist stumm. Telemetriesender prüfen."),
        (LoginError("password file is empty", "write the password into its first line").as_trouble().say,
         "Anmeldung am Nachrichtenverteiler: Passwortdatei ist leer. Prüfen."),
        (LoginError("password file: permission denied", "check the file").as_trouble().say,
         "Anmeldung am Nachrichtenverteiler: Passwortdatei: Zugriff verweigert. Prüfen."),
        (of_network(OSError(errno.ENETUNREACH, "")).say,
         "Nachrichtenverteiler nicht erreicht: Netzwerk nicht erreichbar. Netzwerk prüfen."),
        ("Messages kept in memory only. No space left on device.",
         "Nachrichten nur im Arbeitsspeicher. Datenträger voll."),
        ("A look at this computer failed. The watch goes on.",
         "Prüfung dieses Rechners ausgefallen. Die Wache läuft weiter."),
    ],
)  # fmt: skip
def test_reports_are_told_whole(text: str, told: str) -> None:
    assert GERMAN.tell(text) == told


def test_what_stands_in_and_what_is_said_of_a_dead_watch_is_german() -> None:
    for english in (*STAND_IN.values(), *minder.WORDS.values()):
        assert GERMAN.phrase(english).startswith(("Warnung. ", "Vorsicht. ")), english
    assert wording.call_to("observer", GERMAN) == "Probe. Wache an Beobachter, Empfang bestätigen."
    assert wording.call_to("post", GERMAN) == "Probe. Wache an Leitstelle, Lesen bestätigen."
    assert "Warnung. Rückflug. Reserve erreicht. Sofort umkehren." in fixed_warnings(shipped().rules, GERMAN)


# ---- units


def test_heights_and_speeds_follow_the_crew_in_german() -> None:
    """The foot is 0.3048 m, the knot 1852 m an hour by definition: 1234 m, 4049 ft; 1234 m/s, 2399 kt."""
    heights = speeds = 0
    for rule in shipped().rules:
        template = GERMAN.say(rule)
        choices = [chosen(index, CrewUnits(height="ft", speed="kt")) for index in template.readings]
        if not {"ft", "kt"}.intersection(choices):
            continue
        said = in_units(
            template,
            lambda _: 1234.0,
            CrewUnits(height="ft", speed="kt"),
            speak=GERMAN.speak,
            names=GERMAN.units,
        )
        assert "Meter" not in said, rule.id
        heights += "4049 Fuß" in said
        speeds += "2399 Knoten" in said
        assert "4049 Fuß" in said or "2399 Knoten" in said, rule.id
    assert heights >= 4
    assert speeds >= 4


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Böen mit {wind.gust_now:.0} Metern pro Sekunde.", "Böen mit 36 Kilometern pro Stunde."),
        ("Wind {wind.now:.1} Meter pro Sekunde.", "Wind 36,0 Kilometer pro Stunde."),
        ("Wind {wind.now:.0} metres per second.", "Wind 36 kilometres per hour."),  # a crew's own, in English
    ],
)
def test_forms_of_units_and_the_decimal_comma(text: str, said: str) -> None:
    units = CrewUnits(speed="km/h")
    template = parse_template(text, {})
    assert in_units(template, lambda _: 10.0, units, speak=GERMAN.speak, names=GERMAN.units) == said


# ---- grammar


def test_the_grammar_holds_in_both_languages() -> None:
    assert not [fault for rule in shipped().rules for fault in callout_faults(rule)]
    assert not wording_faults(GERMAN, "de.yaml", shipped().rules)


def test_callouts_begin_with_the_level_and_are_short() -> None:
    named = {
        Level.WARNING: "Warnung. ",
        Level.CAUTION: "Vorsicht. ",
        Level.ADVISORY: "Hinweis. ",
        Level.ROUTINE: "",
    }
    for rule, said in callouts(GERMAN):
        words = said.removeprefix("Drohne 2. ")
        assert words != said
        assert any(words.startswith(named[level]) for level in (rule.level, Level.WARNING, Level.CAUTION)), said
        own = words.replace(OWN_WORDS, "")
        assert len(own.split()) <= MOST_WORDS, said
        assert len(re.findall(r"\d+(?:,\d+)?", own)) <= 1, said
        assert "3.4" not in own, said  # the decimal comma


def test_what_it_must_never_say_is_found() -> None:
    """Power cannot always be reduced, and home may not be the safe place: as in English."""
    rule = next(rule for rule in shipped().rules if rule.id == "return-now")
    for bad in (
        "Rückflug. Reserve erreicht. Leistung verringern.",
        "Rückflug. Reserve. Sofort nach Hause fliegen.",
    ):
        language = replace(GERMAN, rules={**GERMAN.rules, rule.say.text: bad})
        assert [fault.what for fault in wording_faults(language, "de.yaml", [rule])], bad


# ---- sound


def phonemes(program: str, texts: Iterable[str]) -> list[str]:
    """Return eSpeak NG's phonemes, a line a clause, of all texts at once."""
    command = [program, "-v", "de", "-q", "-x"]
    return subprocess.run(
        command, input="\n\n".join(texts), capture_output=True, text=True, check=True, timeout=120
    ).stdout.splitlines()


def test_no_english_is_spoken(require_program: RequireProgram) -> None:
    """The German voice marks words that it takes for English by "(en)"."""
    program = require_program("espeak-ng")
    assert "(en)" in phonemes(program, ["Server."])[0]  # it does mark them
    spoken = [spell_numbers(said, NumberStyle.DIGITS, GERMAN.numerals) for _, said in callouts(GERMAN)]
    spoken += [text.replace("{}", "") for text in (*GERMAN.phrases.values(), *GERMAN.words.values())]
    said = phonemes(program, spoken)
    assert len(said) > len(spoken)
    assert not [line for line in said if "(" in line]


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("return-now", "v'arnUN r'ykflu:k r'e:zErv@ _|Err'aICt zo:f'Ort _!'Umk,e:R@n"),
        ("link-lost",
         "v'arnUN fErb'IndUN fErl'o:R@n _!nA:x z'ICt fl'i:g@n _!'antE2n@n pr'y:f@n"),
        ("position-lost",
         "v'arnUN p,o:zi:tsj'o:n fErl'o:R@n _!fOn h'ant _|,y:b3n'e:m@n h'Y:@ h'alt@n"),
        ("home-unreachable",
         "v'arnUN r'ykflu:k r'yke:rp,UNkt n'ICt _|Err'aICbA:r _!_|am n'ECst@n z'IC@R@n pl'ats l'and@n"),
        ("boundary-left", "v'arnUN g@bi:tsgr'Ents@ _!'aUs3h,alp v'i:d3 hIn'aInfl,i:g@n"),
        ("falling", "v'arnUN h'Y:@ St'yrtst _|'ap b@R'aIC dA:R'Unt3 r'OYm@n"),
        ("obstacle-now", "v'arnUN h'Ind3n,Is di:R'Ekt fo:R'aUs zo:f'Ort _!'anh,alt@n"),
        ("traffic-near",
         "v'arnUN fErk'e:r bl'Ik n'Ort tsv'o: f'ynf m'e:t3 h'Y:3 k'Omt n'E:3 j,Etst z'INk@n"),
        ("battery-low", "f'o:rz,ICt _!'aku: n'i:drIC tsv'o: f'ynf pro:ts'Ent l'andUN pl'A:n@n"),
        ("height-call", "h'Y:@ tsv'o: f'ynf m'e:t3"),
    ],
)  # fmt: skip
def test_key_callouts_sound_as_they_should(require_program: RequireProgram, rule: str, expected: str) -> None:
    said = next(said for one, said in callouts(GERMAN, 25.0) if one.id == rule).removeprefix("Drohne 2. ")
    words = spell_numbers(said, NumberStyle.DIGITS, GERMAN.numerals)
    assert " ".join(" ".join(phonemes(require_program("espeak-ng"), [words])).split()) == expected


def test_words_spelled_as_in_english_are_known() -> None:
    def words(texts: Iterable[str]) -> set[str]:
        return {w.lower() for text in texts for w in re.findall(r"[^\W\d_]+", PLACE.sub("", text))}

    english = words([*GERMAN.rules, *GERMAN.phrases, *GERMAN.words])
    own = words([*GERMAN.rules.values(), *GERMAN.phrases.values(), *GERMAN.words.values()])
    assert english & own == BOTH


# ---- numbers


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        # from memory: digit by digit, zwo for two, Komma; whole hundreds and thousands of heights by those words
        ("Höhe 0 Meter.", "Höhe null Meter."),
        ("Richtung 240 Grad.", "Richtung zwo vier null Grad."),
        ("3,4 Volt.", "drei Komma vier Volt."),
        ("118,35", "eins eins acht Komma drei fünf"),
        ("Höhe 800 Meter.", "Höhe acht hundert Meter."),
        ("Höhe 3400 Fuß.", "Höhe drei tausend vier hundert Fuß."),
        ("Höhe 12000 Fuß.", "Höhe eins zwo tausend Fuß."),
        ("Höhe 67 Meter.", "Höhe sechs sieben Meter."),
        ("Böen mit 9 Metern pro Sekunde.", "Böen mit neun Metern pro Sekunde."),
        ("-5 Grad.", "minus fünf Grad."),
        ("Version 1.2.3 und GPS2", "Version 1.2.3 und GPS2"),
        ("1,2,3", "1,2,3"),
    ],
)
def test_digit_by_digit(text: str, digits: str) -> None:
    assert spell_numbers(text, NumberStyle.DIGITS, GERMAN.numerals) == digits


def test_plain_numbers_are_those_of_num2words() -> None:
    for number in (*range(1101), 2000, 2345, 9999, 12000, 12001, 21000, 34567, 99999):
        said = spell_numbers(str(number), NumberStyle.PLAIN, GERMAN.numerals)
        assert said.replace(" ", "") == num2words(number, lang="de").replace(" ", "")
    assert spell_numbers("123456", NumberStyle.PLAIN, GERMAN.numerals) == "eins zwei drei vier fünf sechs"


@pytest.mark.parametrize(("number", "words"), [("3,3", 3.3), ("0,25", 0.25), ("62,5", 62.5)])
def test_plain_decimals(number: str, words: float) -> None:
    assert spell_numbers(number, NumberStyle.PLAIN, GERMAN.numerals) == num2words(words, lang="de")


# ---- told as they are


def test_what_the_aircraft_says_stays_as_it_is() -> None:
    said = {rule.id: words for rule, words in callouts(GERMAN)}
    assert said["aircraft-advises"] == f"Drohne 2. Hinweis. Drohne meldet. {OWN_WORDS}."
    rule = next(rule for rule in shipped().rules if rule.id == "aircraft-advises")
    for words in ("critical", "north_east", "low", "3.4 V"):
        told = GERMAN.say(rule).render(partial(_saying, words), GERMAN.speak)
        assert told == f"Drohne meldet. {words.replace('_', ' ')}."


def _saying(words: str, _index: int) -> str:
    return words


def test_english_is_what_the_rules_say() -> None:
    for rule in shipped().rules:
        assert ENGLISH.say(rule) is rule.say
