"""The last minutes of what decides a flight: charge at home, the worst cell, the link, satellites."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.alerts.events import Level
from watchkeeper.alerts.language import Language
from watchkeeper.picture import limits
from watchkeeper.picture.answering import position_lost
from watchkeeper.picture.limits import Drawn
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


RESERVE: Final = Kind("return.reserve", "return.reserve_low", "charge at home", limits.RESERVE)
KINDS: Final = (
    RESERVE,
    Kind("battery.cell_voltage", None, "cell voltage", limits.CELLS),
    Kind("link.margin", None, "link margin", limits.MARGIN),
    Kind("link.loss", None, "frames lost", limits.LOSS),
    Kind("satellites.used", None, "satellites", limits.SATELLITES),
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
            self._series[kind.reading].add(Row(round(time_s, 1), value, low))

    def drawn(self, one: Watched, rules: Sequence[Rule], language: Language) -> list[History]:
        """Return the histories to be drawn; of a link without a radio's report, what is lost of it."""
        shown = [kind for kind in KINDS if kind is not (LOSS if self._has(MARGIN) else MARGIN)]
        return [self._history(kind, one, rules, language) for kind in shown]

    def _has(self, kind: Kind) -> bool:
        return not self._series[kind.reading].empty

    def _history(self, kind: Kind, one: Watched, rules: Sequence[Rule], language: Language) -> History:
        rows = self._series[kind.reading].rows()
        drawn = [
            Limit(value=round(line.value, 3), words=language.tell(line.words), level=line.level)
            for line in limits.lines(rules, kind.drawn)
        ]
        if kind is RESERVE and (floor_pct := finite(one.suite.required_pct, 1)) is not None:
            drawn.insert(0, Limit(value=floor_pct, words=language.phrase("reserve"), level=Level.CAUTION))
        low = [(row.time_s, row.low) for row in rows] if kind.low is not None else []
        return History(
            reading=kind.reading,
            words=language.tell(kind.words),
            unit=CATALOGUE[INDEX[kind.reading]].unit_symbol,
            points=[(row.time_s, row.value) for row in rows],
            low=low,
            limits=drawn,
        )
