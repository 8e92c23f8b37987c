"""Low battery: each stage by raw voltage, by compensated voltage and by gauge; delay, action, latch."""

from __future__ import annotations

import pytest

from simulators.flown.flight import FastFlight
from simulators.flown.setup import PackSetup
from simulators.onboard.gauge import EXACT, MonitorErrors
from simulators.onboard.modes import Mode, Severity
from simulators.physics.packs import PackModel
from tests.simulators.onboard.flying import airborne, away, height, mode, said, setup, until

OFF = {f"low{stage}.{name}": 0.0 for stage in (1, 2, 3) for name in ("volt_v", "gauge_pct")}
OHM = 0.016
MODES = {1: Mode.POSITION_HOLD, 2: Mode.SAFE_RECOVERY, 3: Mode.LAND, 4: Mode.ALTITUDE_HOLD}


def flying(**parameters: float) -> FastFlight:
    """Return a flight far from home with all stages off but what is given (low1_volt_v=44.0)."""
    named = {name.replace("_", ".", 1): value for name, value in parameters.items()}
    flight = airborne(setup({**OFF, "low.pack_ohm": OHM, **named}))
    flight.pilot.go_to((60.0, 0.0, 20.0))
    flight.run(25.0)
    said(flight)
    return flight


def raw_v(flight: FastFlight) -> float:
    return flight.pilot.gauges.voltage_v


def compensated_v(flight: FastFlight) -> float:
    return raw_v(flight) + flight.bank.packs[0].current_a * OHM


def acted(flight: FastFlight) -> list[bool]:
    return [guard.acted for guard in flight.pilot.guards.low]


@pytest.mark.parametrize("stage", [1, 2, 3])
@pytest.mark.parametrize("compensate", [0.0, 1.0])
def test_a_stage_holds_under_its_voltage_raw_or_compensated(stage: int, compensate: float) -> None:
    # facts.md 14: 44 V, whether raw or compensated is not said: both are there
    flight = flying(
        **{f"low{stage}_action": 0.0, f"low{stage}_delay_s": 1.0, f"low{stage}_compensate": compensate}
    )
    assert compensated_v(flight) - raw_v(flight) > 0.25  # some 20 A a pack in a hover
    between_v = (compensated_v(flight) + raw_v(flight)) / 2
    flight.parameters.set(f"low{stage}.volt_v", between_v)
    flight.run(3.0)
    assert acted(flight)[stage - 1] is (compensate == 0.0)
    flight.parameters.set(f"low{stage}.volt_v", compensated_v(flight) + 0.1)
    flight.run(3.0)
    assert acted(flight)[stage - 1]
    assert sum(acted(flight)) == 1
    assert mode(flight) is Mode.POSITION_HOLD
    assert said(flight) == [f"Low battery, stage {stage}"]


@pytest.mark.parametrize("stage", [1, 2, 3])
def test_a_stage_holds_under_its_gauge(stage: int) -> None:
    flight = flying(**{f"low{stage}_action": 0.0, f"low{stage}_delay_s": 0.0})
    shown = flight.pilot.gauges.left_pct
    flight.parameters.set(f"low{stage}.gauge_pct", min(90.0, shown - 0.3))
    flight.run(2.0)
    assert not acted(flight)[stage - 1]
    until(flight, lambda: acted(flight)[stage - 1], 400.0)
    assert flight.pilot.gauges.left_pct == pytest.approx(min(90.0, shown - 0.3), abs=0.02)


@pytest.mark.parametrize("stage", [1, 2, 3])
@pytest.mark.parametrize("action", [1, 2, 3, 4])
def test_a_stage_does_what_it_is_set_to(stage: int, action: int) -> None:
    flight = flying(**{f"low{stage}_action": float(action), f"low{stage}_delay_s": 0.0})
    flight.pilot.go_to((200.0, 0.0, 20.0))
    flight.run(5.0)
    flight.parameters.set(f"low{stage}.volt_v", 60.0)
    flight.run(0.3)
    assert mode(flight) is MODES[action]
    severity, text = flight.pilot.texts[-1]
    assert severity == Severity.CRITICAL
    assert text.startswith(f"Low battery, stage {stage}: ")
    flight.run(30.0)
    if action == 1:
        assert 60 < flight.craft.north_m < 140  # holds short of where it flew to
    elif action == 3:
        assert height(flight) < 1.0


def test_a_stage_may_stop_the_motors() -> None:
    flight = flying(low3_action=5.0, low3_delay_s=0.0)
    flight.parameters.set("low3.volt_v", 60.0)
    flight.run(5.0)
    assert flight.craft.crashed


@pytest.mark.parametrize("delay_s", [0.0, 2.0, 7.5])
def test_it_acts_after_its_delay_and_not_for_less(delay_s: float) -> None:
    flight = flying(low1_delay_s=delay_s)
    flight.parameters.set("low1.volt_v", 60.0)
    assert until(flight, lambda: acted(flight)[0], 10.0) == pytest.approx(delay_s, abs=0.21)
    short = flying(low1_delay_s=7.5)
    for _ in range(4):  # under it for 5 s, then for a moment over it
        short.parameters.set("low1.volt_v", 60.0)
        short.run(5.0)
        short.parameters.set("low1.volt_v", 0.0)
        short.run(0.3)
    assert not acted(short)[0]


@pytest.mark.parametrize("latch", [1.0, 0.0])
def test_the_pilot_overrides_it_and_it_does_not_act_again_while_it_lasts(latch: float) -> None:
    flight = flying(low1_delay_s=1.0, low1_latch=latch)
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(2.0)
    assert mode(flight) is Mode.SAFE_RECOVERY
    flight.pilot.enter(Mode.POSITION_HOLD, "order")
    flight.run(60.0)
    assert mode(flight) is Mode.POSITION_HOLD


@pytest.mark.parametrize(("latch", "after"), [(1.0, Mode.POSITION_HOLD), (0.0, Mode.SAFE_RECOVERY)])
def test_one_that_is_not_latched_acts_again_after_its_condition_has_ended(latch: float, after: Mode) -> None:
    flight = flying(low1_delay_s=1.0, low1_latch=latch)
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(2.0)
    flight.pilot.enter(Mode.POSITION_HOLD, "order")
    flight.parameters.set("low1.volt_v", 0.0)
    flight.run(1.0)
    assert acted(flight)[0] is bool(latch)
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(0.8)
    assert mode(flight) is Mode.POSITION_HOLD
    flight.run(1.2)
    assert mode(flight) is after


def test_compensated_voltage_is_that_of_rest_in_a_hover_and_in_a_climb() -> None:
    flight = nearly_empty(0.6, fly_climb_m_s=5.0)
    flight.run(60.0)
    pack = flight.bank.packs[0]
    for _ in range(2):
        rest_v = pack.rest_v + pack.u1_v + pack.u2_v  # all that current costs taken away
        assert compensated_v(flight) == pytest.approx(rest_v, abs=0.1)
        flight.pilot.go_to((80.0, 0.0, 60.0))
        flight.run(4.0)
        assert flight.craft.climb_m_s > 3.5


def test_raw_voltage_dips_in_a_climb_and_an_unlatched_stage_acts_each_time() -> None:
    flight = flying(low1_compensate=0.0, low1_delay_s=1.0, low1_latch=0.0, low1_action=0.0, fly_climb_m_s=5.0)
    up = height(flight)
    for times in (1, 2, 3):
        flight.parameters.set("low1.volt_v", raw_v(flight) - 0.12)
        flight.pilot.go_to((60.0, 0.0, up + 60.0))
        flight.run(8.0)
        assert acted(flight)[0]
        assert len(flight.pilot.texts) == times
        flight.pilot.go_to((60.0, 0.0, up))
        flight.run(12.0)
        assert not acted(flight)[0]
        flight.parameters.set("low1.volt_v", 0.0)
        flight.run(40.0)
    assert said(flight) == ["Low battery, stage 1"] * 3


def test_a_latch_is_let_go_by_the_next_arming() -> None:
    flight = flying(low1_delay_s=0.0, low1_action=3.0)
    flight.parameters.set("low1.volt_v", 60.0)
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert acted(flight)[0]
    flight.parameters.set("low1.volt_v", 0.0)
    assert flight.pilot.arm() is None
    assert acted(flight) == [False, False, False]


def test_nothing_is_judged_on_the_ground() -> None:
    flight = airborne(setup(OFF), 5.0)
    flight.pilot.enter(Mode.LAND, "order")
    until(flight, lambda: flight.craft.on_ground, 20.0)
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(10.0)
    assert acted(flight) == [False, False, False]


def nearly_empty(charge: float, **parameters: float) -> FastFlight:
    packs = (PackSetup(charge=charge, monitor=EXACT), PackSetup(PackModel(cycles=60.0), charge, EXACT))
    named = {name.replace("_", ".", 1): value for name, value in parameters.items()}
    flight = airborne(setup(named, packs=packs), 20.0)
    flight.pilot.go_to((80.0, 0.0, 20.0))
    return flight


def test_a_real_discharge_returns_at_44_volts_and_lands_at_home() -> None:
    # facts.md 14: return home at 44 V
    flight = nearly_empty(0.35, return_height_m=25.0)
    until(flight, lambda: acted(flight)[0], 900.0)
    assert compensated_v(flight) == pytest.approx(44.0, abs=0.1)
    assert 3 < flight.pilot.gauges.left_pct < 35
    until(flight, lambda: not flight.pilot.armed, 200.0)
    assert not flight.craft.crashed
    assert away(flight) < 0.5


def test_the_second_stage_lands_where_it_is_and_the_first_does_not_call_it_back() -> None:
    flight = nearly_empty(0.35, low1_volt_v=42.0, low2_volt_v=43.8)
    until(flight, lambda: acted(flight)[1], 900.0)
    assert mode(flight) is Mode.LAND
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(6.0)
    assert mode(flight) is Mode.LAND
    assert "Low battery, stage 1: land goes on" in said(flight)
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert away(flight) == pytest.approx(80.0, abs=1.0)


def test_a_later_stage_ends_the_return_of_an_earlier_one() -> None:
    flight = flying(low1_delay_s=0.0, low2_delay_s=0.0)
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(1.0)
    assert mode(flight) is Mode.SAFE_RECOVERY
    flight.parameters.set("low2.volt_v", 60.0)
    flight.run(0.5)
    assert mode(flight) is Mode.LAND


def test_a_hold_does_not_end_a_return() -> None:
    flight = flying(low1_delay_s=0.0, low2_delay_s=0.0, low2_action=1.0)
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(1.0)
    flight.parameters.set("low2.volt_v", 60.0)
    flight.run(1.0)
    assert mode(flight) is Mode.SAFE_RECOVERY
    assert said(flight)[-1] == "Low battery, stage 2: safe recovery goes on"


def test_a_gauge_that_starts_wrong_misleads_the_stage_that_goes_by_it() -> None:
    wrong = MonitorErrors(current_a=0.0, voltage_v=0.0, cell_v=0.0, start_pct=100.0)
    packs = (PackSetup(charge=0.5, monitor=wrong), PackSetup(charge=0.5, monitor=wrong))
    flight = airborne(setup({**OFF, "low1.gauge_pct": 40.0}, packs=packs))
    until(flight, lambda: flight.bank.packs[0].charge < 0.38, 900.0)
    assert flight.pilot.gauges.left_pct > 85
    assert not acted(flight)[0]
