"""The battery's part of a brief by hand: time on station, reserve, sag, and packs before they are joined."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.brief.aday import CELLS, EMPTY, bare_plan, carrier, cell_wh, known_day, sortie, still, today_of
from watchkeeper.aircraft.files import Packs
from watchkeeper.brief import worlds
from watchkeeper.brief.battery import (
    LONGEST_STAY_S,
    battery_today,
    deepest,
    farthest,
    leg_rows,
    on_station_s,
    required_pct,
    rest_difference_v,
)
from watchkeeper.brief.day import Today
from watchkeeper.brief.findings import Threshold
from watchkeeper.brief.route import Point

NEED = EMPTY + 0.2 * (1.0 - EMPTY)


@pytest.fixture
def sure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Switch off the doubt of time, the only one that a known day has."""
    monkeypatch.setattr(worlds, "TIME_DOUBT", 0.0)
    monkeypatch.setattr(worlds, "TIME_DOUBT_S", 0.0)


def _limit(volt_v: float) -> Threshold:
    return Threshold("far", volt_v, volt_v, 30.0, 10_000.0, 30.0)


@pytest.mark.usefixtures("sure")
def test_time_on_station_is_the_energy_over_the_reserve_less_the_ways() -> None:
    # 2 packs of 22 Ah without resistance from full to 20 % usable, 2 kW; 2 km out and back at 8 m/s are 500 s;
    # another stay of 100 s is planned before. What is planned at the far point itself does not count.
    seconds = 2.0 * CELLS * cell_wh(NEED, 1.0, 22.0) * 3600.0 / 2000.0
    way = [Point("point 1", 1000.0, 0.0, 0.0, 100.0), Point("point 2", 2000.0, 0.0, 0.0, 77.0)]
    found = on_station_s(known_day(), way, 20.0)
    # searched to 5 s; charge reckoned in twentieths: half a per cent
    assert found == pytest.approx(seconds - 600.0, abs=20.0)


def test_no_time_on_station_is_told_from_no_way() -> None:
    far = [Point("point 1", 12_000.0, 0.0, 0.0, 0.0)]
    assert on_station_s(known_day(), far, 20.0) == 0.0
    assert on_station_s(known_day(wind=still(40.0, 180.0)), far, 20.0) is None
    assert on_station_s(known_day(), [], 20.0) is None
    assert on_station_s(known_day(ah=900.0), [Point("point 1", 0.0, 0.0, 0.0, 0.0)], 20.0) == LONGEST_STAY_S


@pytest.mark.parametrize(("sortie_pct", "asked"), [(5.0, 20.0), (20.0, 20.0), (35.0, 35.0)])
def test_reserve_is_the_larger_of_a_fifth_and_the_sortie_s(sortie_pct: float, asked: float) -> None:
    day = today_of(carrier(), sortie(reserve=f"{sortie_pct} %"))
    assert required_pct(day) == asked


def test_reserve_is_at_least_two_aborted_landings() -> None:
    # NASA PHM 2015 and 2017 (facts, section 4): two aborted landings stay possible. Each 10 m up at 2 m/s and 25 s
    # around: 60 s of 2 kW, 33.3 Wh, out of two packs of 1 Ah at 12 x 3.680 V (25 %): 0.755 Ah of 1.935 usable
    day = known_day(ah=1.0)
    assert required_pct(day) == pytest.approx(100.0 * 33.33 / (12.0 * 3.680) / 2.0 / (1.0 - EMPTY), abs=0.2)
    assert required_pct(known_day(ah=22.0)) == 20.0


def test_deepest_sag_in_three_cases_by_thevenin() -> None:
    # Full packs (50.4 V), 19.8 mohm each, 4128 W. Together 9.9 mohm; V = (E + sqrt(E^2 - 4 R P)) / 2:
    # as planned 49.576 V; a gust takes 15 % more: 49.449 V; one pack out: one of 19.8 mohm gives it all: 48.721 V.
    day = known_day(hover_w=4128.0, ohms=(0.0198, 0.0198))
    way = [Point("point 1", 0.0, 0.0, 2.0, 0.0)]
    rows = {one.case: one for one in deepest(day, way, _limit(49.5))}
    drop_v = 0.03  # of the curve over the 3 s of the climb: 3.4 Wh of 2218, 0.2 % of charge, 12 x 1.2 V x 0.002
    assert rows["as planned"].volt_v == pytest.approx(49.576 - drop_v, abs=0.02)
    assert rows["in a gust"].volt_v == pytest.approx(49.449 - drop_v, abs=0.02)
    assert rows["one pack out"].volt_v == pytest.approx(48.721 - drop_v, abs=0.02)
    assert [one.stays_above for one in rows.values()] == [True, False, False]
    assert all(one.leg == "climb to point 1" for one in rows.values())


def test_a_gust_takes_power_and_no_charge() -> None:
    # a long flight: after 40 Ah x V a gust finds the charge that was planned, not one that gusts have drawn
    day = known_day(hover_w=4128.0, ohms=(0.0198, 0.0198))
    way = [Point("point 1", 100.0, 0.0, 2.0, 700.0)]
    rows = {one.case: one for one in deepest(day, way, None)}
    plain, gust = rows["as planned"].volt_v, rows["in a gust"].volt_v
    amps = 4128.0 / plain
    # 15 % more current through 9.9 mohm, and some of it again for the lower voltage
    assert plain - gust == pytest.approx(0.15 * amps * 0.0099, rel=0.08)
    assert rows["as planned"].at_s == rows["in a gust"].at_s


def test_the_strongest_pack_is_the_one_that_is_missed() -> None:
    # 10 and 30 mohm: without the first all 2 kW go through 30 mohm: (50.4 + sqrt(50.4^2 - 4 x 0.03 x 2000)) / 2
    day = known_day(hover_w=2000.0, ohms=(0.010, 0.030))
    rows = {one.case: one for one in deepest(day, [Point("point 1", 0.0, 0.0, 2.0, 0.0)], None)}
    assert rows["one pack out"].volt_v == pytest.approx((50.4 + math.sqrt(50.4**2 - 240.0)) / 2.0, abs=0.04)
    for alone in (known_day(ohms=(0.02,)), known_day(ohms=(0.02, 0.02), topology="series")):
        cases = [one.case for one in deepest(alone, [Point("point 1", 0.0, 0.0, 2.0, 0.0)], None)]
        assert cases == ["as planned", "in a gust"]


@pytest.mark.parametrize(
    ("mohm", "cells", "ah", "topology", "volt"),
    [
        # the loop of two: 22 A through 18 + 22 mohm are 0.88 V, but 50 mV a cell are 0.6 V
        ((18.0, 22.0), 12, "22 Ah", "parallel", 0.6),
        # 22 A through 10 + 12 mohm: 0.484 V
        ((10.0, 12.0), 12, "22 Ah", "parallel", 0.484),
        # one to two that are side by side already: 5 Ah, 20 + 20 / 2 mohm: 0.15 V
        ((20.0, 20.0, 20.0), 6, "5 Ah", "parallel", 0.15),
        # the loop of least resistance of 10, 20 and 20 mohm: each of 20 to the others: 20 + 6.667; 10 to them: 20
        ((10.0, 20.0, 20.0), 6, "5 Ah", "parallel", 0.1),
        # resistance not told: only the cells
        ((None, 20.0), 6, "5 Ah", "parallel", 0.3),
        # nothing flows between packs in series, or with one alone
        ((20.0, 20.0), 6, "5 Ah", "series", None),
        ((20.0,), 6, "5 Ah", "parallel", None),
    ],
)
def test_rest_difference_by_ohm_around_the_loop(
    mohm: tuple[float | None, ...], cells: int, ah: str, topology: str, volt: float | None
) -> None:
    packs = []
    for one in mohm:
        keys: dict[str, Any] = {"cells": cells, "capacity": ah, "topology": topology}
        packs.append(Packs.model_validate(keys | ({"resistance": f"{one} mohm"} if one else {})))
    found = rest_difference_v(packs)
    assert found == (None if volt is None else pytest.approx(volt, abs=0.001))


def test_legs_by_hand() -> None:
    # 20 m up at 2 m/s and 2 / 0.8 s to gain speed: 12.5 s; 800 m at 8 m/s and 8 / 2 to start and stop: 104 s
    plan = bare_plan(climb_m_s=2.0, acceleration_m_s2=2.0)
    day = known_day(plan=plan)
    rows = leg_rows(day, [Point("point 1", 800.0, 0.0, 20.0, 60.0)], 20.0)
    assert [one.name for one in rows] == ["climb to point 1", "to point 1", "stay at point 1"]
    assert [one.time_s for one in rows] == pytest.approx([12.5, 104.0, 60.0])
    assert [one.end_s for one in rows] == pytest.approx([12.5, 116.5, 176.5])
    assert [one.energy_wh for one in rows] == pytest.approx([6.944, 57.78, 33.33], abs=0.01)
    assert [one.distance_m for one in rows] == pytest.approx([0.0, 800.0, 800.0])
    last = rows[-1]
    charge = EMPTY + last.usable_pct / 100.0 * (1.0 - EMPTY)
    assert cell_wh(charge, 1.0, 22.0) * CELLS * 2.0 == pytest.approx(98.06, rel=0.03)
    assert last.gauge_pct == pytest.approx(100.0 * charge, abs=0.5)
    assert last.home_pct is not None
    assert last.home_low_pct is not None
    assert last.home_low_pct < last.home_pct < last.usable_pct
    assert all(one.turn_back is not None for one in rows)


def test_the_farthest_point_is_the_one_from_which_home_costs_most() -> None:
    # 900 m downwind of home are farther in energy than 1000 m upwind: 10 m/s from north, 8 m/s over ground at most
    day = known_day(plan=bare_plan(airspeed_m_s=12.0), wind=still(10.0, 0.0))
    upwind, downwind = Point("point 1", 1000.0, 0.0, 5.0, 0.0), Point("point 2", -900.0, 0.0, 5.0, 0.0)
    assert farthest(day, [upwind, downwind]) == downwind
    assert farthest(day, []) is None


def test_plans_that_are_none() -> None:
    at_home = Point("point 1", 0.0, 0.0, 0.0, 0.0)
    for way in ([], [at_home], [at_home, at_home._replace(name="point 2")]):
        found = battery_today(known_day(), way, [None, None], ["file", "file"])
        assert found.legs == ()
        assert found.deepest == ()
    same = [Point("point 1", 100.0, 0.0, 20.0, 10.0), Point("point 2", 100.0, 0.0, 20.0, 10.0)]
    rows = leg_rows(known_day(), same, 20.0)
    assert [one.name for one in rows][-2:] == ["stay at point 1", "stay at point 2"]
    assert rows[-1].end_s == pytest.approx(rows[-2].end_s + 10.0)
    below = leg_rows(known_day(), [Point("point 1", 100.0, 0.0, -30.0, 5.0)], 20.0)
    assert [one.name for one in below] == ["to point 1", "descend at point 1", "stay at point 1"]


def test_eight_packs_and_a_pack_that_is_next_to_nothing() -> None:
    eight = today_of(carrier(packs={"count": 8, "monitors": {}}), sortie())
    found = battery_today(eight, [Point("point 1", 300.0, 0.0, 30.0, 60.0)], [None] * 8, ["file"] * 8)
    assert len(found.packs) == 8
    assert math.fsum(one.share for one in eight.supplies) == pytest.approx(1.0)
    tiny = today_of(carrier(packs={"capacity": "0.01 Ah", "resistance": "2 ohm"}), sortie())
    none = battery_today(tiny, [Point("point 1", 300.0, 0.0, 30.0, 60.0)], [None] * 2, ["file"] * 2)
    assert none.threshold is None
    assert none.on_station_s == 0.0
    assert none.legs[-1].home_low_pct == -100.0


def _size(**size: float) -> Today:
    weather = {"wind": f"{size['wind']:.2f} m/s from 0 deg", "temperature": f"{size['degc']:.2f} degC"}
    return today_of(
        carrier(packs={"age": f"{size['cycles']:.1f} cycles"}),
        sortie(payload={"mass": f"{size['kg']:.2f} kg"}, weather=weather),
    )


@settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(
    size=st.fixed_dictionaries(
        {
            "wind": st.floats(2.0, 4.0),
            "kg": st.floats(1.0, 9.0),
            "degc": st.floats(-15.0, 30.0),
            "cycles": st.floats(0.0, 250.0),
            "m": st.floats(500.0, 1200.0),
        }
    ),
    worse=st.sampled_from(["kg", "degc", "cycles", "m"]),
)
def test_nothing_that_is_worse_leaves_longer_on_station(size: dict[str, float], worse: str) -> None:
    """More load, colder, older packs, farther. More wind may: its lift saves power in a stay (Glauert)."""
    by = {"kg": 3.0, "degc": -12.0, "cycles": 80.0, "m": 250.0}[worse]
    before, after = (
        on_station_s(_size(**one), [Point("point 1", -one["m"], 0.0, 40.0, 0.0)], 20.0)
        for one in (size, {**size, worse: size[worse] + by})
    )
    assert before is not None
    assert after is not None
    assert after <= before + 5.0  # it is searched to 5 s
