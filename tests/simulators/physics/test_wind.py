"""Mean wind: its growth with height against handbooks, its directions, its schedule."""

from __future__ import annotations

import math

import pytest

from simulators.physics.wind import MeanWind


def bearing_from_deg(north_east_up: tuple[float, float, float]) -> float:
    north, east, _ = north_east_up
    return math.degrees(math.atan2(-east, -north)) % 360.0


def steady(speed_m_s: float, from_deg: float, roughness_m: float = 0.03) -> MeanWind:
    return MeanWind([(0.0, speed_m_s, from_deg)], roughness_m=roughness_m)


@pytest.mark.parametrize("height_ft", [10.0, 50.0, 100.0, 500.0, 1000.0])
@pytest.mark.parametrize("roughness_ft", [0.15, 2.0])
def test_shear_of_mil_f_8785c(height_ft: float, roughness_ft: float) -> None:
    # MIL-F-8785C, 3.7.3.2, from memory: u(h) = u20 ln(h / z0) / ln(20 / z0), z0 = 0.15 ft (landing) or 2 ft.
    wind = steady(9.0, 0.0, roughness_ft * 0.3048)
    ratio = wind.speed_m_s(0.0, height_ft * 0.3048) / wind.speed_m_s(0.0, 20.0 * 0.3048)
    assert ratio == pytest.approx(math.log(height_ft / roughness_ft) / math.log(20.0 / roughness_ft), rel=1e-12)


@pytest.mark.parametrize(("height_m", "factor"), [(1.0, 1.18), (2.0, 1.0), (3.0, 0.92), (4.0, 0.87), (10.0, 0.75)])
def test_conversion_factors_over_short_grass(height_m: float, factor: float) -> None:
    # FAO Irrigation and Drainage Paper 56, annex 2, from memory (equation 47, 4.87 / ln(67.8 z - 5.42)),
    # factors to the wind at 2 m over grass of 0.12 m, roughness 0.0148 m, with the ground raised by 0.08 m.
    wind = steady(6.0, 90.0, 0.123 * 0.12)
    raised_m = 0.08
    ratio = wind.speed_m_s(0.0, 2.0 - raised_m) / wind.speed_m_s(0.0, height_m - raised_m)
    assert ratio == pytest.approx(factor, abs=0.006)


def test_near_the_one_seventh_power_law_over_open_country() -> None:
    # Common practice: over open land speed grows with the seventh root of height.
    wind = steady(8.0, 200.0)
    for height_m in (20.0, 50.0, 100.0):
        assert wind.speed_m_s(0.0, height_m) == pytest.approx(8.0 * (height_m / 10.0) ** (1 / 7), rel=0.03)


@pytest.mark.parametrize("roughness_m", [1e-5, 0.0002, 0.03, 1.0])
def test_reference_and_ground(roughness_m: float) -> None:
    wind = MeanWind([(0.0, 7.5, 310.0)], roughness_m=roughness_m, draughts=[(0.0, 1.0)])
    assert wind.speed_m_s(0.0, 10.0) == pytest.approx(7.5, rel=1e-14)
    for height_m in (roughness_m, roughness_m / 2, 0.0, -3.0):
        assert wind.at(0.0, height_m) == (0.0, 0.0, 0.0)
    just_above = wind.at(0.0, roughness_m * 1.001)
    assert math.hypot(*just_above) < 0.01


@pytest.mark.parametrize(
    ("from_deg", "north", "east"),
    [
        (0.0, -1.0, 0.0),
        (90.0, 0.0, -1.0),
        (180.0, 1.0, 0.0),
        (270.0, 0.0, 1.0),
        (-90.0, 0.0, 1.0),
        (450.0, 0.0, -1.0),
    ],
)
def test_a_north_wind_blows_south(from_deg: float, north: float, east: float) -> None:
    found = steady(5.0, from_deg).at(0.0, 10.0)
    assert found == pytest.approx((5.0 * north, 5.0 * east, 0.0), abs=1e-12)


@pytest.mark.parametrize("rate", [0.0, 2.0, -3.5])
def test_turns_with_height(rate: float) -> None:
    wind = MeanWind([(0.0, 6.0, 350.0)], turning_deg_per_100_m=rate)
    for height_m in (10.0, 60.0, 210.0, 710.0):
        turned = (bearing_from_deg(wind.at(0.0, height_m)) - 350.0 + 180.0) % 360.0 - 180.0
        assert turned == pytest.approx(rate * (height_m - 10.0) / 100.0, abs=1e-9)
    assert wind.at(0.0, 1500.0) == wind.at(0.0, 1000.0)


@pytest.mark.parametrize(
    ("first", "second", "halfway"),
    [
        (350.0, 20.0, 5.0),
        (20.0, 350.0, 5.0),
        (359.0, 1.0, 0.0),
        (10.0, 200.0, 285.0),  # 170 degrees by north, not 190 by south
        (200.0, 10.0, 285.0),
        (100.0, 140.0, 120.0),
        (-10.0, 380.0, 5.0),
        (0.0, 180.0, 90.0),  # neither way is shorter: clockwise
        (180.0, 0.0, 270.0),
        (77.0, 77.0, 77.0),
    ],
)
def test_shifts_the_short_way(first: float, second: float, halfway: float) -> None:
    wind = MeanWind([(100.0, 4.0, first), (300.0, 8.0, second)])
    middle = wind.at(200.0, 10.0)
    assert math.hypot(*middle) == pytest.approx(6.0)
    assert math.cos(math.radians(bearing_from_deg(middle) - halfway)) == pytest.approx(1.0, abs=1e-12)


def test_a_wind_that_goes_round_twice() -> None:
    points = [(60.0 * i, 5.0, (100.0 * i) % 360.0) for i in range(9)]
    wind = MeanWind(points)
    for time_s in (0.0, 30.0, 111.0, 222.2, 480.0):
        assert math.cos(math.radians(bearing_from_deg(wind.at(time_s, 10.0)) - time_s / 0.6)) == pytest.approx(1.0)


def test_held_at_both_ends_and_asked_in_any_order() -> None:
    wind = MeanWind(
        [(10.0, 3.0, 90.0), (20.0, 5.0, 90.0), (40.0, 1.0, 90.0)], draughts=[(15.0, 0.0), (35.0, -2.0)]
    )
    expected = {
        -1e9: (3.0, 0.0),
        10.0: (3.0, 0.0),
        15.0: (4.0, 0.0),
        20.0: (5.0, -0.5),
        25.0: (4.0, -1.0),
        35.0: (2.0, -2.0),
        40.0: (1.0, -2.0),
        1e9: (1.0, -2.0),
    }
    for time_s in (*expected, *reversed(expected), 25.0, 1e9, 15.0, -1e9):
        speed, up = expected[time_s]
        # At 10 m a draught has a third of its strength, reckoned from the roughness length.
        assert wind.at(time_s, 10.0) == pytest.approx((0.0, -speed, up * 9.97 / 29.97), abs=1e-12)
        assert wind.at(time_s, 100.0)[2] == pytest.approx(up, abs=1e-12)


@pytest.mark.parametrize(
    ("schedule", "roughness_m", "draughts"),
    [
        ([], 0.03, []),
        ([(0.0, -1.0, 0.0)], 0.03, []),
        ([(0.0, 1.0, 0.0), (0.0, 2.0, 0.0)], 0.03, []),
        ([(5.0, 1.0, 0.0), (0.0, 2.0, 0.0)], 0.03, []),
        ([(0.0, math.nan, 0.0)], 0.03, []),
        ([(math.inf, 1.0, 0.0)], 0.03, []),
        ([(0.0, 1.0, 0.0)], 0.0, []),
        ([(0.0, 1.0, 0.0)], 10.0, []),
        ([(0.0, 1.0, 0.0)], 0.03, [(1.0, 0.0), (1.0, 1.0)]),
        ([(0.0, 1.0, 0.0)], 0.03, [(1.0, math.inf)]),
    ],
)
def test_refuses(
    schedule: list[tuple[float, float, float]], roughness_m: float, draughts: list[tuple[float, float]]
) -> None:
    with pytest.raises(ValueError, match=r"schedule|draughts|roughness"):
        MeanWind(schedule, roughness_m=roughness_m, draughts=draughts)


def test_refuses_a_time_that_is_none() -> None:
    with pytest.raises(ValueError, match="time"):
        steady(5.0, 0.0).at(math.nan, 10.0)
