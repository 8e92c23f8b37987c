"""Every shipped flown scenario from power-up to its end: it flies as its story says."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.scenario import find, list_scenarios, load
from watchkeeper.link.framing import GOOD, Framer

NAMES = [name for name in list_scenarios() if isinstance(load(find(name)), FlownScenario)]
CALM = {
    "hand-over", "line-delivery", "network-link", "old-packs", "open-practice", "quiet-delivery", "slope-survey",
    "slow-radio", "windy-day",
}  # fmt: skip
STRIKE = {"motors-stop-in-the-air", "return-below-the-ridge"}
ELSEWHERE_M = {
    "hand-over": 264.0, "motor-stops": 273.0, "satellites-jammed": None, "position-pulled": None,
    "position-lost-in-wind": None, "return-does-not-close": None, "motors-stop-in-the-air": None,
    "return-below-the-ridge": None,
}  # fmt: skip
"""Where they end by their story, m from home; None where wind decides."""


@dataclass
class Flown:
    drill: FlownDrill
    bad_frames: int
    least_margin_db: float
    """In the air, after the faults have begun where there are any."""
    lowest_cell_v: float


def fly(name: str) -> Flown:
    scenario = load(find(name))
    assert isinstance(scenario, FlownScenario)
    drill, framer = FlownDrill(scenario), Framer()
    flown = Flown(drill, 0, math.inf, math.inf)
    while not drill.over:
        for _, frame in drill.step():
            flown.bad_frames += sum(one[6] != GOOD for one in framer.feed(frame))
        if drill.steps % 25 == 0 and not drill.flight.craft.on_ground:
            margin_db = drill.around.margin_db
            if margin_db is not None:
                flown.least_margin_db = min(flown.least_margin_db, margin_db)
            for pack in drill.flight.bank.packs:
                cells = [pack.cell_voltage_v(i) for i in range(pack.model.cells_in_series)]
                flown.lowest_cell_v = min(flown.lowest_cell_v, *cells)
    return flown


def test_there_are_at_least_twenty_four() -> None:
    assert len(NAMES) >= 25  # beside the one for practice
    assert set(NAMES) >= CALM
    assert len(CALM) >= 5


@pytest.mark.parametrize("name", NAMES)
def test_it_flies_as_its_story_says(name: str) -> None:
    flown = fly(name)
    drill = flown.drill
    ending, written = drill.ending, drill.scenario.written
    assert flown.bad_frames == 0
    assert ending.landed
    assert not drill.flight.pilot.armed
    assert ending.crashed is (name in STRIKE)
    if name not in ELSEWHERE_M:
        assert ending.home_m < 5.0
    elif (away_m := ELSEWHERE_M[name]) is not None:
        assert ending.home_m == pytest.approx(away_m, abs=5.0)
    happened = [event.name for event in drill.happened if not event.crew]
    assert happened == [fault.fault for fault in written.faults if fault.fault in happened]
    assert len(happened) == len(written.faults)
    assert all(fault.expect for fault in written.faults)
    assert (name in CALM) is not bool(written.faults)
    if name in CALM:
        assert ending.charge_pct > 80.0
        assert flown.least_margin_db > 5.0  # straight over the station a dipole is nearly deaf
    assert flown.lowest_cell_v > (1.0 if name == "weak-cell" else 2.8)


@pytest.mark.parametrize(
    ("name", "below_db"),
    [("ridge-shadow", 12.0), ("antenna-loose", 0.0), ("interferer", 0.0), ("radio-silent", -100.0)],
)
def test_the_link_really_fails(name: str, below_db: float) -> None:
    assert fly(name).least_margin_db < below_db


def test_a_scenario_repeats_by_its_seed() -> None:
    scenario = load(find("ridge-shadow"))
    assert isinstance(scenario, FlownScenario)
    first, again, other = (list(FlownDrill(scenario, seed).frames()) for seed in (4, 4, 5))
    assert first == again
    assert first != other
