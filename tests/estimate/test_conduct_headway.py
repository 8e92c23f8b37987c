"""Whether a return gets on. Speeds and times by hand; orders as settings and files name them."""

from __future__ import annotations

import itertools
import math

from tests.estimate.conductworld import LAND, RETURN, World
from watchkeeper.aircraft.files import load_aircraft_file

LIMIT_S = 8.0  # the rule's


FILE = load_aircraft_file("limits: {tilt: 30 deg}", "a.yaml")
USUAL, HOLD_FIRST, NO_HOLD = 123456, 513246, 12346  # orders of the simulated aircraft's steps
STEPS = {"return.order": USUAL, "return.hold_s": 20.0, "return.hold_m": 8.0, "return.height_m": 40.0}


def returning(order: int | None = USUAL) -> World:
    world = World(FILE)
    if order is not None:
        for name, value in {**STEPS, "return.order": order}.items():
            world.send("PARAM_VALUE", param_id=name, param_value=value, param_type=9, param_count=90)
    world.mode = RETURN
    world.move(1.0)
    assert world.now("flight.phase") == "returning"
    return world


def test_one_that_closes_never_stands_still() -> None:
    assert max(returning().move(30.0, north=-5.0)) == 0.0


def test_one_that_is_blown_back_stands_still_at_once_but_for_braking() -> None:
    world = returning()
    found = world.move(20.0, north=2.0)
    # at most 3 s for turning and 3 s of window: 20 s less those
    assert 13.0 <= found[-1] <= 20.0
    assert all(after >= before for before, after in itertools.pairwise(found))
    assert max(world.move(12.0, north=-3.0)[-4:]) == 0.0  # it closes again


def test_one_that_closes_slower_than_half_a_metre_a_second_is_no_return() -> None:
    assert returning().move(20.0, north=-0.3, east=2.0)[-1] > LIMIT_S


def test_climbing_in_place_is_headway_and_climbing_while_carried_away_is_none() -> None:
    assert max(returning().move(40.0, climb=1.5)) == 0.0
    assert returning().move(20.0, climb=1.5, north=3.0)[-1] > LIMIT_S


def test_descending_first_is_headway_as_some_orders_have_it() -> None:
    assert max(returning().move(20.0, climb=-1.5)) == 0.0


def test_a_turn_on_the_spot_is_headway_but_not_for_ever() -> None:
    world = returning(NO_HOLD)
    found = []
    for _ in range(40):
        world.yaw_deg += 10.0
        found += world.move(0.5)
    assert max(found) == 0.0
    for _ in range(60):
        world.yaw_deg += 10.0
        found += world.move(0.5)
    assert found[-1] > LIMIT_S


def test_a_hold_counts_where_the_order_has_it_before_the_way_home() -> None:
    first = returning(HOLD_FIRST)
    assert max(first.move(20.0)) == 0.0
    assert first.move(25.0)[-1] > LIMIT_S  # 20 s of hold and 8 s to settle are over
    assert returning(USUAL).move(30.0)[-1] > LIMIT_S  # here the hold is over home


def test_where_the_order_is_not_known_a_usual_hold_is_believed_if_it_leans_little() -> None:
    # facts.md 14: 45 s
    assert max(returning(None).move(45.0)) == 0.0
    held_by_wind = returning(None)
    held_by_wind.pitch_deg = -27.0  # of 30 degrees
    assert held_by_wind.move(20.0)[-1] > LIMIT_S


def test_a_position_that_is_missing_is_unknown_and_one_late_is_no_standstill() -> None:
    world = returning()
    world.move(20.0, north=2.0)
    world.wait(60.0)
    assert world.move(0.5, north=2.0)[-1] <= 20.0
    world = returning()
    world.send("GLOBAL_POSITION_INT", lat=0, lon=0)
    for part in world.parts[1:2]:
        assert part.run(world.now_us) == (None,)


def test_a_hostile_attitude_harms_nothing() -> None:
    world = returning()
    world.yaw_deg = math.nan
    assert max(world.move(10.0, north=-4.0)) == 0.0
    world.roll_deg = math.nan
    assert world.move(25.0)[-1] > LIMIT_S  # after 8 s to settle in a hold that never was


def test_a_station_s_sticks_are_a_pilot_who_flies() -> None:
    world = returning()
    found = []
    for _ in range(40):
        world.order("MANUAL_CONTROL", target=7, x=400)
        found += world.move(0.5, north=2.0)
    assert max(found) == 0.0


def test_a_landing_and_a_new_return_begin_anew() -> None:
    world = returning()
    world.move(20.0, north=2.0)
    world.mode = LAND
    world.move(4.0, climb=-1.0)
    world.mode = RETURN
    assert max(world.move(4.0, climb=1.0)[-2:]) == 0.0
