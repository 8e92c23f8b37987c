"""What is said of STATUSTEXT. Severities are RFC 5424's (facts.md 9), levels those of 14 CFR 25.1322."""

from __future__ import annotations

import pytest

from tests.aircraft.feeder import Flight, Sender
from watchkeeper.aircraft.readings import BLIND, US, Readings
from watchkeeper.aircraft.sayings import MOST_WORDS, Sayings, clean

SLOTS = ("urgent", "caution", "advisory", "battery", "link", "position")


def in_the_air() -> Flight:
    flight = Flight()
    flight.beat(armed=True)
    for _ in range(30):
        flight.wait(0.5)
        flight.beat_once(armed=True)
        flight.at(height_m=30)
    assert flight.read("flight.phase") == "airborne"
    return flight


def said(flight: Flight) -> dict[str, str]:
    return {slot: words for slot in SLOTS if (words := flight.read(f"text.{slot}")) is not BLIND}


@pytest.mark.parametrize(
    ("severity", "slot"),
    [(0, "urgent"), (1, "urgent"), (2, "caution"), (3, "caution"), (4, "advisory"), (5, ""), (6, ""), (7, "")],
)
def test_severity_gives_the_level_in_flight(severity: int, slot: str) -> None:
    flight = in_the_air()
    flight.send("STATUSTEXT", severity=6, text="Ready")
    flight.send("STATUSTEXT", severity=severity, text="Winch blocked!")
    assert said(flight) == ({slot: "Winch blocked"} if slot else {})


def test_on_the_ground_nothing_is_more_than_an_advisory() -> None:
    flight = Flight()
    flight.beat()
    flight.at(height_m=0)
    flight.beat()
    flight.send("STATUSTEXT", severity=6, text="Ready")
    flight.send("STATUSTEXT", severity=0, text="Not ready to arm")
    assert said(flight) == {"advisory": "Not ready to arm"}


def test_firmware_from_before_the_standards_severities_is_known_on_the_ground() -> None:
    # counted from 1, low: routine words at what is an alert in RFC 5424
    flight = Flight()
    flight.beat()
    flight.at(height_m=0)
    flight.beat()
    flight.send("STATUSTEXT", severity=1, text="Beginning")
    assert said(flight) == {}
    flight.beat(armed=True)
    flight.send("STATUSTEXT", severity=1, text="Passed point 3")
    flight.send("STATUSTEXT", severity=0, text="Arm broken")
    assert said(flight) == {"urgent": "Arm broken"}
    flight.send("STATUSTEXT", severity=6, text="shows that it counts as the standard does")
    flight.wait(70)
    flight.send("STATUSTEXT", severity=1, text="Rotor lost")
    assert said(flight) == {"urgent": "Rotor lost"}


def test_an_alert_of_an_aircraft_nobody_knows_yet_is_an_advisory() -> None:
    flight = in_the_air()
    flight.send("STATUSTEXT", severity=1, text="Passed point 3")
    assert said(flight) == {"advisory": "Passed point 3"}


@pytest.mark.parametrize(
    ("words", "slot"),
    [
        ("Battery low", "battery"),
        ("GPS glitch", "position"),
        ("Radio weak", "link"),
        ("Arm bent", "caution"),
    ],
)
def test_what_the_watch_has_rules_for_goes_by_its_subject(words: str, slot: str) -> None:
    flight = in_the_air()
    flight.send("STATUSTEXT", severity=2, text=words)
    assert said(flight) == {slot: words}


def test_a_text_ends_by_itself_and_the_next_one_waits_for_that() -> None:
    flight = in_the_air()
    flight.send("STATUSTEXT", severity=3, text="First")
    flight.send("STATUSTEXT", severity=3, text="Second")
    assert said(flight) == {"caution": "First"}
    flight.wait(10.5)
    assert said(flight) == {}
    flight.aircraft.texts.run(flight.now_us, flight.aircraft.readings)
    assert said(flight) == {}, "the alert of the first has to end before"
    flight.wait(1.6)
    flight.aircraft.texts.run(flight.now_us, flight.aircraft.readings)
    assert said(flight) == {"caution": "Second"}


def test_a_chunk_that_is_lost_holds_nothing_back() -> None:
    flight = in_the_air()
    words = "The rotor of arm two has come loose in bearing two"
    assert len(words) == 50
    flight.send("STATUSTEXT", severity=3, text=words, id=7, chunk_seq=0)
    assert said(flight) == {}
    flight.wait(2.5)
    flight.aircraft.texts.run(flight.now_us, flight.aircraft.readings)
    assert said(flight) == {"caution": "The rotor of arm two"}
    flight.send("STATUSTEXT", severity=4, text="a" * 50, id=8, chunk_seq=0)
    flight.send("STATUSTEXT", severity=4, text="c", id=8, chunk_seq=2)
    assert flight.aircraft.texts.latest[-1].words == "a" * 50 + " c"


def test_letters_of_two_bytes_do_not_end_a_text() -> None:
    flight = in_the_air()
    raw = ("é" * 25).encode()
    flight.send("STATUSTEXT", severity=4, text=raw.decode(), id=8, chunk_seq=0)
    flight.send("STATUSTEXT", severity=4, text="ü", id=8, chunk_seq=1)
    assert flight.aircraft.texts.latest[-1].words == "é" * 25 + "ü"


def test_words_of_another_component_aboard_are_advisories_and_of_another_system_nothing() -> None:
    flight = in_the_air()
    flight.hear(Sender(7, 191).pack("STATUSTEXT", severity=0, text="Winch jammed"))
    assert said(flight) == {"advisory": "Winch jammed"}
    flight.hear(Sender(7, 191).pack("STATUSTEXT", severity=4, text="chatter"))
    flight.hear(Sender(255, 190).pack("STATUSTEXT", severity=0, text="station in distress"))
    flight.wait(13)
    flight.aircraft.texts.run(flight.now_us, flight.aircraft.readings)
    assert said(flight) == {}


def spoken(times_s: list[float], words: list[str], slot: str = "caution") -> int:
    """Return how many of the texts were shown."""
    sayings, readings = Sayings(), Readings()
    shown = 0
    before = None
    for time_s, text in zip(times_s, words, strict=True):
        now_us = round(time_s * US)
        sayings.run(now_us, readings)
        sayings.say(slot, text, now_us, readings)
        stream = readings.streams[sayings._slots[slot].index]
        count = stream.count if stream is not None else 0
        shown += count != before and count > 0
        before = count
    return shown


def test_the_same_words_with_other_numbers_within_a_minute_are_one() -> None:
    times = [20.0 * i for i in range(10)]
    assert spoken(times, [f"Reached item {i}" for i in range(10)]) == 1
    assert spoken([70.0 * i for i in range(5)], ["Arm bent"] * 5) == 5
    # what is urgent is said again each minute that it goes on
    assert spoken(times, ["Arm bent"] * 10, "urgent") == 4


def test_a_flood_is_bounded() -> None:
    sayings, readings = Sayings(), Readings()
    for i in range(5000):
        sayings.say("caution", f"text {'abcdefghij'[i % 10]} {chr(97 + i % 26)}", i * 200, readings)
    assert sayings.dropped > 4900
    assert len(sayings._known) <= 64
    assert all(len(slot.waiting) <= 3 for slot in sayings._slots.values())


@pytest.mark.parametrize(
    "text",
    [
        "{battery.voltage} __class__.__init__", "\x1b[31mred\x07", "\u202egnorw", "a. b! c? d; e: f", "", "....",
        "1 2 3 4 5 6", "x" * 500, "<b>bold</b> & more", "\ufeff\u200bhidden", "44.1V at 20A and 30 %",
    ],
)  # fmt: skip
def test_hostile_words_become_harmless(text: str) -> None:
    words = clean(text)
    assert len(words.split()) <= MOST_WORDS
    assert len(words) <= 5 * 21
    assert words.isprintable()
    assert not set(words) & set("{}<>!?;:_\x1b")
    assert sum(any(c.isdigit() for c in word) for word in words.split()) <= 1
    assert not any(word.endswith(".") for word in words.split())
