"""What a crew must hear is not kept back: by what else stands, by a sterile phase, by a flood, by its own past.

Driven through the book with all shipped rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from tests.recordings import shipped
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.events import AlertChange, Change, Order
from watchkeeper.alerts.orders import carry_out
from watchkeeper.alerts.teller import Teller

RULES = shipped()


class Drive:
    """A book that is told readings twice a second; a value of None is one that is not told any more."""

    def __init__(self, **told: Any) -> None:
        self.readings = Readings()
        self.teller = Teller()
        self.teller.first_us = 0
        self.book = AlertBook(1, self.readings, RULES.rules, {}, self.teller, RULES.sterile)
        self.streams: dict[str, Stream] = {}
        self.told: dict[str, Any] = {"flight.phase": "airborne", "position.height": 50.0}
        self.now_us = 0
        self.changes: list[AlertChange] = []
        self.tell(told)

    def tell(self, told: Mapping[str, Any]) -> None:
        self.told |= {name.replace("__", "."): value for name, value in told.items()}

    def run(self, seconds: float, **told: Any) -> list[AlertChange]:
        self.tell(told)
        before = len(self.changes)
        for _ in range(round(seconds * 10)):
            self.now_us += 100_000
            tenth = self.now_us // 100_000
            if tenth % 5 == 0:
                for name, value in self.told.items():
                    if value is None:
                        continue
                    stream = self.streams.setdefault(name, Stream())
                    stream.mark(self.now_us)
                    self.readings.put(INDEX[name], value, stream)
                self.book.judge_readings([INDEX[name] for name in self.told], self.now_us)
            (self.book.sweep if tenth % 10 == 0 else self.book.grid)(self.now_us)
            self.changes += [one for one in self.teller.take() if isinstance(one, AlertChange)]
        return self.changes[before:]

    def acknowledge(self, rule: str) -> None:
        carry_out(self.book, self.teller, Order("acknowledge", rule, 1), self.now_us)

    def spoken(self, rule: str) -> list[str]:
        return [one.callout or "" for one in self.changes if one.rule == rule and one.spoken]


def forget(drive: Drive, name: str) -> None:
    drive.told.pop(name)
    drive.readings.put(INDEX[name], None, drive.streams[name])


def test_each_of_the_aircrafts_own_words_is_spoken_however_many_there_are() -> None:
    drive = Drive()
    for number in range(6):
        drive.run(10, text__caution=f"words {number}")
        forget(drive, "text.caution")
        drive.run(3)
    assert len(drive.spoken("aircraft-cautions")) == 6


def test_the_aircrafts_own_words_do_not_wait_for_the_ground() -> None:
    drive = Drive(flight__phase="landing", position__height=8.0)
    drive.run(8, text__caution="Motor three hot")
    assert drive.spoken("aircraft-cautions")


def test_a_second_pack_is_told_though_the_first_was_acknowledged() -> None:
    drive = Drive()
    drive.run(5, battery__packs_out=1)
    drive.acknowledge("pack-open")
    drive.run(3, battery__packs_out=2)
    assert drive.spoken("packs-open")


@pytest.mark.parametrize(
    ("rule", "name", "value"),
    [
        ("motor-stopped", "motors.still", 1),
        ("compass-unhealthy", "unhealthy.compass", True),
        ("attitude-unhealthy", "unhealthy.attitude", True),
        ("jamming", "satellites.jamming", "detected"),
    ],
)
def test_what_can_no_longer_be_seen_is_not_over(rule: str, name: str, value: Any) -> None:
    drive = Drive()
    drive.run(10, **{name: value})
    assert drive.spoken(rule)
    drive.run(40, **{name: None})
    changes = [one.change for one in drive.changes if one.rule == rule]
    assert Change.STALE in changes
    assert Change.CLEARED not in changes


def test_the_aircrafts_next_action_is_one_at_a_time() -> None:
    drive = Drive(own__action_in=50.0, own__action="return", own__climbs=False)
    drive.run(10)
    drive.run(15, own__climbs=True)
    drive.run(15, own__action="land", own__climbs=False)
    stands = {one.rule for one in drive.book.alerts() if one.stands}
    assert stands & {"own-failsafe-soon", "own-climb-soon", "own-landing-soon"} == {"own-landing-soon"}


def test_no_thrust_left_is_said_in_the_first_metres() -> None:
    drive = Drive(flight__phase="taking_off", position__height=1.5, position__climb_rate=0.1)
    drive.run(8, motors__peak=100.0)
    assert drive.spoken("motors-saturated")


def test_a_flood_does_not_hold_back_what_completes_a_warning() -> None:
    drive = Drive(position__valid=True)
    drive.run(5)
    for number in range(12):
        drive.run(4, text__advisory=f"words {number}")
        forget(drive, "text.advisory")
        drive.run(3)
    assert drive.teller.flood.flooding
    drive.run(30, position__valid=False, position__time_left=4.0)
    assert drive.spoken("lost-time")
    assert drive.spoken("lost-height")
