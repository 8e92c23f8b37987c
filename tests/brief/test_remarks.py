"""What speaks against flying: whole briefs of odd files, and every remark by itself."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from tests.brief.aday import (
    CELLS,
    EMPTY,
    carrier,
    cell_wh,
    known_day,
    sortie,
    stage,
    still,
    today_of,
    told,
    with_stages,
)
from tests.brief.groundwork import HOME, at
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.brief import make as making
from watchkeeper.brief import worlds
from watchkeeper.brief.asking import _speeds, asking
from watchkeeper.brief.battery import battery_today, required_pct
from watchkeeper.brief.findings import BatteryToday, PointReach, ReachToday, Remark, StageToday
from watchkeeper.brief.heights import return_height
from watchkeeper.brief.make import Given, make
from watchkeeper.brief.remarks import (
    battery_remarks,
    cell_remarks,
    load_remarks,
    return_remarks,
    stage_remarks,
    weather_remarks,
)
from watchkeeper.brief.route import Point, points
from watchkeeper.estimate.home.returnplan import of_file
from watchkeeper.estimate.packs.packtoday import packs_today

WAY = [Point("point 1", 300.0, 0.0, 30.0, 60.0)]


def said(remarks: list[Remark] | tuple[Remark, ...]) -> str:
    return "\n".join(f"{one.weight}: {one.about}: {one.what}" for one in remarks)


def plan(*spots: tuple[float, float, str, str]) -> list[dict[str, Any]]:
    return [{"at": at(m, deg), "height": height, "stay": stay} for m, deg, height, stay in spots]


def test_load_over_the_greatest_mass() -> None:
    # 18 kg and 20 kg are 38 kg, 3 over 35
    found = load_remarks(carrier(), sortie(payload={"mass": "20 kg"}))
    assert "At 38.0 kg it is 3.0 kg over its greatest mass of 35 kg" in said(found)
    assert load_remarks(carrier(), sortie(payload={"mass": "17 kg"})) == []
    assert load_remarks(None, sortie()) == []


def test_cells_that_a_voltage_tells_too_little_of() -> None:
    """A measured lithium ion cell, half used, was told 24 % too full (tests/estimate/test_real_cells.py)."""
    ion = {"chemistry": "liion", "capacity": "22 Ah"}
    assert "caution: packs: Lithium ion cells differ much" in said(cell_remarks(carrier(packs=ion)))
    assert cell_remarks(carrier(packs=ion | {"charged": ["6 Ah from 3.9 V"]})) == []
    assert cell_remarks(carrier()) == []
    assert cell_remarks(None) == []


def test_weather() -> None:
    windy = sortie(weather={"wind": "14 m/s from 0 deg", "gusts": "19 m/s", "temperature": "5 degC"})
    file = carrier(limits={"wind": "12 m/s", "gust": "15 m/s", "tilt": "12 deg"})
    words = said(weather_remarks(file, windy, today_of(file, windy)))
    assert "warning: wind: The wind of 14 m/s is over the aircraft's 12 m/s" in words
    assert "warning: wind: Gusts of 19 m/s are over the aircraft's 15 m/s" in words
    # 0.6 m2 (common practice) on 23 kg: 0.013 u^2 + 0.03 u = 9.81 tan 12 deg = 2.08 m/s2, so u = 11.6, less 5 %
    assert "It makes no way against 14 m/s: 11 m/s is all" in words
    nothing = said(weather_remarks(None, sortie(weather={}), None))
    assert "caution: wind: No wind is named" in nothing
    assert "caution: temperature: No temperature is named" in nothing
    assert weather_remarks(carrier(), sortie(), None) == []


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"order": ["climb", "cruise", "hold"]}, "does not land"),
        ({"order": ["climb", "cruise", "hold", "land"]}, None),
    ],
)
def test_a_return_that_does_not_land(keys: dict[str, Any], words: str | None) -> None:
    found = return_remarks(of_file(carrier(**{"return": keys})))
    assert (words in said(found)) if words is not None else not found


def test_an_endless_hold_is_called() -> None:
    found = return_remarks(of_file(carrier())._replace(hold_s=math.inf))
    assert "warning: return: Its return ends with an endless hold" in said(found)


def test_a_plan_that_takes_too_much_and_points_beyond_reach() -> None:
    day = known_day()
    way = [Point("Point North", 5200.0, 0.0, 0.0, 1800.0)]
    battery = battery_today(day, way, [None, None], ["", ""])
    reach = ReachToday((), 0.0, (PointReach("ridge Alpha", 5200.0, 0.0, 0.0, 5000.0, None),), (), None, None)
    words = said(battery_remarks(battery, reach, day, way))
    assert "warning: energy: Flown to the end of the plan it may land with" in words
    assert "warning: reach: Ridge Alpha lies 200 m beyond the reach in its bearing" in words
    far = [Point("point 1", 25_000.0, 0.0, 0.0, 0.0)]
    words = said(battery_remarks(battery_today(day, far, [None, None], ["", ""]), None, day, far))
    assert "even full packs do not bring it home with the reserve" in words
    assert "Flown to the end of the plan home may be out of reach" in words


def test_a_wind_in_which_the_plan_cannot_be_flown_is_said() -> None:
    day = known_day(wind=still(30.0, 0.0))
    way = [Point("point 1", 500.0, 0.0, 0.0, 0.0)]
    battery = battery_today(day, way, [None, None], ["", ""])
    assert "warning: wind: The wind leaves no way along the plan" in said(battery_remarks(battery, None, day, way))


def test_sag_under_threshold_and_floor() -> None:
    # 0.15 ohm a pack, 2.5 kW: full packs sag to (50.4 + sqrt(50.4^2 - 4 x 0.075 x 2500)) / 2 = 46.4 V, one alone
    # to (50.4 + sqrt(50.4^2 - 4 x 0.15 x 2500)) / 2 = 41.3 V, both over the floor of 39.6 V
    day = known_day(hover_w=2500.0, ohms=(0.15, 0.15))
    way = [Point("point 1", 10.0, 0.0, 5.0, 60.0)]
    battery = battery_today(day, way, [None, None], ["", ""])
    assert battery.threshold is not None
    words = said(battery_remarks(battery, None, day, way))
    assert "advisory: threshold: With one pack out the bus would show" in words
    # the floor: 0.2 ohm alone cannot hold 2.5 kW: 50.4^2 / 4 / 0.2 = 3175 W at most, at 25.2 V; at 39.6 V 2138 W
    weak = known_day(hover_w=2500.0, ohms=(0.2, 0.2))
    battery = battery_today(weak, way, [None, None], ["", ""])
    words = said(battery_remarks(battery, None, weak, way))
    assert "caution: sag: With one pack out the bus would show" in words
    assert "under the 39.6 V of the cells' floor" in words
    alone = known_day(hover_w=2500.0, ohms=(0.2,))
    battery = battery_today(alone, way, [None], [""])
    assert "warning: sag: Flying as planned the bus shows" in said(battery_remarks(battery, None, alone, way))
    none = known_day(hover_w=2500.0, ohms=(0.4,))
    battery = battery_today(none, way, [None], [""])
    assert "no voltage at all: the power cannot be held" in said(battery_remarks(battery, None, none, way))


@cache
def _battery() -> BatteryToday:
    return battery_today(known_day(), WAY, [None, None], ["", ""])


def _stages(*rows: StageToday) -> str:
    return said(stage_remarks(replace(_battery(), stages=rows)))


def row(
    action: str, lands_pct: float | None, *, name: str = "low", note: str = "", before: bool = False
) -> StageToday:
    return StageToday(name, "44 V as measured", action, 100.0, "to point 1", before, lands_pct, note)


def test_stages_that_bring_it_home_late_early_or_not() -> None:
    assert _stages() == ""
    assert _stages(row("return", 25.0)) == ""
    assert "lands it with 12 %" in _stages(row("return", 12.0))
    assert "acts on to point 1, before you turn back" in _stages(row("return", 25.0, before=True))
    assert "no stage of its own that is understood brings it home" in _stages(
        row("report", None, note="only reports")
    )
    assert "no stage of its own that is understood brings it home" in _stages(row("return", None))
    # one that comes down where it is, and acts before the return
    first = _stages(row("land", 40.0, name="critical"), row("return", 25.0))
    assert "its stage critical (44 V as measured: land) acts first: it comes down where it is" in first
    assert "comes down where it is" not in _stages(row("return", 25.0), row("land", 10.0))
    assert "comes down where it is" not in _stages(row("land", None, note="off"), row("return", 25.0))


ODD: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "no plan": ({}, {}),
    "a point at home on the ground": ({}, {"plan": plan((0.0, 0.0, "0 m", "0 s"))}),
    "the same point twice": ({}, {"plan": plan((400.0, 40.0, "50 m", "60 s"), (400.0, 40.0, "50 m", "60 s"))}),
    "one pack": ({"packs": {"count": 1, "monitors": {}}}, {"plan": plan((400.0, 40.0, "50 m", "60 s"))}),
    "eight packs": ({"packs": {"count": 8, "monitors": {}}}, {"plan": plan((400.0, 40.0, "50 m", "60 s"))}),
    "in series": (
        {"packs": {"topology": "series", "cells": 6}},
        {"plan": plan((400.0, 40.0, "50 m", "60 s"))},
    ),
    "sum monitor": ({"packs": {"monitors": {"3": "sum"}}}, {"plan": plan((400.0, 40.0, "50 m", "60 s"))}),
    "other monitor": ({"packs": {"monitors": {"0": "other"}}}, {"plan": plan((400.0, 40.0, "50 m", "60 s"))}),
    "no weather": ({}, {"plan": plan((400.0, 40.0, "50 m", "60 s")), "weather": {}}),
    "-30 degC": ({}, {"plan": plan((400.0, 40.0, "50 m", "60 s")), "weather": {"temperature": "-30 degC"}}),
    "tiny": (
        {"packs": {"capacity": "0.001 Ah", "resistance": "2 ohm"}},
        {"plan": plan((99.0, 9.0, "9 m", "1 s"))},
    ),
    "storm": ({}, {"plan": plan((400.0, 40.0, "50 m", "60 s")), "weather": {"wind": "50 m/s from 40 deg"}}),
    "overloaded": ({}, {"plan": plan((400.0, 40.0, "50 m", "60 s")), "payload": {"mass": "900 kg"}}),
    "does not land": (
        {"return": {"order": ["cruise", "hold"]}},
        {"plan": plan((400.0, 40.0, "-50 m", "60 s"))},
    ),
    "far away": ({}, {"plan": plan((40_000.0, 40.0, "900 m", "86400 s"))}),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_odd_days_are_briefed_and_asked(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for name_of in ("contour", "point_reaches"):  # seconds of it; `test_reach` has them
        monkeypatch.setattr(making, name_of, lambda *_: ())
    keys, flight_keys = ODD[name]
    file = carrier(**keys)
    flight = sortie(home=list(HOME), **flight_keys)
    brief = make(Given(flight, file, packs_today(file.packs, None, ()), None, None, 1.7e9))
    assert brief.battery is not None
    numbers = [
        brief.battery.required_pct,
        *(one.usable_pct for one in brief.battery.legs),
        *(one.volt_v for one in brief.battery.deepest),
    ]
    assert all(map(math.isfinite, numbers))
    if name in {"tiny", "storm", "overloaded", "far away"}:
        assert any(one.weight == "warning" for one in brief.remarks)
    # and all that is asked of the settings
    day = today_of(file, flight)
    way = points(flight)
    height = return_height(flight, HOME, day.plan, "")
    own = with_stages(stage("voltage", 44.0), stage("gauge", 20.0, battery=1), return_hold_s=told("endless"))
    asked = asking(flight, file, height, way, day, brief.battery.threshold, required_pct(day))
    assert own.low_battery is not None
    if asked.low_battery is not None:
        low = asked.low_battery
        assert low.capacity_mah is not None
        assert all(0.0 < one <= 1.0001 for one in low.used_share.values())
        used = low.triggers["charge_used"]
        assert used.at is not None
        assert used.way_home is not None
        assert used.way_home > used.at
        gauge = low.triggers["gauge"]
        assert gauge.at is not None
        assert gauge.way_home is not None
        assert gauge.way_home < gauge.at


@pytest.mark.parametrize(
    ("packs", "mah", "mohm", "shares", "voltage"),
    [
        # a monitor a pack: its capacity, its resistance (15 mohm at 12 degC and 60 cycles: times 1.48 x 1.15)
        ({}, 22_000.0, 25.7, {0: 0.5, 1: 0.5}, True),
        ({"monitors": {"3": "sum"}}, 44_000.0, 12.8, {3: 1.0}, True),
        ({"monitors": {}}, 44_000.0, 12.8, {0: 1.0}, True),
        # in series all give the same charge; a monitor of one pack does not see the bus
        ({"topology": "series"}, 22_000.0, 25.7, {0: 1.0, 1: 1.0}, False),
        ({"topology": "series", "monitors": {"0": "sum"}}, 22_000.0, 51.3, {0: 1.0}, True),
    ],
)
def test_what_is_asked_is_in_what_the_monitors_measure(
    packs: dict[str, Any], mah: float, mohm: float, shares: dict[int, float], *, voltage: bool
) -> None:
    file = carrier(packs={"cells": 6 if packs.get("topology") == "series" else 12} | packs)
    flight = sortie(home=list(HOME), plan=plan((400.0, 40.0, "50 m", "60 s")))
    day, way = today_of(file, flight), points(flight)
    battery = battery_today(day, way, [None, None], ["", ""])
    asked = asking(flight, file, return_height(flight, HOME, day.plan, ""), way, day, battery.threshold, 20.0)
    low = asked.low_battery
    assert low is not None
    assert low.capacity_mah == pytest.approx(mah)
    assert low.pack_ohm is not None
    assert 1000.0 * low.pack_ohm == pytest.approx(mohm, rel=0.01)
    assert low.used_share == pytest.approx(shares)
    assert ("voltage" in low.triggers) is voltage
    assert all(one.usable for one in low.triggers.values())
    if voltage:
        volt = low.triggers["voltage"]
        assert volt.planned is not None
        # gusts are in it
        gust = next(one for one in battery.deepest if one.case == "in a gust")
        assert volt.planned == pytest.approx(gust.volt_v)


def test_without_energy_or_home_the_brief_says_so() -> None:
    flight = sortie(home=None)
    brief = make(Given(flight, AircraftFile(), [], None, None, 1.7e9))
    assert brief.battery is None
    assert "warning: energy: Nothing is worked out of energy" in said(brief.remarks)
    assert "warning: home: The sortie file names no home" in said(brief.remarks)
    weights = [one.weight for one in brief.remarks]
    assert weights == sorted(weights, key=("warning", "caution", "advisory").index)


def test_return_speeds_that_keep_the_reserve_and_that_the_wind_lets_it_hold(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # two packs of 22 Ah from full to 20 % usable at 2 kW: the curve's area; 9 km out at 8 m/s are 1125 s, what is
    # left of the time is for the way home. 20 m/s through the air, less 5 % in doubt, less 5 against it.
    monkeypatch.setattr(worlds, "TIME_DOUBT", 0.0)
    monkeypatch.setattr(worlds, "TIME_DOUBT_S", 0.0)
    seconds = 2.0 * CELLS * cell_wh(EMPTY + 0.2 * (1.0 - EMPTY), 1.0, 22.0) * 3600.0 / 2000.0
    day = known_day(wind=still(5.0, 180.0))
    found = _speeds(day, [Point("point 1", 9000.0, 0.0, 0.0, 0.0)], 20.0)
    assert found is not None
    slowest_m_s = 9000.0 / (seconds - 1125.0)
    assert slowest_m_s <= found.least <= slowest_m_s + 0.55  # tried by half metres a second
    assert found.greatest == pytest.approx(20.0 * (1.0 - 1.65 * 0.03) - 5.0)
    assert _speeds(day, [Point("point 1", 20_000.0, 0.0, 0.0, 0.0)], 20.0) is None
    assert _speeds(day, [], 20.0) is None
    assert _speeds(day, [Point("point 1", 0.0, 0.0, 20.0, 0.0)], 20.0) is None
