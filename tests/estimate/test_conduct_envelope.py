"""How far it leans and how fast it descends at most, by its own settings, its file, or what is usual."""

from __future__ import annotations

import struct

import pytest

from tests.estimate.conductworld import HEIGHT_HOLD, HOLD, RETURN, World
from watchkeeper.aircraft.files import load_aircraft_file

FILE = load_aircraft_file("limits: {tilt: 28 deg, descent: 2 m/s}", "a.yaml")


def limits(world: World) -> tuple[float, float]:
    world.move(1.0)
    return world.now("flight.tilt_limit"), world.now("flight.descent_limit")


def test_the_file_and_without_one_what_is_usual() -> None:
    assert limits(World(FILE, mode=RETURN)) == (28.0, 2.0)
    assert limits(World(mode=RETURN)) == (45.0, 5.0)


def test_sticks_and_stations_may_ask_for_faster_descents_than_it_flies_by_itself() -> None:
    assert limits(World(FILE, mode=HOLD)) == (28.0, 5.0)
    assert limits(World(FILE, mode=HEIGHT_HOLD)) == (28.0, 5.0)


def test_its_own_settings_go_first() -> None:
    world = World(FILE, mode=RETURN)
    for name, value in (("return.order", 123456.0), ("fly.tilt_deg", 20.0), ("fly.sink_m_s", 1.5)):
        raw = struct.unpack("<f", struct.pack("<f", value))[0]
        world.send("PARAM_VALUE", param_id=name, param_value=raw, param_type=9, param_count=90, param_index=1)
    assert limits(world) == (20.0, 2.0)  # of descents the fastest that is known


@pytest.mark.parametrize(("word", "tilt_deg"), [("attitude", 45.0), ("rate", 180.0)])
def test_flown_by_hand_it_has_the_hand_s_limits(word: str, tilt_deg: float) -> None:
    world = World(FILE, mode=RETURN)
    world.aircraft.set_mode(word, world.aircraft.streams.mode)
    assert world.parts[0].run(world.now_us) == (tilt_deg, 10.0)


def test_a_vertical_speed_of_unknown_sign_gives_no_limit() -> None:
    world = World(FILE, mode=RETURN)
    world.wait(10.0)  # no VFR_HUD any more, and no climb that could have told
    world.at(height_m=50.0)
    assert world.parts[0].run(world.now_us) == (28.0, None)
    for step in range(8):
        world.wait(0.5)
        world.at(height_m=50.0 + step, vz=-200)
    assert world.parts[0].run(world.now_us) == (28.0, 2.0)
