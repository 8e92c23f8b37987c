"""The way home by hand, in still air and in wind."""

from __future__ import annotations

import math

import pytest

from watchkeeper.aircraft.files import AircraftFile, load_aircraft_file
from watchkeeper.aircraft.filetypes import Wind
from watchkeeper.estimate.homeway import CLIMB_EXTRA, done_already, speed_over_ground, way_home

FILE = load_aircraft_file(
    """\
limits: {airspeed: 16 m/s, descent: 1 m/s}
return: {height: 40 m, speed: 8 m/s, hold: 30 s at 8 m, landing: 0.5 m/s}
""",
    "a.yaml",
)


def test_every_segment_by_hand() -> None:
    # Climb 20 to 40 m at 2 m/s, 400 m at 8 m/s, down to 8 m at 1 m/s, 30 s, 8 m at 0.5 m/s.
    segments = way_home(FILE, 400, 20, 8)
    assert [(s.name, s.time_s) for s in segments] == [
        ("climb", 10),
        ("cruise", 50),
        ("descend", 32),
        ("hold", 30),
        ("land", 16),
    ]
    assert [s.power_ratio for s in segments] == [CLIMB_EXTRA, 1, 1, 1, 1]


def test_already_higher_it_does_not_climb_and_comes_down_from_there() -> None:
    times = {s.name: s.time_s for s in way_home(FILE, 0, 60, 8)}
    assert times["climb"] == 0
    assert times["cruise"] == 0
    assert times["descend"] == 52


def test_defaults_are_on_the_costly_side() -> None:
    # Climb to 40 m at 2 m/s, 5 m/s would be the speed; 1.5 m/s down to 10 m, 10 s, then 0.5 m/s.
    segments = way_home(AircraftFile(), 100, 10, 5)
    assert [s.time_s for s in segments] == pytest.approx([15, 20, 20, 10, 20])


def test_an_order_without_landing_does_not_land() -> None:
    file = load_aircraft_file("return: {order: [cruise, hold], height: 30 m}", "a.yaml")
    assert [s.name for s in way_home(file, 100, 10, 5)] == ["cruise", "hold"]


def test_climb_costs_at_least_what_momentum_theory_says() -> None:
    # Facts section 5: 35 kg on six 30 in rotors, 2456.0 W in hover and 2922.2 W at 2.5 m/s.
    assert 2922.2 / 2456.0 <= CLIMB_EXTRA < 1.3


@pytest.mark.parametrize(
    ("wind", "expected"),
    [
        (None, 8),
        (Wind(7, 0), 8),  # 16 - 7 leaves 9
        (Wind(12, 0), 4),  # head wind
        (Wind(12, 180), 8),  # tail wind: the demanded ground speed is kept
        (Wind(12, 90), 8),  # across: sqrt(256 - 144) = 10.6
        (Wind(15, 90), math.sqrt(256 - 225)),
        (Wind(17, 90), -17),  # cannot hold the track
        (Wind(20, 0), -4),  # blown back
    ],
)
def test_speed_over_ground_by_the_wind_triangle(wind: Wind | None, expected: float) -> None:
    assert speed_over_ground(8, 16, wind, 360) == pytest.approx(expected)


def test_head_wind_of_30_km_h_trebles_the_cruise_at_45_km_h() -> None:
    # D'Andrea 2014 (facts section 4): 10 km at 45 km/h against 30 km/h take three times the energy of still air.
    still = speed_over_ground(12.5, 12.5, None, 0)
    against = speed_over_ground(12.5, 12.5, Wind(30 / 3.6, 0), 0)
    assert still / against == pytest.approx(3)


def test_what_is_flown_already_is_not_counted_again() -> None:
    assert done_already("airborne", 3) == frozenset()
    assert done_already("returning", 200) == frozenset()
    over_home = way_home(FILE, 3, 20, 8, done_already("returning", 3))
    assert [s.name for s in over_home] == ["cruise", "descend", "hold", "land"]
    landing = {s.name: s.time_s for s in way_home(FILE, 0, 5, 8, done_already("landing", 0))}
    assert landing == {"cruise": 0, "descend": 0, "land": 10}
