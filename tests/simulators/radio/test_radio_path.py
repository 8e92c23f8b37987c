"""The mean path: level ground by two rays, antennas that lean and turn, a ridge and a house in between."""

from __future__ import annotations

import math
import statistics
from itertools import pairwise

import pytest

from simulators.radio.antenna import DIPOLE_DBI, BodyShadow, Panel, dipole_shape
from simulators.radio.model import RadioModel
from simulators.radio.path import Path
from simulators.radio.propagation import crossover_m, edge_number, free_space_db, knife_edge_db, two_ray_db
from simulators.site.ground import Ground, Hill, Obstacle, Ridge

NO_SHADOW = BodyShadow(depth_db=0.0)
MODEL = RadioModel(shadow=NO_SHADOW, roughness_m=0.0)
LOSSES_DB = MODEL.aircraft_loss_db + MODEL.station_loss_db


def gain(
    path: Path, north: float, height: float, heading: float = 0.0, tilt: float = 0.0, east: float = 0.0
) -> float:
    return path.gain_db(north, east, height, heading, tilt, 0.0)


@pytest.mark.parametrize("distance_m", [1000.0, 2000.0, 5000.0, 20000.0])
def test_over_level_ground_it_is_two_rays_and_two_dipoles(distance_m: float) -> None:
    # Both rays leave within 4 degrees of broadside, where a dipole has lost less than 0.1 dB.
    expected = 2.0 * DIPOLE_DBI - LOSSES_DB - two_ray_db(915.0, distance_m, 2.0, 60.0)
    assert gain(Path(MODEL, Ground()), distance_m, 60.0) == pytest.approx(expected, abs=0.2)
    decade = gain(Path(MODEL, Ground()), 50_000.0, 60.0) - gain(Path(MODEL, Ground()), 500_000.0, 60.0)
    assert decade == pytest.approx(40.0, abs=0.3)


def test_all_round_it_is_the_same() -> None:
    path = Path(MODEL, Ground())
    for azimuth in range(0, 360, 15):
        north, east = 800.0 * math.cos(math.radians(azimuth)), 800.0 * math.sin(math.radians(azimuth))
        assert gain(path, north, 40.0, east=east) == pytest.approx(gain(path, 800.0, 40.0))


def test_overhead_is_in_the_null_of_both_antennas() -> None:
    path = Path(MODEL, Ground())
    aside, overhead = gain(path, 100.0, 2.0), gain(path, 0.0, 102.0)
    assert aside - overhead > 30.0


def test_a_lean_towards_the_station_or_away_moves_the_null() -> None:
    path = Path(RadioModel(shadow=NO_SHADOW, roughness_m=10.0), Ground())  # so rough that one ray is left
    north, height = 100.0 * math.sin(0.5), 2.0 + 100.0 * math.cos(0.5)
    level = gain(path, north, height)
    # Leaning its rotors' axis 0.3 rad towards the north opens the angle to the station, 0.5 rad, to 0.8.
    towards, away = gain(path, north, height, tilt=math.sin(0.3)), gain(path, north, height, tilt=-math.sin(0.3))
    shapes = [20.0 * math.log10(dipole_shape(math.cos(angle))) for angle in (0.2, 0.5, 0.8)]
    assert sorted((towards - level, away - level)) == pytest.approx(
        [shapes[0] - shapes[1], shapes[2] - shapes[1]], abs=0.05
    )


def test_the_body_hides_the_station_when_it_is_behind() -> None:
    path = Path(RadioModel(shadow=BodyShadow(depth_db=7.0)), Ground())
    # North of the station with the nose to the south, the station is ahead; flying out, behind.
    inbound, outbound = gain(path, 3000.0, 30.0, math.pi), gain(path, 3000.0, 30.0, 0.0)
    assert inbound - outbound == pytest.approx(7.0, abs=0.05)
    assert inbound - gain(path, 3000.0, 30.0, 0.5 * math.pi) == pytest.approx(0.0, abs=1e-9)
    assert gain(path, 30.0, 60.0, math.pi) == pytest.approx(
        gain(path, 30.0, 60.0, 0.0)
    )  # from above, past the body


def test_a_panel_reaches_further_where_it_points() -> None:
    panel = Path(RadioModel(shadow=NO_SHADOW, panel=Panel(gain_dbi=9.0, elevation_rad=0.0)), Ground())
    plain = Path(RadioModel(shadow=NO_SHADOW), Ground())
    assert gain(panel, 3000.0, 40.0) - gain(plain, 3000.0, 40.0) == pytest.approx(9.0 - DIPOLE_DBI, abs=0.1)
    assert gain(panel, -3000.0, 40.0) - gain(plain, -3000.0, 40.0) == pytest.approx(
        9.0 - 20.0 - DIPOLE_DBI, abs=0.1
    )


@pytest.mark.parametrize("height_m", [20.0, 40.0, 70.0, 200.0])
def test_a_ridge_takes_what_the_knife_edge_says(height_m: float) -> None:
    # ITU-R P.526, facts.md section 7: crest 60 m high at 1 km, aircraft at 2.5 km, station's antenna at 2 m.
    free = Path(MODEL, Ground())
    behind = Path(MODEL, Ground(ridges=(Ridge(((1000.0, -900.0), (1000.0, 900.0)), 60.0, 40.0),)))
    line = 2.0 + (height_m - 2.0) * 1000.0 / 2500.0
    nu = edge_number(60.0 - line, behind.wave_m, 1000.0, 1500.0)
    lost = gain(free, 2500.0, height_m) - gain(behind, 2500.0, height_m)
    assert behind.blocked_db == pytest.approx(knife_edge_db(nu), abs=0.1)
    assert lost == pytest.approx(behind.blocked_db)
    assert (lost > 15.0) == (height_m < 200.0)


def test_it_comes_into_the_shadow_smoothly() -> None:
    path = Path(
        MODEL,
        Ground((Hill((900.0, 80.0), 50.0, 120.0),), (Ridge(((1500.0, -900.0), (1500.0, 900.0)), 40.0, 80.0),)),
    )
    lost = []
    for i in range(400):
        gain(path, 2500.0, 150.0 - 0.35 * i)
        lost.append(path.blocked_db)
    assert lost[0] == 0.0
    assert lost[-1] > 25.0
    assert max(abs(b - a) for a, b in pairwise(lost)) < 1.0


def test_level_ground_and_far_hills_take_nothing() -> None:
    path = Path(MODEL, Ground((Hill((900.0, 2000.0), 50.0, 120.0),)))
    for height in (0.3, 2.0, 60.0):
        assert gain(path, 3000.0, height) == gain(Path(MODEL, Ground()), 3000.0, height)
        assert path.blocked_db == 0.0


def test_a_house_shadows_a_strip() -> None:
    path = Path(MODEL, Ground(obstacles=(Obstacle((200.0, 0.0), 30.0, 12.0),)))
    lost = []
    for i in range(101):
        gain(path, 400.0, 12.0, east=2.0 * i)
        lost.append(path.blocked_db)
    assert lost[0] > 10.0
    assert lost[0] == max(lost)
    assert lost[-1] == 0.0
    assert max(abs(b - a) for a, b in pairwise(lost)) < 3.0


def test_a_station_on_a_hill_has_free_space_before_it() -> None:
    on_hill = Ground((Hill((0.0, 0.0), 40.0, 300.0),))
    assert Path(MODEL, on_hill).station_m == pytest.approx(42.0)

    def mean_db(ground: Ground) -> float:  # over 4 km, since two rays have their ups and downs
        path = Path(MODEL, ground)
        return statistics.mean(gain(path, 6000.0 + 20.0 * i, 60.0) for i in range(200))

    # Low over level ground it is plane earth; 20 times as high, short of the crossover, free space on average.
    ends_db = 2.0 * DIPOLE_DBI - LOSSES_DB
    free = statistics.mean(ends_db - free_space_db(915.0, 6000.0 + 20.0 * i) for i in range(200))
    assert crossover_m(915.0, 42.0, 60.0) > 30_000.0
    assert mean_db(on_hill) == pytest.approx(free, abs=1.0)
    plane = statistics.mean(
        ends_db - 40.0 * math.log10(6000.0 + 20.0 * i) + 20.0 * math.log10(120.0) for i in range(200)
    )
    assert mean_db(Ground()) == pytest.approx(plane, abs=0.5)


def test_standing_or_flying_on_a_hill_is_not_behind_it() -> None:
    ground = Ground((Hill((1500.0, 0.0), 60.0, 200.0),))
    path = Path(MODEL, ground)
    gain(path, 1500.0, 60.0 + 10.0)
    assert path.blocked_db < 1.0
    gain(path, 1500.0, 60.3)
    assert path.blocked_db < 10.0
