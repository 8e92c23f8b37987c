"""What an aircraft is set to do, out of its parameters: the simulated aircraft whole, two public families.

Expected values of the two families are from memory of their public parameter documentation; those of the simulated
aircraft follow from what its own parameters are said to do (simulators/onboard/parameters.py).
"""

from __future__ import annotations

import random
from collections.abc import Mapping

import pytest

from simulators.onboard.guards import STAGES
from simulators.onboard.modes import Action, Step, order_of
from simulators.onboard.parameters import parameters
from simulators.wire.parameters import ParameterSet
from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4
from watchkeeper.aircraft.files import SEGMENTS
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import VOCABULARY, LowStage, Setting, Settings, Status, Value

PARTS = ("quantity", "threshold", "delay_s", "action", "latched")


def version(major: int, minor: int) -> int:
    """Return flight_sw_version of an official release (FIRMWARE_VERSION_TYPE_OFFICIAL is 255)."""
    return major << 24 | minor << 16 | 255


def simulated(changed: Mapping[str, float] | None = None) -> dict[str, float | None]:
    made = parameters(changed)
    return {name: made[name] for name in made}


def everything(settings: Settings) -> dict[str, Setting]:
    found = {name: settings[name] for name in VOCABULARY}
    for stage in settings.low_battery or ():
        found |= {f"{stage.name}: {part}": getattr(stage, part) for part in PARTS}
    return found


def off(value: float) -> float | str:
    return "off" if value == 0 else value


def close(found: Setting, expected: Value) -> bool:
    if isinstance(expected, float | int):
        return found.number == pytest.approx(float(expected), rel=1e-6)
    return found.value == expected


def expected_of(p: ParameterSet) -> dict[str, Value]:
    """Return what the simulated aircraft does, as its parameters say it."""
    steps = order_of(p["return.order"])
    act = {
        name: Action(int(p[f"{name}.action"])).name.lower() for name in ("control", "station", "fence", "position")
    }
    descends = Step.DESCEND in steps
    before_hold = steps[: steps.index(Step.HOLD)] if Step.HOLD in steps else (Step.DESCEND,)
    facing = Step.TURN in steps and Step.CRUISE in steps and steps.index(Step.TURN) < steps.index(Step.CRUISE)
    expected: dict[str, Value] = {
        "return_height_m": p["return.height_m"],
        "return_climb_m": 0.0,
        "return_cone_slope": "off",
        "return_cone_climb_m": "off",
        "return_cone_within_m": "off",
        "return_near_m": off(p["return.near_m"]),
        "return_near_height_m": "off" if p["return.near_m"] == 0 else p["return.low_m"],
        "return_speed_m_s": p["return.speed_m_s"],
        "return_order": tuple(step.name.lower() for step in steps if step is not Step.TURN),
        "return_turn": "first" if facing else "under_way",
        "return_hold_s": "endless" if p["return.hold_s"] < 0 else p["return.hold_s"],
        "return_hold_height_m": p["return.hold_m"] if Step.DESCEND in before_hold else "present",
        "return_final_height_m": 0.0 if Step.LAND in steps else p["return.hold_m"] if descends else "present",
        "return_to": "nearest" if p["return.places"] else "home",
        "return_to_within_m": "any",
        "climb_m_s": p["fly.climb_m_s"],
        "descent_m_s": p["fly.sink_m_s"],
        "landing_high_m_s": p["land.fast_m_s"],
        "landing_low_m_s": p["land.slow_m_s"],
        "landing_change_m": p["land.slow_m"],
        "landing_ramp_m": p["land.slow_m"],
        "acceleration_m_s2": p["fly.accel_m_s2"],
        "tilt_deg": p["fly.tilt_deg"],
        "plan_speed_m_s": p["fly.speed_m_s"],
        "pack_resistance_ohm": p["low.pack_ohm"],
        "pack_capacity_mah": "none",
        "control_lost_s": off(p["control.lost_s"]),
        "control_lost_action": act["control"] if p["control.lost_s"] else "nothing",
        "control_lost_kept": (),
        "station_lost_s": off(p["station.lost_s"]),
        "station_lost_action": act["station"] if p["station.lost_s"] else "nothing",
        "station_lost_kept": (),
        "fence_radius_m": off(p["fence.radius_m"]),
        "fence_height_m": off(p["fence.height_m"]),
        "fence_delay_s": p["fence.delay_s"],
        "fence_action": act["fence"],
        "position_lost_s": p["position.lost_s"],
        "position_lost_action": act["position"],
    }
    for of in (f"low{stage}" for stage in STAGES):
        compensated = "compensated_voltage" if p[f"{of}.compensate"] else "voltage"
        for name, quantity, threshold in (
            (f"{of} by voltage", compensated, p[f"{of}.volt_v"]),
            (f"{of} by gauge", "gauge", p[f"{of}.gauge_pct"]),
        ):
            expected[f"{name}: quantity"] = quantity
            expected[f"{name}: threshold"] = off(threshold)
            expected[f"{name}: delay_s"] = p[f"{of}.delay_s"]
            expected[f"{name}: action"] = Action(int(p[f"{of}.action"])).name.lower()
            expected[f"{name}: latched"] = "yes" if p[f"{of}.latch"] else "no"
    return expected


ORDERS = (
    123456.0,
    13456.0,
    3456.0,
    132456.0,
    312456.0,
    1346.0,
    36.0,
    6.0,
    136.0,
    5136.0,
    135.0,
    1345.0,
    12354.0,
    13.0,
)


@pytest.mark.parametrize("seed", range(30))
def test_the_simulated_aircraft_is_read_completely(seed: int) -> None:
    dice = random.Random(seed)
    changed = {}
    if seed:
        for one in parameters().definitions:
            value = dice.choice((one.minimum, one.maximum, one.value, (one.minimum + 3 * one.maximum) / 4))
            changed[one.name] = float(round(value)) if one.integer else value
        changed["return.order"] = dice.choice(ORDERS)
    made = parameters(changed)
    found = everything(read_settings(GENERIC, None, {name: made[name] for name in made}))
    expected = expected_of(made)
    assert found.keys() == expected.keys()
    wrong = {
        name: (one.value, expected[name], one.why) for name, one in found.items() if not close(one, expected[name])
    }
    assert not wrong
    assert {one.status for one in found.values()} == {Status.UNDERSTOOD}


def test_every_name_a_setting_comes_from_is_one_of_the_aircrafts() -> None:
    values = simulated({"return.near_m": 12.0, "station.lost_s": 5.0})
    found = everything(read_settings(GENERIC, None, values))
    named = {name for one in found.values() for name in one.names}
    assert named <= values.keys()
    # what is left: how it takes off and arms, and when its motors stop
    assert values.keys() - named == {"lift.height_m", "arm.wait_s", "arm.needs_fix", "land.off_s", "plan.arms"}


@pytest.mark.parametrize("name", sorted(simulated()))
def test_what_hangs_on_a_name_that_is_missing_is_not_seen_and_all_else_stays(name: str) -> None:
    values = simulated({"return.near_m": 12.0, "station.lost_s": 5.0})
    whole = everything(read_settings(GENERIC, None, values))
    del values[name]
    for setting, one in everything(read_settings(GENERIC, None, values)).items():
        if name in whole[setting].names:
            assert (one.status, one.value) == (Status.NOT_SEEN, None), setting
            assert name in one.names
            assert name in one.why
        elif whole[setting].names:
            assert one == whole[setting]


@pytest.mark.parametrize("bad", [None, float("nan"), float("inf"), float("-inf"), 1e30, -1e30])
@pytest.mark.parametrize("autopilot", [GENERIC, ARDUPILOT, PX4])
def test_what_is_no_number_or_absurd_is_never_understood(bad: float | None, autopilot: int) -> None:
    whole = {GENERIC: simulated(), ARDUPILOT: dict(AN_ARDUPILOT), PX4: dict(A_PX4)}[autopilot]
    good = everything(read_settings(autopilot, version(4, 3) if autopilot == ARDUPILOT else version(1, 14), whole))
    named = {name for one in good.values() for name in one.names}
    assert len(named) > 20
    for name in sorted(named):
        found = everything(read_settings(autopilot, version(4, 3), {**whole, name: bad}))
        for one in found.values():
            assert one.status is not Status.UNDERSTOOD or name not in one.names
            assert (one.value is None) == (one.status is not Status.UNDERSTOOD)
            assert bool(one.why) == (one.value is None)


AN_ARDUPILOT: dict[str, float | None] = {
    "RTL_ALT": 3000, "RTL_ALT_TYPE": 0, "RTL_ALT_FINAL": 0, "RTL_CLIMB_MIN": 500, "RTL_CONE_SLOPE": 3,
    "RTL_LOIT_TIME": 12000, "RTL_SPEED": 0, "WPNAV_SPEED": 900, "WPNAV_SPEED_UP": 250, "WPNAV_SPEED_DN": 150,
    "WPNAV_ACCEL": 180, "LAND_SPEED": 60, "LAND_SPEED_HIGH": 0, "LAND_ALT_LOW": 800, "ANGLE_MAX": 3500,
    "PSC_ANGLE_MAX": 0, "RALLY_INCL_HOME": 1, "RALLY_LIMIT_KM": 0.5, "FS_THR_ENABLE": 1, "RC_FS_TIMEOUT": 1.5,
    "FS_GCS_ENABLE": 5, "FS_GCS_TIMEOUT": 7, "FS_OPTIONS": 16, "FS_EKF_ACTION": 1, "FS_EKF_THRESH": 0.8,
    "FENCE_ENABLE": 1, "FENCE_AUTOENABLE": 0, "FENCE_TYPE": 3, "FENCE_RADIUS": 250, "FENCE_ALT_MAX": 110,
    "FENCE_ACTION": 1, "BATT_MONITOR": 4, "BATT_CAPACITY": 22000, "BATT_LOW_VOLT": 43.2, "BATT_LOW_MAH": 4000,
    "BATT_CRT_VOLT": 42, "BATT_CRT_MAH": 0, "BATT_LOW_TIMER": 10, "BATT_FS_VOLTSRC": 1, "BATT_FS_LOW_ACT": 2,
    "BATT_FS_CRT_ACT": 1, "BATT2_MONITOR": 0,
}  # fmt: skip
A_PX4: dict[str, float | None] = {
    "RTL_RETURN_ALT": 45, "RTL_DESCEND_ALT": 12, "RTL_LAND_DELAY": 5, "RTL_TYPE": 0, "RTL_CONE_ANG": 45,
    "RTL_MIN_DIST": 10, "MPC_XY_CRUISE": 7, "MPC_Z_V_AUTO_UP": 3, "MPC_Z_V_AUTO_DN": 1.5, "MPC_Z_VEL_MAX_UP": 4,
    "MPC_Z_VEL_MAX_DN": 2, "MPC_LAND_SPEED": 0.7, "MPC_LAND_ALT1": 10, "MPC_LAND_ALT2": 5, "MPC_ACC_HOR": 3,
    "MPC_TILTMAX_AIR": 35, "BAT1_CAPACITY": 16000, "BAT_LOW_THR": 0.3, "BAT_CRIT_THR": 0.2,
    "BAT_EMERGEN_THR": 0.1, "COM_LOW_BAT_ACT": 3, "COM_RC_LOSS_T": 0.5, "COM_FAIL_ACT_T": 5, "COM_RCL_EXCEPT": 5,
    "COM_DL_LOSS_T": 10, "NAV_RCL_ACT": 2, "NAV_DLL_ACT": 0, "GF_ACTION": 2, "GF_MAX_HOR_DIST": 400,
    "GF_MAX_VER_DIST": 0, "COM_POSCTL_NAVL": 1,
}  # fmt: skip


def test_one_family_as_documented() -> None:
    settings = read_settings(ARDUPILOT, version(4, 3), AN_ARDUPILOT, vehicle=13)
    expected: dict[str, Value] = {
        "return_height_m": 30, "return_climb_m": 5, "return_cone_slope": 3, "return_cone_climb_m": 2.5,
        "return_cone_within_m": "any", "return_speed_m_s": 9, "return_order": ("climb", "cruise", "hold", "land"),
        "return_hold_s": 12, "return_hold_height_m": "present", "return_final_height_m": 0,
        "return_to": "nearest", "return_to_within_m": 500, "climb_m_s": 2.5, "descent_m_s": 1.5,
        "landing_high_m_s": 1.5, "landing_low_m_s": 0.6, "landing_change_m": 8, "landing_ramp_m": 8,
        "acceleration_m_s2": 1.8, "tilt_deg": 35, "plan_speed_m_s": 9, "pack_resistance_ohm": "learned",
        "pack_capacity_mah": 22000, "control_lost_s": 1.5, "control_lost_action": "return",
        "control_lost_kept": (), "station_lost_s": 7, "station_lost_action": "land",
        "station_lost_kept": ("by_hand",), "fence_radius_m": 250, "fence_height_m": 110,
        "fence_action": "return_or_land", "position_lost_action": "land",
    }  # fmt: skip
    wrong = {name: settings[name] for name, value in expected.items() if not close(settings[name], value)}
    assert not wrong
    stages = {stage.name: stage for stage in settings.low_battery or () if stage.battery == 0}
    assert [
        told(stages[f"BATT {name}"]) for name in ("low, by voltage", "low, by charge", "critical, by voltage")
    ] == [
        ("compensated_voltage", 43.2, 10, "return", "yes"),
        ("charge_left", 4000, 0, "return", "yes"),
        ("compensated_voltage", 42, 10, "land", "yes"),
    ]
    assert stages["BATT critical, by charge"].threshold.word == "off"
    # a battery that is not measured, and none of what older firmware had
    assert {stage.threshold.word for stage in settings.low_battery or () if stage.battery == 1} == {"off"}
    assert len(settings.low_battery or ()) == 8


def told(stage: LowStage) -> tuple[Value | None, ...]:
    return tuple(getattr(stage, part).value for part in PARTS)


def test_the_other_family_as_documented() -> None:
    settings = read_settings(PX4, version(1, 14), A_PX4, vehicle=2)
    expected: dict[str, Value] = {
        "return_height_m": 45, "return_cone_slope": 1, "return_cone_within_m": 10, "return_near_m": "off",
        "return_speed_m_s": 7, "return_order": SEGMENTS, "return_hold_s": 5, "return_hold_height_m": 12,
        "return_final_height_m": 0, "return_to": "nearest", "climb_m_s": 3, "descent_m_s": 1.5,
        "landing_high_m_s": 1.5, "landing_low_m_s": 0.7, "landing_change_m": 5, "landing_ramp_m": 10,
        "acceleration_m_s2": 3, "tilt_deg": 35, "plan_speed_m_s": 7, "pack_capacity_mah": 16000,
        "control_lost_s": 5.5, "control_lost_action": "return", "control_lost_kept": ("mission", "external"),
        "station_lost_s": "off", "station_lost_action": "nothing", "fence_radius_m": 400, "fence_height_m": "off",
        "fence_action": "hold", "position_lost_action": "land",
    }  # fmt: skip
    wrong = {name: settings[name] for name, value in expected.items() if not close(settings[name], value)}
    assert not wrong
    assert [told(stage)[:2] + told(stage)[3:4] for stage in settings.low_battery or ()] == [
        ("gauge", 30, "report"), ("gauge", 20, "return"), ("gauge", 10, "land"),
    ]  # fmt: skip
    assert {stage.delay_s.status for stage in settings.low_battery or ()} == {Status.NOT_UNDERSTOOD}
    assert settings.return_lands is True
