"""Changes of alerts to the timeline: each from raised to over, who was told, who acknowledged, what was done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from watchkeeper.alerts.events import AlertChange, Change, Happening, Level
from watchkeeper.debrief.findings import Entry, Told, Value

TURN_BACK: Final = frozenset({"return-reserve", "return-now", "home-unreachable"})
"""Rules that ask for a way home, or for a landing, to begin."""
LONGEST_ACT_S: Final = 1800.0
MOST_TOLD: Final = 12
_SILENT: Final = {
    Change.SUPPRESSED: "not spoken: follows from another",
    Change.SHELVED: "shelved",
}


class Delivered(NamedTuple):
    """One line of the deliveries: when decided and delivered (microseconds since 1970), and what became of it."""

    time_us: int
    decided_us: int
    outlet: str
    outcome: str
    detail: str
    aircraft: int | None
    rule: str | None
    change: str | None


Acts = Callable[[int | None, float], tuple[float, str] | None]
"""acts(aircraft, at_s): when after that it next turned back, and what was done."""


@dataclass
class _Open:
    """An alert that is not over yet."""

    raised: AlertChange
    level: Level
    silent: str
    told: list[Told] = field(default_factory=list)
    acknowledged: list[tuple[str, float]] = field(default_factory=list)
    repeats: int = 0
    stale: bool = False
    escalated: str = ""
    over_after_s: float | None = None
    over_reason: str = ""
    words: str = ""
    evidence: Mapping[str, Value] = field(default_factory=dict)


def entries(
    happenings: Iterable[Happening],
    deliveries: Sequence[Delivered],
    utc: Callable[[int], str],
    acts: Acts,
) -> list[Entry]:
    """Return the alerts in the order in which they began, numbered."""
    told: dict[tuple[int, int | None, str | None], list[Delivered]] = defaultdict(list)
    for one in deliveries:
        told[one.decided_us, one.aircraft, one.rule].append(one)
    standing: dict[tuple[int | None, str], _Open] = {}
    found: list[_Open] = []
    for change in happenings:
        if not isinstance(change, AlertChange):
            continue
        key = change.aircraft, change.rule
        alert = standing.get(key)
        if alert is None:
            if change.change not in (Change.RAISED, Change.SUPPRESSED, Change.ESCALATED, Change.UNSUPPRESSED):
                continue  # it began before the recording
            silent = "on trial: recorded, not spoken" if change.trial else _SILENT.get(change.change, "")
            alert = standing[key] = _Open(
                change, change.level, silent, words=change.callout or "", evidence=change.evidence
            )
            found.append(alert)
        else:
            _go_on(alert, change)
        for one in told.get((change.time_us, change.aircraft, change.rule), ()):
            if one.change == change.change.value and len(alert.told) < MOST_TOLD:
                alert.told.append(
                    Told(one.outlet, one.outcome, max(0.0, (one.time_us - alert.raised.time_us) / 1e6), one.detail)
                )
        if change.change is Change.CLEARED:
            del standing[key]
    return [_entry(k, one, utc, acts) for k, one in enumerate(found, 1)]


def _go_on(alert: _Open, change: AlertChange) -> None:
    after_s = (change.elapsed_us - alert.raised.elapsed_us) / 1e6
    match change.change:
        case Change.REPEATED:
            alert.repeats += 1
        case Change.ACKNOWLEDGED:
            alert.acknowledged.append((change.by or "somebody", after_s))
        case Change.CLEARED:
            alert.over_after_s, alert.over_reason = after_s, change.reason
        case Change.STALE:
            alert.stale = True
        case Change.SHELVED:
            alert.silent = f"shelved after {after_s:.0f} s" + (f" by {change.by}" if change.by else "")
        case Change.UNSUPPRESSED | Change.RAISED:
            alert.silent = "" if not alert.silent.startswith("on trial") else alert.silent
            alert.words = change.callout or alert.words
        case Change.ESCALATED:
            alert.escalated = f"became a {change.level.value} after {after_s:.0f} s"
            alert.level = change.level
            alert.words = change.callout or alert.words
        case _:
            pass


def _entry(number: int, one: _Open, utc: Callable[[int], str], acts: Acts) -> Entry:
    raised = one.raised
    at_s = raised.elapsed_us / 1e6
    acted = acts(raised.aircraft, at_s) if raised.rule in TURN_BACK and not one.silent else None
    late = acted is None or acted[0] - at_s > LONGEST_ACT_S
    return Entry(
        number,
        raised.aircraft,
        raised.rule,
        one.level,
        at_s,
        utc(raised.time_us),
        one.words,
        raised.reason,
        dict(one.evidence),
        tuple(one.told),
        tuple(one.acknowledged),
        None if late or acted is None else acted[0] - at_s,
        "" if late or acted is None else acted[1],
        one.over_after_s,
        one.over_reason,
        one.repeats,
        one.silent,
        one.escalated,
        one.stale,
    )


def shortened(found: Sequence[Entry], most: int) -> tuple[list[Entry], int]:
    """Return at most so many, the most urgent kept, in their order; and how many were left out."""
    if len(found) <= most:
        return [*found], 0
    weighty = sorted(found, key=lambda one: (bool(one.silent), -one.level.urgency, one.at_s))[:most]
    kept = {one.number for one in weighty}
    return [one for one in found if one.number in kept], len(found) - most


def renumbered(found: Sequence[Entry]) -> list[Entry]:
    """Return them numbered by what is shown."""
    return [replace(one, number=k) for k, one in enumerate(found, 1)]


def differs(then: Sequence[AlertChange], now: Sequence[AlertChange]) -> str:
    """Return in words how two watches decided differently; empty where they did not."""

    def key(one: AlertChange) -> tuple[object, ...]:
        return one.time_us, one.aircraft, one.rule, one.level, one.change, one.callout

    a, b = [key(one) for one in then], [key(one) for one in now]
    if a == b:
        return ""
    only_then, only_now = _beyond(a, b), _beyond(b, a)
    first = min((*only_then[:1], *only_now[:1]), key=lambda one: str(one[0]), default=None)
    words = (
        f"{len(only_then)} changes of alerts were decided then and not now, {len(only_now)} now and not then"
        if only_then or only_now
        else "the same changes in another order"
    )
    return words if first is None else f"{words}; the first concerns {first[2]}"


def _beyond(a: Sequence[tuple[object, ...]], b: Sequence[tuple[object, ...]]) -> list[tuple[object, ...]]:
    counts: dict[tuple[object, ...], int] = defaultdict(int)
    for one in b:
        counts[one] += 1
    found = []
    for one in a:
        if counts[one]:
            counts[one] -= 1
        else:
            found.append(one)
    return found
