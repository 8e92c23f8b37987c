"""Fading by distance, by heading, overhead, behind a hill, in noise: told apart on made-up flights.

Outside values: ITU-R P.525 (20 dB a decade), the half-wave dipole of any handbook on antennas.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import BLIND, Readings, Stream
from watchkeeper.estimate.radio.fading import MARGIN_FLOOR_DB, NOT_FADING_S, RadioTrend, fades_in_s, lasts_s
from watchkeeper.estimate.radio.pattern import range_m, spreading_db, upright_db
from watchkeeper.estimate.radio.track import sector_of

S = 1_000_000
QUIET_DB = 20.0
STEADY_S = NOT_FADING_S - 6
"""It runs down for three seconds, six in a silence, before it is worked out anew."""


@dataclass
class Seen:
    """What a flight is at one second: place in m from home, heading in deg, losses in dB; None is not told."""

    away_m: float | None = 200.0
    height_m: float | None = 40.0
    heading_deg: float = 0.0
    lost_db: float = 0.0
    noise_db: float = 0.0


class World:
    """A radio whose margin is 90 dB at 1 m in free space, told once a second with half a dB of scatter."""

    def __init__(self, *, scatter_db: float = 0.5, heading: bool = True, source: str = "a") -> None:
        self.readings = Readings()
        self.heading_deg = 0.0
        self.heading = heading
        self.source = source
        self.now_us = 100 * S
        self.chance = random.Random(4)
        self.scatter_db = scatter_db
        self.radio, self.place = Stream(), Stream()
        self.part = RadioTrend(
            self.readings,
            lambda: (math.radians(self.heading_deg), self.now_us if self.heading else 0),
            lambda: self.source,
        )
        self.values: dict[str, list[float]] = {}

    def second(self, seen: Seen) -> None:
        self.now_us += S
        put = self.readings.put
        self.heading_deg = seen.heading_deg
        if seen.away_m is not None and seen.height_m is not None:
            self.place.mark(self.now_us)
            put(INDEX["position.home_distance"], seen.away_m, self.place)
            put(INDEX["position.home_bearing"], 180.0, self.place)  # it is north of home
            put(INDEX["position.height"], seen.height_m, self.place)
        path_db = spreading_db(range_m(seen.away_m or 0.0, seen.height_m or 0.0)) + seen.lost_db
        signal_db = 110.0 - path_db + self.chance.gauss(0, self.scatter_db)
        self.radio.mark(self.now_us)
        put(INDEX["link.margin"], signal_db - QUIET_DB - seen.noise_db, self.radio)
        put(INDEX["radio.signal"], signal_db, self.radio)
        put(INDEX["radio.noise"], QUIET_DB, self.radio)
        put(INDEX["radio.noise_far"], QUIET_DB + seen.noise_db, self.radio)
        told = self.part.run(self.now_us)
        if told is not None:
            self.part.stream.mark(self.now_us)
            for index, value in zip(self.part.indexes, told, strict=True):
                put(index, value, self.part.stream)
        for name in ("margin_trend", "fades_in", "shortfall", "scatter", "noise_rise", "margin_steady"):
            value = self.readings.read(INDEX[f"link.{name}"], self.now_us)
            if value is not BLIND:
                self.values.setdefault(name, []).append(value)

    def fly(self, seconds: int, of: Callable[[int], Seen]) -> None:
        for second in range(seconds):
            self.second(of(second))

    def last(self, name: str) -> float:
        return self.values[name][-1]


def test_free_space_by_the_recommendation() -> None:
    # Facts section 7: doubling the distance costs 6.02 dB; 1 to 5 km at 915 MHz 91.676 to 105.656 dB
    assert spreading_db(2000) - spreading_db(1000) == pytest.approx(6.0206, abs=1e-3)
    assert spreading_db(5000) - spreading_db(1000) == pytest.approx(105.656 - 91.676, abs=2e-3)


def test_two_upright_antennas_by_the_handbook() -> None:
    # Half-wave dipole: half power at 39 degrees off level (beam width 78 degrees; Balanis, Antenna Theory, 4.6).
    elevation = math.radians(39)
    both_db = upright_db(100 * math.cos(elevation), 100 * math.sin(elevation))
    assert both_db == pytest.approx(2 * -3.01, abs=0.1)
    assert upright_db(100, 0) == 0
    assert upright_db(0, 100) == -30
    assert upright_db(0, 0) == 0


def test_outward_flight_lasts_as_long_as_the_distance_says() -> None:
    world = World(scatter_db=0.0)
    world.fly(60, lambda s: Seen(away_m=200 + 5.0 * s))
    # At the end 500 m away; 20 log10 of the distance grows by the margin that is left over the floor.
    end_m = range_m(495.0, 40.0)
    left_db = 90 - spreading_db(end_m) - MARGIN_FLOOR_DB
    expected_s = end_m * (10 ** (left_db / 20) - 1) / 5.0
    assert world.last("fades_in") == pytest.approx(min(expected_s, NOT_FADING_S), rel=0.05)
    assert world.last("margin_trend") == pytest.approx(-60 * 20 / math.log(10) * 5 / end_m, rel=0.05)


def test_outward_flight_near_the_end_of_the_range() -> None:
    world = World(scatter_db=0.0)
    world.fly(60, lambda s: Seen(away_m=4000 + 10.0 * s, height_m=60))
    end_m = range_m(4590.0, 60.0)
    left_db = 90 - spreading_db(end_m) - MARGIN_FLOOR_DB
    expected_s = end_m * (10 ** (left_db / 20) - 1) / 10.0
    assert 0 < expected_s < NOT_FADING_S
    assert world.last("fades_in") == pytest.approx(expected_s, rel=0.05)


def test_when_distance_stops_growing_nothing_fades() -> None:
    world = World()
    world.fly(60, lambda s: Seen(away_m=100 + 8.0 * s))
    world.fly(30, lambda _: Seen(away_m=572))
    assert world.last("fades_in") > STEADY_S
    assert world.last("margin_trend") == pytest.approx(0, abs=2)


def test_what_is_lost_beside_distance_fades_by_time() -> None:
    world = World()
    world.fly(40, lambda _: Seen(away_m=300))
    world.fly(60, lambda s: Seen(away_m=300, lost_db=0.4 * s))
    assert world.last("margin_trend") == pytest.approx(-24, abs=3)
    left_db = 90 - spreading_db(range_m(300, 40)) - 0.4 * 55 - MARGIN_FLOOR_DB
    assert world.last("fades_in") == pytest.approx(left_db / 0.4, abs=8)


def turning(s: int) -> Seen:
    """Hovers, looks out for half a minute, then turns and has an antenna's null of 14 dB towards the station."""
    return Seen(away_m=107, height_m=100, heading_deg=0 if s < 40 else 90, lost_db=0 if s < 40 else 14)


def test_a_null_turned_to_the_station_is_no_fade() -> None:
    world = World()
    world.fly(100, turning)
    assert min(world.values["fades_in"]) > STEADY_S
    assert max(world.values["shortfall"]) < 10  # what a body may take is allowed for


def test_the_same_without_a_heading_is_one() -> None:
    world = World(heading=False)
    world.fly(100, turning)
    assert min(world.values["fades_in"]) < 120


def test_turning_all_the_while_under_a_ragged_pattern_is_no_fade() -> None:
    world = World(scatter_db=1.0)
    pattern = [0, 3, 9, 12, 5, 1, 7, 2]
    world.fly(180, lambda s: Seen(heading_deg=s * 15 % 360, lost_db=pattern[s * 15 // 45 % 8]))
    assert min(world.values["fades_in"]) > STEADY_S


def test_turning_all_the_while_and_fading_is_one() -> None:
    world = World(scatter_db=1.0)
    pattern = [0, 3, 9, 12, 5, 1, 7, 2]
    world.fly(
        150,
        lambda s: Seen(
            heading_deg=s * 15 % 360, lost_db=pattern[s * 15 // 45 % 8] + 0.4 * max(0, s - 60), height_m=60
        ),
    )
    assert world.last("fades_in") < 90


def climbing(s: int, *, upright: bool) -> Seen:
    """Climbs straight up over home, 10 m aside, over antennas that stand upright or over none that do."""
    height_m = 5 + 2.0 * s
    return Seen(away_m=10, height_m=height_m, lost_db=-upright_db(10, height_m) if upright else 0.0)


@pytest.mark.parametrize("upright", [True, False])
def test_climbing_straight_up_is_no_fade(upright: bool) -> None:
    world = World()
    world.fly(55, lambda s: climbing(s, upright=upright))
    assert min(world.values["fades_in"]) > 150  # the distance grows by 2 m/s with what the null leaves; no more
    if upright:
        assert world.values["margin_steady"][0] - world.last("margin_steady") > 20  # though much of it went


def test_behind_a_hill() -> None:
    world = World(scatter_db=1.5)
    world.fly(60, lambda s: Seen(away_m=100 + 5.0 * s))
    assert max(world.values["shortfall"]) < 6  # P.526: 6 dB at grazing is what a rule has to leave out
    world.fly(15, lambda _: Seen(away_m=400, lost_db=20))
    assert world.last("shortfall") == pytest.approx(20, abs=4)
    assert world.last("shortfall") > 3 * world.last("scatter")


def test_noise_at_the_far_end_is_a_rise_and_nothing_in_the_way() -> None:
    world = World()
    world.fly(60, lambda _: Seen())
    assert world.last("noise_rise") == pytest.approx(0, abs=0.1)
    world.fly(12, lambda _: Seen(noise_db=15))
    assert world.last("noise_rise") == pytest.approx(15, abs=0.1)
    assert world.last("shortfall") < 3


def test_without_a_place_time_alone_counts() -> None:
    world = World(scatter_db=0.0)
    world.fly(60, lambda s: Seen(away_m=None, height_m=None, lost_db=20 + 0.2 * s))
    left_db = world.last("margin_steady") - MARGIN_FLOOR_DB
    assert world.last("margin_trend") == pytest.approx(-12)
    assert world.last("fades_in") == pytest.approx(fades_in_s(left_db, 0.2), abs=3)
    assert "shortfall" not in world.values


def test_two_radios_are_kept_apart() -> None:
    world = World()
    for minute in range(4):
        world.source = "ab"[minute % 2]
        lost_db = 25.0 if world.source == "b" else 0.0
        world.fly(60, lambda _, lost_db=lost_db: Seen(away_m=300, lost_db=lost_db))  # type: ignore[misc]
    assert min(world.values["fades_in"]) > STEADY_S
    assert max(world.values["shortfall"]) < 6


def test_not_judged_at_first_and_after_a_silence_of_the_radio() -> None:
    world = World()
    world.fly(20, lambda _: Seen())
    assert "fades_in" not in world.values
    assert world.part.run(world.now_us + S) is None  # nothing new
    world.fly(40, lambda s: Seen(lost_db=0.5 * s))
    world.now_us += 600 * S
    world.values.clear()
    world.fly(20, lambda _: Seen())
    assert "fades_in" not in world.values  # ten minutes ago is no trend


def test_hostile_values_end_nothing() -> None:
    world = World()
    for height_m in (40.0, math.nan, math.inf, -1e9, 1e12, 40.0):
        world.fly(30, lambda _, height_m=height_m: Seen(height_m=height_m))  # type: ignore[misc]
    world.readings.put(INDEX["link.margin"], math.nan, world.radio)
    assert world.values["fades_in"]


def test_time_left_follows_free_space_loss() -> None:
    # Facts section 7: twice the distance, 6.02 dB. At 100 m flying out at 5 m/s the margin falls by
    # 8.686 x 5 / 100 = 0.434 dB/s, and 6.02 dB last the 20 s that it takes to 200 m.
    assert fades_in_s(6.0206, 0.4343) == pytest.approx(20, rel=1e-3)
    assert lasts_s(6.0206, 5 / 100, 0.0) == pytest.approx(20, abs=0.1)
    assert lasts_s(26.0206, 5 / 100, 0.0) == pytest.approx(19 * 20, abs=0.2)  # at 2000 m
    assert lasts_s(10.0, 0.0, 0.25) == pytest.approx(40, abs=0.1)
    assert lasts_s(12.0412, 5 / 100, 6.0206 / 20) == pytest.approx(20, abs=0.1)  # both
    assert lasts_s(10.0, 0.0, 0.0) == NOT_FADING_S
    assert lasts_s(-3.0, 0.0, 0.1) == 0
    assert fades_in_s(-3, 0.2) == 0


@pytest.mark.parametrize(
    ("heading_deg", "home_deg", "sector"), [(0, 0, 0), (0, 180, 4), (350, 10, 0), (-10, 350, 0), (90, 0, 2)]
)
def test_sectors(heading_deg: float, home_deg: float, sector: int) -> None:
    assert sector_of(math.radians(heading_deg), home_deg) == sector
