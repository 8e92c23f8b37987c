"""Cell voltages that no cell has: a wire of the balance lead, or a cell that is dead.

Cells are measured at taps between them, and the pack's voltage is made of their sum. A tap that is broken or loose
moves the two cells beside it by the same amount, one up, one down; a reading near 0 V or above what a cell can
take is a wire's if another measurement of the bus knows nothing of it. Where nothing else tells, 0 V is taken
for a dead cell: the dearer mistake.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Final

LEAST_V: Final = 1.0
MOST_V: Final = 4.6
"""High-voltage cells are charged to 4.35 V, and swell or burn above (common practice)."""
_EVEN_V: Final = 0.2
"""Two cells beside a broken tap, together against the others'."""
_HALF: Final = 0.5


def is_odd(cells_v: Sequence[float]) -> bool:
    """Whether any of these is no voltage of a cell in use."""
    return len(cells_v) > 1 and not (min(cells_v) >= LEAST_V and max(cells_v) <= MOST_V)


def mended(cells_v: Sequence[float], bus_v: float | None) -> tuple[float, tuple[float, ...]] | None:
    """Return the pack's voltage and its cells with wires' readings taken for the usual cell's.

    `bus_v` is another measurement of the same bus. None where an odd cell is to be believed.
    """
    usual_v = median(cells_v)
    if not LEAST_V <= usual_v <= MOST_V:
        return None  # nothing here is a cell's
    repaired = list(cells_v)
    for i, volts in enumerate(cells_v):
        if LEAST_V <= volts <= MOST_V or repaired[i] == usual_v:
            continue
        beside = [j for j in (i - 1, i + 1) if 0 <= j < len(cells_v)]
        pair = next((j for j in beside if abs(volts + cells_v[j] - 2.0 * usual_v) <= _EVEN_V), None)
        if pair is not None:
            repaired[i] = repaired[pair] = usual_v
        elif volts > MOST_V or (bus_v is not None and sum(cells_v) < bus_v - _HALF * (usual_v - volts)):
            repaired[i] = usual_v
        else:
            return None
    return sum(repaired), tuple(repaired)
