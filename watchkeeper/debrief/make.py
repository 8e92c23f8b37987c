"""Puts a debrief together: what was collected while the recording went through, and what stood beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.alerts.events import AlertChange, Refusal, RoutineCall
from watchkeeper.debrief.collect import AircraftLog, Collector
from watchkeeper.debrief.figures import figures
from watchkeeper.debrief.findings import (
    AircraftDebrief,
    Around,
    Debrief,
    DrillScore,
    Entry,
    Expected,
    Flight,
    Said,
    Source,
    Unseen,
)
from watchkeeper.debrief.flights import flights_of
from watchkeeper.debrief.timeline import Delivered, differs, entries, renumbered, shortened
from watchkeeper.debrief.trace import at

MOST_ENTRIES: Final = 250
MOST_SAID: Final = 300
MOST_SILENCES: Final = 8
_NEAR_S: Final = 30.0
_LOOKED_FOR: Final = {
    "return.reserve": "whether it can get home",
    "battery.power": "power of the packs",
    "battery.charge_left": "charge left",
    "battery.cell_voltage": "voltage a cell",
    "position.home_distance": "distance from home",
    "position.height": "height",
    "satellites.used": "satellites",
    "link.margin": "margin of the link",
    "link.loss": "loss of the link",
    "wind.speed": "wind",
}


@dataclass(frozen=True, slots=True)
class Given:
    """What a debrief is made of beside what was collected. `decisions` are those of the watch then, if kept."""

    title: str
    recording: str
    made: str
    exercise: bool
    sortie: SortieFile | None
    lived: bool
    decisions: Sequence[AlertChange]
    deliveries: Sequence[Delivered]
    score: Mapping[str, Any] | None
    files: tuple[str, ...]
    remarks: tuple[str, ...]
    heard: tuple[str, ...]
    ledger: tuple[str, ...]
    lasts_s: float
    others: int = 0


def make(found: Collector, given: Given, utc: Callable[[int], str]) -> Debrief:
    """Return the debrief."""
    replayed = [one for one in found.happenings if isinstance(one, AlertChange)]
    shown = given.decisions if given.lived else replayed
    logs = [*found.aircraft.values()]
    whole = entries(shown, given.deliveries, utc, lambda system, at_s: _turned(found, system, at_s))
    kept, passed_over = shortened(whole, MOST_ENTRIES)
    timeline = renumbered(kept)
    by_system = {log.system: flights_of(log, timeline) for log in logs}
    placed = tuple(_placed(one, by_system) for one in timeline)
    source = Source(
        given.recording,
        found.begins,
        given.lasts_s,
        given.lived,
        differs(given.decisions, replayed) if given.lived else "",
        given.files,
        given.remarks,
        given.heard,
        given.ledger,
    )
    reserve = given.sortie.reserve_pct if given.sortie is not None else None
    return Debrief(
        given.title,
        given.exercise,
        given.made,
        source,
        tuple(_aircraft(log, by_system[log.system], reserve) for log in logs),
        placed,
        tuple(_said(one, utc) for one in found.happenings if isinstance(one, RoutineCall))[:MOST_SAID],
        _around(given.sortie),
        _score(given.score),
        passed_over + found.dropped,
        tuple(_refused(one, utc) for one in found.happenings if isinstance(one, Refusal))[:MOST_SAID],
    )


def _turned(found: Collector, system: int | None, at_s: float) -> tuple[float, str] | None:
    """Return when an aircraft next began to return, or landed, after a call."""
    log = found.aircraft.get(system) if system is not None else None
    if log is None:
        return None
    for flight in log.flights:
        if flight.begins_s <= at_s <= flight.ends_s:
            for turn in flight.turns:
                if turn.at_s >= at_s:
                    return turn.at_s, "turned back"
            return (flight.ends_s, "landed") if flight.landed else None
    return None


def _placed(one: Entry, by_system: Mapping[int, Sequence[Flight]]) -> Entry:
    for flight in by_system.get(one.aircraft, ()) if one.aircraft is not None else ():
        if flight.begins_s <= one.at_s <= flight.ends_s:
            return replace(one, place=at(flight.track, one.at_s, _NEAR_S), flight=flight.number)
    return one


def _aircraft(log: AircraftLog, flights: tuple[Flight, ...], reserve_pct: float | None) -> AircraftDebrief:
    reasons = [flight.why_no_return for flight in flights if flight.why_no_return]
    why = reasons[0] if reasons else "it was not in flight" if not flights else "its readings were not complete"
    unseen = tuple(
        Unseen(_LOOKED_FOR[name], lack.known_s / lack.total_s, lack.longest_s)
        for name, lack in log.lacks.items()
        if lack.total_s
    )
    return AircraftDebrief(
        log.system,
        log.name,
        log.first_s,
        log.last_s,
        flights,
        figures(log, reserve_pct, why),
        unseen,
        tuple(sorted(log.silences, key=lambda one: -one[2])[:MOST_SILENCES]),
        log.passed_over,
    )


def _said(one: RoutineCall, utc: Callable[[int], str]) -> Said:
    return Said(one.elapsed_us / 1e6, utc(one.time_us), one.aircraft, one.callout)


def _refused(one: Refusal, utc: Callable[[int], str]) -> Said:
    words = f"{one.action} {one.rule or ''}: {one.reason}" + (f" (by {one.by})" if one.by else "")
    return Said(one.elapsed_us / 1e6, utc(one.time_us), one.aircraft, words)


def _around(sortie: SortieFile | None) -> Around:
    if sortie is None:
        return Around()
    return Around(
        tuple((one.name, one.at, one.height_m, one.radius_m) for one in sortie.obstacles),
        tuple((one.name, one.at) for one in sortie.landing_places),
        tuple((one.name, one.kind, one.points) for one in sortie.areas),
        tuple(one.at for one in sortie.plan),
    )


def _score(kept: Mapping[str, Any] | None) -> DrillScore | None:
    """Read a kept score; what cannot be read of it is left out."""
    if kept is None:
        return None
    elapsed_s = _float(kept.get("elapsed_s")) or 0.0
    expected = []
    for one in kept.get("expected") or ():
        by_s = _float(one.get("by")) if isinstance(one, dict) else None
        if by_s is not None:
            called_s = _float(one.get("called_s"))
            expected.append(
                Expected(
                    str(one.get("fault", ""))[:200],
                    str(one.get("rule", ""))[:80],
                    by_s,
                    called_s,
                    elapsed_s >= by_s,
                )
            )
    return DrillScore(
        str(kept.get("scenario", ""))[:80],
        tuple(expected[:50]),
        _ending(kept.get("ending")),
        _ending(kept.get("timely")),
    )


def _ending(kept: object) -> str:
    """Return how a drill's flight stood at its end, in words."""
    if not isinstance(kept, dict):
        return ""
    state = "struck the ground" if kept.get("crashed") else "landed" if kept.get("landed") else "still in the air"
    home_m, charge_pct = _float(kept.get("home_m")), _float(kept.get("charge_pct"))
    return state + "".join(
        (
            f", {home_m:.0f} m from home" if home_m is not None else "",
            f", {charge_pct:.0f} % left in the emptier pack" if charge_pct is not None else "",
        )
    )


def _float(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
