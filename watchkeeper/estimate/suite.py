"""Runs all estimates of one aircraft and writes their readings.

A part that fails writes faults for its readings, is remembered, and harms no other. A part that has nothing new
to say leaves its readings as they are, so that one message is never counted as two samples.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.labels import Labels
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.air.wind import WindEstimate
from watchkeeper.estimate.airframe import parts as airframe
from watchkeeper.estimate.conduct import parts as conduct
from watchkeeper.estimate.home.lostlink import LostLink
from watchkeeper.estimate.home.ownactions import OwnActions
from watchkeeper.estimate.home.ownsettings import OwnSettings, is_multirotor
from watchkeeper.estimate.home.returning import ReturnHome
from watchkeeper.estimate.learning import JSON, Learns, plain
from watchkeeper.estimate.packs import parts as packhealth
from watchkeeper.estimate.packs.battery import BatteryEstimates
from watchkeeper.estimate.packs.packseen import FlightEnd, Flown
from watchkeeper.estimate.packs.packtoday import packs_today
from watchkeeper.estimate.part import Known, Part
from watchkeeper.estimate.position import parts as position
from watchkeeper.estimate.position.satellites import SatelliteDrop
from watchkeeper.estimate.radio import parts as radio
from watchkeeper.estimate.readiness import parts as readiness
from watchkeeper.estimate.surroundings import parts as surroundings
from watchkeeper.estimate.surroundings.below import Falling
from watchkeeper.estimate.surroundings.dusk import TimeToDusk
from watchkeeper.estimate.surroundings.falling import Footprint
from watchkeeper.estimate.traffic import parts as traffic

NEEDS: Final = frozenset(
    {
        1,  # SYS_STATUS
        24,  # GPS_RAW_INT
        30,  # ATTITUDE
        33,  # GLOBAL_POSITION_INT
        109,  # RADIO_STATUS
        147,  # BATTERY_STATUS
        166,  # RADIO
        168,  # WIND
        231,  # WIND_COV
        235,  # HIGH_LATENCY2
    }
)
"""Messages that call for a run."""
ASKS: Final = (
    radio.NEEDS
    | position.NEEDS
    | airframe.NEEDS
    | surroundings.NEEDS
    | traffic.NEEDS
    | readiness.NEEDS
    | conduct.NEEDS
)
"""Messages that call for one only where none of those comes: when packs and motion are looked at must not hang on
what else an aircraft sends."""
MAX_FLOWN: Final = 8
"""Flights that wait to be asked for; in a replay nobody asks."""
PHASE: Final = INDEX["flight.phase"]
ARMED: Final = INDEX["flight.armed"]


class EstimateSuite:
    """All estimates of one aircraft."""

    def __init__(self, aircraft: Aircraft, labels: Labels | None = None) -> None:
        self._aircraft = aircraft
        self._labels = labels if labels is not None else Labels(None, ())
        self._power_up = aircraft.power_up
        self._end = FlightEnd()
        self._flown: deque[Flown] = deque(maxlen=MAX_FLOWN)
        self.failures: dict[str, str] = {}
        """What went wrong in which part, the last time it did."""
        self._parts = self._begin()

    def _begin(self) -> list[Part]:
        """Return all parts, knowing nothing yet. Later ones read what earlier ones write."""
        aircraft = self._aircraft
        readings, file, sortie = aircraft.readings, aircraft.file, aircraft.sortie
        labels = self._labels
        packs = packs_today(file.packs, labels.ledger, labels.fitted) if file is not None and labels.fitted else ()
        batteries = self._batteries = BatteryEstimates(readings, file, packs)
        wind = WindEstimate(readings, aircraft.motion, file, sortie)
        own = OwnSettings(aircraft)
        home = self._home = ReturnHome(
            readings,
            file,
            sortie,
            batteries,
            wind,
            own.plan,
            where=lambda: aircraft.position,
            home=lambda: aircraft.home,
            multirotor=lambda: is_multirotor(aircraft.vehicle, file),
        )
        control = sortie.radio.control if sortie is not None else None
        self._lost = LostLink(
            readings,
            own.settings,
            lambda: home.seen,
            control_too=control == "same",  # where nobody says so, the pilot may well still fly it
            stated=file is not None and "return_" in file.model_fields_set,
        )
        known = Known(aircraft, batteries, wind, own, home)
        return [
            batteries,
            SatelliteDrop(readings),
            wind,
            home,
            OwnActions(readings, own.settings, own.plan, batteries.supplies, home),
            self._lost,
            TimeToDusk(lambda: aircraft.position, lambda now_us: now_us / 1e6),
            *packhealth.parts(known),
            *radio.parts(known),
            *position.parts(known),
            *airframe.parts(known),
            *surroundings.parts(known),
            *traffic.parts(known),
            *readiness.parts(known),
            *conduct.parts(known),
        ]

    def run(self, now_us: int) -> list[tuple[int, ...]]:
        """Run every estimate at `now_us` and write what is new; returns what was written, part by part."""
        aircraft = self._aircraft
        if aircraft.power_up != self._power_up:
            # Its readings are forgotten, and another pack may have been put in: nothing learned holds.
            self._power_up = aircraft.power_up
            if self._end.flew:
                self._book()  # what they showed until then
            self._parts = self._begin()
        put = aircraft.readings.put
        written: list[tuple[int, ...]] = []
        for part in self._parts:
            values: Sequence[float | str | bool | None] | None
            try:
                values = part.run(now_us)
            except Exception as error:  # noqa: BLE001 - whatever it is, the watch must go on
                self.failures[type(part).__name__] = f"{type(error).__name__}: {error}"
                values = [math.nan] * len(part.indexes)
            if values is None:
                continue
            stream = part.stream
            stream.mark(now_us)
            for index, value in zip(part.indexes, values, strict=True):
                put(index, value, stream)
            written.append(part.indexes)

        values = aircraft.readings.values
        if self._end.over(values[PHASE], values[ARMED]):
            self._book()
        self._labels.flown |= self._end.flew
        return written

    def _book(self) -> None:
        try:
            seen = self._batteries.seen()
        except Exception as error:  # noqa: BLE001 - whatever it is, the watch must go on
            self.failures["ledger"] = f"{type(error).__name__}: {error}"
            return
        if seen or self._labels.lost:
            self._flown.append(Flown(seen, self._labels.lost))

    def take_flown(self) -> list[Flown]:
        """Return the flights that are over and were not returned before."""
        flown = [*self._flown]
        self._flown.clear()
        return flown

    @property
    def why(self) -> str:
        """In plain words why nothing can be said of getting home; empty where it can, or is not asked."""
        return self._home.why

    @property
    def contour(self) -> tuple[float, ...]:
        """Reach in m by bearing from home, evenly from north; empty while it is not known."""
        return self._home.contour

    @property
    def required_pct(self) -> float:
        """The usable charge that has to be left after landing, as last reckoned with, %."""
        return self._home.required_pct

    def turn_back_before(self) -> str | None:
        """Return what sets the last moment to turn back: charge, voltage or wind; None where none is near."""
        try:
            return self._home.turn_back_before()
        except Exception as error:  # noqa: BLE001 - whatever it is, the watch must go on
            self.failures["turn_back_before"] = f"{type(error).__name__}: {error}"
            return None

    def footprint(self, now_us: int) -> Footprint | None:
        """Return where it may come down if the motors stop now; None on the ground, and unseen."""
        falling = next((part for part in self._parts if isinstance(part, Falling)), None)
        try:
            return falling.now(now_us) if falling is not None else None
        except Exception as error:  # noqa: BLE001 - whatever it is, the watch must go on
            self.failures["footprint"] = f"{type(error).__name__}: {error}"
            return None

    def silent(self, now_us: int, heard_us: int) -> None:
        """Write what goes on while the aircraft, last heard at `heard_us`, is not heard."""
        part = self._lost
        try:
            values = part.silent(now_us, heard_us)
        except Exception as error:  # noqa: BLE001 - whatever it is, the watch must go on
            self.failures[type(part).__name__] = f"{type(error).__name__}: {error}"
            values = [math.nan] * len(part.indexes)
        if values is None:
            return
        part.stream.mark(now_us)
        for index, value in zip(part.indexes, values, strict=True):
            self._aircraft.readings.put(index, value, part.stream)

    def learned(self) -> dict[str, JSON]:
        """Return what the parts have learned, by the names of their classes; changes nothing."""
        learned: dict[str, JSON] = {}
        for part in self._parts:
            if isinstance(part, Learns):
                name = type(part).__name__
                try:
                    learned[name] = plain(part.learned())
                except Exception as error:  # noqa: BLE001 - it is not kept, and the watch goes on
                    self.failures[name] = f"{type(error).__name__}: {error}"
        return learned

    def resume(self, kept: Mapping[str, JSON]) -> None:
        """Begin anew with what `learned` gave; unknown parts are ignored, one that refuses it knows nothing."""
        before = {type(part): part.stream for part in self._parts}
        refused: set[str] = set()
        self._power_up = self._aircraft.power_up
        self._parts = self._begin()
        while (name := self._taken_up(kept, refused)) is not None:
            refused.add(name)
            self._parts = self._begin()  # it may be half changed, and others hold on to it
        for part in self._parts:
            part.stream = before.get(type(part), part.stream)  # so that samples go on being counted

    def _taken_up(self, kept: Mapping[str, JSON], refused: set[str]) -> str | None:
        """Let all parts that did not refuse take up what is theirs; return the name of the first to refuse."""
        for part in self._parts:
            name = type(part).__name__
            own = kept.get(name)
            if name in refused or not isinstance(own, Mapping) or not isinstance(part, Learns):
                continue
            try:
                part.resume(own)
            except Exception as error:  # noqa: BLE001 - it comes from a file, and the watch must go on
                self.failures[name] = f"{type(error).__name__}: {error}"
                return name
        return None
