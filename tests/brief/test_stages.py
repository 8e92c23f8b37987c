"""When the aircraft's own low-battery stages act on a plan of known power: charge over current, and the curve."""

from __future__ import annotations

import math

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad  # type: ignore[import-untyped]

from tests.brief.aday import (
    CELLS,
    EMPTY,
    UNTOLD,
    carrier,
    cell_wh,
    charge_of,
    known_day,
    open_cell_v,
    sortie,
    stage,
    still,
    today_of,
    told,
    with_stages,
)
from watchkeeper.aircraft.vocabulary import LowStage, Setting, Settings
from watchkeeper.brief import stages, timeline
from watchkeeper.brief.battery import leg_rows
from watchkeeper.brief.day import Today
from watchkeeper.brief.findings import StageToday
from watchkeeper.brief.route import Point
from watchkeeper.brief.stages import stages_today

STAY = [Point("point 1", 8.0, 0.0, 0.0, 3000.0)]
"""A second of flight, and then hours in one place: nothing but charge goes by."""
FILE = carrier()


def acts(day: Today, one: LowStage, settings_of: Settings | None = None, way: list[Point] = STAY) -> StageToday:
    given_settings = settings_of if settings_of is not None else with_stages(one)
    (row,) = stages_today(day, way, given_settings, FILE, None)
    return row


def seconds_to(charge: float, pack_w: float = 1000.0, ah: float = 22.0) -> float:
    """Return the time in which a pack without resistance gets to a charge: the curve's area over its power."""
    return CELLS * cell_wh(charge, 1.0, ah) * 3600.0 / pack_w


def seconds_through(charge: float, ohm: float, pack_w: float = 1000.0) -> float:
    """Return the time in which a pack of 22 Ah and a resistance gets to a charge, by quadrature of its current.

    By Thevenin it is I = (E - sqrt(E^2 - 4 R P)) / 2 R (facts, section 6).
    """

    def amps(z: float) -> float:
        open_v = CELLS * open_cell_v(z)
        return (open_v - math.sqrt(open_v**2 - 4.0 * ohm * pack_w)) / 2.0 / ohm

    return float(quad(lambda z: 22.0 * 3600.0 / amps(z), charge, 1.0, limit=200)[0])


@pytest.mark.parametrize(
    ("quantity", "threshold", "battery"),
    [
        ("gauge", 50.0, None),
        ("gauge", 50.0, 0),
        ("charge_used", 22_000.0, None),
        ("charge_used", 11_000.0, 1),
        ("charge_left", 11_000.0, 0),
        ("charge_left", 22_000.0, None),
    ],
)
def test_a_count_acts_when_half_is_drawn(quantity: str, threshold: float, battery: int | None) -> None:
    # two packs of 22 Ah, 1 kW each: half of it is gone when the curve's area from 100 to 50 % is
    row = acts(known_day(), stage(quantity, threshold, battery=battery))
    assert row.acts_s == pytest.approx(seconds_to(0.5), rel=0.004)
    assert row.leg == "stay at point 1"
    assert row.note == ""


def test_a_voltage_acts_where_the_curve_falls_to_it() -> None:
    # 45 V are 3.75 V a cell: 40.3 % on the published curves' mean; without resistance compensated is the same
    for quantity in ("voltage", "compensated_voltage"):
        row = acts(known_day(), stage(quantity, 45.0))
        assert row.acts_s == pytest.approx(seconds_to(charge_of(3.75)), rel=0.004)


def test_compensation_takes_the_current_of_what_is_measured() -> None:
    # 40 mohm a pack: at 45 V measured 22.2 A of a pack are 0.89 V. By its own resistance both sorts of monitor see
    # the same rest voltage: 40 mohm and a pack's current, or 20 mohm and the whole.
    day = known_day(ohms=(0.04, 0.04))
    one = stage("compensated_voltage", 45.0)
    by_pack = acts(day, one, with_stages(one, pack_resistance_ohm=told(0.04, "ohm")))
    learned = acts(day, one, with_stages(one, pack_resistance_ohm=told("learned")))
    file = carrier(packs={"monitors": {"0": "sum"}})
    told_20 = with_stages(one, pack_resistance_ohm=told(0.02, "ohm"))
    (of_sum,) = stages_today(day, STAY, told_20, file, None)
    assert by_pack.acts_s is not None
    assert learned.acts_s == pytest.approx(by_pack.acts_s)
    assert of_sum.acts_s == pytest.approx(by_pack.acts_s)
    # By then the pack is warm: 22.2 A through 40 mohm for 2250 s are 44 kJ, into 6160 J/K 7.2 K, by Arrhenius with
    # 2600 K from 25 degC 0.815 of it, 32.6 mohm. 40 mohm times 22.7 A (1 kW at 44.1 V) are then 0.168 V too much:
    # where it reads 45 V it rests at 44.832 V, 3.736 a cell.
    assert by_pack.acts_s == pytest.approx(seconds_through(charge_of(3.736), 0.04), rel=0.01)
    measured = acts(day, stage("voltage", 45.0))
    assert measured.acts_s is not None
    assert measured.acts_s < by_pack.acts_s - 300.0


def test_a_delay_is_added() -> None:
    plain = acts(known_day(), stage("gauge", 50.0))
    late = acts(known_day(), stage("gauge", 50.0, delay_s=13.0))
    assert plain.acts_s is not None
    assert late.acts_s == pytest.approx(plain.acts_s + 13.0, abs=0.01)


def test_packs_that_share_unequally_by_battery_id() -> None:
    # 18 and 22 mohm: 55 and 45 % of the current; pack 1 is half empty in 0.5 / 0.55 of the time of an even share
    day = known_day(ohms=(0.018, 0.022))
    first = acts(day, stage("charge_used", 11_000.0, battery=0)).acts_s
    second = acts(day, stage("charge_used", 11_000.0, battery=1)).acts_s
    assert first is not None
    assert second is not None
    # (voltages differ a little by then)
    assert second / first == pytest.approx(0.55 / 0.45, rel=0.02)


def test_a_gauge_counts_from_the_capacity_that_the_aircraft_reckons_with() -> None:
    # from 20 Ah instead of 22: 50 % are shown after 10 Ah, at 54.5 %; it is the first battery's capacity alone
    own = with_stages(stage("gauge", 50.0, battery=0), pack_capacity_mah=told(20_000.0, "mAh"))
    row = acts(known_day(), stage("gauge", 50.0), own)
    assert row.acts_s == pytest.approx(seconds_to(12.0 / 22.0), rel=0.004)
    own = with_stages(stage("gauge", 50.0, battery=1), pack_capacity_mah=told(20_000.0, "mAh"))
    row = acts(known_day(), stage("gauge", 50.0), own)
    assert row.acts_s == pytest.approx(seconds_to(0.5), rel=0.004)


def test_packs_in_series_count_one_current_and_add_voltages() -> None:
    day = known_day(topology="series")
    for quantity, threshold, battery in (
        ("charge_used", 11_000.0, None),
        ("charge_used", 11_000.0, 1),
        ("gauge", 50.0, None),
    ):
        assert acts(day, stage(quantity, threshold, battery=battery)).acts_s == pytest.approx(
            seconds_to(0.5), rel=0.004
        )
    # the bus of two, or the part of it that one monitor sees
    at = pytest.approx(seconds_to(charge_of(3.75)), rel=0.004)
    assert acts(day, stage("voltage", 90.0)).acts_s == at
    assert acts(day, stage("voltage", 45.0, battery=0)).acts_s == at


def test_what_is_not_known_is_said_and_does_not_act() -> None:
    day = known_day()
    row = acts(day, stage("gauge", 50.0, battery=7))
    assert row.acts_s is None
    assert row.note == "it is not known what its battery 7 measures"
    assert acts(day, stage("gauge", "off")).note == "off"
    assert acts(day, stage("gauge", 50.0, action="report")).note == "only reports"
    blank = stage("gauge", 50.0)
    lacking = LowStage("low", None, UNTOLD, blank.threshold, blank.delay_s, blank.action, blank.latched)
    assert acts(day, lacking).note == "not understood: not seen"
    assert stages_today(day, STAY, with_stages(), FILE, None) == []
    assert stages_today(day, [], with_stages(blank), FILE, None) == []
    assert stages_today(known_day(wind=still(40.0)), STAY, with_stages(blank), FILE, None) == []


def test_a_plan_that_is_over_before_does_not_act_and_left_alone_it_does() -> None:
    # 60 s there, then home: no stage at 50 %; left alone there it hovers until it acts, and lands with what is
    # left then: 50 % of charge less the 100 m home (nothing)
    way = [Point("point 1", 100.0, 0.0, 0.0, 60.0)]
    day = known_day()
    day = day._replace(plan=day.plan._replace(order=("cruise", "land")))
    row = acts(day, stage("gauge", 50.0), way=way)
    assert row.acts_s is None
    assert not row.before_turn_back
    assert row.lands_with_pct == pytest.approx(100.0 * (0.5 - EMPTY) / (1.0 - EMPTY), abs=1.5)
    assert row.note == ""


def test_stages_stand_in_the_order_in_which_they_act() -> None:
    # critical lands where it is: its order does not matter to when it acts
    settings_of = with_stages(
        stage("gauge", 20.0, name="critical", action="land"),
        stage("gauge", "off", name="never"),
        stage("gauge", 40.0, name="low"),
    )
    day = known_day()
    day = day._replace(plan=day.plan._replace(order=("cruise", "land")))
    rows = stages_today(day, STAY, settings_of, FILE, None)
    assert [one.name for one in rows] == ["low", "critical", "never"]
    assert rows[0].lands_with_pct is not None
    assert rows[1].lands_with_pct is not None
    assert rows[0].lands_with_pct - rows[1].lands_with_pct == pytest.approx(20.0 / (1.0 - EMPTY), abs=1.0)


def test_a_return_that_never_lands_lands_with_nothing_told() -> None:
    day = known_day()
    day = day._replace(plan=day.plan._replace(order=("cruise", "hold", "land"), hold_s=math.inf))
    assert acts(day, stage("gauge", 50.0)).lands_with_pct is None
    # land does not hang on the return
    assert acts(day, stage("gauge", 50.0, action="land")).lands_with_pct is not None
    assert acts(day, stage("gauge", 50.0, action="hold")).lands_with_pct is None


def test_before_turn_back_is_by_the_time_of_the_plan() -> None:
    day = today_of(carrier(), sortie())
    way = [Point("point 1", 500.0, 0.0, 40.0, 300.0), Point("point 2", 100.0, 0.0, 40.0, 0.0)]
    end_s = leg_rows(day, way, 20.0)[-1].end_s
    early, late = with_stages(stage("gauge", 95.0)), with_stages(stage("gauge", 80.0))
    (row,) = stages_today(day, way, early, FILE, end_s)
    assert row.before_turn_back
    assert row.acts_s is not None
    assert row.acts_s < end_s
    (row,) = stages_today(day, way, late, FILE, end_s)
    assert not row.before_turn_back


def test_a_climb_s_sag_acts_unless_it_has_to_hold_for_longer() -> None:
    # the climb of 42.5 s takes 1.3 times hover power: what it sags to is not reached again for minutes
    day = today_of(carrier(packs={"resistance": "60 mohm"}), sortie())
    way = [Point("point 1", 100.0, 0.0, 80.0, 600.0)]
    climb = leg_rows(day, way, 20.0)[0]
    at_v = climb.volt_v + 0.2

    def when(delay_s: float) -> float:
        (row,) = stages_today(day, way, with_stages(stage("voltage", at_v, delay_s=delay_s)), FILE, None)
        assert row.acts_s is not None
        return row.acts_s

    assert when(0.0) < climb.end_s
    assert when(120.0) > climb.end_s + 120.0


COUNTED: dict[str, Setting] = {"pack_resistance_ohm": told(0.01, "ohm")}


@settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(
    quantity=st.sampled_from(["voltage", "compensated_voltage", "gauge", "charge_used"]),
    part=st.floats(0.0, 1.0),
    delay_s=st.sampled_from([0.0, 2.0, 4.0, 9.0, 30.0]),
)
def test_denser_steps_never_find_what_was_said_not_to_act(quantity: str, part: float, delay_s: float) -> None:
    day = today_of(carrier(packs={"resistance": "40 mohm"}), sortie())
    way = [
        Point("point 1", 150.0, 0.0, 8.0, 7.0),
        Point("point 2", 150.0, 40.0, 30.0, 33.0),
        Point("point 3", 300.0, 40.0, 12.0, 21.0),
    ]
    low, high = {
        "voltage": (46.5, 49.5), "compensated_voltage": (47.0, 50.0), "gauge": (88.0, 99.9),
        "charge_used": (40.0, 5500.0),
    }[quantity]  # fmt: skip
    one = stage(quantity, low + part * (high - low), delay_s=delay_s)
    own = with_stages(one, **COUNTED)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stages, "LEFT_ALONE_S", 60.0)  # it is the plan that is looked at
        (coarse,) = stages_today(day, way, own, FILE, None)
        patch.setattr(timeline, "STEP_S", 0.5)
        (dense,) = stages_today(day, way, own, FILE, None)
    if dense.acts_s is not None:
        assert coarse.acts_s is not None
        assert coarse.acts_s == pytest.approx(dense.acts_s, abs=1.5)
