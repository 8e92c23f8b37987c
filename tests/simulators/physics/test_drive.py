"""Motors, controllers and rotors on a bus: hover power, the motor's equations, weak and stopped motors."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulators.physics.airframe import Airframe
from simulators.physics.constants import G_M_S2
from simulators.physics.drive import Drive
from simulators.physics.ledger import Ledger
from tests.simulators.physics.handflown import RHO_KG_M3, STEP_S, hover_inflow

WEIGHT_N = 35 * G_M_S2
HIGH_M = 100.0
BUS_V = 46.0


def settled(
    airframe: Airframe | None = None,
    thrust_n: float = WEIGHT_N,
    bus_v: float = BUS_V,
    healths: dict[int, float] | None = None,
    *,
    density: float = RHO_KG_M3,
    above_m: float = HIGH_M,
) -> tuple[Drive, float, float]:
    """Return a drive that has run steadily, its thrust in N and its power in W; the ledger starts then."""
    drive = Drive(airframe or Airframe(), Ledger())
    for rotor, health in (healths or {}).items():
        drive.weaken(rotor, health)
    for _ in range(200):
        drive.run(STEP_S, thrust_n, bus_v, density, 0.0, 0.0, above_m)
    drive.ledger = Ledger()
    thrust, _, power_w = drive.run(STEP_S, thrust_n, bus_v, density, 0.0, 0.0, above_m)
    return drive, thrust, power_w


def test_hover_power_of_the_whole_aircraft() -> None:
    # facts section 5, 35 kg on six 30 in rotors: ideal 2456.0 W; figure of merit 0.5 to 0.7, drive about 0.85. The
    # same sum for our discs of 0.38 m, and what its electronics take on top.
    frame = Airframe()
    ideal_w = WEIGHT_N * hover_inflow(WEIGHT_N, 6 * frame.blade.area_m2)
    assert ideal_w == pytest.approx(2456.0 * 0.381 / 0.38, rel=1e-3)
    drive, thrust, power_w = settled()
    assert thrust == pytest.approx(WEIGHT_N, rel=1e-6)
    assert ideal_w / (0.7 * 0.85) < power_w - frame.avionics_w < ideal_w / (0.5 * 0.85)
    # Drive efficiency 0.85, as a spread 0.80 to 0.90 (common practice).
    shaft_w = drive.ledger.shaft_j() / STEP_S
    assert 0.80 < shaft_w / (power_w - frame.avionics_w) < 0.90
    # With what neighbours and the frame in the wash cost, the rotors' merit is still that of small propellers.
    assert 0.5 < ideal_w / shaft_w < 0.7


def test_bus_power_grows_nearly_as_thrust() -> None:
    # T^1.5 at the shaft; friction of motors grows slower than that, heat of windings faster (T^2).
    low, high = settled(thrust_n=0.7 * WEIGHT_N), settled(thrust_n=1.3 * WEIGHT_N)
    shafts = [drive.ledger.shaft_j() for drive, _, _ in (low, high)]
    assert math.log(shafts[1] / shafts[0]) / math.log(1.3 / 0.7) == pytest.approx(1.5, abs=1e-3)
    buses = [power_w - Airframe().avionics_w for _, _, power_w in (low, high)]
    assert math.log(buses[1] / buses[0]) / math.log(1.3 / 0.7) == pytest.approx(1.5, abs=0.06)
    # facts section 5: 1.0498 at 1000 m.
    high_up = settled(density=1.11166)[0].ledger.shaft_j()
    assert high_up / settled()[0].ledger.shaft_j() == pytest.approx(1.0498, abs=2e-4)


def test_a_motor_obeys_its_equations() -> None:
    # A brushless motor as a direct-current one (from memory): torque = k (I - I0), V = k w + I R, power in = V I.
    frame = Airframe()
    drive, _, power_w = settled(frame)
    motor, ledger = frame.motor, drive.ledger
    (group,) = drive.groups
    torque = ledger.shaft_j() / STEP_S / 6 / group.speed_rad_s
    current = motor.no_load_a + torque / motor.constant_v_s
    assert group.current_a == pytest.approx(current)
    terminal_v = motor.constant_v_s * group.speed_rad_s + current * motor.winding_ohm
    controller_w = ledger.controller_j / STEP_S / 6
    assert power_w == pytest.approx(6 * (terminal_v * current + controller_w) + frame.avionics_w)
    # A controller gives 95 to 98 % of what it takes (common practice).
    assert 0.02 < controller_w / (terminal_v * current + controller_w) < 0.05
    assert drive.throttle == pytest.approx(
        motor.constant_v_s * group.speed_rad_s / (BUS_V - current * (motor.winding_ohm + motor.switch_ohm)),
        rel=1e-4,
    )


def test_speed_follows_with_its_lag() -> None:
    # First order: 1 - 1/e of a step after one time constant (from memory), whatever the step of time.
    lag_s = Airframe().motor.lag_s
    for steps in (1, 7, 70):
        drive = settled()[0]
        (group,) = drive.groups
        start = group.speed_rad_s
        for _ in range(steps):
            drive.run(lag_s / steps, 1.21 * WEIGHT_N, BUS_V, RHO_KG_M3, 0.0, 0.0, HIGH_M)
        assert group.speed_rad_s / start == pytest.approx(1 + 0.1 * (1 - math.exp(-1)), rel=1e-6)


def test_a_sagging_bus_limits_thrust() -> None:
    frame = Airframe()
    full, thrust, _ = settled(frame, thrust_n=2.5 * WEIGHT_N)
    assert full.throttle == 1.0
    assert thrust < 2.4 * WEIGHT_N
    sagging, less, _ = settled(frame, thrust_n=2.5 * WEIGHT_N, bus_v=40.0)
    assert sagging.throttle == 1.0
    # No load but the rotor's: speed near the bus's by the constant, thrust by its square (within the sag by
    # current).
    assert less / thrust == pytest.approx((40.0 / BUS_V) ** 2, rel=0.08)
    assert 0.5 < settled(frame)[0].throttle < 0.8


def test_a_weak_rotor_costs_what_it_turns_faster() -> None:
    # A rotor that gives 0.7 of its thrust must turn 1/sqrt(0.7) as fast: 0.7^-1.5 of its power, for one of six.
    whole, weak = settled(), settled(healths={2: 0.7})
    assert weak[1] == pytest.approx(WEIGHT_N, rel=1e-6)
    grown = weak[0].ledger.shaft_j() / whole[0].ledger.shaft_j()
    assert grown == pytest.approx((5 + 0.7**-1.5) / 6, rel=1e-6)
    assert weak[2] > 1.1 * whole[2]


def test_one_of_six_stopped() -> None:
    # Its opposite idles and four carry 1.5 times as much: power 4 * 1.5^1.5 / 6 = 1.2247 times.
    whole, four = settled(), settled(healths={0: 0.0})
    assert four[1] == pytest.approx(WEIGHT_N, rel=1e-6)
    assert four[0].ledger.shaft_j() / whole[0].ledger.shaft_j() == pytest.approx(4 * 1.5**1.5 / 6, rel=1e-6)
    speeds = {rotor: group.speed_rad_s for group in four[0].groups for rotor in group.members}
    assert speeds[0] < 1.0 > speeds[3]
    for rotor in (1, 2, 4, 5):
        assert speeds[rotor] == pytest.approx(whole[0].groups[0].speed_rad_s * math.sqrt(1.5), rel=1e-6)
    assert not four[0].tumbles
    assert four[0].yaw_left == 0.0


def test_what_is_lost_with_more_motors() -> None:
    assert settled(healths={0: 0.0, 3: 0.0})[0].tumbles is False
    assert settled(healths={0: 0.0, 1: 0.0})[0].tumbles is True
    assert settled(replace(Airframe(), rotors=4), healths={0: 0.0})[0].tumbles is True
    spinning = settled(healths={0: 0.0, 2: 0.0, 4: 0.0})[0]
    assert spinning.tumbles is False
    assert spinning.yaw_left == pytest.approx(1.0)
    with pytest.raises(IndexError):
        Drive(Airframe(), Ledger()).weaken(6, 0.5)


def test_a_healed_motor_turns_again() -> None:
    drive, _, power_w = settled(healths={0: 0.0})
    drive.weaken(0, 1.0)
    for _ in range(200):
        _, _, after_w = drive.run(STEP_S, WEIGHT_N, BUS_V, RHO_KG_M3, 0.0, 0.0, HIGH_M)
    assert after_w == pytest.approx(settled()[2], rel=1e-6)
    assert after_w < power_w


def test_ground_takes_off_induced_power_only() -> None:
    # Cheeseman and Bennett 1955: induced power at equal thrust by 1 - (R / 4z)^2; the discs stand 0.6 m above the
    # feet.
    high, low = settled()[0].ledger, settled(above_m=0.4)[0].ledger
    assert low.induced_j / high.induced_j == pytest.approx(1 - (0.38 / (4 * 1.0)) ** 2, rel=1e-6)
    assert low.profile_j == pytest.approx(high.profile_j)


def test_what_leaves_the_bus_is_in_the_ledger() -> None:
    # Thrust asked in leaps, flow from all sides, a motor that stops and one that weakens: power times time is the
    # ledger's sum; braking motors turn the rotors' energy into heat.
    drive = Drive(Airframe(), Ledger())
    given_j = 0.0
    for i in range(3000):
        if i == 1000:
            drive.weaken(1, 0.6)
        if i == 2000:
            drive.weaken(4, 0.0)
        asked_n = WEIGHT_N * (0.0 if i % 400 < 30 else 1.0 + 0.6 * math.sin(i / 9))
        flow = 6 * math.sin(i / 50), 12 * abs(math.sin(i / 80))
        given_j += STEP_S * drive.run(STEP_S, asked_n, BUS_V, RHO_KG_M3, *flow, 20.0)[2]
    assert drive.ledger.electrical_j() == pytest.approx(given_j, rel=1e-9)
    assert drive.ledger.braking_j > 0
