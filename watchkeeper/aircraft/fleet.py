"""Who is heard on which source, and which aircraft a frame belongs to.

An aircraft exists once its autopilot's heartbeat was heard. Only that component's frames set what the aircraft
does; stations, radios, gimbals and companions are heard and never mistaken for it.
"""

from __future__ import annotations

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
from watchkeeper.link.tables import MESSAGES

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
_FOLDING: Final = {
    number: (handler, MESSAGES[number].struct.unpack, MESSAGES[number].full_length)
    for number, handler in HANDLERS.items()
}
_TWIN_US: Final = 10 * US
"""A copy of a frame over another source counts as one if it comes within this."""


class Peer:
    """One component of one system heard on one source."""

    __slots__ = (
        "aircraft", "autopilot", "component", "counts", "early", "first_us", "last_us", "receive", "system",
        "touched", "tracker", "vehicle",
    )  # fmt: skip

    def __init__(self, system: int, component: int, now_us: int) -> None:
        self.system = system
        self.component = component
        self.tracker = SequenceTracker()
        self.receive = self.tracker.receive
        self.touched: tuple[Aircraft, ...] = ()
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
        self._links: dict[str, dict[int, Peer]] = {}
        """The same by source and system << 8 | component, which is found faster."""
        self._count = 0
        self._twins: dict[tuple[int, int, int], tuple[int, bytes, str, int]] = {}

    def receive(self, source: str, frame: Frame, now_us: int) -> Sequence[Aircraft]:
        """Fold one frame; return the aircraft whose readings it may have touched."""
        # This is run for every frame: no call that can be spared.
        system, component, sequence, message, payload, _, status = frame
        try:
            peer = self._links[source][system << 8 | component]
        except KeyError:
            if status or self._count >= MAX_PEERS:
                return ()  # a first frame has to be whole and good
            peer = self._meet(source, system, component, now_us)
        peer.receive(sequence)
        if status:
            return ()
        try:
            peer.counts[message] += 1
        except KeyError:
            if len(peer.counts) < MAX_MESSAGES:
                peer.counts[message] = 1
        peer.last_us = now_us
        aircraft = peer.aircraft
        if aircraft is None:
            return self._from_others(source, peer, message, payload, now_us)
        aircraft.link.time_us = now_us
        if aircraft.several and self._is_copy(source, frame, now_us):
            return ()
        folding = _FOLDING.get(message)
        if folding is None:
            return ()
        handler, read, length = folding
        size = len(payload)
        if size < length:
            payload += bytes(length - size)
        elif size > length:
            payload = payload[:length]
        if message == _HEARTBEAT and not _is_autopilot(message, payload):
            return ()  # somebody else under the same ids
        try:
            handler(aircraft, read(payload), now_us)
        except (ValueError, OverflowError, ArithmeticError):
            return ()  # a value no sensor gives; the reading keeps its age
        return peer.touched

    def drop(self, system: int) -> None:
        """Forget an aircraft that is gone."""
        aircraft = self.aircraft.pop(system, None)
        for source, peers in self.sources.items():
            for key in [key for key in peers if key[0] == system]:
                del peers[key]
                del self._links[source][key[0] << 8 | key[1]]
                self._count -= 1
        if aircraft is not None:
            for twin in [twin for twin in self._twins if twin[0] == system]:
                del self._twins[twin]

    def _meet(self, source: str, system: int, component: int, now_us: int) -> Peer:
        peer = Peer(system, component, now_us)
        self._links.setdefault(source, {})[system << 8 | component] = peer
        self._count += 1
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
        aircraft.several = len(aircraft.sources) > 1
        peer.touched = (aircraft,)

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
