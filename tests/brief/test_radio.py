"""The telemetry radio against ITU-R P.525, P.526, P.530 and two-ray values (facts section 7)."""

from __future__ import annotations

import math
import time
from typing import Any

import pytest

from tests.brief.groundwork import HOME, post, said, sortie
from tests.brief.groundwork import at as placed
from watchkeeper.brief.findings import RadioToday
from watchkeeper.brief.radio import (
    crossover_m,
    edge_parameter,
    free_space_db,
    fresnel_m,
    knife_edge_db,
    path_loss_db,
    radio_at,
    why_no_radio,
)

WAVE_915_M = 0.327642
"""299.792458 / 915."""
EAST = 90.0


def radio(distance_m: float, height_m: float, budget: str | None = None, /, **keys: Any) -> RadioToday:
    named = {"kind": "sik", "frequency": "915 MHz"} | ({} if budget is None else {"budget": budget})
    found = radio_at(sortie(radio=named, **keys), HOME, "point 1", distance_m, EAST, height_m)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "expected_db"),
    [
        (915.0, 1000.0, 91.676),
        (915.0, 5000.0, 105.656),
        (2400.0, 1000.0, 100.052),
        (2400.0, 5000.0, 114.031),
        (433.92, 1000.0, 85.196),
    ],
)
def test_free_space_is_that_of_p525(frequency_mhz: float, distance_m: float, expected_db: float) -> None:
    assert free_space_db(frequency_mhz, distance_m) == pytest.approx(expected_db, abs=0.001)
    assert free_space_db(frequency_mhz, 2 * distance_m) - expected_db == pytest.approx(6.0206, abs=0.001)


@pytest.mark.parametrize(("frequency_mhz", "expected_m"), [(915.0, 1465.0), (2400.0, 3842.7)])
def test_two_ray_crossover(frequency_mhz: float, expected_m: float) -> None:
    assert crossover_m(frequency_mhz, 2.0, 60.0) == pytest.approx(expected_m, abs=0.1)


def test_beyond_the_crossover_a_decade_costs_40_db() -> None:
    # Heights alike, so that way and ground distance are the same: crossover 4 x 2 x 2 / 0.327642 = 48.8 m.
    near, far = path_loss_db(915.0, 100.0, 2.0, 2.0), path_loss_db(915.0, 1000.0, 2.0, 2.0)
    assert far - near == pytest.approx(40.0)
    # At the crossover it begins at what free space has there.
    at_m = crossover_m(915.0, 2.0, 60.0)
    slant_m = math.hypot(at_m, 58.0)
    assert path_loss_db(915.0, at_m * 1.000001, 2.0, 60.0) == pytest.approx(
        free_space_db(915.0, slant_m), abs=1e-4
    )
    assert path_loss_db(915.0, 1000.0, 2.0, 60.0) == pytest.approx(free_space_db(915.0, math.hypot(1000, 58)))
    # Smooth plane ground costs 40 log d - 20 log(ht hr) (Rappaport, from memory). With the crossover at 4 ht hr /
    # lambda, where the ground first reaches into the Fresnel zone, it is 20 log pi more.
    plane_db = 40 * math.log10(5000.0) - 20 * math.log10(2.0 * 60.0)
    found_db = path_loss_db(915.0, 5000.0, 2.0, 60.0)
    assert found_db == pytest.approx(plane_db + 20 * math.log10(math.pi), abs=0.001)


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "expected_m"),
    [
        (915.0, 1000.0, 9.05),
        (915.0, 2000.0, 12.80),
        (915.0, 5000.0, 20.24),
        (2400.0, 1000.0, 5.59),
        (2400.0, 2000.0, 7.90),
        (2400.0, 5000.0, 12.50),
    ],
)
def test_fresnel_radius_mid_path(frequency_mhz: float, distance_m: float, expected_m: float) -> None:
    half_m = distance_m / 2
    assert fresnel_m(299.792458 / frequency_mhz, half_m, half_m) == pytest.approx(expected_m, abs=0.005)


@pytest.mark.parametrize(("v", "expected_db"), [(0.0, 6.03), (1.0, 13.93), (-0.78, 0.0), (-3.0, 0.0)])
def test_knife_edge_is_that_of_p526(v: float, expected_db: float) -> None:
    assert knife_edge_db(v) == pytest.approx(expected_db, abs=0.005)


def test_edge_parameter_by_its_definition() -> None:
    # P.526: v = h sqrt(2 / lambda (1 / d1 + 1 / d2)), h above the line. 5 m above it, 300 m and 700 m away.
    v = 5.0 * math.sqrt(2.0 / WAVE_915_M * (1 / 300 + 1 / 700))
    assert edge_parameter(-5.0 / fresnel_m(WAVE_915_M, 300.0, 700.0)) == pytest.approx(v)
    assert edge_parameter(0.6) < -0.78  # with 60 % free an edge costs nothing (P.530's rule)


def test_level_ground_is_least_clear_where_it_reflects() -> None:
    # The share free of level ground is least where the heights are as the ways to it, and there it is
    # sqrt(4 ht hr / (lambda d)): 1 at the crossover, here by trying every metre of the way.
    found = radio(5000.0, 60.0)
    shares = [
        (2 + 58 * along / 5000) / math.sqrt(WAVE_915_M * along * (5000 - along) / 5000) for along in range(1, 5000)
    ]
    assert found.clear_share == pytest.approx(min(shares), rel=1e-4)
    assert found.clear_share == pytest.approx(math.sqrt(1465.0 / 5000.0), rel=1e-4)
    assert found.clear_over == "level ground at home's height"
    assert radio(1465.0, 60.0).clear_share == pytest.approx(1.0, rel=1e-4)
    said(found.remarks, "caution", "54 % of the first Fresnel zone is free over level ground")
    assert not [one for one in radio(1465.0, 60.0).remarks if one.weight == "caution"]


def test_mast_mid_path() -> None:
    # 1 km, antennas at 2 and 60 m: the line is at 31 m half way, the zone's radius 9.05 m. A mast of 20 m leaves
    # 11 m, 1.215 of it: level ground, where 1.21 are free, is the less clear. One of 27 m leaves 4 m: 0.442,
    # v = -0.625, J = 6.9 + 20 log(sqrt(0.725^2 + 1) - 0.725) = 1.05 dB.
    tall = radio(1000.0, 60.0, "120 dB", obstacles=[post("mast", 500, EAST, "27 m")])
    assert tall.clear_share == pytest.approx(4 / 9.05, abs=0.002)
    assert tall.fresnel_m == pytest.approx(9.05, abs=0.005)
    assert tall.clear_over == "mast (27 m)"
    free_db = 91.676 + 20 * math.log10(math.hypot(1000, 58) / 1000)
    assert tall.path_loss_db == pytest.approx(free_db + 1.05, abs=0.01)
    assert tall.margin_db == pytest.approx(120 - free_db - 1.05, abs=0.01)
    # 27 + 0.6 x 9.05 = 32.43 m half way: from 2 + 2 x 30.43 = 62.86 m up it is free enough.
    remark = said(
        tall.remarks, "caution", "44 % of the first Fresnel zone is free over mast (27 m); 60 % is asked for"
    )
    assert "fly there at 63 m or more" in remark.do
    assert radio(1000.0, 62.9, obstacles=[post("mast", 500, EAST, "27 m")]).clear_share > 0.6
    assert radio(1000.0, 62.8, obstacles=[post("mast", 500, EAST, "27 m")]).clear_share < 0.6


def test_grazing_costs_six_db() -> None:
    # The top on the line: v = 0, 6.03 dB.
    grazed = radio(1000.0, 60.0, "120 dB", obstacles=[post("mast", 500, EAST, "31 m")])
    assert grazed.path_loss_db - radio(1000.0, 60.0).path_loss_db == pytest.approx(6.03, abs=0.01)


def test_blocked() -> None:
    # A hall of 50 m: 19 m above the line, 2.1 radii: v = 2.97,
    # J = 6.9 + 20 log(sqrt(2.87^2 + 1) + 2.87) = 22.3 dB.
    found = radio(1000.0, 60.0, "120 dB", obstacles=[post("hall", 500, EAST, "50 m")])
    assert found.clear_share == pytest.approx(-19 / 9.05, abs=0.005)
    assert found.path_loss_db - radio(1000.0, 60.0).path_loss_db == pytest.approx(22.3, abs=0.1)
    said(found.remarks, "caution", "From point 1, hall (50 m) stands between the antennas")
    assert "and 22.3 dB over the edge in the way" in found.margin_how


@pytest.mark.parametrize(
    ("distance_m", "bearing_deg", "radius", "counts"),
    [
        (500.0, 270.0, "0 m", False),  # behind
        (1200.0, 90.0, "0 m", False),  # beyond
        (1200.0, 90.0, "210 m", True),  # reaches over the way's end
        (500.0, 95.0, "0 m", False),  # 43.6 m beside, radius 9 m
        (500.0, 95.0, "60 m", True),
    ],
)
def test_only_what_stands_near_the_way_counts(
    distance_m: float, bearing_deg: float, radius: str, counts: bool
) -> None:
    found = radio(1000.0, 60.0, obstacles=[post("hall", distance_m, bearing_deg, "80 m", radius)])
    assert (found.clear_over == "hall (80 m)") is counts


def test_beside_the_way_the_gap_counts() -> None:
    # 500 m at 91 degrees is 8.73 m beside the way; 5 m of that may be wrong. 3.73 m are 0.412 of 9.05 m.
    found = radio(1000.0, 60.0, obstacles=[post("mast", 500, 91, "80 m")])
    assert found.clear_share == pytest.approx(3.73 / 9.05, abs=0.003)
    # As far above it as beside it: the distance counts. 31 - 27.27 = 3.73 m: 5.27 m, 0.583.
    found = radio(1000.0, 60.0, obstacles=[post("mast", 500, 91, "27.27 m")])
    assert found.clear_share == pytest.approx(5.275 / 9.05, abs=0.003)
    assert radio(1000.0, 60.0, obstacles=[post("mast", 500, 90.5, "80 m")]).clear_share < -5.0  # 4.4 m beside


def test_wide_obstacle_counts_where_it_is_least_clear() -> None:
    # From 200 to 800 m: its near end, where the line is at 2 + 58 x 0.2 = 13.6 m, and 7.24 m the radius.
    found = radio(1000.0, 60.0, obstacles=[post("wood", 500, EAST, "20 m", "300 m")])
    assert found.clear_share == pytest.approx((13.6 - 20) / 7.24, abs=0.002)


def test_rise_of_ground_counts_to_either_side() -> None:
    rise = {"at": placed(500, 100), "height": "40 m"}  # 86.8 m beside
    found = radio(1000.0, 60.0, ground=[rise])
    assert found.clear_over == "ground at 500 m, 100 deg (40 m)"
    far = {"at": placed(500, 106), "height": "40 m"}  # 138 m beside
    assert radio(1000.0, 60.0, ground=[far]).clear_over == "level ground at home's height"


def test_margin_under_the_allowance_for_fading_is_a_caution() -> None:
    # 1 km at 60 m: 91.69 dB.
    thin = radio(1000.0, 60.0, "101 dB")
    assert thin.margin_db == pytest.approx(9.31, abs=0.01)
    said(thin.remarks, "caution", "margin of 9 dB, less than 10 dB for fading")
    assert radio(1000.0, 60.0, "102 dB").remarks == ()
    assert thin.margin_how == "budget of 101 dB less 91.7 dB of path"


def test_without_a_budget_it_says_how_to_name_it() -> None:
    found = radio(1000.0, 60.0)
    assert found.margin_db is None
    for words in (found.margin_how, said(found.remarks, "advisory", "budget is not named").do):
        for part in ("radio.budget", "power", "gains", "sensitivity", "makers' data"):
            assert part in words


@pytest.mark.parametrize(
    ("named", "words"),
    [
        ({}, "No radio frequency is named"),
        ({"kind": "sik"}, "No radio frequency is named"),
        ({"control": "network"}, "goes over a network"),
        ({"kind": "mobile network", "frequency": "800 MHz"}, "goes over a network"),
        ({"kind": "LTE", "frequency": "800 MHz", "budget": "120 dB"}, "goes over a network"),
    ],
)
def test_nothing_to_work_out_says_why(named: dict[str, str], words: str) -> None:
    given = sortie(radio=named)
    assert radio_at(given, HOME, "point 1", 1000.0, EAST, 60.0) is None
    why = why_no_radio(given)
    assert why is not None
    assert words in why.what


def test_telemetry_radio_counts_though_control_goes_another_way() -> None:
    for control, words in (("network", "over a network"), ("another", "over another radio")):
        given = sortie(radio={"kind": "sik", "frequency": "915 MHz", "control": control, "budget": "140 dB"})
        assert why_no_radio(given) is None
        found = radio_at(given, HOME, "point 1", 1000.0, EAST, 60.0)
        assert found is not None
        said(found.remarks, "advisory", f"Control goes {words}")


@pytest.mark.parametrize(
    ("distance_m", "height_m"), [(0.0, 0.0), (0.0, 2.0), (0.0, 60.0), (1.0, 60.0), (1e6, 60.0), (500.0, -300.0)]
)
@pytest.mark.parametrize("around", [[], [post("hall", 0, 0, "20 m", "5000 m"), post("tip", 0, 0, "-20 m")]])
def test_odd_places_give_numbers(distance_m: float, height_m: float, around: list[Any]) -> None:
    found = radio(distance_m, height_m, "120 dB", obstacles=around)
    assert found.margin_db is not None
    for value in (found.path_loss_db, found.margin_db, found.fresnel_m, found.clear_share):
        assert math.isfinite(value)
    assert found.path_loss_db > 0.0
    if around and distance_m > 10.0:
        assert found.clear_share < 0.0


def test_ten_thousand_obstacles_in_time() -> None:
    one = sortie(radio={"frequency": "915 MHz"}, obstacles=[post("mast", 500, EAST, "31 m", "3 m")])
    many = one.model_copy(update={"obstacles": one.obstacles * 10_000})
    begun = time.perf_counter()
    found = radio_at(many, HOME, "point 1", 1000.0, EAST, 60.0)
    assert time.perf_counter() - begun < 3.0
    assert found == radio_at(one, HOME, "point 1", 1000.0, EAST, 60.0)
