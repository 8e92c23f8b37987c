"""The engine: bytes and orders in, decisions out. Synchronous, without input or output, without a clock.

Daemon, replay, drill, rule cases and benchmarks all drive this one engine. It owns a grid of 0.1 s from its
first time; every call first runs the grid up to its time and then works frame by frame, so that it does not
matter how bytes are cut into calls. Engine time is whole microseconds and never runs back: a stamp earlier
than the last begins a new segment at the last engine time.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from watchkeeper.aircraft.autopilots import tables
from watchkeeper.aircraft.describe import describe_sources, heard_line
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.fleet import TOUCHES, Fleet
from watchkeeper.aircraft.ledger import Ledger
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.bysticks import take_press
from watchkeeper.alerts.checks import ACTIONS as PREPARING
from watchkeeper.alerts.desk import Lacks, WatchDesk
from watchkeeper.alerts.events import SIGHTED, Happening, Order
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.alerts.orders import carry_out
from watchkeeper.alerts.ruling import PHASE
from watchkeeper.alerts.sightings import Sightings
from watchkeeper.alerts.teller import Teller
from watchkeeper.errors import BadInputError, Fault, bad_input
from watchkeeper.estimate.learning import JSON
from watchkeeper.estimate.packs.packseen import Flown
from watchkeeper.estimate.resuming import Resuming, record
from watchkeeper.estimate.suite import ASKS, NEEDS
from watchkeeper.link.framing import Framer
from watchkeeper.rules.load import RuleSet, load_packs
from watchkeeper.watched import ESTIMATE_EVERY_US, Watched

GRID_US = 100_000
SWEEP_EVERY = 10
"""Grid steps between sweeps over every rule: one second."""
BLIND_EVERY = 50
"""Grid steps between looks at what the watch cannot see."""
LONGEST_GAP_US = 120_000_000
UNHEARD_AFTER_US = 15_000_000
GONE_AFTER_US = 60_000_000
MAX_SOURCES = 64

Packs: TypeAlias = tuple[tuple[str, str], ...]
"""(name, text) of each rule pack."""


class Engine:
    """Holds everything the watch knows. All times given are seconds since 1970 (any monotonic stamp will do)."""

    def __init__(
        self,
        rules: RuleSet,
        aircraft_files: Sequence[AircraftFile] = (),
        sortie: SortieFile | None = None,
        ledger: Ledger | None = None,
        language: Language = ENGLISH,
    ) -> None:
        """`language` puts callouts into the crew's words; decisions do not depend on it."""
        self._rules = rules
        self._settings = None if sortie is None else sortie.settings
        self._prepared: tuple[Packs, RuleSet] | None = None
        self.rule_faults: tuple[Fault, ...] = ()
        """Why the last order to reload was refused; empty: it was not."""
        self._fleet = Fleet(aircraft_files, sortie, ledger)
        self._teller = Teller(language) if sortie is None else Teller(language, sortie.crew.units)
        self._desk = WatchDesk(self._teller)
        self._sightings = Sightings(self._teller)
        self._framers: dict[str, Framer] = {}
        self._watched: dict[int, Watched] = {}
        self._resuming = Resuming()
        tables()  # read now, not while an aircraft waits
        self._now_us: int | None = None
        self._start_us = 0
        self._grid_us = 0
        self._step = 0
        self._heard_any = False
        self.segments = 1
        """Stretches of recorded time: one more each time a stamp ran back."""

    @property
    def elapsed_s(self) -> float:
        """Engine time since the first frame of any source, seconds."""
        return self._teller.elapsed_us(self._now_us or 0) / 1e6

    def since_first_s(self, engine_us: int) -> float:
        """Return a moment of the engine's own time as seconds since the first frame."""
        return self._teller.elapsed_us(engine_us) / 1e6

    def elapsed_at(self, now_s: float) -> float:
        """Return what `elapsed_s` would be after a call at `now_s`; 0 before the first frame."""
        now_us = max(round(now_s * 1e6) + self._teller.offset_us, self._now_us or 0)
        return self._teller.elapsed_us(now_us) / 1e6

    def stamp_s(self, elapsed_s: float) -> float:
        """Return the caller's time at which engine time is `elapsed_s`, in the present segment.

        ValueError before the first frame, when elapsed time has not begun.
        """
        if self._teller.first_us is None:
            raise ValueError("no frame received yet")
        return (self._teller.first_us + round(elapsed_s * 1e6) - self._teller.offset_us) / 1e6

    @property
    def started(self) -> bool:
        """Whether any source has given a frame yet."""
        return self._teller.first_us is not None

    def receive(self, source: str, data: bytes, now_s: float) -> list[Happening]:
        """Take bytes of one source, none at all where its stream was cut: a torn frame is then not continued.

        Sources beyond MAX_SOURCES are not listened to.
        """
        now_us = self._advance(now_s)
        framer = self._framers.get(source)
        if framer is None:
            if len(self._framers) >= MAX_SOURCES:
                return self._teller.take()
            framer = self._framers[source] = Framer()
        if not data:
            framer.cut()
        receive = self._fleet.receive
        watched, resuming = self._watched, self._resuming.waiting
        for frame in framer.feed(data):
            if self._teller.first_us is None:
                self._teller.first_us = now_us
            for aircraft in receive(source, frame, now_us):
                one = watched.get(aircraft.system)
                if one is None:
                    one = self._begin(aircraft, now_us)
                if aircraft.system in resuming and self._resuming.settle(aircraft, one.suite, one.seen_us, now_us):
                    one.estimated_us = now_us - ESTIMATE_EVERY_US  # worked out anew with what was kept
                message = frame[3]
                since_us = now_us - one.estimated_us
                estimated = (message in NEEDS and since_us >= ESTIMATE_EVERY_US) or (
                    since_us >= 2 * ESTIMATE_EVERY_US and message in ASKS
                )
                written: Sequence[tuple[int, ...]] = ()
                if estimated:
                    one.estimated_us = now_us
                    written = one.suite.run(now_us)
                if aircraft.power_up != one.power_up:
                    one.power_up = aircraft.power_up
                    one.seen_us = now_us
                    one.book.restart()
                one.book.judge_message(message, now_us, written)
                if aircraft.switch.pressed_us is not None:
                    take_press(aircraft, one.book, self._desk, self._sightings, self._teller, now_us)
        return self._teller.take()

    def order(self, order: Order, now_s: float) -> list[Happening]:
        """Carry out what the crew asks, or take a report of a part of the program."""
        now_us = self._advance(now_s)
        if order.action == "report":
            self._desk.report(order, now_us)
        elif order.action == "reload":
            self._reload(order.packs, now_us)
        elif order.action == "resume":
            self._resuming.offer(order.aircraft, order.kept)
        elif order.action == "sighted":
            self._sightings.take(order, self._watched, now_us)
        elif order.rule is not None and order.rule.startswith(SIGHTED):
            self._sightings.order(order, now_us)
        elif order.aircraft is not None:
            one = self._watched.get(order.aircraft)
            if one is None:
                self._teller.refusal(
                    order.action, order.rule, order.aircraft, "no such aircraft", order.role, now_us
                )
            elif order.action in PREPARING:
                one.preparing.take(order, now_us)
            else:
                carry_out(one.book, self._teller, order, now_us)
                self._sightings.acknowledge_all(order, now_us)
        else:
            self._desk.order(order, now_us)
            self._sightings.acknowledge_all(order, now_us)
            if order.rule is None and order.action == "acknowledge":
                for one in self._watched.values():
                    carry_out(one.book, self._teller, order, now_us)
        return self._teller.take()

    def prepare(self, packs: Packs) -> None:
        """Compile packs ahead of an order to reload them; safe beside the engine's work, and changes no decision.

        Raises BadInputError; the order would be refused too.
        """
        self._prepared = packs, load_packs(packs, self._settings)

    def _reload(self, packs: Packs, now_us: int) -> None:
        """Go on with other rules, all or nothing."""
        try:
            if not packs:
                raise bad_input("a reload without packs", "name packs")
            if self._prepared is None or self._prepared[0] != packs:
                self.prepare(packs)
        except BadInputError as error:
            self.rule_faults = error.faults
            self._desk.refused(error.faults, now_us)
            return
        assert self._prepared is not None
        self.rule_faults, self._rules, self._prepared = (), self._prepared[1], None
        for one in self._watched.values():
            one.book.replace(self._rules.rules, self._rules.sterile, now_us)
        self._desk.reloaded(len(self._rules.rules), now_us)

    def tick(self, now_s: float) -> list[Happening]:
        """Let time pass."""
        self._advance(now_s)
        return self._teller.take()

    def next_due_s(self) -> float | None:
        """Return when the next tick is due, in the caller's time; None before the first call."""
        if self._now_us is None:
            return None
        return (self._grid_us - self._teller.offset_us) / 1e6

    def systems(self) -> list[int]:
        """Return the system ids of the aircraft known now."""
        return list(self._watched)

    def aircraft(self, system: int) -> Aircraft:
        """Return one aircraft as the watch knows it. KeyError if it is not known."""
        return self._watched[system].aircraft

    def readings(self, system: int) -> dict[str, float | str | bool | None]:
        """Return every reading of an aircraft by name, None where blind or faulty. KeyError if not known."""
        return self._watched[system].known(self._now_us or 0)

    def alerts(self) -> list[Alert]:
        """Return the listed alerts, most urgent first."""
        found = [*self._desk.alerts(), *self._sightings.alerts()]
        for one in self._watched.values():
            found.extend(one.book.alerts())
        return sorted(found, key=lambda a: (-a.level.urgency, a.raised_us))

    def words_now(self, rule: str, system: int | None) -> str | None:
        """Return the callout of a rule on an aircraft with the readings as they are now, if they can be told."""
        return self._watched[system].book.words_now(rule) if system in self._watched else None

    def watched(self, system: int) -> Watched:
        """Return one aircraft with its estimates and its alerts, to be looked at. KeyError if it is not known."""
        return self._watched[system]

    def blind(self, system: int) -> Lacks:
        """Return what was last told that the watch cannot see of an aircraft."""
        return self._desk.shown_of(system)

    @property
    def rules(self) -> RuleSet:
        """The rules in use."""
        return self._rules

    @property
    def language(self) -> Language:
        """The crew's."""
        return self._teller.language

    def engine_us(self, stamp_us: int) -> int:
        """Return the engine time of a caller's time in the present segment; never before the engine's own."""
        return max(stamp_us + self._teller.offset_us, self._now_us or 0)

    def stamp_us(self, engine_us: int) -> int:
        """Return the caller's time of an engine time, in the present segment."""
        return engine_us - self._teller.offset_us

    def describe_sources(self) -> list[str]:
        """Return in plain words who is heard on each source, at what rates, and what is missing."""
        kept = [f"Aircraft {system}: {remark}." for system, remark in self._resuming.remarks.items()]
        return describe_sources(self._fleet, self._now_us or 0) + kept

    def heard_line(self) -> str:
        """Return in one line who is heard on each source."""
        return heard_line(self._fleet, self._now_us or 0)

    def reasons(self, system: int) -> tuple[str, ...]:
        """Return what speaks against a take-off, in words; empty in the air. KeyError if not known."""
        return self._watched[system].preparing.readiness.reasons

    def contour(self, system: int) -> tuple[float, ...]:
        """Return the reach of an aircraft in m by bearing from home, evenly from north; empty while unknown."""
        return self._watched[system].suite.contour

    def learned(self) -> dict[str, JSON]:
        """Return what is known of every aircraft in flight, as plain values to be kept; changes nothing.

        Each goes back by an order "resume" into an engine begun anew. What still waits there is in it as it was.
        """
        now_us = self._now_us or 0
        kept = self._resuming.records(now_us)
        for system, one in self._watched.items():
            if system not in kept and (known := record(one.aircraft, one.suite, now_us)) is not None:
                kept[system] = known
        return {"aircraft": [*kept.values()]}

    def take_flown(self) -> list[Flown]:
        """Return what flights showed of their labelled packs, once each; asking changes no decision."""
        return [flown for one in self._watched.values() for flown in one.suite.take_flown()]

    def _advance(self, now_s: float) -> int:
        """Run the grid up to `now_s` and return it as engine time."""
        stamp_us = round(now_s * 1e6)
        if self._now_us is None:
            self._now_us = self._start_us = stamp_us
            self._grid_us = stamp_us + GRID_US
            return stamp_us
        now_us = stamp_us + self._teller.offset_us
        if now_us < self._now_us:
            self._teller.offset_us += self._now_us - now_us
            self.segments += 1
            now_us = self._now_us
        elif now_us >= self._grid_us:
            self._run_grid(now_us)
        self._now_us = now_us
        return now_us

    def _run_grid(self, now_us: int) -> None:
        if now_us - self._grid_us > LONGEST_GAP_US:
            self._steps(self._grid_us + LONGEST_GAP_US)
            skipped = (now_us - self._grid_us) // GRID_US
            self._grid_us += skipped * GRID_US
            self._step += skipped
        self._steps(now_us)

    def _steps(self, until_us: int) -> None:
        grid_us = self._grid_us
        while grid_us <= until_us:
            self._now_us = grid_us
            self._step += 1
            sweep = self._step % SWEEP_EVERY == 0
            for one in self._watched.values():
                if sweep:
                    one.suite.silent(grid_us, one.aircraft.link.time_us)
                    one.look_before(self._desk, self._sightings, grid_us)
                    one.book.sweep(grid_us)
                else:
                    one.book.grid(grid_us)
            self._sightings.look(grid_us)
            if sweep:
                self._sweep(grid_us)
            grid_us += GRID_US
            self._grid_us = grid_us

    def _sweep(self, now_us: int) -> None:
        if not self._heard_any and now_us - self._start_us >= UNHEARD_AFTER_US:
            self._desk.unheard(silent=True, now_us=now_us)
        for system, one in [*self._watched.items()]:
            readings = one.aircraft.readings
            grounded = readings.values[PHASE] in ("on_ground", "landed")
            made_room = self._fleet.aircraft.get(system) is not one.aircraft
            if made_room or (grounded and one.silent_us(now_us) > GONE_AFTER_US):
                one.book.end_all(now_us, "aircraft gone")
                if not made_room:
                    self._fleet.drop(system)
                self._desk.forget(system)
                self._sightings.forget(system, now_us)
                del self._watched[system]
                self._teller.several = len(self._watched) > 1
        changing = {(s, r): subject for s, o in self._watched.items() for r, subject in o.book.changing().items()}
        self._desk.changing(changing, now_us)
        off = {system: why for system, one in self._watched.items() if (why := one.sticks_off(now_us))}
        self._desk.sticks(off, now_us)
        self._flood(now_us)
        if self._step % BLIND_EVERY == 0:
            self._desk.blind(self._lacks(now_us), now_us)

    def _flood(self, now_us: int) -> None:
        flooding = self._teller.flood.passed(now_us)
        kept = standing = 0
        if flooding:
            kept = sum(one.book.flooded for one in self._watched.values())
            standing = sum(1 for alert in self.alerts() if alert.stands and not alert.silent)
        self._desk.flood(flooding=flooding, kept=kept, standing=standing, now_us=now_us)

    def _lacks(self, now_us: int) -> Lacks:
        lacks: dict[tuple[int, str], tuple[str, tuple[str, ...]]] = {}
        for one in self._watched.values():
            lacks.update(one.lacks(self._desk, now_us))
        return lacks

    def _begin(self, aircraft: Aircraft, now_us: int) -> Watched:
        book = AlertBook(
            aircraft.system, aircraft.readings, self._rules.rules, TOUCHES, self._teller, self._rules.sterile
        )
        one = self._watched[aircraft.system] = Watched(aircraft, book, self._teller, now_us)
        self._teller.several = len(self._watched) > 1
        if not self._heard_any:
            self._heard_any = True
            self._desk.unheard(silent=False, now_us=now_us)
        return one
