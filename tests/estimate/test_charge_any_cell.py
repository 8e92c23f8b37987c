"""The charge of a pack whose cells nobody names: flown on four published cells and the simulator's own.

The true cell is the simulator's (two relaxing parts, its own rise of resistance towards empty, warming up), its
open-circuit voltage that of the published cell by pybamm. Capacity and current scale are drawn with 3 %, the
resistance with 20 %; the aircraft file tells the label and the usual resistance, and no gauge helps.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest

from simulators.physics.cell import CELLS, POUCH_22AH, broken_line
from simulators.physics.packs import Pack, PackModel
from tests.estimate import publishedcells
from tests.estimate.packflight import Bench, Second, flown_a, fly

FILE = "packs: {cells: 12, capacity: 22 Ah, age: 0 cycles, resistance: 12 mohm}"
KINDS = (*publishedcells.CELLS, "plain")
SEEDS = 12
POINTS = 50
EVERY_S = 4
CHARGES = (0.60, 0.45, 0.30, 0.20, 0.12)
BOUND = 1.645
"""Deviations under what is expected: 19 of 20 lie above."""


class Judged(NamedTuple):
    """Error (told less true) and doubt of the charge, of each kind and seed (rows) at each of `CHARGES`."""

    error: np.ndarray
    doubt: np.ndarray


@cache
def true_curve(kind: str) -> tuple[float, ...]:
    if kind == "plain":
        return CELLS["plain"].ocv_v
    charges = tuple(i / POINTS for i in range(POINTS + 1))
    return broken_line(list(zip(charges, publishedcells.rest_v(kind, charges), strict=True)))


def true_flight(kind: str, dice: random.Random) -> list[Second]:
    """Return a flight from full down to below the last of `CHARGES`, told every four seconds."""
    more = dice.lognormvariate(0.0, 0.2)
    cell = replace(
        POUCH_22AH,
        ocv_v=true_curve(kind),
        capacity_ah=22.0 * dice.gauss(1.0, 0.03),
        r0_ohm=POUCH_22AH.r0_ohm * more, r1_ohm=POUCH_22AH.r1_ohm * more, r2_ohm=POUCH_22AH.r2_ohm * more,
    )  # fmt: skip
    pack = Pack(PackModel(cell, cells_in_series=1, wiring_ohm=0.0, cycles=0.0), dice.uniform(0.96, 1.0), 25.0)
    seconds = []
    for at_s, current_a in enumerate(flown_a(1400)):
        if pack.charge <= CHARGES[-1] - 0.005:
            break
        if at_s % EVERY_S == 0:
            seconds.append(Second(float(at_s), pack.rest_v - current_a * pack.series_ohm, current_a, pack.charge))
        pack.prepare(1.0)
        pack.carry(current_a, 25.0)
    return seconds


@cache
def judged() -> Judged:
    rows = []
    for kind in KINDS:
        for seed in range(SEEDS):
            dice = random.Random(f"{kind} {seed}")
            told = fly(Bench(FILE), true_flight(kind, dice), scale=dice.gauss(1.0, 0.03), seed=seed)
            rows.append([next(one for one in told if one.truth <= at) for at in CHARGES])
    return Judged(
        np.array([[one.error for one in row] for row in rows]),
        np.array([[one.doubt for one in row] for row in rows]),
    )


@pytest.mark.parametrize("at", CHARGES)
def test_the_bound_lies_under_the_truth_whatever_the_cell_is(at: float) -> None:
    i = CHARGES.index(at)
    found = judged()
    assert np.mean(found.error[:, i] < BOUND * found.doubt[:, i]) >= 0.90


@pytest.mark.parametrize("at", CHARGES)
def test_errors_are_as_large_as_the_doubt(at: float) -> None:
    i = CHARGES.index(at)
    found = judged()
    assert 0.5 < np.sqrt(np.mean((found.error[:, i] / found.doubt[:, i]) ** 2)) < 1.5
