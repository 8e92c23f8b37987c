"""What a day is made of: full packs as they are, the load's power, the wind, the airspeed that a lean gives."""

from __future__ import annotations

import math

import pytest

from tests.brief.aday import carrier, open_cell_v, sortie, today_of
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.brief import worlds
from watchkeeper.brief.day import full_v, why_not
from watchkeeper.estimate.packs.cell import charge_factor
from watchkeeper.estimate.packs.packtoday import FittedPack, fitted_pack

WINDLESS = {"weather": {"temperature": "12 degC"}}


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ({"kind": "helicopter"}, "it is no multirotor"),
        ({"packs": {"cells": None}}, "the aircraft file does not say packs.cells"),
        ({"packs": {"cells": None, "capacity": None}}, "does not say packs.cells and packs.capacity"),
        ({"hover_power": None, "rotors": {}}, "neither hover_power nor masses and rotors"),
    ],
)
def test_why_nothing_can_be_said_of_energy(keys: dict[str, object], why: str) -> None:
    packs = keys.pop("packs", None)
    assert why in why_not(carrier(packs=packs, **keys))  # type: ignore[arg-type]


def test_a_file_with_little_is_enough() -> None:
    assert why_not(None) == "no aircraft file is named"
    assert why_not(carrier()) == ""
    little = AircraftFile.model_validate({"packs": {"cells": 6, "capacity": "10 Ah"}, "hover_power": "600 W"})
    assert why_not(little) == ""
    day = today_of(little, sortie(payload={}, weather={}))
    assert len(day.supplies) == 1
    assert day.supplies[0].share == 1.0
    assert day.supplies[0].state.charge == pytest.approx(1.0)


def test_power_grows_with_the_load_to_three_halves() -> None:
    # momentum theory: 3.7 kW at 30 kg; 18 kg and 5 kg of load: 3.7 (23 / 30)^1.5 = 2.484 kW
    assert today_of(carrier(), sortie()).model.hover_w == pytest.approx(3700.0 * (23.0 / 30.0) ** 1.5)


def test_packs_share_by_what_their_resistances_let_through() -> None:
    # facts, section 6: 18 and 22 mohm of 150 A: 82.5 and 67.5
    packs = [fitted_pack(carrier().packs, None, name) for name in ("a", "b")]
    packs = [
        one.model_copy(update={"resistance_ohm": ohm, "resistance_doubt": 0.15})
        for one, ohm in zip(packs, (0.018, 0.022), strict=True)
    ]
    assert all(isinstance(one, FittedPack) for one in packs)
    day = today_of(carrier(), sortie(), packs)
    assert [one.share for one in day.supplies] == pytest.approx([0.55, 0.45])
    # what was seen today is not aged again
    ohms = [one.state.cell_ohm * 12.0 for one in day.supplies]
    warm = math.exp(2600.0 * (1.0 / 285.15 - 1.0 / 298.15))  # 12 degC, Arrhenius
    assert ohms == pytest.approx([0.018 * warm, 0.022 * warm])
    series = today_of(carrier(packs={"topology": "series"}), sortie(), [
        one.model_copy(update={"topology": "series"}) for one in packs
    ])  # fmt: skip
    assert [one.share for one in series.supplies] == [0.5, 0.5]
    assert series.whole_ah([3.0, 3.0]) == 3.0
    assert day.whole_ah([3.0, 4.0]) == 7.0


def test_a_full_pack_rests_at_its_chemistry_s_voltage() -> None:
    # 4.2 V a cell (common practice: 12 cells, 50.4 V), 4.35 V of high-voltage ones
    assert full_v(carrier().packs) == pytest.approx(50.4)
    assert full_v(carrier(packs={"chemistry": "lihv"}).packs) == pytest.approx(52.2)


def test_cold_and_age_are_in_the_packs() -> None:
    new = today_of(carrier(packs={"age": "0 cycles"}), sortie(weather={"temperature": "25 degC"})).supplies[0]
    old = today_of(carrier(packs={"age": "200 cycles"}), sortie(weather={"temperature": "-30 degC"})).supplies[0]
    assert new.state.cell_ohm * 12.0 == pytest.approx(0.015)
    # 200 of 400 cycles: half way to twice the resistance and 80 % of capacity (common practice); 7.2 times by 55 K
    assert old.state.cell_ohm / new.state.cell_ohm == pytest.approx(
        1.5 * math.exp(2600 * (1 / 243.15 - 1 / 298.15))
    )
    assert old.state.per_ah / new.state.per_ah == pytest.approx(1.0 / 0.9)
    assert old.empty > new.empty + 0.1
    untold = today_of(carrier(packs={"age": "0 cycles"}), sortie(weather={})).supplies[0]
    assert untold.state == new.state


def test_the_wind_is_the_forecast_or_a_breeze_from_any_side() -> None:
    told = today_of(carrier(), sortie())
    assert math.hypot(told.wind.north_m_s, told.wind.east_m_s) == pytest.approx(4.0)
    # power law with 1/7 (common practice): at 80 m 8^(1/7) = 1.346 times that at 10 m
    high = told.wind_at(80.0)
    assert math.hypot(high.north_m_s, high.east_m_s) == pytest.approx(4.0 * 8.0 ** (1.0 / 7.0))
    untold = today_of(carrier(), sortie(**WINDLESS))
    assert (untold.wind.north_m_s, untold.wind.east_m_s) == (0.0, 0.0)
    assert untold.wind.var_nn == untold.wind.var_ee == 25.0


def test_the_greatest_airspeed_is_what_the_lean_gives() -> None:
    lean = today_of(carrier(limits={"tilt": "30 deg"}), sortie())
    # 0.6 m2 at 35 kg and 10 m/s (common practice), flown with 23 kg: between 18 and 24 m/s at 30 degrees
    assert 18.0 < lean.plan.airspeed_m_s < 26.0
    assert lean.plan.airspeed_m_s == lean.lean_m_s
    # no autopilot knows a limit in a file: it flies faster against the wind, but so fast it surely flies
    bound = today_of(carrier(limits={"tilt": "30 deg", "airspeed": "14 m/s"}), sortie())
    assert bound.plan.airspeed_m_s == lean.plan.airspeed_m_s
    assert worlds.plan_in(min(worlds.WORLDS, key=lambda one: one.airspeed), bound, bound.plan).airspeed_m_s == 14.0
    fast = today_of(carrier(limits={"tilt": "12 deg", "airspeed": "16 m/s"}), sortie())
    assert fast.plan.airspeed_m_s == 16.0


def test_gusts_bound_the_doubt_of_a_forecast() -> None:
    weather = {"wind": "7 m/s from 0 deg", "gusts": "11 m/s"}
    # one-sided 95 % is 1.65 deviations: (11 - 7) / 1.65 = 2.42 m/s
    assert today_of(carrier(), sortie(weather=weather)).wind.var_nn == pytest.approx(2.42**2, rel=0.01)
    # without gusts half of the wind, 3.5 m/s (a forecast at a place and an hour; common practice)
    alone = today_of(carrier(), sortie(weather={"wind": "7 m/s from 0 deg"})).wind
    assert alone.var_ee == pytest.approx(3.5**2)


@pytest.mark.parametrize(("reserve", "asked"), [(None, 20.0), ("10 %", 20.0), ("30 %", 30.0)])
def test_the_reserve_is_a_fifth_at_least(reserve: str | None, asked: float) -> None:
    assert today_of(carrier(), sortie(reserve=reserve)).reserve_pct == asked


def test_empty_is_where_its_part_of_the_hover_is_held_no_more() -> None:
    # E = V + P R / V (Thevenin at constant power) at the floor of 3.3 V a cell, P half of the hover
    day = today_of(carrier(), sortie())
    for one in day.supplies:
        power_w = 0.5 * day.model.hover_w / 12.0
        ohm = one.state.cell_ohm * charge_factor(one.empty)
        assert open_cell_v(one.empty) == pytest.approx(3.3 + power_w * ohm / 3.3, abs=0.003)
