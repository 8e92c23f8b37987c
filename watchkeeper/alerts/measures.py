"""How well a watch keeps its peace: the usual measures of alarm systems, over a list of changes.

Definitions after ANSI/ISA-18.2 (= IEC 62682) and EEMUA 191, with the usual operational numbers: an alert chatters
when it is told three times within 60 s; a flood begins with the tenth alert within ten minutes and is over when
fewer than five are left in the last ten; about one alert in ten minutes is very likely acceptable, two are the
most that can be managed. What counts is what the crew was told: an alert raised, or raised to a higher level, that
was not suppressed, shelved or on trial. An alert kept off the voice alone is counted; it is on the list.

Pure: times are engine microseconds.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from watchkeeper.alerts.events import AlertChange, Change, Level, State

CHATTER_COUNT: Final = 3
CHATTER_US: Final = 60_000_000
FLOOD_BEGINS: Final = 10
FLOOD_ENDS: Final = 5
"""A flood is over when fewer than so many are left in the window."""
WINDOW_US: Final = 600_000_000
FLEETING_US: Final = 5_000_000
"""An alert over again within so long, unacknowledged, came and went by itself ("seconds": common practice)."""

Key = tuple[int | None, str]
"""(aircraft, rule)"""


class Rolling:
    """Times within the last `span_us`, no more of them than `most`."""

    __slots__ = ("_span_us", "_times")

    def __init__(self, span_us: int, most: int | None = None) -> None:
        self._span_us = span_us
        self._times: deque[int] = deque(maxlen=most)

    def add(self, now_us: int) -> int:
        """Take one more; return how many there are now."""
        self._times.append(now_us)
        return self.count(now_us)

    def count(self, now_us: int) -> int:
        """Return how many are left; one exactly `span_us` old no longer counts."""
        while self._times and now_us - self._times[0] >= self._span_us:
            self._times.popleft()
        return len(self._times)


class FloodGauge:
    """Whether alerts come faster than a crew can take them; one gauge for all that one crew hears."""

    __slots__ = ("_rolling", "flooding")

    def __init__(self) -> None:
        self._rolling = Rolling(WINDOW_US)
        self.flooding = False

    def told(self, now_us: int) -> None:
        """Note one alert that was told."""
        if self._rolling.add(now_us) >= FLOOD_BEGINS:
            self.flooding = True

    def passed(self, now_us: int) -> bool:
        """Let time pass; return whether there is a flood."""
        if self.flooding and self._rolling.count(now_us) < FLOOD_ENDS:
            self.flooding = False
        return self.flooding


@dataclass(frozen=True, slots=True)
class Measures:
    """The measures of one watch over one stretch of time."""

    told: int
    """Alerts that the crew was told of."""
    per_window: float
    """On average in ten minutes (less than ten minutes count as ten: a short flight does not make a rate)."""
    most_in_window: int
    """The most within any ten minutes, rolling."""
    flood_us: int
    """Time in flood."""
    chattering: Mapping[Key, int]
    """Alerts that chattered, each with the most times it was told within 60 s."""
    fleeting: int
    """Alerts that came and went within seconds, by themselves."""
    standing: tuple[Key, ...]
    """Alerts that stood for the whole `standing_us` asked about, or longer."""
    split: Mapping[Level, float]
    """Share of each level among those told, 0 to 1; aimed at is 0.80 advisory, 0.15 caution, 0.05 warning."""
    most_frequent: tuple[Key, float] | None
    """The alert told most often, and its share of all."""


def counts(change: AlertChange) -> bool:
    """Whether a change is an alert that the crew was told of."""
    return (
        change.change in (Change.RAISED, Change.ESCALATED)
        and change.state is State.UNACKNOWLEDGED
        and not change.trial
    )


def measure(changes: Iterable[AlertChange], begin_us: int, end_us: int, *, standing_us: int) -> Measures:
    """Return the measures between two engine times (`AlertChange.elapsed_us`) of changes in their order.

    `standing_us` is how long an alert has to stand to be called standing: 24 h where plants are watched; for a
    flight, its whole length.
    """
    listed = [change for change in changes if begin_us <= change.elapsed_us <= end_us]
    told = [change for change in listed if counts(change)]
    span_us = max(end_us - begin_us, WINDOW_US)
    times = Counter((change.aircraft, change.rule) for change in told)
    levels = Counter(change.level for change in told)
    top = times.most_common(1)
    lives = _lives(listed, end_us)
    return Measures(
        told=len(told),
        per_window=len(told) * WINDOW_US / span_us,
        most_in_window=_most(told, WINDOW_US),
        flood_us=_flood_us(told, end_us),
        chattering=_chattering(told),
        fleeting=sum(1 for _, stood_us, by_itself in lives if by_itself and stood_us < FLEETING_US),
        standing=tuple(dict.fromkeys(key for key, stood_us, _ in lives if stood_us >= standing_us)),
        split={level: levels[level] / len(told) for level in Level if levels[level]},
        most_frequent=(top[0][0], top[0][1] / len(told)) if top else None,
    )


def _most(told: Sequence[AlertChange], span_us: int) -> int:
    rolling = Rolling(span_us)
    return max((rolling.add(change.elapsed_us) for change in told), default=0)


def _chattering(told: Sequence[AlertChange]) -> dict[Key, int]:
    apart: dict[Key, list[AlertChange]] = {}
    for change in told:
        if change.change is Change.RAISED:
            apart.setdefault((change.aircraft, change.rule), []).append(change)
    most = {key: _most(one, CHATTER_US) for key, one in apart.items()}
    return {key: count for key, count in most.items() if count >= CHATTER_COUNT}


def _flood_us(told: Sequence[AlertChange], end_us: int) -> int:
    gauge = FloodGauge()
    comes = [(change.elapsed_us, True) for change in told]
    leaves = [(change.elapsed_us + WINDOW_US, False) for change in told]
    total_us = began_us = 0
    for at_us, new in sorted(comes + leaves):  # what leaves at a time leaves before anything comes
        if at_us > end_us:
            break
        before = gauge.flooding
        if new:
            gauge.told(at_us)
        else:
            gauge.passed(at_us)
        if gauge.flooding and not before:
            began_us = at_us
        elif before and not gauge.flooding:
            total_us += at_us - began_us
    return total_us + (end_us - began_us if gauge.flooding else 0)


def _lives(changes: Iterable[AlertChange], end_us: int) -> list[tuple[Key, int, bool]]:
    """Return for each time that an alert stood: whose, how long, and whether it ended with nobody acting on it."""
    since: dict[Key, int] = {}
    acted: set[Key] = set()
    lives: list[tuple[Key, int, bool]] = []
    for change in changes:
        key = change.aircraft, change.rule
        if change.trial:
            continue
        if change.change in (Change.RAISED, Change.SUPPRESSED):
            since.setdefault(key, change.elapsed_us)
        elif change.change is Change.ACKNOWLEDGED:
            acted.add(key)
        elif change.change is Change.CLEARED and key in since:
            lives.append((key, change.elapsed_us - since.pop(key), key not in acted))
            acted.discard(key)
    return lives + [(key, end_us - begun_us, False) for key, begun_us in since.items()]
