"""All stations of a broker: fed with messages, asked for pictures. Does no input or output, owns no clock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import structlog

from watchkeeper.alerts.events import Level
from watchkeeper.edges.clock import utc_text
from watchkeeper.page.board.heard import About, NotUnderstoodError, about, read
from watchkeeper.page.board.need import of_station
from watchkeeper.page.board.station import BoardStation, own_alert
from watchkeeper.picture.models import StationPicture

MAX_STATIONS: Final = 32
MAX_TOLD: Final = 200
"""Kinds of messages not understood that are told in the log; all more are only counted."""
AWAY_US: Final = 2_000_000
"""A broker that is away for no longer is no loss."""
STARTING: Final = "Connecting to the message broker."


class Board:
    """Takes what comes from the broker. Times in UTC microseconds of the board's own clock."""

    def __init__(self, broker: str, now_us: int) -> None:
        """`broker` is the broker's address, for people."""
        self.name = f"board / {broker}"
        """No station can be called so: a station's name holds no slash."""
        self.ignored = 0
        self._stations: dict[str, BoardStation] = {}
        self._began_us = now_us
        self._away_us: int | None = now_us
        self._away = STARTING
        self._grace_us = 0
        """How long the broker may be away before that is a loss; nothing until it was heard once."""
        self._full: set[str] = set()
        self._told: set[tuple[str, str, str]] = set()

    def connected(self) -> None:
        """Take note that the broker is heard."""
        self._away_us, self._away, self._grace_us = None, "", AWAY_US
        for station in self._stations.values():
            station.connected()

    def away(self, why: str, now_us: int) -> None:
        """Take note that the broker is not heard, and why, in words for the crew."""
        if self._away_us is None:
            self._away_us = now_us
        self._away = why

    def take(self, topic: str, payload: bytes, now_us: int, *, retained: bool) -> bool:
        """Take one message. Returns whether everybody is to see it at once. Raises nothing."""
        try:
            said = about(topic)
        except NotUnderstoodError as error:
            return self._ignore("", "", str(error))
        try:
            if not payload:
                known = self._stations.get(said.station)
                return known.emptied(said) if known is not None else False
            found = read(said, payload)
            return self._station(said, now_us).take(said, found, now_us, retained=retained)
        except NotUnderstoodError as error:
            return self._ignore(said.station, said.kind, str(error))

    def reason_against(self, station: str, now_us: int) -> str:
        """Return why a station cannot be asked for anything, or ""."""
        known = self._stations.get(station)
        if known is None or not known.signs.any:
            return "No such station here."
        return known.takes_orders(now_us, self._away)

    def pictures(self, now_us: int) -> list[StationPicture]:
        """Return the pictures of all stations, the one in most need first, after the board's own."""
        self._tidy(now_us)
        gone = self._away_us is not None and now_us - self._away_us >= self._grace_us
        away = self._away if gone else ""
        shown = [one.picture(now_us, away) for one in self._stations.values() if one.signs.any]
        shown.sort(key=of_station)
        return [*self._own(away, now_us, alone=not shown), *shown]

    def _own(self, away: str, now_us: int, *, alone: bool) -> list[StationPicture]:
        """Return the picture of the board itself, if it has anything to say."""
        since, alerts = utc_text(self._away_us or self._began_us), []
        if away:
            words = "No message broker. Nothing here is current."
            alerts.append(own_alert("board-broker", Level.CAUTION, words, away, since))
        elif alone:
            why = "No watch has told anything to this broker."
            alerts.append(own_alert("board-alone", Level.ADVISORY, "No station is heard.", why, since))
        if self._full:
            words = f"Only {MAX_STATIONS} stations are shown here."
            why = f"{len(self._full)} more are heard."
            alerts.append(own_alert("board-full", Level.CAUTION, words, why, since))
        if not alerts:
            return []
        return [
            StationPicture(
                station=self.name,
                exercise=False,
                state="lost" if away else "watching",
                since=since,
                time=utc_text(now_us),
                elapsed_s=max(now_us - self._began_us, 0) / 1e6,
                alerts=alerts,
                aircraft=[],
                said=[],
                hearing={},
            )
        ]

    def _station(self, said: About, now_us: int) -> BoardStation:
        known = self._stations.get(said.station)
        if known is not None:
            return known
        if len(self._stations) >= MAX_STATIONS:
            self._make_room()
        if len(self._stations) >= MAX_STATIONS:
            if len(self._full) < MAX_STATIONS:
                self._full.add(said.station)
            raise NotUnderstoodError(f"more than {MAX_STATIONS} stations")
        self._full.discard(said.station)
        made = self._stations[said.station] = BoardStation(said.station, now_us)
        return made

    def _make_room(self) -> None:
        """Let go of one behind which no watch stands, or was stopped, or whose exercise is lost."""
        wanted: tuple[Callable[[BoardStation], bool], ...] = (
            lambda one: not one.signs.any,
            lambda one: one.signs.state == "stopped",
            lambda one: one.signs.state == "lost" and one.exercise,
        )
        for fits in wanted:
            for name, one in self._stations.items():
                if fits(one):
                    del self._stations[name]
                    return

    def _tidy(self, now_us: int) -> None:
        for name, one in [*self._stations.items()]:
            one.tidy(now_us)
            if one.signs.any and one.signs.over(now_us):
                del self._stations[name]

    def _ignore(self, station: str, kind: str, why: str) -> bool:
        """Count what is not for a board; the first of each kind is told in the log."""
        self.ignored += 1
        key = (station, kind, why)
        if key not in self._told and len(self._told) < MAX_TOLD:
            self._told.add(key)
            structlog.get_logger().warning("message not for the board", station=station, kind=kind, error=why)
        return False
