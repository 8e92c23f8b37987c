"""Satellites' orbits against the figures that their owners publish."""

import math
import random
import statistics
import time

import numpy as np
import pytest

from simulators.sky.geometry import Place
from simulators.sky.orbits import (
    BEIDOU,
    EVERY,
    GALILEO,
    GLONASS,
    GPS,
    Constellation,
    Orbits,
    Vector,
    earth_angle_rad,
    period_s,
    walker,
)

START_UNIX_S = 1_800_000_000.0
SIDEREAL_DAY_S = 86164.0905
"""Mean sidereal day (IERS Conventions, from memory)."""


def sub_satellite_deg(position: Vector) -> tuple[float, float]:
    x, y, z = position
    return math.degrees(math.atan2(z, math.hypot(x, y))), math.degrees(math.atan2(y, x))


def apart_deg(first: Vector, second: Vector) -> float:
    cosine = sum(a * b for a, b in zip(first, second, strict=True)) / (math.hypot(*first) * math.hypot(*second))
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


# Periods as published, all from memory: IS-GPS-200 (half a sidereal day, 11 h 58 min), GLONASS ICD (11 h 15 min
# 44 s), Galileo OS SDD (14 h 4 min 42 s), BDS open service documents (12 h 53 min 24 s). Radii are written down
# independently, from altitudes or axes, so Kepler's third law has to join the two.
@pytest.mark.parametrize(
    ("constellation", "published_s"),
    [
        (GPS, 11 * 3600 + 58 * 60),
        (GLONASS, 11 * 3600 + 15.7 * 60),
        (GALILEO, 14 * 3600 + 4.7 * 60),
        (BEIDOU, 12 * 3600 + 53.4 * 60),
    ],
    ids=lambda value: value.name if isinstance(value, Constellation) else None,
)
def test_radius_and_period_obey_kepler(constellation: Constellation, published_s: float) -> None:
    assert period_s(constellation.radius_m) == pytest.approx(published_s, abs=12.0)


# Repeats as published (from memory): GPS every sidereal day, 2 turns; GLONASS 17 in 8 days; Galileo 17 in 10;
# BeiDou MEO 13 in 7. Real satellites are held to a degree or so by station keeping; these have none.
@pytest.mark.parametrize(
    ("constellation", "turns", "days"),
    [(GPS, 2, 1), (GLONASS, 17, 8), (GALILEO, 17, 10), (BEIDOU, 13, 7)],
    ids=lambda value: value.name if isinstance(value, Constellation) else None,
)
def test_ground_tracks_repeat(constellation: Constellation, turns: int, days: int) -> None:
    orbits = Orbits([constellation])
    before = orbits.positions(START_UNIX_S)
    after = orbits.positions(START_UNIX_S + days * SIDEREAL_DAY_S)
    assert max(map(apart_deg, before, after)) < 1.0
    gone = constellation.argument_rate_rad_s * days * SIDEREAL_DAY_S / math.tau
    assert gone == pytest.approx(turns, abs=0.003)
    if days > 1:
        sooner = orbits.positions(START_UNIX_S + SIDEREAL_DAY_S)
        assert min(map(apart_deg, before, sooner)) > 10.0


# Inclinations as published (from memory): 55 (IS-GPS-200), 64.8 (GLONASS ICD), 56 (OS SDD), 55 (BDS ICD).
@pytest.mark.parametrize(
    ("constellation", "inclination_deg"),
    [(GPS, 55.0), (GLONASS, 64.8), (GALILEO, 56.0), (BEIDOU, 55.0)],
    ids=lambda value: value.name if isinstance(value, Constellation) else None,
)
def test_latitude_below_a_satellite_reaches_its_inclination_and_no_more(
    constellation: Constellation, inclination_deg: float
) -> None:
    orbits = Orbits([constellation])
    highest = [-90.0] * constellation.satellites
    for minute in range(0, 15 * 60, 2):
        for index, position in enumerate(orbits.positions(START_UNIX_S + 60.0 * minute)):
            highest[index] = max(highest[index], sub_satellite_deg(position)[0])
            assert math.hypot(*position) == pytest.approx(constellation.radius_m, rel=1e-12)
    assert all(inclination_deg - 0.05 < latitude <= inclination_deg + 1e-9 for latitude in highest)


# Galileo OS SDD gives -0.02764 degrees a day with the pull of Moon and Sun, GPS SPS PS about -0.04 (from memory).
def test_nodes_go_back_as_published() -> None:
    def per_day(constellation: Constellation) -> float:
        return math.degrees(constellation.node_rate_rad_s) * 86400.0

    assert per_day(GALILEO) == pytest.approx(-0.02764, rel=0.1)
    assert per_day(GPS) == pytest.approx(-0.040, rel=0.1)


# Meeus, Astronomical Algorithms, examples 12.a and 12.b (from memory): 1987 April 10, 0 h and 19:21:00 UT. And the
# Greenwich hour angle that GPS SPS PS 2020 gives with its slots at 0 h on 1 July 1993 (from memory).
@pytest.mark.parametrize(
    ("unix_s", "hours", "minutes", "seconds", "within_s"),
    [
        (545011200.0, 13, 10, 46.3668, 0.01),
        (545011200.0 + 19 * 3600 + 21 * 60, 8, 34, 57.0896, 0.01),
        (741484800.0, 18, 36, 14.4, 1.5),
    ],
)
def test_sidereal_time(unix_s: float, hours: int, minutes: int, seconds: float, within_s: float) -> None:
    got_s = earth_angle_rad(unix_s) / math.tau * 86400.0
    assert got_s == pytest.approx(hours * 3600 + minutes * 60 + seconds, abs=within_s)


def test_a_geostationary_satellite_stays_over_its_meridian() -> None:
    # 35 786 km above the equator (common practice); real ones drift by hundredths of a degree a day unless held
    still = Constellation("still", 42_164_000.0, 0.0, -160.0, ((30.0, (0.0,)),))
    orbits = Orbits([still])
    lat0, lon0 = sub_satellite_deg(orbits.positions(START_UNIX_S)[0])
    lat1, lon1 = sub_satellite_deg(orbits.positions(START_UNIX_S + 86400.0)[0])
    assert abs(lat0) < 1e-9
    assert abs(lat1) < 1e-9
    assert abs(lon1 - lon0) < 0.04


def test_positions_are_those_of_the_rotation_matrices() -> None:
    """R3(-node) R1(-i) applied to a circle, then R3(sidereal angle): Vallado's order, by numpy (from memory)."""
    unix_s = START_UNIX_S + 12345.0
    index = 0
    positions = Orbits().positions(unix_s)

    def turn(axis: int, angle: float) -> np.ndarray:
        c, s = math.cos(angle), math.sin(angle)
        if axis == 1:
            return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
        return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    for each in EVERY:
        elapsed_s = unix_s - each.epoch_unix_s
        for node_deg, arguments in each.planes:
            node = math.radians(node_deg) + each.node_rate_rad_s * elapsed_s
            for argument_deg in arguments:
                argument = math.radians(argument_deg) + each.argument_rate_rad_s * elapsed_s
                flat = each.radius_m * np.array([math.cos(argument), math.sin(argument), 0.0])
                tilted = turn(3, node) @ turn(1, math.radians(each.inclination_deg)) @ flat
                wanted = turn(3, -earth_angle_rad(unix_s)) @ tilted
                assert np.abs(wanted - np.array(positions[index])).max() < 1.0
                index += 1
    assert index == len(positions)


def test_constellations_are_of_the_published_size() -> None:
    # 24 baseline slots in 6 planes, expandable to 27 (GPS SPS PS); 24 in 3 planes for the others: from memory
    assert [(each.satellites, len(each.planes)) for each in EVERY] == [(27, 6), (24, 3), (24, 3), (24, 3)]
    assert Orbits().owners.count(2) == 24


def test_walker_spreads_nodes_and_arguments() -> None:
    # Galileo OS SDD: 24/3/1, planes 120 degrees apart, satellites 45, and 15 from plane to plane (from memory)
    planes = walker(24, 3, 1, node_deg=317.632, argument_deg=225.153)
    assert [node for node, _ in planes] == pytest.approx([317.632, 77.632, 197.632])
    assert [arguments[0] for _, arguments in planes] == pytest.approx([225.153, 240.153, 255.153])
    assert planes[0][1][1] == pytest.approx(270.153)
    for bad in ((24, 5, 1), (24, 3, 3), (24, 0, 0)):
        with pytest.raises(ValueError, match="no such pattern"):
            walker(*bad, node_deg=0.0, argument_deg=0.0)


@pytest.mark.parametrize("latitude_deg", [0.0, 50.0, 78.0])
@pytest.mark.parametrize("constellation", EVERY, ids=lambda each: each.name)
def test_mean_count_over_the_mask_is_that_of_the_band(constellation: Constellation, latitude_deg: float) -> None:
    """A satellite's argument and longitude are even in the long run, which gives the share of time in view."""
    mask = math.radians(10.0)
    # angle at the Earth's centre from the place to a satellite at the mask, by the sine rule
    reach = math.pi / 2 - mask - math.asin(6371.0e3 * math.cos(mask) / constellation.radius_m)
    argument = (np.arange(2000) + 0.5) / 2000 * math.tau
    below = np.arcsin(math.sin(math.radians(constellation.inclination_deg)) * np.sin(argument))
    phi = math.radians(latitude_deg)
    cosine = (math.cos(reach) - math.sin(phi) * np.sin(below)) / (math.cos(phi) * np.cos(below))
    wanted = constellation.satellites * float(np.mean(np.arccos(np.clip(cosine, -1.0, 1.0)))) / math.pi

    orbits, least = Orbits([constellation]), math.sin(mask)
    counts = []
    dice = random.Random(5)
    for _ in range(1000):
        positions = orbits.positions(START_UNIX_S + dice.uniform(0.0, 365.0 * 86400.0))
        place = Place(latitude_deg, dice.uniform(-180.0, 180.0))
        counts.append(sum(up >= least for *_, up in place.above(positions)))
    # 1000 looks, each with a spread of about 1 satellite: four standard errors
    assert sum(counts) / len(counts) == pytest.approx(wanted, abs=4.0 * statistics.stdev(counts) / math.sqrt(1000))


def test_speed_of_orbits() -> None:
    orbits = Orbits()
    best_s = math.inf
    for turn in range(7):
        start = time.perf_counter()
        for second in range(100):
            orbits.positions(START_UNIX_S + 100.0 * turn + second)
        best_s = min(best_s, (time.perf_counter() - start) / 100)
    print(f"{len(orbits.owners)} satellites placed in {1e6 * best_s:.0f} us")
    assert best_s < 300e-6
