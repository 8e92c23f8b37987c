"""What tests of the board share: a watch's messages as its outlet writes them, and a clock in hand."""

from __future__ import annotations

from typing import Any

from tests.edges import view_parts
from tests.edges.mqtt_parts import START_US, change
from watchkeeper.alerts.events import AlertChange, RoutineCall
from watchkeeper.edges.messages.head import Message
from watchkeeper.edges.messages.payloads import Writer
from watchkeeper.edges.messages.views import outlook_of, surroundings_of, watch_outlook_of
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.page.board.board import Board
from watchkeeper.picture.models import AircraftPicture, StationPicture

SECOND_US = 1_000_000


class Hall:
    """A board, and the time."""

    def __init__(self) -> None:
        self.now_us = START_US
        self.board = Board("mqtt://127.0.0.1:1883", START_US)
        self.board.connected()

    def wait(self, seconds: float) -> None:
        self.now_us += round(seconds * SECOND_US)

    def take(self, topic: str, payload: bytes | Message, *, retained: bool = False) -> bool:
        raw = payload if isinstance(payload, bytes) else payload.to_json()
        return self.board.take(topic, raw, self.now_us, retained=retained)

    def pictures(self) -> list[StationPicture]:
        return self.board.pictures(self.now_us)

    def only(self) -> StationPicture:
        (picture,) = self.pictures()
        return picture


class Field:
    """A station's watch, as its messages tell of it. `ahead_s`: how far its clock is ahead of the board's."""

    def __init__(self, hall: Hall, name: str = "field-1", *, exercise: bool = False, ahead_s: float = 0.0) -> None:
        self.hall = hall
        self.topics = Topics(name)
        self.writer = Writer(exercise=exercise, version="0.1.0")
        self.ahead_us = round(ahead_s * SECOND_US)
        self.since_us = self.now_us

    @property
    def now_us(self) -> int:
        return self.hall.now_us + self.ahead_us

    def status(self, state: Any = "watching", *, retained: bool = False) -> bool:
        said = self.writer.status(state, self.since_us, self.now_us)
        return self.hall.take(self.topics.status, said, retained=retained)

    def alert(self, alert: AlertChange | None = None, *, retained: bool = False) -> bool:
        alert = alert or change()
        topic = self.topics.state(alert.aircraft, alert.rule)
        return self.hall.take(topic, self.writer.state(alert, self.now_us), retained=retained)

    def beat(self, picture: StationPicture | None = None) -> None:
        """Tell what is told once a second."""
        picture = picture or view_parts.station(42, alerts=[], elapsed_s=self.elapsed_s)
        for one in picture.aircraft:
            said = self.writer.readings(one.system, one.readings, self.now_us)
            self.hall.take(self.topics.under(one.system, "readings"), said)
        whole = watch_outlook_of(picture, self.writer.head(self.now_us, 3))
        self.hall.take(self.topics.under(None, "outlook"), whole)
        for one in picture.aircraft:
            fast = outlook_of(one, self.writer.head(self.now_us, 3))
            self.hall.take(self.topics.under(one.system, "outlook"), fast)

    @property
    def elapsed_s(self) -> float:
        return (self.now_us - self.since_us) / SECOND_US

    def surroundings(self, one: AircraftPicture | None = None, *, retained: bool = False) -> None:
        one = one or view_parts.aircraft()
        slow = surroundings_of(one, self.writer.head(self.now_us, None))
        self.hall.take(self.topics.surroundings_of(one.system), slow, retained=retained)

    def say(self, words: str) -> None:
        said = self.writer.callout(RoutineCall(START_US, 0, 42, "armed", words, {}), self.now_us)
        self.hall.take(self.topics.under(42, "callout"), said)
