"""The last minutes of what decides a flight: charge at home, the worst cell, the link, satellites."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.alerts.events import Level
from watchkeeper.alerts.language import Language
from watchkeeper.picture.answering import position_lost
from watchkeeper.picture.limits import CELLS, LANDING, LOST, MARGINS, SATELLITES, Drawn, lines
from watchkeeper.picture.models import History, Limit
from watchkeeper.picture.trail import Row, Series
from watchkeeper.picture.values import finite
from watchkeeper.rules.schema import Rule
from watchkeeper.watched import Watched


class Kind(NamedTuple):
    """One history: its reading, its lower bound's if there is one, English words, the limits drawn across it."""

    reading: str
    low: str | None
    words: str
    drawn: tuple[Drawn, ...]


RESERVE: Final = Kind("return.reserve", "return.reserve_low", "charge at home", LANDING)
KINDS: Final = (
    RESERVE,
    Kind("battery.cell_voltage", None, "cell voltage", CELLS),
    Kind("link.margin", None, "link margin", MARGINS),
    Kind("link.loss", None, "frames lost", LOST),
    Kind("satellites.used", None, "satellites", SATELLITES),
)
MARGIN, LOSS = KINDS[2], KINDS[3]


class Histories:
    """All histories of one aircraft."""

    __slots__ = ("_series",)

    def __init__(self) -> None:
        self._series = {kind.reading: Series() for kind in KINDS}

    def sample(self, one: Watched, time_s: float, now_us: int) -> None:
        """Take a sample of each; `time_s` is engine time since the first frame."""
        read = one.aircraft.readings.read
        lost = position_lost(one)
        for kind in KINDS:
            value = finite(read(INDEX[kind.reading], now_us))
            low = finite(read(INDEX[kind.low], now_us)) if kind.low is not None else None
            if lost and kind is RESERVE:
                value = low = None  # how far from home it is, is not known
            self._series[kind.reading].add(Row(time_s, value, low))

    def drawn(self, one: Watched, limits: Mapping[str, Sequence[Limit]], language: Language) -> list[History]:
        """Return the histories to be drawn; of a link without a radio's report, what is lost of it.

        `limits` are those of `limits_of`; the reserve that it is reckoned with comes on top.
        """
        shown = [kind for kind in KINDS if kind is not (LOSS if self._has(MARGIN) else MARGIN)]
        return [self._history(kind, one, limits, language) for kind in shown]

    def _has(self, kind: Kind) -> bool:
        return not self._series[kind.reading].empty

    def _history(
        self, kind: Kind, one: Watched, limits: Mapping[str, Sequence[Limit]], language: Language
    ) -> History:
        rows = self._series[kind.reading].rows()
        drawn = [*limits.get(kind.reading, ())]
        if kind is RESERVE:
            floor = Limit(value=one.suite.required_pct, words=language.phrase("reserve"), level=Level.CAUTION)
            drawn.insert(0, floor)
        return History(
            reading=kind.reading,
            words=language.tell(kind.words),
            unit=CATALOGUE[INDEX[kind.reading]].unit_symbol,
            points=[row[:2] for row in rows],
            low=[row[::2] for row in rows] if kind.low is not None else [],
            limits=drawn,
        )


def limits_of(rules: Sequence[Rule], language: Language) -> dict[str, list[Limit]]:
    """Return the limits that rules set to each history, by its reading, in the crew's language."""
    return {
        kind.reading: [
            Limit(value=round(line.value, 3), words=language.tell(line.words), level=line.level)
            for line in lines(rules, kind.drawn)
        ]
        for kind in KINDS
    }
