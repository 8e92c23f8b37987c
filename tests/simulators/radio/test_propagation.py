"""Formulas of propagation against facts.md section 7, the exact Fresnel integrals, and limits."""

from __future__ import annotations

import importlib
import math
from itertools import pairwise
from typing import Any

import pytest

from simulators.radio.propagation import (
    Edge,
    crossover_m,
    deygout_db,
    edge_number,
    free_space_db,
    fresnel_m,
    ground_permittivity,
    knife_edge_db,
    pillar_db,
    reflection,
    roughness_share,
    two_ray_db,
    wavelength_m,
)

SPECIAL: Any = importlib.import_module("scipy.special")  # comes without types


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "loss_db"),
    [(915.0, 1000.0, 91.676), (915.0, 5000.0, 105.656), (2400.0, 1000.0, 100.052), (2400.0, 5000.0, 114.031),
     (433.92, 1000.0, 85.196)],
)  # fmt: skip
def test_free_space(frequency_mhz: float, distance_m: float, loss_db: float) -> None:
    # facts.md section 7, ITU-R P.525: exact to a thousandth; its rounded form 32.4 within 0.05 dB.
    assert free_space_db(frequency_mhz, distance_m) == pytest.approx(loss_db, abs=0.001)
    rounded = 32.4 + 20.0 * math.log10(frequency_mhz) + 20.0 * math.log10(distance_m / 1000.0)
    assert free_space_db(frequency_mhz, distance_m) == pytest.approx(rounded, abs=0.05)


def test_doubling_the_distance_costs_six_decibels() -> None:
    assert free_space_db(915.0, 2000.0) - free_space_db(915.0, 1000.0) == pytest.approx(6.02, abs=0.005)


@pytest.mark.parametrize(("frequency_mhz", "distance_m"), [(915.0, 1465.0), (2400.0, 3842.7)])
def test_crossover_of_two_rays(frequency_mhz: float, distance_m: float) -> None:
    # facts.md section 7: 2 m and 60 m. Within rounding: 2.4 GHz and 2400 MHz, last digit.
    assert crossover_m(frequency_mhz, 2.0, 60.0) == pytest.approx(distance_m, abs=0.1)


@pytest.mark.parametrize("frequency_mhz", [915.0, 2400.0])
def test_the_last_maximum_of_two_rays_is_near_the_crossover(frequency_mhz: float) -> None:
    # With the ground's own coefficient in place of -1 it shifts by a few per cent.
    over = [
        free_space_db(frequency_mhz, float(d)) - two_ray_db(frequency_mhz, float(d), 2.0, 60.0)
        for d in range(200, 12000, 5)
    ]
    maxima = [i for i in range(1, len(over) - 1) if over[i - 1] < over[i] >= over[i + 1]]
    at = 200.0 + 5.0 * maxima[-1]
    assert at == pytest.approx(crossover_m(frequency_mhz, 2.0, 60.0), rel=0.1)
    assert 4.0 < over[maxima[-1]] < 6.02


@pytest.mark.parametrize("frequency_mhz", [433.92, 915.0, 2400.0])
def test_forty_decibels_a_decade_beyond(frequency_mhz: float) -> None:
    # facts.md section 7. Ten times beyond, the ground mirrors all but completely.
    start = 30.0 * crossover_m(frequency_mhz, 2.0, 60.0)
    decade = two_ray_db(frequency_mhz, 10.0 * start, 2.0, 60.0) - two_ray_db(frequency_mhz, start, 2.0, 60.0)
    assert decade == pytest.approx(40.0, abs=0.3)
    # Plane earth: 40 log d - 20 log(h1 h2), whatever the frequency (from memory).
    plane = 40.0 * math.log10(10.0 * start) - 20.0 * math.log10(2.0 * 60.0)
    assert two_ray_db(frequency_mhz, 10.0 * start, 2.0, 60.0) == pytest.approx(plane, abs=0.5)


def test_reflection_by_grazing_angle() -> None:
    # Limits of Fresnel's equation, with the permittivity 15 of medium dry ground.
    lossless = complex(15.0, 0.0)
    assert reflection(0.0, lossless) == pytest.approx(-1.0)
    root = math.sqrt(15.0)
    assert reflection(1.0, lossless) == pytest.approx((15.0 - root) / (15.0 + root))
    brewster = math.atan(1.0 / root)
    assert abs(reflection(math.sin(brewster), lossless)) == pytest.approx(0.0, abs=1e-9)
    permittivity = ground_permittivity(915.0)
    sizes = [abs(reflection(math.sin(math.radians(0.1 * i)), permittivity)) for i in range(901)]
    assert all(0.0 <= size <= 1.0 for size in sizes)
    assert 0.1 * sizes.index(min(sizes)) == pytest.approx(math.degrees(brewster), abs=0.3)


def test_rough_ground_mirrors_less_the_steeper_and_the_shorter_the_wave() -> None:
    assert roughness_share(0.0, 1.0, 0.1) == 1.0
    shares = [roughness_share(0.1, sine, 0.328) for sine in (0.0, 0.1, 0.3, 1.0)]
    assert shares[0] == 1.0
    assert all(a > b for a, b in pairwise(shares))
    assert roughness_share(0.1, 0.1, 0.125) < roughness_share(0.1, 0.1, 0.328)


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "radius_m"),
    [(915.0, 1000.0, 9.05), (915.0, 2000.0, 12.80), (915.0, 5000.0, 20.24), (2400.0, 1000.0, 5.59),
     (2400.0, 2000.0, 7.90), (2400.0, 5000.0, 12.50)],
)  # fmt: skip
def test_first_fresnel_zone(frequency_mhz: float, distance_m: float, radius_m: float) -> None:
    # facts.md section 7: amid the path.
    half = 0.5 * distance_m
    assert fresnel_m(wavelength_m(frequency_mhz), half, half) == pytest.approx(radius_m, abs=0.006)


def test_knife_edge() -> None:
    # facts.md section 7, ITU-R P.526.
    assert knife_edge_db(0.0) == pytest.approx(6.03, abs=0.005)
    assert knife_edge_db(1.0) == pytest.approx(13.93, abs=0.005)
    assert knife_edge_db(-0.78) == pytest.approx(0.0, abs=0.01)
    assert knife_edge_db(-5.0) == 0.0


@pytest.mark.parametrize("nu", [-0.7, -0.5, -0.2, 0.0, 0.3, 1.0, 2.0, 3.0, 5.0, 10.0])
def test_knife_edge_is_near_the_fresnel_integral(nu: float) -> None:
    sine, cosine = SPECIAL.fresnel(nu)
    exact_db = -20.0 * math.log10(math.hypot(0.5 - cosine, 0.5 - sine) / math.sqrt(2.0))
    assert knife_edge_db(nu) == pytest.approx(exact_db, abs=0.2)


def test_sixty_per_cent_of_the_zone_free_costs_nothing() -> None:
    # ITU-R P.530's rule (facts.md section 7, from memory): nu = -0.6 sqrt(2).
    wave_m = wavelength_m(915.0)
    clear = 0.6 * fresnel_m(wave_m, 700.0, 1300.0)
    assert edge_number(-clear, wave_m, 700.0, 1300.0) == pytest.approx(-0.6 * math.sqrt(2.0))
    assert knife_edge_db(edge_number(-clear, wave_m, 700.0, 1300.0)) == 0.0


def test_a_pillar_is_an_edge_if_wide_and_less_if_narrow() -> None:
    assert pillar_db(1.0, 50.0, 50.0) == pytest.approx(knife_edge_db(1.0), abs=0.1)
    losses = [pillar_db(2.0, width, width) for width in (0.0, 0.5, 1.0, 2.0, 5.0, 20.0)]
    assert all(a < b for a, b in pairwise(losses))
    beside = [pillar_db(2.0, 1.0 - off, 1.0 + off) for off in (0.0, 0.5, 1.0, 1.5, 2.0)]
    assert all(a > b for a, b in pairwise(beside[:-1]))
    assert beside[-1] == 0.0


WAVE_M = wavelength_m(915.0)


def ridge(at_m: float, above_m: float) -> Edge:
    return at_m, above_m, -1000.0


def test_one_edge_is_a_knife_edge() -> None:
    nu = edge_number(15.0, WAVE_M, 800.0, 2200.0)
    assert deygout_db([ridge(800.0, 15.0)], WAVE_M, 3000.0) == pytest.approx(knife_edge_db(nu), abs=1e-9)


def test_two_edges_by_deygout() -> None:
    # The construction of Deygout (1966): the main edge over the whole path, the other from its top to the end.
    main = knife_edge_db(edge_number(30.0, WAVE_M, 1000.0, 2000.0))
    part = knife_edge_db(edge_number(20.0 - 15.0, WAVE_M, 1000.0, 1000.0))
    found = deygout_db([ridge(1000.0, 30.0), ridge(2000.0, 20.0)], WAVE_M, 3000.0)
    assert found == pytest.approx(main + (1.0 - math.exp(-main / 6.0)) * part, abs=1e-9)


def test_edges_come_in_smoothly_and_never_help() -> None:
    losses = [
        deygout_db([ridge(1000.0, 20.0), ridge(2200.0, 0.25 * i - 30.0)], WAVE_M, 3000.0) for i in range(280)
    ]
    assert losses[0] == pytest.approx(deygout_db([ridge(1000.0, 20.0)], WAVE_M, 3000.0))
    assert all(b >= a - 0.6 for a, b in pairwise(losses))
    assert max(abs(b - a) for a, b in pairwise(losses)) < 1.0


def test_the_other_way_round_it_is_the_same() -> None:
    edges = [ridge(500.0, 12.0), ridge(1200.0, 30.0), ridge(2500.0, 9.0)]
    back = [(3000.0 - at, above, bare) for at, above, bare in edges]
    assert deygout_db(edges, WAVE_M, 3000.0) == pytest.approx(deygout_db(back, WAVE_M, 3000.0))


def test_bare_ground_near_the_path_is_no_edge() -> None:
    assert deygout_db([(1000.0, -1.0, -1.0), (20.0, -2.0, -2.0)], WAVE_M, 3000.0) == 0.0
    assert deygout_db([], WAVE_M, 3000.0) == 0.0
