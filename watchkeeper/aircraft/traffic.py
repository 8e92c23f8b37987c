"""Others in the air, as receivers tell of them, and which receivers are heard.

Receivers (ADS-B, remote identification of drones) are components of their own or of an aircraft whose autopilot
passes on what they say. The same message may come by several ways; each other in the air is kept once an identity.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Final, TypeAlias

US: Final = 1_000_000
MOST_TRACKS: Final = 256
_ROOM: Final = 192
"""Tracks kept when there is no room: those nearest to the crew's own aircraft."""
FORGET_US: Final = 60 * US
"""A track that is not told of for this long is dropped: at 50 m/s it is 3 km away."""
_PRUNE_EVERY_US: Final = US
_COPY_US: Final = 10 * US
"""The same position by another way within this is a copy."""
_STICK_US: Final = 3 * US
"""While one way brings a track, others are left alone for this long, so that a late one never moves it back."""
_NEWER_US: Final = 2 * US
_MOVING_M_S: Final = 3.0
_MOST_RECEIVERS: Final = 32
BEAT_LOST_US: Final = 10 * US
"""A receiver that sends heartbeats and misses this much of them is silent (MAVLink: gone after 4 to 5 missed)."""
_QUIET_US: Final = 60 * US
"""One without heartbeats shows that it lives by what it tells of alone."""
_GIVEN_UP_US: Final = 600 * US
_MOST_IDENTITIES: Final = 64

Key: TypeAlias = tuple[str, int | bytes]
"""What names a track: ("icao", address), ("mac", id_or_mac), ("icao?", sender) or ("own", system)."""
Sender: TypeAlias = tuple[int, int]
"""System and component."""
Origin: TypeAlias = tuple[str, int, int]
"""Source, system and component that a message came from; the source is "" where an autopilot passed it on."""


@dataclass(frozen=True, slots=True)
class Report:
    """What was told of one at one time. None is unknown; doubts are bounds of 95 %."""

    time_us: int
    """When it was there, by the clock of the watch."""
    latitude_deg: float
    longitude_deg: float
    north_m_s: float | None
    east_m_s: float | None
    climb_m_s: float | None
    pressure_m: float | None
    """Pressure altitude."""
    geometric_m: float | None
    """Height above the WGS 84 ellipsoid."""
    drone: bool
    place_m: float
    speed_m_s: float
    pressure_doubt_m: float
    geometric_doubt_m: float
    stamp_s: float | None = None
    """The sender's own time, s after the full hour."""

    @property
    def moves(self) -> bool:
        """Whether it is so fast that the same place cannot be told twice."""
        return self.north_m_s is not None and math.hypot(self.north_m_s, self.east_m_s or 0.0) > _MOVING_M_S


@dataclass(slots=True)
class Track:
    """One other in the air."""

    key: Key
    report: Report
    origin: Origin
    heard_us: int
    fresh: int = 1
    """How many new positions came."""
    identity: bytes = b""
    """The drone's own identity (BASIC_ID), beside the address of its radio."""
    own_until_us: int = 0
    """Until when it is taken for an aircraft of the crew's: each of those says so as long as it finds it so."""
    recent: deque[tuple[int, tuple[float, ...], Origin]] = field(default_factory=lambda: deque(maxlen=16))


@dataclass(slots=True)
class Whereabouts:
    """An aircraft of the crew's, as others of the fleet may look at it. Heights in m, None unknown."""

    time_us: int
    latitude_deg: float
    longitude_deg: float
    north_m_s: float
    east_m_s: float
    climb_m_s: float
    sea_m: float | None
    pressure_m: float | None
    ellipsoid_m: float | None
    flying: bool


class Traffic:
    """What was last told of each, who tells it, and where the crew's own aircraft are."""

    __slots__ = ("_bar_m", "_beats", "_pruned_us", "_told", "addresses", "fleet", "identities", "tracks")

    def __init__(self) -> None:
        self.tracks: dict[Key, Track] = {}
        self.fleet: dict[int, Whereabouts] = {}
        """By system id; written by the estimates of each."""
        self.addresses: dict[int, int] = {}
        """ICAO addresses that aircraft of the fleet say they send, by system."""
        self.identities: dict[int, bytes] = {}
        """The same of their drone identities."""
        self._told: dict[Sender, int] = {}
        self._beats: dict[Sender, int] = {}
        self._pruned_us = 0
        self._bar_m = math.inf

    def note_receiver(self, origin: Origin, now_us: int, *, beat: bool) -> None:
        """Take a sign of life of a receiver: its heartbeat, or something it told."""
        table = self._beats if beat else self._told
        sender = origin[1:]  # one that is heard over two links is one
        if sender not in table and len(table) >= _MOST_RECEIVERS:
            del table[min(table, key=lambda one: table[one])]  # the one unheard for longest
        table[sender] = now_us

    def watched(self, now_us: int) -> bool | None:
        """Whether traffic is watched: None if no receiver was ever heard, False if one has gone silent.

        Of those with heartbeats each has to be heard, for one that broke is missed. Of the others one that told
        something within a minute is enough: they are silent when nobody flies.
        """
        if not self._told and not self._beats:
            return None
        ages_us = [
            age_us
            for sender, beat_us in self._beats.items()
            if (age_us := now_us - max(beat_us, self._told.get(sender, 0))) < _GIVEN_UP_US
        ]
        if ages_us:
            return max(ages_us) <= BEAT_LOST_US
        return any(now_us - told_us <= _QUIET_US for told_us in self._told.values())

    def name(self, key: Key, identity: bytes) -> None:
        """Take the identity of a drone whose radio is known."""
        track = self.tracks.get(key)
        if track is not None:
            track.identity = identity

    def note_address(self, system: int, address: int) -> None:
        """Take the ICAO address that an aircraft of the fleet sends; 0 and all ones are none."""
        if 0 < address < 0xFFFFFF and (system in self.addresses or len(self.addresses) < _MOST_IDENTITIES):
            self.addresses[system] = address

    def note_identity(self, system: int, identity: bytes) -> None:
        """Take the drone identity that an aircraft of the fleet sends."""
        if any(identity[1:]) and (system in self.identities or len(self.identities) < _MOST_IDENTITIES):
            self.identities[system] = identity

    def claims_own(self, track: Track) -> bool:
        """Whether a track bears an address or identity of the fleet, or was sent by one of it as its own."""
        kind, name = track.key
        if kind == "own":
            return name in self.fleet
        if kind == "icao" and name in self.addresses.values():
            return True
        return bool(track.identity) and track.identity in self.identities.values()

    def take(self, key: Key, report: Report, origin: Origin, now_us: int) -> None:
        """Take a position of another."""
        track = self.tracks.get(key)
        place = _place(report)
        if track is None:
            if len(self.tracks) >= MOST_TRACKS and not self._make_room(report, now_us):
                return
            track = self.tracks[key] = Track(key, report, origin, now_us)
            track.recent.append((now_us, place, origin))
            return
        for time_us, known, by in track.recent:
            if known == place and by != origin and now_us - time_us < _COPY_US:
                track.origin = by  # the way that was first with it is the one to follow
                return
        track.recent.append((now_us, place, origin))
        last = track.report
        live = now_us - track.heard_us < _STICK_US
        if origin != track.origin and live and report.time_us <= last.time_us + _NEWER_US:
            return
        if origin == track.origin and _is_old(report, last):
            return
        track.origin, track.report, track.heard_us = origin, report, now_us
        track.fresh += 1

    def forget_old(self, now_us: int) -> None:
        """Drop what was not told of for long; at most once a second."""
        if now_us - self._pruned_us < _PRUNE_EVERY_US:
            return
        self._pruned_us = now_us
        for key in [key for key, track in self.tracks.items() if now_us - track.heard_us > FORGET_US]:
            del self.tracks[key]
        if len(self.tracks) < _ROOM:
            self._bar_m = math.inf

    def _make_room(self, report: Report, now_us: int) -> bool:
        """Whether there is room for a new track: made at most once a second, by dropping those farthest away."""
        if now_us - self._pruned_us >= _PRUNE_EVERY_US:
            self.forget_old(now_us)
            if len(self.tracks) > _ROOM:
                ranked = sorted((self._away_m(track.report), key) for key, track in self.tracks.items())
                self._bar_m = ranked[_ROOM - 1][0]
                for _, key in ranked[_ROOM:]:
                    del self.tracks[key]
        return len(self.tracks) < MOST_TRACKS and self._away_m(report) <= self._bar_m

    def _away_m(self, report: Report) -> float:
        """Return roughly how far a place is from the nearest aircraft of the fleet; 0 where none is known."""
        nearest_m = math.inf
        for own in self.fleet.values():
            around = abs(report.longitude_deg - own.longitude_deg)
            east = min(around, 360 - around) * math.cos(math.radians(own.latitude_deg))
            nearest_m = min(nearest_m, math.hypot(report.latitude_deg - own.latitude_deg, east) * 111_195)
        return nearest_m if self.fleet else 0.0


def _is_old(report: Report, last: Report) -> bool:
    """Whether a report says nothing new: the sender's time has not moved on, or one that moves has not moved."""
    if (
        report.stamp_s and last.stamp_s
    ):  # a time of 0 is most often a clock that was never set: then the place tells
        on_s = (report.stamp_s - last.stamp_s) % 3600
        return on_s == 0 or on_s > 3570
    return report.moves and _place(report)[:2] == _place(last)[:2]


def _place(report: Report) -> tuple[float, float, float, float]:
    return report.latitude_deg, report.longitude_deg, report.pressure_m or 0.0, report.geometric_m or 0.0
