"""Whether it keeps the place that it holds: distances by hand."""

from __future__ import annotations

import math

import pytest

from tests.estimate.conductworld import HOLD, RETURN, World
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.estimate.conduct.leanspeed import LeanSpeed, lean_speed_m_s

FILE = load_aircraft_file("limits: {tilt: 30 deg}", "a.yaml")


class Holding(World):
    watched = "hold.moved_away"


def resting() -> Holding:
    world = Holding(FILE, mode=HOLD)
    assert set(world.move(6.0)) == {0.0}
    return world


def test_one_that_creeps_away_with_centred_sticks_is_measured() -> None:
    assert resting().move(12.0, east=1.0)[-1] == pytest.approx(12.0, abs=0.3)


def test_very_slow_creeping_is_found_too() -> None:
    assert resting().move(60.0, north=0.2)[-1] == pytest.approx(12.0, abs=1.3)


def test_wandering_within_a_metre_is_none() -> None:
    world = resting()
    found = []
    for _ in range(30):
        found += world.move(1.0, north=0.4) + world.move(1.0, north=-0.4)
    assert max(found) < 1.0


def test_a_stick_off_its_middle_ends_it() -> None:
    world = resting()
    world.sticks = (1500, 1400, 1500, 1500)
    assert set(world.move(12.0, east=1.0)) == {0.0}


def test_a_trimmed_middle_is_a_middle() -> None:
    world = Holding(FILE, mode=HOLD)
    world.sticks = (1530, 1475, 1210, 1500)
    world.move(8.0)
    world.sticks = (1545, 1470, 1210, 1500)  # noise of 15
    assert world.move(12.0, east=1.0)[-1] == pytest.approx(12.0, abs=1.0)


def test_an_order_or_another_target_ends_it() -> None:
    world = resting()
    world.order("COMMAND_INT", target_system=7, command=192)  # MAV_CMD_DO_REPOSITION
    assert set(world.move(12.0, east=1.0)) == {0.0}
    world = resting()
    world.send("NAV_CONTROLLER_OUTPUT", wp_dist=0)
    world.send("NAV_CONTROLLER_OUTPUT", wp_dist=80)
    assert set(world.move(12.0, east=1.0)) == {0.0}


def test_one_that_gets_up_speed_was_sent_where_orders_cannot_be_seen() -> None:
    world = resting()
    world.move(1.0, east=1.5)
    assert set(world.move(12.0, east=4.0)[1:]) == {0.0}


def test_with_orders_in_the_stream_and_none_seen_speed_excuses_nothing() -> None:
    world = Holding(FILE, mode=HOLD)
    world.order("SET_MODE", target_system=7, custom_mode=1)
    world.move(6.0)
    assert world.move(5.0, east=4.0)[-1] == pytest.approx(20.0, abs=0.5)


def test_leaning_against_its_motion_as_far_as_it_can_it_gives_way() -> None:
    world = resting()
    world.roll_deg = -28.0  # of 30, to the west as it heads north
    assert world.move(4.0, east=5.0)[-1] == pytest.approx(20.0, abs=0.5)
    world = resting()
    world.roll_deg = 28.0  # to the east: it flies there
    assert set(world.move(4.0, east=5.0)[1:]) == {0.0}


def test_without_sticks_only_giving_way_counts() -> None:
    world = Holding(FILE, mode=HOLD)
    world.sticks = None
    world.move(12.0)
    assert set(world.move(12.0, east=1.0)) == {0.0}
    world.roll_deg = -28.0
    assert world.move(2.0, east=3.0)[-1] > 10.0


def test_another_mode_ends_it_and_a_gap_begins_anew() -> None:
    world = resting()
    world.move(12.0, east=1.0)
    world.wait(20.0)
    assert world.move(0.5, east=1.0) == [0.0]
    world = resting()
    world.move(12.0, east=1.0)
    world.mode = RETURN
    assert world.move(2.0, east=1.0)[-1] == 0.0


def test_what_holds_no_place_is_at_its_place_and_is_not_blind() -> None:
    world = Holding(FILE, mode=RETURN)
    world.wait(600.0)
    assert world.read("hold.moved_away") == 0.0


@pytest.mark.parametrize(
    ("yaw_deg", "pitch_deg", "roll_deg", "north", "east", "expected_m_s"),
    [
        (0.0, -20.0, 0.0, 5.0, 0.0, 5.0),  # nose down and north: leans north
        (180.0, -20.0, 0.0, 5.0, 0.0, -5.0),
        (90.0, 0.0, 20.0, 4.0, 0.0, -4.0),  # right wing down, looking east: leans south
        (0.0, -20.0, 0.0, 0.0, 7.0, 0.0),
        (0.0, -30.0, 30.0, 15.0, -12.0, 0.756),  # thrust: ahead tan 30 cos 30 = 0.5, right tan 30 = 0.577
    ],
)
def test_speed_along_its_lean_by_hand(
    yaw_deg: float, pitch_deg: float, roll_deg: float, north: float, east: float, expected_m_s: float
) -> None:
    world = Holding(FILE, mode=HOLD)
    world.yaw_deg, world.pitch_deg, world.roll_deg = yaw_deg, pitch_deg, roll_deg
    world.move(8.0, north=north, east=east)  # the lean is smoothed over a second
    assert world.now("flight.lean_speed") == pytest.approx(expected_m_s, abs=0.05)


def test_level_it_leans_nowhere() -> None:
    world = Holding(FILE, mode=HOLD)
    world.pitch_deg = -2.0
    world.move(2.0, north=5.0)
    assert world.now("flight.lean_speed") is None


def test_of_an_old_velocity_it_says_nothing() -> None:
    world = Holding(FILE, mode=HOLD)
    world.pitch_deg = -20.0
    world.move(8.0, north=8.0)
    assert world.now("flight.lean_speed") == pytest.approx(8.0, abs=0.05)
    part = next(one for one in world.parts if isinstance(one, LeanSpeed))
    for _ in range(8):  # GLOBAL_POSITION_INT ends; attitude and ground speed go on
        world.wait(0.5)
        world.send("ATTITUDE", time_boot_ms=world.boot_ms, pitch=math.radians(-20.0))
        world.send("VFR_HUD", groundspeed=0.5, climb=0.0, throttle=50)
        values = part.run(world.now_us)
    assert values is None  # it was told once that it is not known
    assert lean_speed_m_s(world.aircraft.motion, world.now_us) is None
