"""Every shipped flown scenario from power-up to its end: what holds for all, and that it tells its story."""

from __future__ import annotations

import math

import pytest

from simulators.flown.scenario import FlownDrill
from simulators.site.ground import Ground
from tests.simulators.flown.shipped import Flight, flown, scenario, shipped
from tests.simulators.flown.stories import STORIES
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import load_packs

NAMES = shipped()
CALM = {
    "hand-over", "line-delivery", "network-link", "old-packs", "quiet-delivery", "slope-survey", "slow-radio",
    "traffic-passes", "windy-day",
}  # fmt: skip
STRIKE = {"motors-stop-in-the-air", "return-below-the-ridge"}
"""These strike the ground by their story."""
MOST_S = 1500.0


def test_there_are_enough_of_them_and_each_has_its_story() -> None:
    assert len(NAMES) >= 24
    assert len(CALM) >= 5
    assert set(NAMES) == STORIES.keys()
    assert set(NAMES) > CALM | STRIKE


@pytest.mark.parametrize("name", NAMES)
def test_it_flies_from_power_up_to_motors_off_as_its_story_says(name: str) -> None:
    flight = flown(name)
    drill = flight.drill
    ending = drill.ending
    assert flight.bad_frames == 0
    assert {"HEARTBEAT", "BATTERY_STATUS", "GLOBAL_POSITION_INT", "GPS_RAW_INT"} <= flight.kinds
    assert ending.landed
    assert ending.crashed is (name in STRIKE)
    assert not drill.flight.pilot.armed
    # a trainee gets some time beyond; the rest would be waiting
    assert drill.scenario.duration_s - 150 < flight.off_s < drill.scenario.duration_s - 10
    happened = {event.name for event in drill.happened}
    written = drill.scenario.written
    assert happened == {f"crew {i}" for i in range(1, len(written.crew) + 1)} | {
        one.fault for one in written.faults
    }
    assert len(drill.expect) == sum(len(one.expect) for one in written.faults)
    assert min(min(row.cells_v) for row in flight.rows) > 2.8  # no flight is planned beyond this (data sheets)
    if name in CALM:
        _calm(flight)
    STORIES[name](flight)


def _calm(flight: Flight) -> None:
    assert not flight.drill.scenario.written.faults
    assert flight.rows[-1].charge_pct > 30.0
    assert min((row.margin_db for row in flight.in_air), default=math.inf) > 10.0 or math.isnan(
        flight.rows[0].margin_db
    )
    assert all(row.has_fix for row in flight.rows)


@pytest.mark.parametrize("name", NAMES)
def test_its_faults_say_what_a_good_watch_calls(name: str) -> None:
    written = scenario(name).written
    assert (name in CALM) is not bool(written.faults)
    assert written.duration_s <= MOST_S
    packs = [(path.name, path.read_text("utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    known = load_packs(packs, None).by_id.keys()
    called: set[str] = set()
    for one in written.faults:
        assert {expected.rule for expected in one.expect} <= known
        # what goes on from an earlier fault, or ends it, needs no call of its own
        assert one.expect or called & {one.do.name, one.do.name.removeprefix("release_")}
        called.add(one.do.name)


@pytest.mark.parametrize("name", [name for name in NAMES if scenario(name).sortie is not None])
def test_its_crew_files_say_what_is_flown(name: str) -> None:
    found = scenario(name)
    written = found.written
    assert found.aircraft is not None
    assert found.sortie is not None
    aircraft = load_aircraft_file(found.aircraft.read_text("utf-8"), found.aircraft.name)
    sortie = load_sortie_file(found.sortie.read_text("utf-8"), found.sortie.name)
    load = written.load
    assert sortie.payload.mass_kg == (0.0 if load is None else load.mass_kg)
    if load is not None:
        assert sortie.payload.line_m == load.line_m
    assert aircraft.mass.maximum_kg is not None
    assert aircraft.mass.empty_kg == written.setup().airframe.mass_kg
    assert aircraft.mass.empty_kg + sortie.payload.mass_kg <= aircraft.mass.maximum_kg
    ground, place = written.surroundings().ground, FlownDrill(found).flight.pilot.field
    for one in sortie.obstacles:
        assert ground.top_m(*place.metres(*one.at)) == pytest.approx(one.height_m, abs=1.0)
    assert bool(sortie.obstacles) is (ground is not None and bool(ground))
    assert isinstance(ground, Ground)


@pytest.mark.parametrize("name", ["ridge-shadow", "satellites-jammed"])
def test_it_repeats_by_its_seed(name: str) -> None:
    def heard(seed: int) -> list[tuple[int, bytes]]:
        drill = FlownDrill(scenario(name), seed)
        found: list[tuple[int, bytes]] = []
        while drill.flight.time_s < 140.0:
            found += drill.step()
        return found

    first = heard(4)
    assert len(first) > 5000
    assert first == heard(4)
    assert first != heard(5)
