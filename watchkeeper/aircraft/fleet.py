"""Who is heard on which source, and which aircraft a frame belongs to.

An aircraft exists once its autopilot's heartbeat was heard. Only that component's frames set what the aircraft
does; stations, radios, gimbals and companions are heard and never mistaken for it.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Any, Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.fold import HANDLERS, RADIO_MESSAGES, TOUCHES, fold_battery, fold_radio
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.readings import US
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.decode import text, unpack
from watchkeeper.link.framing import Frame
from watchkeeper.link.sequence import SequenceTracker

__all__ = ("TOUCHES", "Fleet", "Peer")

MAX_AIRCRAFT: Final = 64
MAX_PEERS: Final = 512
MAX_MESSAGES: Final = 256
"""Kinds of messages counted for one peer."""
_NOT_AIRCRAFT: Final = frozenset(
    {
        dialect.MAV_TYPE_ANTENNA_TRACKER, dialect.MAV_TYPE_GCS, dialect.MAV_TYPE_ONBOARD_CONTROLLER,
        dialect.MAV_TYPE_GIMBAL, dialect.MAV_TYPE_ADSB, dialect.MAV_TYPE_CAMERA, dialect.MAV_TYPE_CHARGING_STATION,
        dialect.MAV_TYPE_FLARM, dialect.MAV_TYPE_SERVO, dialect.MAV_TYPE_ODID, dialect.MAV_TYPE_BATTERY,
        dialect.MAV_TYPE_LOG, dialect.MAV_TYPE_OSD, dialect.MAV_TYPE_IMU, dialect.MAV_TYPE_GPS,
        dialect.MAV_TYPE_WINCH,
    }
)  # fmt: skip
_INVALID: Final = dialect.MAV_AUTOPILOT_INVALID
_HEARTBEAT: Final = 0
_HIGH_LATENCY: Final = 235
_BATTERY: Final = 147
_PARAMETER: Final = 22
_TWIN_US: Final = 10 * US
"""A copy of a frame over another source counts as one if it comes within this."""


class Peer:
    """One component of one system heard on one source."""

    __slots__ = (
        "aircraft", "autopilot", "component", "counts", "early", "first_us", "last_us", "system", "tracker",
        "vehicle",
    )  # fmt: skip

    def __init__(self, system: int, component: int, now_us: int) -> None:
        self.system = system
        self.component = component
        self.tracker = SequenceTracker()
        self.aircraft: Aircraft | None = None
        """Set when this is the autopilot of an aircraft."""
        self.early: Parameters | None = None
        """Parameters that came before the first heartbeat."""
        self.counts: dict[int, int] = {}
        self.first_us = self.last_us = now_us
        self.vehicle: int | None = None
        self.autopilot: int | None = None


class Fleet:
    """All aircraft, and every component heard."""

    def __init__(self, aircraft_files: Sequence[AircraftFile] = (), sortie: SortieFile | None = None) -> None:
        self._files = list(aircraft_files)
        self._sortie = sortie
        self.aircraft: dict[int, Aircraft] = {}
        self.sources: dict[str, dict[tuple[int, int], Peer]] = {}
        """Peers by source and (system, component)."""
        self._peers: dict[tuple[str, int, int], Peer] = {}
        self._twins: dict[tuple[int, int, int], tuple[int, bytes, str, int]] = {}

    def receive(self, source: str, frame: Frame, now_us: int) -> Sequence[Aircraft]:
        """Fold one frame; return the aircraft whose readings it may have touched."""
        system, component, sequence, message, payload, _, status = frame
        peer = self._peers.get((source, system, component))
        if peer is None:
            if status or len(self._peers) >= MAX_PEERS:
                return ()  # a first frame has to be whole and good
            peer = self._meet(source, system, component, now_us)
        peer.tracker.receive(sequence)
        if status:
            return ()
        counts = peer.counts
        if message in counts:
            counts[message] += 1
        elif len(counts) < MAX_MESSAGES:
            counts[message] = 1
        peer.last_us = now_us
        aircraft = peer.aircraft
        if aircraft is None:
            return self._from_others(source, peer, message, payload, now_us)
        aircraft.link.mark(now_us)
        if len(aircraft.sources) > 1 and self._is_copy(source, frame, now_us):
            return ()
        handler = HANDLERS.get(message)
        if handler is None:
            return ()
        if message == _HEARTBEAT and not _is_autopilot(message, payload):
            return ()  # somebody else under the same ids
        try:
            handler(aircraft, unpack(message, payload), now_us)
        except (ValueError, OverflowError, ArithmeticError, struct.error):
            return ()  # a value no sensor gives; the reading keeps its age
        return (aircraft,)

    def drop(self, system: int) -> None:
        """Forget an aircraft that is gone."""
        aircraft = self.aircraft.pop(system, None)
        for key in [key for key, peer in self._peers.items() if peer.system == system]:
            del self._peers[key]
            self.sources[key[0]].pop((key[1], key[2]), None)
        if aircraft is not None:
            for twin in [twin for twin in self._twins if twin[0] == system]:
                del self._twins[twin]

    def _meet(self, source: str, system: int, component: int, now_us: int) -> Peer:
        peer = Peer(system, component, now_us)
        self._peers[source, system, component] = peer
        self.sources.setdefault(source, {})[system, component] = peer
        aircraft = self.aircraft.get(system)
        if aircraft is not None and aircraft.component == component:
            self._join(source, peer, aircraft)
        return peer

    def _join(self, source: str, peer: Peer, aircraft: Aircraft) -> None:
        peer.aircraft = aircraft
        if peer.early is not None:
            aircraft.parameters.adopt(peer.early, aircraft.autopilot)
            peer.early = None
        aircraft.trackers[source, peer.component] = peer.tracker
        aircraft.sources.add(source)

    def _from_others(
        self, source: str, peer: Peer, message: int, payload: bytes, now_us: int
    ) -> Sequence[Aircraft]:
        """Take a frame of a component that is no aircraft's autopilot (yet)."""
        if message in {_HEARTBEAT, _HIGH_LATENCY}:
            values = unpack(message, payload)
            at = (1, 2) if message == _HEARTBEAT else (9, 10)
            peer.vehicle, peer.autopilot = values[at[0]], values[at[1]]
            if not _is_autopilot(message, payload) or len(self.aircraft) >= MAX_AIRCRAFT:
                return ()
            known = self.aircraft.get(peer.system)
            if known is not None and known.component != peer.component:
                return ()  # a second autopilot under one system id: the first one heard is the aircraft
            if known is None:
                known = Aircraft(peer.system, peer.component, self._files, self._sortie)
                known.autopilot = peer.autopilot or 0
                self.aircraft[peer.system] = known
            self._join(source, peer, known)
            known.link.mark(now_us)
            HANDLERS[message](known, values, now_us)
            return (known,)
        if message == _PARAMETER:
            if peer.early is None:
                peer.early = Parameters()
            value, total, _, name, kind = unpack(message, payload)
            peer.early.take(text(name), value, kind, total, 0)
            return ()
        if message in RADIO_MESSAGES:
            values = unpack(message, payload)
            heard = [aircraft for aircraft in self.aircraft.values() if source in aircraft.sources]
            return [aircraft for aircraft in heard if fold_radio(aircraft, message, values, now_us)]
        owner = self.aircraft.get(peer.system)
        if message == _BATTERY and owner is not None:
            fold_battery(owner, peer.component, unpack(message, payload), now_us)
            return (owner,)
        return ()

    def _is_copy(self, source: str, frame: Frame, now_us: int) -> bool:
        """Whether this frame came over another source already."""
        system, component, sequence, message, payload, _, _ = frame
        key = (system, component, sequence)
        known: tuple[int, bytes, str, int] | None = self._twins.get(key)
        if known is not None:
            same = known[0] == message and known[1].rstrip(b"\0") == payload.rstrip(b"\0")
            if same and known[2] != source and now_us - known[3] < _TWIN_US:
                return True
        self._twins[key] = (message, payload, source, now_us)
        return False


def _is_autopilot(message: int, payload: bytes) -> bool:
    values: tuple[Any, ...] = unpack(message, payload)
    vehicle, autopilot = (values[1], values[2]) if message == _HEARTBEAT else (values[9], values[10])
    return autopilot != _INVALID and vehicle not in _NOT_AIRCRAFT
