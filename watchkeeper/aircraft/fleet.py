"""Who is heard on which source, and which aircraft a frame belongs to.

An aircraft exists once its autopilot's heartbeat was heard, and not that alone. Only that component's frames set
what the aircraft does; stations, radios, gimbals and companions are heard and never mistaken for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

# the handlers register themselves as their modules are imported
from watchkeeper.aircraft import (  # noqa: F401
    fold_airframe,
    fold_control,
    fold_crew,
    fold_fence,
    fold_filter,
    fold_motion,
    fold_orders,
    fold_satellites,
    fold_traffic,
    fold_words,
)
from watchkeeper.aircraft.copies import Copies
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.fold_battery import fold_battery
from watchkeeper.aircraft.fold_flight import (
    HEARTBEAT,
    HIGH_LATENCY,
    PLAN_MESSAGES,
    fold_plan,
    is_autopilot,
    plan_target,
)
from watchkeeper.aircraft.fold_radio import RADIO_MESSAGES, margin_db
from watchkeeper.aircraft.fold_words import PARAMETER, PARAMETER_LAYOUT, VERSION
from watchkeeper.aircraft.handlers import FOLDINGS, TOUCHES
from watchkeeper.aircraft.hearings import HEARINGS, Heard
from watchkeeper.aircraft.labels import Labels
from watchkeeper.aircraft.ledger import Ledger
from watchkeeper.aircraft.others import Others
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.peer import Peer
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.decode import text, unpack
from watchkeeper.link.framing import Frame

__all__ = ("TOUCHES", "Fleet", "Peer")

MAX_AIRCRAFT: Final = 64
MAX_PEERS: Final = 512
MAX_EARLY: Final = 8
"""Peers whose parameters are kept before it is known whether they are an aircraft."""
TOGETHER_US: Final = 5_000_000
"""Two heartbeats, or a heartbeat and another message, within this make an aircraft."""
SILENT_US: Final = 30_000_000
"""An aircraft that never sent a position makes room for another when silent for longer."""
_BATTERY: Final = 147


class Fleet:
    """All aircraft, and every component heard."""

    def __init__(
        self,
        aircraft_files: Sequence[AircraftFile] = (),
        sortie: SortieFile | None = None,
        ledger: Ledger | None = None,
    ) -> None:
        self._files = tuple(aircraft_files)
        self._sortie = sortie
        self._labels = Labels(ledger, sortie.fitted) if sortie is not None and sortie.fitted else None
        self._labelled: int | None = None
        """The system that the labels are of: the first heard that an aircraft file fits, for a sortie has one."""
        self.aircraft: dict[int, Aircraft] = {}
        self.others = Others()
        self.sources: dict[str, dict[tuple[int, int], Peer]] = {}
        """Peers by source and (system, component)."""
        self._links: dict[str, dict[int, Peer]] = {}
        """The same by source and system << 8 | component, which is found faster."""
        self.refused: set[int] = set()
        """Systems that were not taken in, as there was no room."""
        self._count = 0
        self._early = 0
        self._copies: dict[int, Copies] = {}

    def receive(self, source: str, frame: Frame, now_us: int) -> Sequence[Aircraft]:
        """Fold one frame; return the aircraft whose readings it may have touched."""
        # This is run for every frame: no call that can be spared.
        system, component, sequence, message, payload, _, status = frame
        try:
            peer = self._links[source][system << 8 | component]
        except KeyError:
            if status or not self._has_room():
                return ()  # a first frame has to be whole and good
            peer = self._meet(source, system, component, now_us)
        peer.receive(sequence)
        if status:
            return ()
        try:
            slot = peer.slots[message]
        except KeyError:
            slot = peer.slot(message)
        slot.count += 1
        peer.last_us = slot.last_us = now_us
        aircraft = peer.aircraft
        if aircraft is None:
            touched = self._from_others(source, peer, frame, now_us)
            aircraft = peer.aircraft
            if aircraft is None:
                return touched
        aircraft.link.time_us = now_us
        read = slot.read
        if aircraft.several and self._copies[system].unwanted(source, frame, aircraft, now_us):
            return ()
        if read is None:
            return ()
        length = slot.length
        if len(payload) != length:
            payload = payload[:length].ljust(length, b"\0")
        try:
            slot.handle(aircraft, read(payload), now_us)  # type: ignore[misc]  # set together with `read`
        except (ValueError, ArithmeticError):
            # a value nobody thought of must not end the watch: the reading keeps its age, and it is told of
            peer.refused += 1
            return ()
        return peer.touched

    def drop(self, system: int) -> None:
        """Forget an aircraft that is gone."""
        self.aircraft.pop(system, None)
        if self._labels is not None and system == self._labelled:
            self._labels.powered_anew()
        self._copies.pop(system, None)
        for source, peers in self.sources.items():
            for key in [key for key in peers if key[0] == system]:
                self._forget(source, peers[key])

    def _has_room(self) -> bool:
        """Make room for a peer: of those that are no aircraft, the one unheard for longest goes."""
        if self._count < MAX_PEERS:
            return True
        others = [
            (peer.last_us, source, peer)
            for source, peers in self.sources.items()
            for peer in peers.values()
            if peer.aircraft is None
        ]
        if not others:
            return False
        _, source, peer = min(others, key=lambda other: other[0])
        self._forget(source, peer)
        return True

    def _forget(self, source: str, peer: Peer) -> None:
        del self.sources[source][peer.system, peer.component]
        del self._links[source][peer.system << 8 | peer.component]
        self._count -= 1
        self._early -= peer.early is not None

    def _meet(self, source: str, system: int, component: int, now_us: int) -> Peer:
        peer = Peer(system, component, now_us)
        self._links.setdefault(source, {})[system << 8 | component] = peer
        self.sources.setdefault(source, {})[system, component] = peer
        self._count += 1
        aircraft = self.aircraft.get(system)
        if aircraft is not None and aircraft.component == component:
            self._join(source, peer, aircraft)
        return peer

    def _join(self, source: str, peer: Peer, aircraft: Aircraft) -> None:
        peer.aircraft = aircraft
        peer.touched = (aircraft,)
        if peer.early is not None:
            aircraft.parameters.adopt(peer.early, aircraft.autopilot)
            peer.early = None
            self._early -= 1
        aircraft.trackers[source, peer.component] = peer.tracker
        aircraft.sources.add(source)
        aircraft.several = len(aircraft.sources) > 1
        self._copies.setdefault(aircraft.system, Copies())

    def _from_others(self, source: str, peer: Peer, frame: Frame, now_us: int) -> Sequence[Aircraft]:
        """Take a frame of a component that is no aircraft's autopilot (yet)."""
        _, _, _, message, payload, _, _ = frame
        if message in RADIO_MESSAGES:
            return self._from_radio(source, frame, now_us)
        if message in FOLDINGS and self._begins(source, peer, message, payload, now_us):
            return ()
        if message in {PARAMETER, VERSION}:
            self._keep_early(peer, message, payload)
        elif message in PLAN_MESSAGES:
            values = unpack(message, payload)
            addressed = self.aircraft.get(plan_target(message, values))
            if addressed is not None:
                fold_plan(addressed, message, values)
        elif message == _BATTERY:
            owner = self.aircraft.get(peer.system)
            if owner is not None and not self._is_copy(source, frame, owner, now_us):
                fold_battery(owner, peer.component, unpack(message, payload), now_us)
                return (owner,)
        elif (hearing := HEARINGS.get(message)) is not None:
            values = unpack(message, payload)
            heard = Heard(
                source, peer.system, peer.component, peer.vehicle, values, now_us, self.aircraft, self.others
            )
            try:
                return hearing(heard)
            except (ValueError, ArithmeticError):
                peer.refused += 1
        return ()

    def _from_radio(self, source: str, frame: Frame, now_us: int) -> Sequence[Aircraft]:
        """Take a radio's report in: it tells of every aircraft heard on its source."""
        message = frame[3]
        values = unpack(message, frame[4])
        told: list[Aircraft] = []
        for aircraft in self.aircraft.values():
            if source not in aircraft.sources or self._is_copy(source, frame, aircraft, now_us):
                continue
            aircraft.control.hear_radio(aircraft.readings, source, now_us)
            if aircraft.several and not self._copies[aircraft.system].is_best(source, margin_db(values), now_us):
                continue
            FOLDINGS[message].handle(aircraft, values, now_us)
            told.append(aircraft)
        return told

    def _is_copy(self, source: str, frame: Frame, aircraft: Aircraft, now_us: int) -> bool:
        return aircraft.several and self._copies[aircraft.system].unwanted(source, frame, aircraft, now_us)

    def _begins(self, source: str, peer: Peer, message: int, payload: bytes, now_us: int) -> bool:
        """Whether a message makes an aircraft of its sender, as which it is folded then.

        One heartbeat alone may be anybody's mistake: a second one is needed, or another message with it. What is
        made for slow links is sent on purpose: two of it are enough, however far apart.
        """
        beat = peer.beat if peer.beat is not None and now_us - peer.beat[0] <= TOGETHER_US else None
        known = peer.system in self.aircraft
        begins = beat is not None
        if message == HEARTBEAT:
            values = unpack(message, payload)
            peer.vehicle, peer.autopilot = values[1:3]
            begins |= known or (peer.other_us is not None and now_us - peer.other_us <= TOGETHER_US)
        else:
            peer.other_us = now_us
        if message == HIGH_LATENCY:
            peer.vehicle, peer.autopilot = unpack(message, payload)[9:11]
            begins |= known or peer.count(HIGH_LATENCY) > 1
        if peer.vehicle is None or peer.autopilot is None or not is_autopilot(peer.vehicle, peer.autopilot):
            return False
        if message == HEARTBEAT:
            peer.beat = now_us, values
        return begins and self._introduced(source, peer, peer.autopilot, beat, now_us)

    def _introduced(
        self, source: str, peer: Peer, autopilot: int, beat: tuple[int, tuple[Any, ...]] | None, now_us: int
    ) -> bool:
        """Let a peer be an aircraft, with the heartbeat that came before; False if it cannot be one."""
        aircraft = self.aircraft.get(peer.system)
        if aircraft is None:
            if len(self.aircraft) >= MAX_AIRCRAFT and not self._evict(now_us):
                self.refused.add(peer.system)
                return False
            self.refused.discard(peer.system)
            aircraft = self._made(peer)
            aircraft.autopilot = autopilot
            self.aircraft[peer.system] = aircraft
            if beat is not None:
                FOLDINGS[HEARTBEAT].handle(aircraft, beat[1], beat[0])
        elif aircraft.component != peer.component:
            return False  # a second autopilot under one system id: the first one heard is the aircraft
        peer.beat = None
        self._join(source, peer, aircraft)
        aircraft.link.mark(now_us)
        return True

    def _made(self, peer: Peer) -> Aircraft:
        fits = any(file.system in (peer.system, None) for file in self._files)
        if self._labelled is None and fits:
            self._labelled = peer.system
        labels = self._labels if self._labelled == peer.system else None
        return Aircraft(peer.system, peer.component, self._files, self._sortie, labels, self.others)

    def _evict(self, now_us: int) -> bool:
        """Make room: of the aircraft long silent that never sent a position, the one silent for longest goes."""
        idle = [
            aircraft
            for aircraft in self.aircraft.values()
            if now_us - aircraft.link.time_us > SILENT_US and not aircraft.placed
        ]
        if not idle:
            return False
        self.drop(min(idle, key=lambda aircraft: aircraft.link.time_us).system)
        return True

    def _keep_early(self, peer: Peer, message: int, payload: bytes) -> None:
        """Keep parameters, and how they are coded, from before the heartbeat that makes an aircraft of a peer."""
        if peer.early is None:
            if self._early >= MAX_EARLY:
                return
            self._early += 1
            peer.early = Parameters()
        if message == VERSION:
            values = unpack(message, payload)
            peer.early.capabilities(values[0], 0, values[2])
            return
        length = PARAMETER_LAYOUT.size
        raw, total, _, name, kind = PARAMETER_LAYOUT.unpack(payload[:length].ljust(length, b"\0"))
        peer.early.take(text(name), raw, kind, total, 0)
