"""How many cells a pack has in series, and who says so."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import US

REST_A: Final = 1.5
REST_FOR_US: Final = 120 * US
"""Cells are counted this long after the pack was first heard; later it may be at rest, and empty."""
CELL_REST_V: Final = (3.4, 4.25)
"""Resting cell voltages in which cells are counted; a pack emptier than that is not guessed at."""
SERIES: Final = (1, 2, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 24)
"""Numbers of cells that packs of multirotors are made with (common practice)."""
_RANK: Final = {None: 0, "inferred": 1, "reported": 2, "aircraft_file": 3}


def inferred(voltage_v: float) -> int | None:
    """Return the only number of cells that a resting pack of this voltage can have, None if several fit."""
    low_v, high_v = CELL_REST_V
    fitting = [n for n in SERIES if low_v <= voltage_v / n <= high_v]
    return fitting[0] if len(fitting) == 1 else None


class CellCount:
    """The number of cells in series of a pack; a better source replaces a worse one."""

    __slots__ = ("cells", "source")

    def __init__(self, cells: int | None = None) -> None:
        self.cells = cells
        self.source = None if cells is None else "aircraft_file"

    def take(self, cells: int, source: str) -> bool:
        """Take a number from a source (a word of the catalogue); return whether it is news.

        Of reported numbers the highest holds: a dead cell is a cell.
        """
        known = _RANK[self.source] > _RANK[source] or (self.source == source and self.cells is not None)
        if known and not (source == self.source == "reported" and cells > (self.cells or 0)):
            return False
        self.cells = cells
        self.source = source
        return True
