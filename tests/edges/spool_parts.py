"""What the tests of kept messages share: messages as the watch makes them, spools that are closed in the end."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from tests.edges.mqtt_parts import START_US, change
from watchkeeper.alerts.events import State
from watchkeeper.edges.messages.payloads import Writer
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.edges.mqtt.outbox import Waiting
from watchkeeper.edges.mqtt.spool import Spool
from watchkeeper.edges.mqtt.spool_file import spool_file
from watchkeeper.edges.mqtt.spool_lines import Kept, head_line, read_lines

STATION = "field-1"
TOPICS = Topics(STATION)
WRITER = Writer(exercise=True, version="0")


def event(rule: str = "link-lost", state: State = State.UNACKNOWLEDGED) -> Waiting:
    item = change(state, rule=rule)
    return Waiting(
        TOPICS.under(42, "event"), WRITER.event(item, START_US).to_json(), item.level.urgency, item=item,
        alert=TOPICS.state(42, rule), stands=state is not State.NORMAL,
    )  # fmt: skip


def read(data: bytes, now_us: int = START_US) -> Kept:
    return read_lines(data, TOPICS, STATION, exercise=True, now_us=now_us)


HEAD = head_line(STATION, exercise=True)


class Desk:
    """Makes spools, hears their reports, and closes them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = spool_file(folder, STATION, exercise=True)
        self.reports: list[tuple[bool, str]] = []
        self._news = threading.Condition()
        self._spools: list[Spool] = []

    def open(self) -> Spool:
        spool = Spool(self.folder, STATION, exercise=True, report=self._reported, now_us=START_US)
        self._spools.append(spool)
        return spool

    def _reported(self, part: str, ok: bool, text: str) -> None:
        assert part == "outbox"
        with self._news:
            self.reports.append((ok, text))
            self._news.notify_all()

    def until(self, wanted: Callable[[], bool]) -> None:
        with self._news:
            assert self._news.wait_for(wanted, 20)

    def left(self) -> list[bytes]:
        return [one.payload for one in read(self.path.read_bytes()).waiting]

    def close(self) -> None:
        for spool in self._spools:
            spool.close(5)


def left_in(folder: Path) -> list[bytes]:
    """Return the payloads that wait in the one file of a folder."""
    (path,) = folder.glob("outbox-*.jsonl")
    return [one.payload for one in read(path.read_bytes()).waiting]
