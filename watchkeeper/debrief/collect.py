"""Looks at the engine while a recording goes through it, and keeps what a debrief is made of, in bounded memory.

`saw` is called after everything the engine was given, and looks at few things only; `row` at every whole second.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.geodesy import distance_bearing
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.alerts.events import AlertChange, Change, Happening, Refusal, RoutineCall
from watchkeeper.debrief.findings import Forecast
from watchkeeper.debrief.flightlog import MOST_TURNS, FlightLog
from watchkeeper.debrief.thresholds import own_thresholds
from watchkeeper.debrief.timeline import TURN_BACK
from watchkeeper.debrief.trace import Trace
from watchkeeper.engine import Engine
from watchkeeper.estimate.home.ownsettings import OwnSettings
from watchkeeper.estimate.packs.packseen import FlightEnd

MOST_AIRCRAFT: Final = 8
MOST_FLIGHTS: Final = 24
MOST_HAPPENINGS: Final = 20_000
MOST_SILENCES: Final = 200
SILENT_S: Final = 3.0
TRACED: Final = (
    "return.reserve", "return.reserve_low", "battery.charge_left", "battery.gauge_left", "battery.cell_voltage",
    "battery.rest_cell_voltage", "battery.resistance", "battery.voltage", "link.margin", "link.loss",
    "satellites.used", "satellites.hdop", "wind.speed", "wind.gust", "position.height", "position.home_distance",
)  # fmt: skip
LOOKED_FOR: Final = (
    "return.reserve", "battery.power", "battery.charge_left", "battery.cell_voltage", "position.home_distance",
    "position.height", "satellites.used", "link.margin", "link.loss", "wind.speed",
)  # fmt: skip
_PHASE, _ARMED = INDEX["flight.phase"], INDEX["flight.armed"]
_POWER, _CELL, _VOLT = INDEX["battery.power"], INDEX["battery.cell_voltage"], INDEX["battery.voltage"]
_HEIGHT = INDEX["position.height"]
_ON_GROUND_M: Final = 2.0
"""Disarmed lower than this it has landed, as well as height can tell (common practice)."""
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
Readings = dict[str, float | str | bool | None]


class Lack:
    """For how long one reading was known in flight."""

    __slots__ = ("known_s", "longest_s", "lost_s", "total_s")

    def __init__(self) -> None:
        self.total_s = self.known_s = self.longest_s = self.lost_s = 0.0

    def look(self, *, known: bool) -> None:
        """Take one second."""
        self.total_s += 1.0
        if known:
            self.known_s += 1.0
            self.lost_s = 0.0
        else:
            self.lost_s += 1.0
            self.longest_s = max(self.longest_s, self.lost_s)


class AircraftLog:
    """What is kept of one aircraft."""

    def __init__(self, system: int, at_s: float) -> None:
        self.system = system
        self.name = ""
        self.first_s = self.last_s = at_s
        self.traces = {name: Trace() for name in TRACED}
        self.used = Trace()
        self.needed = Trace()
        """Energy of a flight if it turned back then."""
        self.flights: list[FlightLog] = []
        self.passed_over = 0
        self.lacks = {name: Lack() for name in LOOKED_FOR}
        self.silences: list[tuple[float, str, float]] = []
        self.settings_seen = False
        self._now: FlightLog | None = None
        self._end = FlightEnd()
        self._counts: dict[int, int] = {}
        self._place: tuple[float, float] | None = None
        self._own: tuple[Aircraft, OwnSettings] | None = None
        self._phase: object = None
        self._was_down = False
        self._silent: tuple[float, str] | None = None

    # -- after everything the engine was given

    def saw(self, aircraft: Aircraft, at_s: float, clock: Callable[[], str], engine: Engine) -> None:
        """Look at what may have changed."""
        values = aircraft.readings.values
        phase, armed = values[_PHASE], values[_ARMED]
        if phase is not self._phase or self._now is not None:
            self._follow(phase, armed, aircraft, at_s, clock, engine)
        told = _VOLT if aircraft.readings.streams[_POWER] is None else _POWER
        if self._is_new(told, aircraft):
            self._batteries(aircraft, at_s, clock, engine)
        if aircraft.position is not self._place:
            self._place = aircraft.position
            if self._now is not None and self._place is not None:
                self._now.moved(self._place)

    def _is_new(self, index: int, aircraft: Aircraft) -> bool:
        stream = aircraft.readings.streams[index]
        if stream is None or stream.count == self._counts.get(index):
            return False
        self._counts[index] = stream.count
        return True

    def _follow(
        self,
        phase: object,
        armed: object,
        aircraft: Aircraft,
        at_s: float,
        clock: Callable[[], str],
        engine: Engine,
    ) -> None:
        """Follow the phases: begin and end flights, and note when it turns back."""
        values = aircraft.readings.values
        over = self._end.over(phase, armed)
        if self._now is None and self._end.flew:
            flight = FlightLog(at_s, clock(), cut_in=not self._was_down, home=aircraft.home)
            if len(self.flights) < MOST_FLIGHTS:
                self.flights.append(flight)
            else:
                self.passed_over += 1
            self._now = flight
        if self._now is not None:
            if phase == "returning" and self._phase != "returning" and len(self._now.turns) < MOST_TURNS:
                self._now.turns.append(self.forecast(engine, at_s, clock()))
            if over:
                height = _number(values[_HEIGHT])
                low = height is not None and height < _ON_GROUND_M
                self._land(aircraft, at_s, clock(), landed=low or phase in ("landed", "on_ground"))
        self._phase = phase
        if phase in ("on_ground", "armed", "landed"):
            self._was_down = True

    def _land(self, aircraft: Aircraft, at_s: float, clock: str, *, landed: bool) -> None:
        flight, self._now = self._now, None
        assert flight is not None
        self._close(flight, aircraft, at_s, clock)
        flight.landed, flight.disarmed = landed, not landed

    def _close(self, flight: FlightLog, aircraft: Aircraft, at_s: float, clock: str) -> None:
        flight.ends_s, flight.ends = at_s, clock
        flight.home = aircraft.home or flight.home
        if aircraft.position is not None:
            flight.track.end(at_s, aircraft.position, None)
            if aircraft.home is not None:
                flight.from_home_m, _ = distance_bearing(*aircraft.home, *aircraft.position)

    def _batteries(self, aircraft: Aircraft, at_s: float, clock: Callable[[], str], engine: Engine) -> None:
        values, flight = aircraft.readings.values, self._now
        cell = values[_CELL]
        for index, name in ((_CELL, "battery.cell_voltage"), (_VOLT, "battery.voltage")):
            if _is_number(values[index]):
                self.traces[name].put(at_s, values[index])
        if flight is None:
            return
        power = values[_POWER]
        flight.powered(power if _is_number(power) else None, at_s)
        if _is_number(cell):
            flight.lowest_cell_v = cell if flight.lowest_cell_v is None else min(flight.lowest_cell_v, cell)
        self._thresholds(flight, values, at_s, lambda: self.forecast(engine, at_s, clock()))

    def _thresholds(self, flight: FlightLog, values: list[Any], at_s: float, then: Callable[[], Forecast]) -> None:
        if self._phase not in _IN_FLIGHT:
            return
        for one in flight.watchers.values():
            one.look(_quantity(one.threshold.quantity, values, self._own), at_s, then)

    def forecast(self, engine: Engine, at_s: float, clock: str) -> Forecast:
        """Return what the way home takes from now on, as the watch estimates it now."""
        now = engine.readings(self.system)
        used = self._now.used_wh if self._now is not None else 0.0
        return Forecast(
            at_s,
            clock,
            _number(now["position.home_distance"]),
            _number(now["return.energy"]),
            _number(now["return.time"]),
            _number(now["return.reserve"]),
            _number(now["return.reserve_low"]),
            used,
            _number(now["battery.charge_left"]),
            _number(now["battery.cell_voltage"]),
        )

    def called(self, engine: Engine, at_s: float, clock: str) -> None:
        """Note what the way home takes at the first call about it."""
        if self._now is not None and self._now.call is None:
            self._now.call = self.forecast(engine, at_s, clock)

    # -- at every whole second

    def row(self, engine: Engine, aircraft: Aircraft, at_s: float, clock: Callable[[], str]) -> None:
        """Keep a second."""
        now = engine.readings(self.system)
        self.last_s = at_s
        if aircraft.file is not None and aircraft.file.aircraft:
            self.name = aircraft.file.aircraft
        for name, trace in self.traces.items():
            trace.put(at_s, _number(now[name]))
        flight = self._now
        if flight is None:
            self.used.put(at_s, None)
            self.needed.put(at_s, None)
            self._silent = None
            return
        needs = _number(now["return.energy"])
        self.used.put(at_s, flight.used_wh if flight.measured else None)
        self.needed.put(at_s, flight.used_wh + needs if needs is not None and flight.measured else None)
        if self._own is None or self._own[0] is not aircraft:
            self._own = aircraft, OwnSettings(aircraft)
        settings = self._own[1].settings()
        self.settings_seen |= settings is not None
        flight.stages(tuple(own_thresholds(settings)))
        self._note(flight, now, aircraft, at_s)
        self._missed(now, at_s, clock)
        far = _number(now["position.home_distance"])
        if far is not None and (flight.farthest_m is None or far > flight.farthest_m):
            flight.farthest_m = far
            if flight.farthest is None or at_s - flight.farthest.at_s >= 5.0 or far < 100.0:
                flight.farthest = self.forecast(engine, at_s, clock())
        why = engine.watched(self.system).suite.why
        if not why and needs is not None:
            flight.returned = True
        flight.why = why or flight.why

    def _note(self, flight: FlightLog, now: Readings, aircraft: Aircraft, at_s: float) -> None:
        height = _number(now["position.height"])
        if height is not None:
            flight.highest_m = height if flight.highest_m is None else max(flight.highest_m, height)
        if aircraft.position is not None and (_number(now["link.age"]) or 0.0) < SILENT_S:
            flight.track.put(at_s, aircraft.position, height)
        flight.home = aircraft.home or flight.home
        speed, from_deg = _number(now["wind.speed"]), _number(now["wind.from"])
        if speed is not None and from_deg is not None:
            angle = math.radians(from_deg + 180.0)
            flight.blew(speed * math.cos(angle), speed * math.sin(angle))
        gust = _number(now["wind.gust"])
        if gust is not None:
            flight.gust_m_s = gust if flight.gust_m_s is None else max(flight.gust_m_s, gust)
        ah = _number(now["battery.consumed"])
        if ah is not None:
            flight.ah_begin = ah if flight.ah_begin is None else flight.ah_begin
            flight.ah_end = ah
        for name in ("left_pct", "left_gauge_pct", "left_cell_v"):
            value = _number(now[_LEFT[name]])
            if value is not None:
                setattr(flight, name, value)

    def _missed(self, now: Readings, at_s: float, clock: Callable[[], str]) -> None:
        for name, lack in self.lacks.items():
            lack.look(known=now[name] is not None)
        age = _number(now["link.age"])
        silent = age is None or age > SILENT_S
        if silent and self._silent is None:
            self._silent = at_s - (age or 0.0), clock()
        elif not silent and self._silent is not None:
            self._end_silence(at_s)
        if not silent and self._now is not None:
            self._now.ends_s, self._now.ends = at_s, clock()

    def _end_silence(self, at_s: float) -> None:
        assert self._silent is not None
        begun_s, clock = self._silent
        self._silent = None
        if len(self.silences) < MOST_SILENCES:
            self.silences.append((begun_s, clock, at_s - begun_s))

    def finish(self, aircraft: Aircraft, at_s: float, clock: Callable[[], str]) -> None:
        """Take it that the recording has ended."""
        if self._silent is not None:
            self._end_silence(at_s)
        flight, self._now = self._now, None
        if flight is not None:
            heard_s, heard = (flight.ends_s, flight.ends) if flight.ends else (at_s, clock())
            self._close(flight, aircraft, heard_s, heard)


_LEFT: Final = {
    "left_pct": "battery.charge_left",
    "left_gauge_pct": "battery.gauge_left",
    "left_cell_v": "battery.rest_cell_voltage",
}


def _is_number(value: object) -> bool:
    return isinstance(value, float | int) and not isinstance(value, bool) and math.isfinite(value)


def _number(value: object) -> float | None:
    return float(value) if _is_number(value) else None  # type: ignore[arg-type]


def _quantity(quantity: str, values: list[Any], own: tuple[Aircraft, OwnSettings] | None) -> float | None:
    def get(name: str) -> float | None:
        return _number(values[INDEX[name]])

    match quantity:
        case "gauge":
            return get("battery.gauge_left")
        case "cell_voltage":
            return get("battery.cell_voltage")
        case "voltage":
            return get("battery.voltage")
        case "compensated_voltage":
            volt, current = get("battery.voltage"), get("battery.current")
            settings = own[1].settings() if own is not None else None
            told = settings.pack_resistance_ohm.number if settings is not None else None
            ohm = told if told is not None else get("battery.resistance")
            packs = own[0].file.packs if own is not None and own[0].file is not None else None
            count = packs.count if packs is not None and packs.topology == "parallel" else 1
            if volt is None or current is None or ohm is None:
                return None
            return volt + ohm * current / count
        case "charge_used":
            used = get("battery.consumed")
            return None if used is None else used * 1000.0
        case _:  # charge left: by the aircraft's own capacity
            settings = own[1].settings() if own is not None else None
            holds = settings.pack_capacity_mah.number if settings is not None else None
            used = get("battery.consumed")
            return None if used is None or holds is None else holds - used * 1000.0


class Collector:
    """Keeps what a debrief needs of all aircraft, and what the engine said."""

    def __init__(self, utc: Callable[[int], str]) -> None:
        """`utc` writes microseconds since 1970 as UTC text."""
        self._utc = utc
        self.aircraft: dict[int, AircraftLog] = {}
        self.passed_over: set[int] = set()
        self.happenings: list[Happening] = []
        self.dropped = 0
        self.begins = ""
        self._lives: dict[int, Aircraft] = {}

    def took(self, happenings: Sequence[Happening], engine: Engine, time_us: int) -> None:
        """Keep what happened."""
        for one in happenings:
            if isinstance(one, AlertChange) and one.rule in TURN_BACK and one.change is Change.RAISED:
                log = self.aircraft.get(one.aircraft) if one.aircraft is not None else None
                if log is not None:
                    log.called(engine, engine.elapsed_s, self._utc(time_us))
            if not isinstance(one, AlertChange | RoutineCall | Refusal):
                continue
            if len(self.happenings) < MOST_HAPPENINGS:
                self.happenings.append(one)
            else:
                self.dropped += 1

    def saw(self, engine: Engine, time_us: int) -> None:
        """Look at the engine after it was given something stamped `time_us`."""
        at_s = engine.elapsed_s
        for system in engine.systems():
            log = self.aircraft.get(system)
            if log is None:
                if len(self.aircraft) >= MOST_AIRCRAFT:
                    self.passed_over.add(system)
                    continue
                log = self.aircraft[system] = AircraftLog(system, at_s)
            aircraft = self._lives[system] = engine.aircraft(system)
            log.saw(aircraft, at_s, lambda: self._utc(time_us), engine)

    def row(self, engine: Engine, elapsed_s: float) -> None:
        """Keep a whole second."""
        time_us = round(engine.stamp_s(elapsed_s) * 1e6)
        if not self.begins:
            self.begins = self._utc(time_us)
        for system in engine.systems():
            log = self.aircraft.get(system)
            if log is not None:
                log.row(engine, engine.aircraft(system), elapsed_s, lambda: self._utc(time_us))

    def finish(self, engine: Engine, time_us: int) -> None:
        """Take it that the recording has ended at this stamp."""
        for system, log in self.aircraft.items():
            log.finish(self._lives[system], engine.elapsed_s, lambda: self._utc(time_us))
