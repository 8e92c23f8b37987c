"""The fast flight at 10 Hz against the full one at 50 Hz: energy within 1 %, track within 2 m (by design)."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping

import pytest

from simulators.flown.flight import FAST_STEP_S, STEP_S, FastFlight
from simulators.flown.setup import Setup, Weather
from simulators.physics.airframe import Load
from simulators.physics.gusts import Gusts
from tests.simulators.physics.handflown import there_and_back

Events = Mapping[float, Callable[[FastFlight], object]]
Point = tuple[float, float, float]
Out = tuple[float, float]
NORTH: Out = (600.0, 0.0)


def drawn(seed: int) -> Setup:
    """Return a setup with a payload, a wind that turns and changes, and gusts."""
    dice = random.Random(seed)
    first, later = (
        (time_s, dice.uniform(2.0, 9.0), dice.uniform(0.0, 360.0)) for time_s in (0.0, dice.uniform(60.0, 150.0))
    )
    return Setup(
        load=Load(dice.uniform(0.0, 14.0)),
        weather=Weather(wind=(first, later), gusts_w20_m_s=dice.uniform(3.0, 13.0)),
    )


def flown(
    setup: Setup, seed: int, step_s: float, events: Events, longest_s: float, out_m: Out
) -> tuple[FastFlight, dict[int, Point]]:
    """Return a whole flight and its track by tenths of a second."""
    flight = FastFlight(setup, seed, step_s)
    craft, track = flight.craft, dict[int, Point]()

    def note() -> None:
        tenths = round(flight.time_s * 10)
        if abs(flight.time_s * 10 - tenths) < 1e-6:
            track[tenths] = (craft.north_m, craft.east_m, craft.height_m)

    there_and_back(flight, out_m=out_m, events=events, longest_s=longest_s, after=note)
    return flight, track


def compare(
    setup: Setup, seed: int, events: Events | None = None, longest_s: float = 400.0, out_m: Out = NORTH
) -> tuple[float, float]:
    """Return by how much energy and track of a fast flight are off: a share, and m."""
    full, track = flown(setup, seed, STEP_S, events or {}, longest_s, out_m)
    fast, fast_track = flown(setup, seed, FAST_STEP_S, events or {}, longest_s, out_m)
    assert full.time_s == pytest.approx(fast.time_s, abs=1.0)
    assert max(math.hypot(*place[:2]) for place in track.values()) > 590.0
    energy, fast_energy = (sum(pack.chemical_j for pack in flight.bank.packs) for flight in (full, fast))
    assert energy > 200_000
    both = track.keys() & fast_track.keys()
    assert len(both) > 1500
    return fast_energy / energy - 1, max(math.dist(track[at], fast_track[at]) for at in both)


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 38, 68, 88])
def test_payload_wind_and_gusts(seed: int) -> None:
    # 38 and 68 take off across the axis on which gusts begin: they must not meet them the other way round.
    energy, track_m = compare(drawn(seed), seed)
    assert abs(energy) < 0.01
    assert track_m < 2.0


@pytest.mark.parametrize("from_deg", [90.0, 270.0])
def test_gusts_do_not_turn_by_a_hair(from_deg: float) -> None:
    # The axis has no sense, but two flights a hair apart, across the axis on which gusts began, meet the same air.
    met = []
    for hair_deg in (-0.1, 0.1):
        gusts = Gusts("hair", 8.0)
        course = math.radians(from_deg + hair_deg)
        gusts.at(0.0, 40.0, 8.0, 1.0, 0.0)
        met.append([gusts.at(0.1 * i, 40.0, 8.0, math.cos(course), math.sin(course)) for i in range(1, 300)])
    assert max(math.dist(one, other) for one, other in zip(*met, strict=True)) < 0.05


@pytest.mark.parametrize(
    ("from_deg", "out_m", "seed"),
    [(None, (0.0, 600.0), 1), (None, (0.0, 600.0), 7), (90.0, NORTH, 6), (107.5, NORTH, 6)],
)
def test_gusts_without_wind_and_across(from_deg: float | None, out_m: Out, seed: int) -> None:
    # Gusts begin on an axis to the north; the wind, or the way flown, lies across it.
    wind = (0.0, 0.0, 0.0) if from_deg is None else (0.0, 6.0, from_deg)
    setup = Setup(load=Load(5.0), weather=Weather(wind=(wind,), gusts_w20_m_s=8.0))
    energy, track_m = compare(setup, seed, out_m=out_m)
    assert abs(energy) < 0.01
    assert track_m < 2.0


@pytest.mark.parametrize("event", ["load let go", "weak motor", "stopped motor", "pack opens"])
def test_what_happens_on_the_way(event: str) -> None:
    weather = Weather(wind=((0.0, 6.0, 300.0),), gusts_w20_m_s=8.0)
    happen: dict[str, Callable[[FastFlight], object]] = {
        "load let go": lambda flight: flight.craft.drop_load(),
        "weak motor": lambda flight: flight.craft.drive.weaken(2, 0.6),
        "stopped motor": lambda flight: flight.craft.drive.weaken(2, 0.0),
        "pack opens": lambda flight: flight.bank.open(1),
    }
    energy, track_m = compare(Setup(load=Load(3.0), weather=weather), 11, {70.0: happen[event]})
    assert abs(energy) < 0.01
    assert track_m < 2.0


@pytest.mark.parametrize("seed", [21, 22])
def test_slung_load(seed: int) -> None:
    weather = Weather(wind=((0.0, 5.0, 200.0),), gusts_w20_m_s=7.0)
    energy, track_m = compare(Setup(load=Load(8.0, 10.0, 0.2), weather=weather), seed, longest_s=180.0)
    assert abs(energy) < 0.01
    assert track_m < 2.0
