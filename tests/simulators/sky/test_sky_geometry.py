"""Directions and dilution of precision against hand, geographiclib and numpy."""

import math
import random

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from simulators.sky.geometry import Place, Vector, dilution, elevation_azimuth, level_dilution


def direction(elevation_deg: float, azimuth_deg: float) -> Vector:
    el, az = math.radians(elevation_deg), math.radians(azimuth_deg)
    return math.cos(el) * math.cos(az), math.cos(el) * math.sin(az), math.sin(el)


def look_deg(place: Place, position: Vector) -> tuple[float, float]:
    ((_, north, east, up),) = place.above([position])
    elevation, azimuth = elevation_azimuth((north, east, up))
    return math.degrees(elevation), math.degrees(azimuth)


def test_places_on_the_ellipsoid() -> None:
    # facts section 8: a 6378137, 1/f 298.257223563; so b = 6356752.3142
    assert Place(0.0, 0.0).position_m == pytest.approx((6378137.0, 0.0, 0.0))
    assert Place(0.0, 90.0, 100.0).position_m == pytest.approx((0.0, 6378237.0, 0.0), abs=1e-6)
    assert Place(-90.0, 0.0).position_m == pytest.approx((0.0, 0.0, -6356752.3142), abs=1e-4)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg"), [(0.0, 0.0), (47.4, 8.5), (-41.0, 175.0), (78.0, 15.0)]
)
def test_zenith_is_along_the_normal_of_the_ellipsoid(latitude_deg: float, longitude_deg: float) -> None:
    place = Place(latitude_deg, longitude_deg)
    over = Place(latitude_deg, longitude_deg, 20_200_000.0).position_m
    assert look_deg(place, over)[0] == pytest.approx(90.0, abs=1e-5)
    under = Place(latitude_deg, longitude_deg, -1000.0).position_m
    assert place.above([under]) == []


@pytest.mark.parametrize("azimuth_deg", [3.0, 75.0, 140.0, 211.0, 300.0])
@pytest.mark.parametrize("latitude_deg", [0.0, 47.4, -41.3, 78.0])
def test_azimuth_and_elevation_of_a_near_mark(latitude_deg: float, azimuth_deg: float) -> None:
    """20 km off and 5 km up: the geodesic's azimuth, and the elevation of a circle of the local radius."""
    there = Geodesic.WGS84.Direct(latitude_deg, 11.0, azimuth_deg, 20_000.0)
    mark = Place(there["lat2"], there["lon2"], 5_000.0).position_m
    elevation, azimuth = look_deg(Place(latitude_deg, 11.0), mark)
    assert azimuth == pytest.approx(azimuth_deg, abs=0.001)
    radius_m = 6_371_000.0
    turned = 20_000.0 / radius_m
    rise_m = (radius_m + 5_000.0) * math.cos(turned) - radius_m
    away_m = (radius_m + 5_000.0) * math.sin(turned)
    # the Earth's radius differs by 1 % at most from this, on a drop of 31 m
    assert elevation == pytest.approx(math.degrees(math.atan2(rise_m, away_m)), abs=0.005)


@pytest.mark.parametrize(("latitude_deg", "east_deg"), [(0.0, 30.0), (50.0, -20.0), (50.0, 45.0), (-35.0, 10.0)])
def test_a_geostationary_satellite_stands_where_the_dish_installer_finds_it(
    latitude_deg: float, east_deg: float
) -> None:
    """Elevation atan((cos g - 0.1513) / sin g), azimuth 180 - atan(tan L / sin phi) in the north: of the trade."""
    lam = math.radians(east_deg)
    satellite = (42_164_000.0 * math.cos(lam), 42_164_000.0 * math.sin(lam), 0.0)
    phi = math.radians(latitude_deg)
    gamma = math.acos(math.cos(phi) * math.cos(lam))
    elevation, azimuth = look_deg(Place(latitude_deg, 0.0), satellite)
    wanted = math.degrees(math.atan((math.cos(gamma) - 6378.137 / 42164.0) / math.sin(gamma)))
    # it is for a sphere: the ellipsoid's normal leans by up to 0.19 degrees
    assert elevation == pytest.approx(wanted, abs=0.2)
    side = math.degrees(math.atan2(-math.sin(lam), math.sin(phi) * math.cos(lam)))
    assert azimuth == pytest.approx((180.0 + side) % 360.0, abs=0.2)


# Four satellites, one at the zenith and three on the horizon 120 degrees apart: HDOP 2 / sqrt 3, VDOP 2 / sqrt 3,
# PDOP sqrt(8 / 3), TDOP 1 / sqrt 3, GDOP sqrt 3 (worked by hand; the example of Kaplan and Hegarty, from memory).
def test_dilution_of_the_textbook_four() -> None:
    got = dilution([direction(90.0, 0.0), *(direction(0.0, azimuth) for azimuth in (10.0, 130.0, 250.0))])
    assert got is not None
    assert got.hdop == pytest.approx(1.1547, abs=1e-4)
    assert got.vdop == pytest.approx(1.1547, abs=1e-4)
    assert got.pdop == pytest.approx(1.6330, abs=1e-4)
    assert got.tdop == pytest.approx(0.5774, abs=1e-4)
    assert math.hypot(got.pdop, got.tdop) == pytest.approx(1.7321, abs=1e-4)


# The regular tetrahedron, best of all fours: PDOP 1.5, TDOP 0.5, GDOP 1.581 (Parkinson and Spilker, from memory).
def test_dilution_of_the_regular_tetrahedron() -> None:
    down = -math.degrees(math.asin(1.0 / 3.0))
    got = dilution([direction(90.0, 0.0), *(direction(down, azimuth) for azimuth in (0.0, 120.0, 240.0))])
    assert got is not None
    assert got.pdop == pytest.approx(1.5)
    assert got.tdop == pytest.approx(0.5)
    assert math.hypot(got.pdop, got.tdop) == pytest.approx(1.5811, abs=1e-4)


def test_level_dilution_by_hand() -> None:
    # three on the horizon, height held: sum of squares 1.5 each way, so sqrt(2 / 1.5)
    assert level_dilution([direction(0.0, azimuth) for azimuth in (0.0, 120.0, 240.0)]) == pytest.approx(
        1.1547, abs=1e-4
    )
    assert level_dilution([direction(0.0, 0.0), direction(0.0, 90.0)]) is None
    assert level_dilution([]) is None


def some_sky(seed: int) -> tuple[list[Vector], list[int]]:
    dice = random.Random(seed)
    count = dice.randint(8, 30)
    directions = [
        direction(math.degrees(math.asin(dice.uniform(0.05, 1.0))), dice.uniform(0, 360)) for _ in range(count)
    ]
    return directions, [dice.randrange(3) for _ in range(count)]


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("own_clocks", [False, True])
def test_dilution_is_that_of_the_whole_matrix_inverted_by_numpy(seed: int, own_clocks: bool) -> None:
    directions, clocks = some_sky(seed)
    names = list(dict.fromkeys(clocks)) if own_clocks else [0]
    matrix = np.zeros((len(directions), 3 + len(names)))
    for row, (line, clock) in enumerate(zip(directions, clocks, strict=True)):
        matrix[row, :3] = line
        matrix[row, 3 + (names.index(clock) if own_clocks else 0)] = 1.0
    inverse = np.linalg.inv(matrix.T @ matrix)
    got = dilution(directions, clocks if own_clocks else None)
    assert got is not None
    assert got.hdop == pytest.approx(math.sqrt(inverse[0, 0] + inverse[1, 1]), rel=1e-9)
    assert got.vdop == pytest.approx(math.sqrt(inverse[2, 2]), rel=1e-9)
    assert got.pdop == pytest.approx(math.sqrt(np.trace(inverse[:3, :3])), rel=1e-9)
    assert got.tdop == pytest.approx(math.sqrt(inverse[3, 3]), rel=1e-9)
    level = np.delete(matrix, 2, axis=1)
    flat = np.linalg.inv(level.T @ level)
    assert level_dilution(directions, clocks if own_clocks else None) == pytest.approx(
        math.sqrt(flat[0, 0] + flat[1, 1]), rel=1e-9
    )


def test_too_few_or_too_alike_fix_nothing() -> None:
    assert dilution([]) is None
    assert dilution([direction(30.0, azimuth) for azimuth in (0.0, 120.0, 240.0)]) is None
    # all on one cone about the zenith: up and clock cannot be told apart
    assert dilution([direction(40.0, azimuth) for azimuth in range(0, 360, 30)]) is None
    # five, but two clocks need five unknowns and the second clock's only satellite adds nothing
    directions, _ = some_sky(3)
    assert dilution(directions[:4], [0, 0, 0, 1]) is None


def test_a_clock_more_never_helps_and_its_only_satellite_adds_nothing() -> None:
    for seed in range(20):
        directions, clocks = some_sky(seed)
        one, own = dilution(directions), dilution(directions, clocks)
        assert one is not None
        assert own is not None
        assert own.pdop >= one.pdop - 1e-12
        alone = dilution([*directions, direction(25.0, 77.0)], [*clocks, 9])
        assert alone is not None
        assert alone.pdop == pytest.approx(own.pdop, rel=1e-12)


def test_a_place_that_is_none_is_refused() -> None:
    for latitude_deg, longitude_deg in ((91.0, 0.0), (math.nan, 0.0), (0.0, math.inf)):
        with pytest.raises(ValueError, match="no place"):
            Place(latitude_deg, longitude_deg)
