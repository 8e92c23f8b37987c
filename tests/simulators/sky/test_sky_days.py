"""Counts and dilution over a day at the equator, 50 N and 78 N."""

import math
import statistics
from collections.abc import Iterable
from functools import cache
from itertools import pairwise
from typing import NamedTuple

import pytest

from simulators.sky.geometry import Place, dilution
from simulators.sky.orbits import EVERY, GALILEO, GLONASS, GPS, Constellation, Orbits
from simulators.sky.receiver import FIX_3D, Sky, SkyModel

START_UNIX_S = 1_800_000_000.0
LATITUDES_DEG = (0.0, 50.0, 78.0)
STEP_S = 300.0
MIXES: dict[str, tuple[Constellation, ...]] = {
    "one": (GPS,),
    "two": (GPS, GLONASS),
    "three": (GPS, GLONASS, GALILEO),
    "four": EVERY,
}


class Day(NamedTuple):
    counts: list[int]
    hdop: list[float]
    pdop: list[float]

    def share_within(self, pdop: float) -> float:
        return sum(value <= pdop for value in self.pdop) / len(self.pdop)


@cache
def day(mix: str, latitude_deg: float, mask_deg: float) -> Day:
    orbits, place, least = Orbits(MIXES[mix]), Place(latitude_deg, 10.0), math.sin(math.radians(mask_deg))
    found = Day([], [], [])
    for step in range(288):
        seen = [each for each in place.above(orbits.positions(START_UNIX_S + STEP_S * step)) if each[3] >= least]
        got = dilution([each[1:] for each in seen], [orbits.owners[each[0]] for each in seen])
        found.counts.append(len(seen))
        found.hdop.append(got.hdop if got else math.inf)
        found.pdop.append(got.pdop if got else math.inf)
    return found


def spread(values: Iterable[float]) -> str:
    ordered = sorted(values)
    return f"{ordered[0]:.2f} {statistics.median(ordered):.2f} {ordered[-1]:.2f}"


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_gps_alone_in_the_open(latitude_deg: float) -> None:
    got = day("one", latitude_deg, 5.0)
    print(f"GPS, 5 deg, {latitude_deg:.0f} N: used {spread(got.counts)}, HDOP {spread(got.hdop)}")
    # facts section 8: GPS only 6 to 12 used; SPS PS 2020: PDOP <= 6 (for 98 % of the time; from memory)
    assert min(got.counts) >= 6
    assert max(got.counts) <= 12
    assert got.share_within(6.0) >= 0.98
    # facts section 8: 8 m of level error at 95 % and HDOP "ideal to excellent", 2 and better
    assert statistics.median(got.hdop) < 1.0
    assert max(got.hdop) <= 2.0


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
@pytest.mark.parametrize(("mix", "mask_deg"), [("two", 5.0), ("three", 15.0)])
def test_several_systems_in_the_open(mix: str, mask_deg: float, latitude_deg: float) -> None:
    got = day(mix, latitude_deg, mask_deg)
    print(f"{mix}, {mask_deg:.0f} deg, {latitude_deg:.0f} N: used {spread(got.counts)}, HDOP {spread(got.hdop)}")
    # facts section 8: typically 12 to 25 used, PDOP <= 6, DOP below 1 ideal
    assert 12 <= statistics.median(got.counts) <= 25
    assert min(got.counts) >= 12
    assert max(got.pdop) <= 6.0
    assert statistics.median(got.hdop) < 1.0


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
@pytest.mark.parametrize("mask_deg", [5.0, 15.0])
def test_all_four_systems(mask_deg: float, latitude_deg: float) -> None:
    """More than the typical 12 to 25: 99 satellites, of which a receiver of four systems does see 20 to 45."""
    got = day("four", latitude_deg, mask_deg)
    print(f"four, {mask_deg:.0f} deg, {latitude_deg:.0f} N: used {spread(got.counts)}, HDOP {spread(got.hdop)}")
    assert min(got.counts) >= 20
    assert max(got.counts) <= 45
    assert max(got.hdop) < 1.0
    assert max(got.pdop) < 2.5


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_a_deep_valley_takes_most_of_the_sky(latitude_deg: float) -> None:
    alone, four = day("one", latitude_deg, 40.0), day("four", latitude_deg, 40.0)
    print(f"four, 40 deg, {latitude_deg:.0f} N: used {spread(four.counts)}, HDOP {spread(four.hdop)}")
    # GPS alone fixes little between high walls, which is why receivers take several systems (common practice)
    assert max(alone.counts) <= 6
    assert alone.share_within(6.0) < 0.5
    assert statistics.median(four.counts) <= 15
    assert four.share_within(6.0) > 2 * alone.share_within(6.0)
    assert statistics.median(four.hdop) > 2 * statistics.median(day("four", latitude_deg, 5.0).hdop)


@pytest.mark.parametrize("mix", list(MIXES))
@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_a_higher_mask_never_helps(mix: str, latitude_deg: float) -> None:
    masks = [day(mix, latitude_deg, mask_deg) for mask_deg in (5.0, 15.0, 40.0)]
    for wide, narrow in pairwise(masks):
        assert all(a >= b for a, b in zip(wide.counts, narrow.counts, strict=True))
        assert all(a <= b + 1e-12 for a, b in zip(wide.pdop, narrow.pdop, strict=True))


def test_most_satellites_stand_away_from_the_pole() -> None:
    """None goes over the pole, so in the north there is a hole in the sky at 50 N (common practice)."""
    orbits, place = Orbits(), Place(50.0, 10.0)
    to_pole, to_equator = 0, 0
    for step in range(288):
        for _, north, _, up in place.above(orbits.positions(START_UNIX_S + STEP_S * step)):
            if math.radians(30.0) < math.asin(up) < math.radians(60.0):
                along = north / math.sqrt(1.0 - up * up)
                to_pole += along > math.cos(math.radians(30.0))
                to_equator += along < -math.cos(math.radians(30.0))
    assert to_pole < 0.2 * to_equator


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_the_receiver_over_a_day(latitude_deg: float) -> None:
    sky = Sky(SkyModel(), START_UNIX_S, latitude_deg, 10.0, seed=4)
    seen = [sky.look(60.0 * minute, None) for minute in range(1440)]
    used = [each.used for each in seen]
    print(f"receiver, {latitude_deg:.0f} N: used {spread(used)}, HDOP {spread(each.hdop for each in seen)}")
    assert all(each.fix == FIX_3D for each in seen)
    assert max(each.hdop for each in seen) < 1.0
    assert max(math.hypot(each.hdop, each.vdop) for each in seen) <= 6.0
    # facts section 8: typically 12 to 25; near the poles, where every orbit comes by, two or three more
    assert min(used) >= 12
    assert statistics.median(used) <= (25 if latitude_deg < 60.0 else 28)
