"""How far above the other is: matched datums, and what is left to know across them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from watchkeeper.aircraft.traffic import Report, Whereabouts
from watchkeeper.estimate.traffic.heights import Above, above, after, level_word, pressure_altitude_m

OWN = Whereabouts(0, 10, 20, 0, 0, 0, sea_m=350, pressure_m=350, ellipsoid_m=390, flying=True)
TOLD = Report(0, 10, 20, 0, 0, 0, None, None, False, 10, 1, 38, 45)


@pytest.mark.parametrize(
    ("pressure_hpa", "height_m"),
    # ISO 2533 (ICAO standard atmosphere) tables, geopotential heights
    [(1013.25, 0), (954.61, 500), (898.75, 1000), (794.95, 2000), (540.20, 5000), (264.36, 10_000)],
)
def test_standard_atmosphere(pressure_hpa: float, height_m: float) -> None:
    assert pressure_altitude_m(pressure_hpa) == pytest.approx(height_m, abs=1.0)


def test_pressure_against_pressure() -> None:
    found = above(OWN, replace(TOLD, pressure_m=550.0))
    # by hand: 200 m, doubt sqrt(38^2 + 15^2) = 40.85
    assert found is not None
    assert found[:3] == pytest.approx((200, 200 - 40.853, 200 + 40.853), abs=1e-3)
    assert found.matched
    assert found.least_m == pytest.approx(159.147, abs=1e-3)
    assert level_word(found) == "above"


def test_both_ways_of_setting_an_altimeter_are_possible() -> None:
    """At 993 hPa 350 m over the sea show as about 165 m more by 1013.25 hPa (8.27 m a hPa near the sea)."""
    low_day = replace(OWN, pressure_m=515.0)
    found = above(low_day, replace(TOLD, pressure_m=550.0))
    assert found is not None
    assert found.low_m == pytest.approx(35 - 40.853, abs=1e-3)
    assert found.high_m == pytest.approx(200 + 40.853, abs=1e-3)
    assert found.least_m == 0
    # a drone's is by 1013.2 hPa, as MAVLink says
    drone = above(low_day, replace(TOLD, pressure_m=650.0, drone=True))
    assert drone is not None
    assert drone.low_m == pytest.approx(135 - 40.853, abs=1e-3)


def test_ellipsoid_against_ellipsoid() -> None:
    found = above(OWN, replace(TOLD, geometric_m=290.0))
    assert found is not None
    assert (found.expected_m, found.matched) == (-100, True)
    assert found.high_m == pytest.approx(-100 + (45**2 + 15**2) ** 0.5)
    assert level_word(found) == "below"


def test_a_height_over_the_sea_has_the_geoid_in_doubt() -> None:
    found = above(replace(OWN, ellipsoid_m=None, pressure_m=None), replace(TOLD, geometric_m=350.0))
    assert found is not None
    assert not found.matched
    # EGM96 spans about -106 to +85 m: the aircraft is 243 to 436 m above the ellipsoid
    assert found.low_m <= 350 - 435 - 40
    assert found.high_m >= 350 - 244 + 40
    assert level_word(found) == "height_unknown"


def test_across_datums_an_airliner_is_left_out_and_a_light_aircraft_is_not() -> None:
    only_sea = replace(OWN, ellipsoid_m=None, pressure_m=None)
    airliner = above(only_sea, replace(TOLD, pressure_m=3350.0))
    light = above(only_sea, replace(TOLD, pressure_m=850.0))
    assert airliner is not None
    assert light is not None
    assert airliner.least_m > 1500
    assert light.least_m == 0
    assert level_word(light) == "height_unknown"


def test_nothing_compares() -> None:
    assert above(OWN, TOLD) is None
    blind = replace(OWN, sea_m=None, pressure_m=None, ellipsoid_m=None)
    assert above(blind, replace(TOLD, pressure_m=100.0, geometric_m=100.0)) is None
    assert level_word(None) == "height_unknown"


def test_the_narrower_of_two_counts() -> None:
    found = above(OWN, replace(TOLD, pressure_m=600.0, geometric_m=700.0, geometric_doubt_m=10.0))
    assert found is not None
    assert found.expected_m == 310


def test_climb_moves_it() -> None:
    now = Above(100, 60, 140, True)
    climbing = replace(OWN, climb_m_s=2.0)
    # by hand: sinks 5 m/s for 2 + 10 s, own climbs 2 m/s for 10 s: 100 - 60 - 20, doubt 0.5 m/s for 12 s
    found = after(now, climbing, replace(TOLD, climb_m_s=-5.0), 2, 10)
    assert found == Above(20, 60 - 80 - 6, 140 - 80 + 6, True)
    # not told: 2.5 m/s either way
    assert after(now, OWN, replace(TOLD, climb_m_s=None), 2, 10) == Above(100, 60 - 30, 140 + 30, True)
