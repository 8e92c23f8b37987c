"""Which cell is weak, and why: Ohm's law over a made-up load, against what was put in.

Cells of 1.5 mohm (facts.md section 6: 16 to 30 Ah cells 0.8 to 2.5) under the currents of a climb,
a hover, a pause.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from watchkeeper.estimate.packs.cells import CellSpread

CELLS = 12
WEAK = 6
AMPS = [1.0] * 10 + ([90.0] * 10 + [66.0] * 20 + [45.0] * 10) * 3


def cells(
    amps: float, dice: random.Random, *, ohm: float = 0.0, under_v: float = 0.0, over_v: float = 0.0
) -> list[float]:
    """Return cells of 3.85 V; the weak one has more resistance and less voltage, the one after it more voltage."""
    volts = [3.85 - 0.0015 * amps + dice.gauss(0.0, 0.002) for _ in range(CELLS)]
    volts[WEAK] -= ohm * amps + under_v
    volts[WEAK + 1] += over_v
    return volts


def flown(begin: int = 0, **more: float) -> Iterator[tuple[float, CellSpread]]:
    """Yield each current from the one numbered `begin`, with what is then found."""
    dice, spread = random.Random(5), CellSpread(CELLS)
    for i, amps in enumerate(AMPS):
        spread.update(cells(amps, dice, **more), amps)
        if i >= begin:
            yield amps, spread


def test_a_bad_joint_shows_with_the_current() -> None:
    for amps, spread in flown(20, ohm=0.003):
        assert spread.under_v == pytest.approx(0.003 * amps, abs=0.01)  # Ohm
        assert spread.weak == WEAK
        assert spread.cause == "resistance"


def test_a_cell_with_less_charge_shows_at_rest_as_well() -> None:
    for _, spread in flown(20, under_v=0.2):
        assert spread.under_v == pytest.approx(0.2, abs=0.01)
        assert spread.weak == WEAK
        assert spread.cause == "charge"


def test_half_of_each_is_not_decided() -> None:
    # at 66 A 0.1 V each
    causes = {spread.cause for amps, spread in flown(25, ohm=0.0015, under_v=0.1) if amps == 66.0}
    assert causes == {"unknown"}


def test_one_current_alone_tells_no_cause() -> None:
    dice, spread = random.Random(5), CellSpread(CELLS)
    for _ in range(100):
        spread.update(cells(66.0, dice, ohm=0.003), 66.0 + dice.gauss(0.0, 0.5))
    assert spread.under_v == pytest.approx(0.198, abs=0.01)
    assert spread.cause == "unknown"
    spread.update(cells(66.0, dice, ohm=0.003), None)
    assert spread.cause == "unknown"


def test_a_cell_beside_that_is_as_far_over_is_a_wire() -> None:
    for _, spread in flown(under_v=0.2, over_v=0.2):
        assert spread.cause == "wire"
        assert spread.under_v == pytest.approx(0.2, abs=0.01)
    # a quarter of it is how cells are
    assert {spread.cause for _, spread in flown(20, under_v=0.2, over_v=0.05)} == {"charge"}


def test_even_cells() -> None:
    for _, spread in flown():
        assert spread.under_v < 0.01


def test_the_first_and_the_last_cell_and_packs_of_two() -> None:
    for weak in (0, 11):
        spread = CellSpread(12)
        volts = [3.8] * 12
        volts[weak] = 3.5
        spread.update(volts, 70.0)
        assert spread.weak == weak
        assert spread.under_v == pytest.approx(0.3)
    spread = CellSpread(2)
    spread.update((3.8, 3.5), 5.0)
    assert (spread.weak, spread.lowest_v) == (1, 3.5)
    assert spread.under_v == pytest.approx(0.3)
