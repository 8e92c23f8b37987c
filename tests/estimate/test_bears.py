"""Downwash against facts.md 5 (momentum theory), limits out of the files, and wind as it is felt now."""

from __future__ import annotations

from typing import Any

import pytest

from tests.estimate.overland import Overland
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import BLIND, US
from watchkeeper.estimate.air.wind import WindEstimate
from watchkeeper.estimate.surroundings.bears import downwash_m_s
from watchkeeper.estimate.surroundings.windnow import WindNow

OX: dict[str, Any] = {
    "rotors": {"count": 6, "diameter": "0.762 m"},
    "mass": {"empty": "35 kg", "maximum": "35 kg"},
    "limits": {"wind": "12 m/s", "gust": "15 m/s", "descent": "2 m/s"},
}


@pytest.mark.parametrize(
    ("rotors", "diameter_m", "velocity"), [(6, 0.762, 7.1554), (8, 0.762, 6.1968), (4, 0.9144, 7.3030)]
)
def test_induced_velocity_of_35_kg(rotors: int, diameter_m: float, velocity: float) -> None:
    # facts.md 5: 6 and 8 x 30 in, 4 x 36 in; sea level
    assert downwash_m_s(35.0, rotors, diameter_m, 1.225) == pytest.approx(velocity, abs=2e-4)


def test_thinner_air_higher_up_is_pushed_down_faster() -> None:
    world = Overland({}, OX)
    world.at(0, 0, 0.0)
    assert world.read("rotor.downwash") == pytest.approx(7.1554, abs=1e-3)
    world.at(0, 0, 1000.0)  # 1 000 m: sqrt(1.225 / 1.11166) = 1.0498 (facts.md 5)
    assert world.read("rotor.downwash") == pytest.approx(7.1554 * 1.0498, abs=2e-3)


@pytest.mark.parametrize("left_out", ["rotors", "mass"])
def test_without_rotors_or_mass_it_is_unknown(left_out: str) -> None:
    world = Overland({}, {key: value for key, value in OX.items() if key != left_out})
    world.at(0, 0)
    assert world.read("rotor.downwash") is BLIND
    assert world.read("limit.descent") == 2.0
    assert (world.read("limit.wind"), world.read("limit.gust")) == (12.0, 15.0)


def test_the_load_counts_and_never_beyond_the_most() -> None:
    file = {**OX, "mass": {"empty": "17.5 kg", "maximum": "35 kg"}}
    for load, kg in (("0 kg", 17.5), ("7 kg", 24.5), ("30 kg", 35.0)):
        world = Overland({"payload": {"mass": load}}, file)
        world.at(0, 0, 0.0)
        assert world.read("rotor.downwash") == pytest.approx(7.1554 * (kg / 35.0) ** 0.5, rel=1e-3)


class Told(WindEstimate):
    """A wind as it is felt, given look by look."""

    def __init__(self) -> None:
        world = Overland({})
        super().__init__(world.flight.aircraft.readings, Motion(), None, None)
        self.given: tuple[float, float, float, float, float] | None = None

    def felt(self) -> tuple[float, float, float, float, float] | None:
        return self.given


def looks(part: WindNow, wind: Told, speeds: list[float], begin_s: float, every_s: float = 1.5) -> list[Any]:
    rows = []
    for i, speed in enumerate(speeds):
        wind.given = (speed, 0.0, 1.0, 0.0, 4.0)
        rows.append(part.run(round((begin_s + i * every_s) * US)))
    return rows


def test_ten_seconds_are_a_mean_and_three_a_gust() -> None:
    wind = Told()
    part = WindNow(wind)
    rows = looks(part, wind, [8.0] * 7, 100.0)
    assert [row[0] for row in rows] == [None] * 7  # nine seconds are no ten
    (row,) = looks(part, wind, [16.0], 110.5)
    assert row[0] == pytest.approx(9.0 + 1 / 7)  # the looks of the last ten seconds: six at 8, one at 16
    assert row[1] == 2.0  # the larger of the two deviations
    assert row[2] == pytest.approx((8 + 8 + 16) / 3)  # 107.5 to 110.5: three looks within three seconds
    rows = looks(part, wind, [8.0] * 45, 112.0)
    assert rows[20][2] == pytest.approx(32 / 3)  # the peak stands for a minute
    assert rows[-1][2] == pytest.approx(8.0)


def test_a_wind_that_is_no_longer_felt_is_unknown_after_ten_seconds_and_a_forecast_is_none() -> None:
    wind = Told()
    part = WindNow(wind)
    assert part.run(100 * US) is None
    looks(part, wind, [14.0] * 12, 100.0)
    wind.given = None
    assert part.run(120 * US) is None  # the last values stand, and grow old
    assert part.run(127 * US) == (None, None, None)
    assert looks(part, wind, [9.0], 130.0)[0][0] is None  # begins anew
    real = Overland({"weather": {"wind": "9 m/s from 90 deg"}})
    real.at(0, 0)
    assert real.read("wind.speed") == 9.0
    assert real.read("wind.now") is BLIND


def test_the_same_wind_seen_twice_is_one_look() -> None:
    wind = Told()
    part = WindNow(wind)
    looks(part, wind, [9.0], 10.0)
    assert part.run(11 * US) is None


def test_airspeed_is_over_ground_until_a_wind_is_known() -> None:
    world = Overland({})
    world.at(0, 0, 50.0, 3.0, 4.0)
    assert world.read("wind.airspeed") == pytest.approx(5.0)
    world.flight.send("WIND", direction=180.0, speed=3.0)  # from behind: blows north
    world.at(0, 0, 50.0, 3.0, 4.0)
    world.at(0, 0, 50.0, 3.0, 4.0)
    assert world.read("wind.airspeed") == pytest.approx(4.0, abs=0.1)
