"""Makes the picture of a running watch out of its engine. No clock, no input or output: times are arguments.

What happened is given to `take`, `sample` is called about once a second, and `picture` whenever something is to be
drawn. It changes nothing of the engine.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Literal

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.readings import US
from watchkeeper.alerts.events import AlertChange, Happening, Level, RoutineCall
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.engine import Engine
from watchkeeper.estimate.surroundings.falling import Footprint
from watchkeeper.picture import limits
from watchkeeper.picture.answering import GROUND, Facts, answer, position_lost
from watchkeeper.picture.histories import Histories
from watchkeeper.picture.lists import blind_words, checklist, roles, shown_alert
from watchkeeper.picture.models import (
    AircraftPicture,
    History,
    Said,
    ShownAlert,
    StationPicture,
    Surroundings,
    Value,
)
from watchkeeper.picture.plane import Seen, place, seen_now, surroundings
from watchkeeper.picture.trail import Track
from watchkeeper.picture.values import finite, plain, utc_text
from watchkeeper.rules.load import RuleSet
from watchkeeper.watched import Watched

MOST_SAID: Final = 20
MOST_WORDS: Final = 500
"""Characters of one callout; longer ones are cut."""
EVERY_US: Final = 1 * US
_LATER: Final = 1e9
"""Seconds: sorts behind any countdown."""
_PHASE: Final = INDEX["flight.phase"]
State = Literal["watching", "stopped", "lost"]


class _Kept:
    """What is kept of one aircraft between pictures."""

    __slots__ = ("drawn", "falls", "histories", "home", "one", "seen", "surroundings", "track", "track_m")

    def __init__(self, one: Watched) -> None:
        self.one = one
        self.histories = Histories()
        self.track = Track()
        self.track_m: list[tuple[float, float]] = []
        self.seen: Seen | None = None
        self.falls: Footprint | None = None
        self.drawn: list[History] | None = None
        self.home: tuple[float, float] | None = None
        self.surroundings: Surroundings | None = None


class Painter:
    """Paints one watch. Engine time decides when samples are taken, so that a replay gives the same pictures."""

    def __init__(self, engine: Engine, *, station: str, exercise: bool, sortie: SortieFile | None = None) -> None:
        """Rules and language are those of the engine, as they are at the time of each picture."""
        self._engine = engine
        self._station = station
        self._exercise = exercise
        self._sortie = sortie
        self._said: deque[Said] = deque(maxlen=MOST_SAID)
        self._kept: dict[int, _Kept] = {}
        self._sampled_us: int | None = None
        self._rules: RuleSet | None = None
        self._rule_ids: frozenset[str] = frozenset()
        self._landing_floor_pct: float | None = None
        self._since_us: int | None = None

    def take(self, happenings: Iterable[Happening]) -> None:
        """Keep what was said."""
        for one in happenings:
            if isinstance(one, AlertChange) and one.spoken and one.callout:
                self._keep(one.time_us, one.aircraft, one.level, one.callout)
            elif isinstance(one, RoutineCall):
                self._keep(one.time_us, one.aircraft, Level.ROUTINE, one.callout)

    def _keep(self, time_us: int, aircraft: int | None, level: Level, words: str) -> None:
        self._said.appendleft(
            Said(time=utc_text(time_us), aircraft=aircraft, level=level, words=words[:MOST_WORDS])
        )

    def sample(self, now_us: int) -> None:
        """Take a sample of every aircraft, if a second of engine time has passed since the last."""
        engine = self._engine
        at_us = engine.engine_us(now_us)
        if self._since_us is None:
            self._since_us = now_us
        if self._sampled_us is not None and at_us - self._sampled_us < EVERY_US:
            return
        self._sampled_us = at_us
        self._look_at_rules()
        time_s = engine.since_first_s(at_us) if engine.started else 0.0
        for kept in self._all():
            self._sample(kept, at_us, time_s)

    def _all(self) -> list[_Kept]:
        """Return what is kept of each aircraft that is known now; of others nothing is."""
        found: dict[int, _Kept] = {}
        for system in self._engine.systems():
            one = self._engine.watched(system)
            kept = self._kept.get(system)
            found[system] = kept if kept is not None and kept.one is one else _Kept(one)
        self._kept = found
        return [*found.values()]

    def _sample(self, kept: _Kept, at_us: int, time_s: float) -> None:
        one = kept.one
        self._see(kept, at_us)
        kept.falls = one.suite.footprint(at_us)
        home = one.aircraft.homing.around
        if home is not None:
            kept.track_m = [(round(north, 1), round(east, 1)) for north, east in kept.track.around(home)]
        kept.histories.sample(one, time_s, at_us)
        kept.drawn = None

    def _see(self, kept: _Kept, at_us: int) -> None:
        seen = seen_now(kept.one, at_us)
        if seen is None:
            return
        if kept.seen is None or seen.place != kept.seen.place:
            kept.track.add(seen.place)
        kept.seen = seen

    def _look_at_rules(self) -> None:
        rules = self._engine.rules
        if rules is self._rules:
            return
        self._rules = rules
        self._rule_ids = frozenset(rule.id for rule in rules.rules)
        self._landing_floor_pct = limits.setting(rules.rules, limits.RESERVE[0])
        for kept in self._kept.values():
            kept.drawn = None

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
        if self._sampled_us is None:
            self.sample(now_us)
        self._look_at_rules()
        at_us = engine.engine_us(now_us)
        listed = engine.alerts()
        alerts: dict[int | None, list[ShownAlert]] = {}
        stands: dict[int | None, list[Alert]] = {}
        for alert in listed:
            alerts.setdefault(alert.aircraft, []).append(
                shown_alert(alert, utc_text(engine.stamp_us(alert.raised_us)))
            )
            if alert.stands and not alert.silent:
                stands.setdefault(alert.aircraft, []).append(alert)
        shown = []
        for kept in self._all():
            system = kept.one.aircraft.system
            standing = stands.get(system, [])
            painted = self._aircraft(kept, alerts.get(system, []), standing, at_us)
            shown.append((_need(painted, standing), painted))
        since_us = self._since_us if self._since_us is not None else now_us
        return StationPicture(
            station=self._station,
            exercise=self._exercise,
            state=state,
            since=utc_text(since_us),
            time=utc_text(engine.stamp_us(at_us)),
            elapsed_s=round(engine.since_first_s(at_us), 1) if engine.started else 0.0,
            alerts=alerts.get(None, []),
            aircraft=[one for _, one in sorted(shown, key=lambda pair: pair[0])],
            said=[*self._said],
            hearing=dict(hearing or {}),
        )

    def _aircraft(
        self, kept: _Kept, alerts: list[ShownAlert], standing: Sequence[Alert], at_us: int
    ) -> AircraftPicture:
        one, engine = kept.one, self._engine
        aircraft, language = one.aircraft, engine.language
        readings = plain(one.known(at_us))
        seen = seen_now(one, at_us)
        if seen is not None:
            kept.seen = seen
        facts = Facts(
            readings, frozenset(alert.rule for alert in standing), self._rule_ids, self._landing_floor_pct
        )
        answered = answer(one, facts, language, at_us)
        phase = aircraft.readings.values[_PHASE]
        wind = finite(readings.get("wind.speed"), 1)
        return AircraftPicture(
            system=aircraft.system,
            name=_name(one, language.phrase("aircraft {}", aircraft.system)),
            phase=phase,
            mode=_word(readings.get("flight.mode")),
            armed=_flag(readings.get("flight.armed")),
            heard_s=finite(one.silent_us(at_us) / 1e6, 1),
            answer=answered,
            alerts=alerts,
            blind=blind_words(engine.blind(aircraft.system), language),
            place=place(one, kept.seen, kept.falls, readings, at_us),
            track=kept.track_m,
            reach_m=self._reach(one, readings),
            wind_speed_m_s=wind,
            wind_from_deg=finite(readings.get("wind.from"), 1) if wind is not None else None,
            surroundings=self._surroundings(kept),
            histories=self._histories(kept),
            readings=readings,
            waits=[*engine.reasons(aircraft.system)] if phase is None or phase in GROUND else [],
            checklist=checklist(one.preparing.readiness.checks),
            roles=roles(one.preparing.readiness.checks, language),
        )

    @staticmethod
    def _reach(one: Watched, readings: Mapping[str, Value]) -> list[float]:
        """Return the reach by bearing; none where it is not known now, or from where it is told is not."""
        if "return.reach" not in readings or position_lost(one):
            return []
        contour = [finite(value, 1) for value in one.suite.contour]
        return [value for value in contour if value is not None] if None not in contour else []

    def _surroundings(self, kept: _Kept) -> Surroundings:
        home = kept.one.aircraft.home
        if kept.surroundings is None or kept.home != home:
            sortie = kept.one.aircraft.sortie or self._sortie
            kept.home = home
            kept.surroundings = surroundings(sortie, home, self._engine.language)
        return kept.surroundings

    def _histories(self, kept: _Kept) -> list[History]:
        if kept.drawn is None:
            kept.drawn = kept.histories.drawn(kept.one, self._engine.rules.rules, self._engine.language)
        return kept.drawn


def _need(painted: AircraftPicture, standing: Sequence[Alert]) -> tuple[int, float, int]:
    """Return what sorts aircraft by need: most urgent alert, then least time to turn back, then system."""
    urgency = max((alert.level.urgency for alert in standing), default=-1)
    turn_back_s = painted.answer.turn_back_in_s
    return -urgency, turn_back_s if turn_back_s is not None else _LATER, painted.system


def _name(one: Watched, otherwise: str) -> str:
    file = one.aircraft.file
    return str(file.aircraft) if file is not None and file.aircraft else otherwise


def _word(value: Value) -> str | None:
    return value if isinstance(value, str) else None


def _flag(value: Value) -> bool | None:
    return value if isinstance(value, bool) else None
