"""What happens in a flown scenario: conditions, deeds, and files that could not be flown."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from simulators.flown.deeds import Do
from simulators.flown.events import Event, Events, When
from simulators.flown.flight import FastFlight
from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.parameters import parameters
from simulators.scenario import find, load
from tests.simulators.onboard.flying import airborne, grounded, setup
from watchkeeper.errors import BadInputError

GOOD = """\
scenario: small
about: stands on the ground
start: "2026-05-12T12:00:00Z"
duration_s: 100
system: 143
home: [1.25, -31.5]
altitude_m: 310
weather: {wind: [[0, 4, 250], [600, 5, 265]], draughts: [[0, 1], [5, 0]]}
rates_hz: {ATTITUDE: 5}
"""


def do(flight: FastFlight, **deed: Any) -> None:
    Do(**deed).carry_out(flight)


def happened(flight: FastFlight, seconds: float, **when: Any) -> float | None:
    """Return how long after now an event happens, s."""
    event = Event("it", When(**when), Do(mode="land"), crew=False)
    events, begin_s = Events([event]), flight.time_s
    while flight.time_s - begin_s < seconds:
        list(events.happen(flight))
        flight.step()
    return None if event.happened_s is None else event.happened_s - begin_s


def test_a_crews_flight_by_deeds() -> None:
    flight = grounded()
    do(flight, arm=True)
    do(flight, take_off_m=12.0)
    flight.run(20.0)
    assert flight.craft.height_m == pytest.approx(12.0, abs=0.2)
    do(flight, go={"north_m": 40.0, "east_m": 20.0, "height_m": 15.0, "speed_m_s": 5.0})
    flight.run(20.0)
    assert (flight.craft.north_m, flight.craft.east_m) == pytest.approx((40.0, 20.0), abs=0.5)
    do(flight, set_home=True)
    assert flight.pilot.home[:2] == pytest.approx((40.0, 20.0), abs=0.5)
    do(flight, parameter=("return.hold_s", 3.0))
    do(flight, mode="safe_recovery")
    flight.run(60.0)
    assert not flight.pilot.armed
    do(flight, arm=True)
    do(flight, disarm=True)
    assert not flight.pilot.armed


def test_faults_by_deeds() -> None:
    flight = airborne()
    do(flight, open_pack=1)
    assert [pack.is_open for pack in flight.bank.packs] == [True, False]
    do(flight, close_pack=1)
    assert [pack.is_open for pack in flight.bank.packs] == [False, False]
    do(flight, control_link=False)
    do(flight, position=False)
    assert (flight.pilot.control_link, flight.pilot.sensors.has_fix) == (False, False)
    do(flight, control_link=True)
    do(flight, position=True)
    do(flight, pick_up={"mass_kg": 5.0})
    assert flight.craft.load.mass_kg == 5.0
    do(flight, release=True)
    assert flight.craft.load.mass_kg == 0.0
    do(flight, weaken={"rotor": 3, "health": 0.8})
    assert flight.craft.drive.healths[2] == 0.8
    do(flight, gusts_m_s=6.0)
    assert flight.craft.gusts.w20_m_s == 6.0
    do(flight, stop_motors=True)
    flight.run(5.0)
    assert flight.craft.crashed


def blows(flight: FastFlight) -> tuple[float, float]:
    """Return speed and from where the wind blows at 10 m, degrees."""
    north, east, _ = flight.craft.wind.at(flight.time_s, 10.0)
    return math.hypot(north, east), math.degrees(math.atan2(-east, -north)) % 360.0


def test_wind_rises_out_of_a_calm_from_where_it_will_blow() -> None:
    flight = airborne(setup(wind_m_s=0.0))
    do(flight, wind={"speed_m_s": 8.0, "from_deg": 40.0, "after_s": 20.0})
    for share in (0.25, 0.5, 1.0):
        flight.run(5.0 if share < 1 else 10.0)
        speed, from_deg = blows(flight)
        assert speed == pytest.approx(8.0 * share, abs=0.1)
        assert from_deg == pytest.approx(40.0, abs=1.0)


def test_wind_shifts_from_what_it_is() -> None:
    flight = airborne(setup(wind_m_s=6.0, from_deg=350.0))
    do(flight, wind={"speed_m_s": 10.0, "from_deg": 30.0, "after_s": 20.0})
    assert blows(flight) == pytest.approx((6.0, 350.0), abs=0.5)
    flight.run(10.0)
    assert blows(flight) == pytest.approx((8.0, 10.0), abs=0.5)  # by the short way
    flight.run(30.0)
    assert blows(flight) == pytest.approx((10.0, 30.0), abs=0.5)


def test_an_event_waits_for_all_its_conditions_and_then_its_delay() -> None:
    assert happened(grounded(), 20.0, at_s=5.0) == pytest.approx(4.0, abs=0.11)
    assert happened(grounded(), 20.0, at_s=5.0, delay_s=3.0) == pytest.approx(7.0, abs=0.11)
    assert happened(grounded(), 20.0, at_s=5.0, airborne=True) is None
    flight = airborne()
    flight.pilot.go_to((60.0, 0.0, 30.0))
    assert happened(flight, 30.0, distance_over_m=30.0, height_over_m=22.0, mode="position_hold") is not None
    assert flight.craft.north_m > 30.0
    assert flight.pilot.mode is Mode.LAND


@pytest.mark.parametrize(
    ("when", "holds"),
    [
        ({"height_over_m": 19.0}, True), ({"height_over_m": 21.0}, False), ({"height_under_m": 21.0}, True),
        ({"height_under_m": 19.0}, False), ({"distance_over_m": 5.0}, False), ({"distance_under_m": 5.0}, True),
        ({"charge_under_pct": 99.9}, True), ({"charge_under_pct": 50.0}, False), ({"airborne": True}, True),
        ({"airborne": False}, False), ({"mode": "position_hold"}, True), ({"mode": "land"}, False), ({}, True),
    ],
)  # fmt: skip
def test_conditions(when: dict[str, Any], holds: bool) -> None:
    assert When(**when).holds(airborne()) is holds


@pytest.mark.parametrize(
    "deed", [{}, {"arm": True, "disarm": True}, {"arm": False}, {"take_off_m": 0.5}, {"fly": 1}]
)
def test_deeds_that_cannot_be(deed: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        Do(**deed)


def test_the_good_file_loads(tmp_path: Path) -> None:
    path = tmp_path / "good.yaml"
    path.write_text(GOOD, encoding="utf-8")
    assert load(path).name == "small"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("ATTITUDE: 5", "ATITUDE: 5", "the aircraft sends no 'ATITUDE'; did you mean 'ATTITUDE'?"),
        ("ATTITUDE: 5", "ATTITUDE: 60", "ATTITUDE cannot come at 60 Hz; 0 to 50"),
        ("[5, 0]]", "[0, 0]]", "draughts: time 0 is not after 0; put the times in order"),
        ("[600, 5, 265]", "[0, 5, 265]", "wind: time 0 is not after 0; put the times in order"),
    ],
)
def test_a_bad_file_is_told_what_is_wrong(tmp_path: Path, old: str, new: str, says: str) -> None:
    path = tmp_path / "bad.yaml"
    assert old in GOOD
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(BadInputError) as raised:
        load(path)
    [fault] = raised.value.faults
    assert says in str(fault)


def shipped() -> FlownScenario:
    scenario = load(find("open-practice"))
    assert isinstance(scenario, FlownScenario)
    return scenario


def test_the_shipped_practice_flies_out_and_home_by_itself() -> None:
    drill = FlownDrill(shipped(), 3)
    craft, farthest = drill.flight.craft, 0.0
    while not (drill.flight.time_s > 60 and drill.flight.pilot.landed is Landed.GROUND):
        assert drill.step() is not None
        farthest = max(farthest, math.hypot(craft.north_m, craft.east_m))
        assert not drill.over
    assert farthest == pytest.approx(math.hypot(250, 120), abs=5)
    assert math.hypot(craft.north_m, craft.east_m) < 3.0  # satellites are off by 0.4 to 1 m (1 sigma) each way
    assert not craft.crashed
    assert [event.name for event in drill.happened] == [f"crew {n}" for n in (1, 2, 3, 4)]


def test_a_trainee_finds_it_standing() -> None:
    drill = FlownDrill(shipped(), 3, served=True)
    for _ in range(1000):
        drill.step()
    assert not drill.flight.pilot.armed
    assert drill.happened == []


def test_an_aircraft_has_no_parameters_but_its_own() -> None:
    with pytest.raises(KeyError, match="no parameter a, b"):
        parameters({"b": 1.0, "return.hold_s": 3.0, "a": 2.0})
