"""Makes the picture of a running watch out of its engine. No clock, no input or output: times are arguments.

What happened is given to `take`, `sample` is called about once a second, and `picture` whenever something is to be
drawn. It changes nothing of the engine.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Literal, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.alerts.events import AlertChange, Happening, Level, RoutineCall
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.engine import Engine
from watchkeeper.picture.answering import GROUND, Facts, answer, position_lost
from watchkeeper.picture.histories import limits_of
from watchkeeper.picture.kept import Kept
from watchkeeper.picture.limits import LANDING, setting
from watchkeeper.picture.lists import blind_words, checklist, roles, shown_alert
from watchkeeper.picture.models import AircraftPicture, Limit, Said, ShownAlert, StationPicture, Value
from watchkeeper.picture.plane import place
from watchkeeper.picture.values import finite, known, utc_text
from watchkeeper.rules.load import RuleSet
from watchkeeper.watched import Watched

MOST_SAID: Final = 20
MOST_WORDS: Final = 500
"""Characters of one callout; longer ones are cut."""
EVERY_US: Final = 1_000_000
_LATER_S: Final = 1e9
"""Sorts behind any countdown."""
_PHASE: Final = INDEX["flight.phase"]
State = Literal["watching", "stopped", "lost"]


class Held(NamedTuple):
    """What a picture needs of the rules in use: their ids, the landing floor in %, limits by reading."""

    ids: frozenset[str]
    landing_floor_pct: float | None
    limits: Mapping[str, Sequence[Limit]]


class Painter:
    """Paints one watch. Engine time decides when samples are taken, so that a replay gives the same pictures."""

    def __init__(self, engine: Engine, *, station: str, exercise: bool, sortie: SortieFile | None = None) -> None:
        """Rules and language are those of the engine, as they are at the time of each picture."""
        self._engine = engine
        self._station = station
        self._exercise = exercise
        self._sortie = sortie
        self._said: deque[Said] = deque(maxlen=MOST_SAID)
        self._kept: dict[int, Kept] = {}
        self._sampled_us: int | None = None
        self._since_us: int | None = None
        self._loaded: RuleSet | None = None
        self._held = Held(frozenset(), None, {})

    def take(self, happenings: Iterable[Happening]) -> None:
        """Keep what was said."""
        for one in happenings:
            if isinstance(one, AlertChange) and one.spoken and one.callout:
                self._keep(one.time_us, one.aircraft, one.level, one.callout)
            elif isinstance(one, RoutineCall):
                self._keep(one.time_us, one.aircraft, Level.ROUTINE, one.callout)

    def _keep(self, time_us: int, aircraft: int | None, level: Level, words: str) -> None:
        said = Said(time=utc_text(time_us), aircraft=aircraft, level=level, words=words[:MOST_WORDS])
        self._said.appendleft(said)

    def sample(self, now_us: int) -> None:
        """Take a sample of every aircraft, once in each second of engine time; sooner it does nothing."""
        engine = self._engine
        at_us = engine.engine_us(now_us)
        if self._since_us is None:
            self._since_us = now_us
        if self._sampled_us is not None and at_us // EVERY_US == self._sampled_us // EVERY_US:
            return
        self._sampled_us = at_us
        time_s = self._elapsed_s(at_us)
        for kept in self._all():
            kept.sample(time_s, at_us)

    def picture(
        self,
        now_us: int,
        hearing: Mapping[str, bool | None] | None = None,
        *,
        state: State = "watching",
    ) -> StationPicture:
        """Return the picture at `now_us`, microseconds of the caller's time since 1970.

        `hearing` is who hears the watch now, by role; `state` what has become of the watch.
        """
        engine = self._engine
        self.sample(now_us)
        at_us = engine.engine_us(now_us)
        alerts: dict[int | None, list[Alert]] = {}
        for alert in sorted(engine.alerts(), key=lambda one: one.silent):  # shelved and suppressed ones come last
            if not alert.trial:
                alerts.setdefault(alert.aircraft, []).append(alert)
        everybody = self._all()
        held = self._rules()
        found = [
            self._aircraft(kept, alerts.get(kept.one.aircraft.system, ()), held, at_us, _shared(kept, everybody))
            for kept in everybody
        ]
        assert self._since_us is not None
        return StationPicture(
            station=self._station,
            exercise=self._exercise,
            state=state,
            since=utc_text(self._since_us),
            time=utc_text(engine.stamp_us(at_us)),
            elapsed_s=self._elapsed_s(at_us),
            alerts=[self._alert(alert) for alert in alerts.get(None, ())],
            aircraft=[painted for _, painted in sorted(found, key=lambda pair: pair[0])],
            said=[*self._said],
            hearing=dict(hearing or {}),
        )

    def _elapsed_s(self, at_us: int) -> float:
        return round(self._engine.since_first_s(at_us), 1)

    def _all(self) -> list[Kept]:
        """Return what is kept of each aircraft that is known now; of others nothing is."""
        found: dict[int, Kept] = {}
        for system in self._engine.systems():
            one = self._engine.watched(system)
            kept = self._kept.get(system)
            found[system] = kept if kept is not None and kept.one is one else Kept(one)
        self._kept = found
        return [*found.values()]

    def _rules(self) -> Held:
        """Return what the rules in use say that a picture needs; they may be loaded anew in flight."""
        loaded = self._engine.rules
        if loaded is not self._loaded:
            self._loaded = loaded
            limits = limits_of(loaded.rules, self._engine.language)
            self._held = Held(frozenset(loaded.by_id), setting(loaded.rules, LANDING[0]), limits)
            for kept in self._kept.values():
                kept.drawn = None
        return self._held

    def _alert(self, alert: Alert) -> ShownAlert:
        return shown_alert(alert, utc_text(self._engine.stamp_us(alert.raised_us)))

    def _aircraft(
        self, kept: Kept, alerts: Sequence[Alert], held: Held, at_us: int, shared: bool
    ) -> tuple[tuple[int, float, int], AircraftPicture]:
        """Return one aircraft, and what sorts it by need."""
        one, engine, language = kept.one, self._engine, self._engine.language
        aircraft = one.aircraft
        readings = known(aircraft.readings, at_us)
        kept.look(at_us)
        told = [alert for alert in alerts if alert.stands and not alert.silent]
        facts = Facts(readings, frozenset(alert.rule for alert in told), held.ids, held.landing_floor_pct)
        phase = aircraft.readings.values[_PHASE]
        wind_m_s = finite(readings.get("wind.speed"), 1)
        checks = one.preparing.readiness.checks
        painted = AircraftPicture(
            system=aircraft.system,
            name=_name(one, language.phrase("aircraft {}", aircraft.system), shared=shared),
            phase=phase,
            mode=_word(readings.get("flight.mode")),
            armed=_flag(readings.get("flight.armed")),
            heard_s=finite(one.silent_us(at_us) / 1e6, 1),
            answer=answer(one, facts, language, at_us),
            alerts=[self._alert(alert) for alert in alerts],
            blind=blind_words(engine.blind(aircraft.system), language),
            place=place(one, kept.seen, kept.falls, readings, at_us),
            track=kept.track_m,
            reach_m=_reach(one, readings),
            wind_speed_m_s=wind_m_s,
            wind_from_deg=finite(readings.get("wind.from"), 1) if wind_m_s is not None else None,
            surroundings=kept.around(aircraft.sortie or self._sortie, language),
            histories=kept.histories_drawn(held.limits, language),
            readings=readings,
            waits=[*engine.reasons(aircraft.system)] if phase is None or phase in GROUND else [],
            checklist=checklist(checks),
            roles=roles(checks, language),
        )
        urgency = max((alert.level.urgency for alert in told), default=-1)
        turn_back_s = painted.answer.turn_back_in_s
        return (-urgency, turn_back_s if turn_back_s is not None else _LATER_S, aircraft.system), painted


def _reach(one: Watched, readings: Mapping[str, Value]) -> list[float]:
    """Return the reach by bearing; none where it is not known now, or where the position is not."""
    if "return.reach" not in readings or position_lost(one):
        return []
    contour = [finite(value, 1) for value in one.suite.contour]
    known_m = [value for value in contour if value is not None]
    return known_m if len(known_m) == len(contour) else []


def _shared(kept: Kept, everybody: Sequence[Kept]) -> bool:
    """Whether the aircraft file is that of another too."""
    file = kept.one.aircraft.file
    return sum(other.one.aircraft.file is file for other in everybody) > 1


def _name(one: Watched, number: str, *, shared: bool) -> str:
    file = one.aircraft.file
    if file is None or not file.aircraft:
        return number
    return f"{file.aircraft}, {number}" if shared else str(file.aircraft)


def _word(value: Value) -> str | None:
    return value if isinstance(value, str) else None


def _flag(value: Value) -> bool | None:
    return value if isinstance(value, bool) else None
