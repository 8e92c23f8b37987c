"""Motors and rotors on one bus: what is asked of them, what they give, and what it takes.

Rotors that share alike are computed once for all of them.
"""

from __future__ import annotations

import math
from typing import Final

from simulators.physics.airframe import Airframe
from simulators.physics.balance import share
from simulators.physics.ledger import Ledger
from simulators.physics.rotor import Rotor

_LEAST_SPEED: Final = 20.0  # rad/s; below it a rotor is as good as still
_BALANCED: Final = 1e-6
_NEAR_GROUND: Final = 4.0  # radii; higher up the ground takes less than half a per cent off the induced power


class RotorGroup:
    """Rotors that turn alike: how many, the share and health of one, and its speed in rad/s."""

    __slots__ = ("count", "current_a", "health", "members", "share", "speed_rad_s")

    def __init__(self, members: tuple[int, ...], share_of_one: float, health: float, speed_rad_s: float) -> None:
        self.members = members
        self.count = len(members)
        self.share = share_of_one
        self.health = health
        self.speed_rad_s = speed_rad_s
        self.current_a = 0.0


class Drive:
    """All rotors of an aircraft. `run` moves them on by a step."""

    def __init__(self, airframe: Airframe, ledger: Ledger) -> None:
        self.airframe = airframe
        self.rotor = Rotor(airframe.blade)
        self.ledger = ledger
        self.healths = [1.0] * airframe.rotors
        self.groups: list[RotorGroup] = []
        self.throttle = 0.0
        """Highest speed of a rotor by the highest that the bus allows."""
        self.tumbles = False
        """Whether no equilibrium in roll and pitch is left."""
        self.yaw_left = 0.0
        """Torque in yaw that no other rotor takes up, by the sum of all torques."""
        self._step_s = 0.0
        self._decay = 0.0
        self._share_out()

    def weaken(self, rotor: int, health: float) -> None:
        """Let a rotor give only a part of its thrust at the same power; 0 stops its motor. IndexError if none."""
        self.healths[rotor] = min(1.0, max(0.0, health))
        self._share_out()

    def _share_out(self) -> None:
        speeds = [0.0] * self.airframe.rotors
        for group in self.groups:
            for member in group.members:
                speeds[member] = group.speed_rad_s
        shares = share([health > 0 for health in self.healths])
        self.tumbles = shares is None
        even = tuple(1.0 / len(speeds) if health else 0.0 for health in self.healths)
        thrust = even if shares is None else shares.thrust
        self.yaw_left = 0.0 if shares is None or abs(shares.yaw) < _BALANCED else shares.yaw
        alike: dict[tuple[float, float], list[int]] = {}
        for i, (part, health) in enumerate(zip(thrust, self.healths, strict=True)):
            alike.setdefault((round(part, 6) if health else 0.0, health), []).append(i)
        self.groups = [
            RotorGroup(tuple(members), thrust[members[0]], health, sum(speeds[i] for i in members) / len(members))
            for (_, health), members in alike.items()
        ]

    def run(
        self,
        step_s: float,
        thrust_n: float,
        bus_v: float,
        density: float,
        axial_m_s: float,
        across_m_s: float,
        above_m: float,
    ) -> tuple[float, float, float]:
        """Return thrust and force across the discs in N, and the power drawn from the bus in W.

        `thrust_n` is what hover at this speed of the rotors would give; 0 stops the motors. Speeds through the air
        along the shaft (climb positive) and across it; `above_m` is the height over ground.
        """
        if step_s != self._step_s:
            self._step_s = step_s
            self._decay = 1.0 - math.exp(-step_s / self.airframe.motor.lag_s)
        frame = self.airframe
        motor = frame.motor
        rotor = self.rotor
        radius = rotor.radius_m
        constant, winding = motor.constant_v_s, motor.winding_ohm
        running = thrust_n > 0.0 and bus_v > 1.0
        per_speed = density * rotor.area_m2 * radius * radius
        crowding = frame.interference
        if above_m < _NEAR_GROUND * radius:
            crowding *= rotor.ground_factor(above_m + frame.rotor_height_m)

        reach = 1.0
        fullest = 0.0
        wanted: list[float] = []
        for group in self.groups:
            speed = 0.0
            if running and group.health > 0.0 and group.share > 0.0:
                speed = math.sqrt(thrust_n * group.share / (per_speed * rotor.hover_thrust * group.health))
                most = (bus_v - group.current_a * (winding + motor.switch_ohm)) / constant
                fill = speed / most if most > 1.0 else 1e3
                fullest = max(fullest, fill)
            wanted.append(speed)
        if fullest > 1.0:
            reach = 1.0 / fullest
        self.throttle = min(1.0, fullest)

        ledger = self.ledger
        decay = self._decay
        thrust = across_force = power_w = 0.0
        for group, speed in zip(self.groups, wanted, strict=True):
            last = group.speed_rad_s
            now = last + (speed * reach - last) * decay
            group.speed_rad_s = now
            count = group.count
            spin = motor.inertia_kg_m2 * (now * now - last * last) / (2.0 * step_s)
            ledger.spin_j += spin * step_s * count
            if now < _LEAST_SPEED:
                if spin > 0.0:
                    power_w += spin * count
                else:
                    ledger.braking_j -= spin * step_s * count
                group.current_a = 0.0
                continue
            tip = now * radius
            advance, climb = across_m_s / tip, axial_m_s / tip
            lift, induced, profile, drag = rotor.at(advance, climb)
            induced *= crowding
            unit_n = per_speed * now * now
            unit_w = unit_n * tip * count
            ledger.induced_j += induced * unit_w * step_s
            ledger.profile_j += profile * unit_w * step_s
            given = unit_n * group.health
            thrust += lift * given * count
            across_force += drag * given * count
            # a damaged rotor: what the air does not give back as thrust is lost in its profile
            lost = (1.0 - group.health) * (lift * climb - drag * advance)
            if lost:
                ledger.profile_j += lost * unit_w * step_s
            ledger.axial_j += lift * climb * group.health * unit_w * step_s
            ledger.rotor_drag_j += drag * advance * group.health * unit_w * step_s
            shaft = (lift * climb + induced + profile - drag * advance) * unit_w / count + spin
            current = shaft / (now * constant) + motor.no_load_a
            if current <= 0.0:
                ledger.braking_j -= shaft * step_s * count
                group.current_a = 0.0
                continue
            group.current_a = current
            heat = current * current * winding
            idle = constant * now * motor.no_load_a
            switch = current * current * motor.switch_ohm + motor.switching * bus_v * current
            power_w += (shaft + heat + idle + switch) * count
            ledger.winding_j += heat * step_s * count
            ledger.no_load_j += idle * step_s * count
            ledger.controller_j += switch * step_s * count
        ledger.avionics_j += frame.avionics_w * step_s
        return thrust, across_force, power_w + frame.avionics_w
