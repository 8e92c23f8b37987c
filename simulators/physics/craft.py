"""A multirotor in the air: rotors, motors, packs, body and load, one step at a time.

A point mass with attitude: the thrust's direction follows its command with a lag and a limit of rate. North, east
and up.
"""

from __future__ import annotations

import math
from typing import Final

from simulators.physics.airframe import Airframe, Load
from simulators.physics.atmosphere import Atmosphere
from simulators.physics.constants import G_M_S2
from simulators.physics.drive import Drive
from simulators.physics.gusts import AIRSPEED_FLOOR_M_S, Gusts
from simulators.physics.ledger import Ledger
from simulators.physics.packs import PackBank
from simulators.physics.sling import Sling
from simulators.physics.wind import REFERENCE_HEIGHT_M, MeanWind

_CRASH_M_S: Final = 4.0
_DEAD_V: Final = 1.0  # of the bus; without power there is no control
_YAW_RUNAWAY_RAD_S: Final = 6.0  # turning rate when all torque is left over; common sense, no source


class Craft:
    """One aircraft and its state. `step` moves time on."""

    def __init__(
        self,
        airframe: Airframe,
        bank: PackBank,
        atmosphere: Atmosphere,
        wind: MeanWind,
        gusts: Gusts,
        load: Load | None = None,
    ) -> None:
        self.airframe = airframe
        self.bank = bank
        self.atmosphere = atmosphere
        self.wind = wind
        self.gusts = gusts
        self.load = load or Load()
        self.ledger = Ledger()
        self.drive = Drive(airframe, self.ledger)
        self.sling = Sling()
        self.time_s = 0.0
        self.north_m = self.east_m = self.height_m = 0.0
        self.north_m_s = self.east_m_s = self.climb_m_s = 0.0
        self.north_m_s2 = self.east_m_s2 = self.climb_m_s2 = 0.0
        self.tilt_north = self.tilt_east = 0.0
        """Horizontal parts of the unit vector of thrust."""
        self.heading_rad = 0.0
        self.turn_rad_s = 0.0
        self.wind_north_m_s = self.wind_east_m_s = self.wind_up_m_s = 0.0
        self.ground_m = 0.0
        """Height of the ground under the aircraft, above the field."""
        self.on_ground = True
        self.impact_m_s = 0.0
        """Speed of the last touch-down."""
        self.crashed = False
        self.running = False
        """Whether the motors are commanded to turn."""
        self.thrust_n = 0.0
        self._step_s = 0.0
        self._tilt_decay = 0.0
        bank.draw(0.0, 1e-6, atmosphere.temperature_degc(0.0))

    # --- what may happen to it -------------------------------------------------------------------------------

    def drop_load(self) -> None:
        """Release the load."""
        self.pick_up(Load())

    def pick_up(self, load: Load) -> None:
        """Take a load in place of the last; one on a line is lifted when the line is taut."""
        left_kg = sum(one.mass_kg * sign for one, sign in ((self.load, 1), (load, -1)) if one.line_m <= 0)
        self.ledger.impact_j += 0.5 * left_kg * (self.north_m_s**2 + self.east_m_s**2 + self.climb_m_s**2)
        self.load = load
        self.sling.hangs = False

    # --- one step --------------------------------------------------------------------------------------------

    def step(self, step_s: float, thrust_n: float, tilt_north: float, tilt_east: float, turn_rad_s: float) -> None:
        """Move on by `step_s` under commands: thrust in N, its direction, and a rate of turn."""
        if step_s != self._step_s:
            self._set_step(step_s)
        self.time_s += step_s
        height = self.height_m
        density = self.atmosphere.density_kg_m3(height)
        speed_n, speed_e, speed_u = self.north_m_s, self.east_m_s, self.climb_m_s
        above = height - self.ground_m
        wind_n, wind_e, wind_u = self._air(above, speed_n, speed_e, speed_u)
        air_n, air_e, air_u = speed_n - wind_n, speed_e - wind_e, speed_u - wind_u

        tilt_n, tilt_e, tilt_u = self._turn(step_s, tilt_north, tilt_east, turn_rad_s)
        airspeed = math.sqrt(air_n * air_n + air_e * air_e + air_u * air_u)
        bank, drive, frame = self.bank, self.drive, self.airframe
        pressure = 0.5 * density * airspeed
        # Without control of attitude the discs face every way in turn: on the mean their thrust points nowhere,
        # and nothing flows along or across them.
        tumbles = drive.tumbles or not self.running or bank.voltage_v < _DEAD_V
        if tumbles:
            axial = across = across_n = across_e = across_u = 0.0
            level = upright = pressure * frame.tumbling_m2
        else:
            axial = air_n * tilt_n + air_e * tilt_e + air_u * tilt_u
            across_n, across_e, across_u = air_n - axial * tilt_n, air_e - axial * tilt_e, air_u - axial * tilt_u
            across = math.sqrt(across_n * across_n + across_e * across_e + across_u * across_u)
            level, upright = pressure * frame.drag_level_m2, pressure * frame.drag_upright_m2

        asked = thrust_n if self.running else 0.0
        thrust, rotor_drag, power_w = drive.run(step_s, asked, bank.voltage_v, density, axial, across, above)
        bank.draw(power_w, step_s, self.atmosphere.temperature_degc(height))
        ledger = self.ledger
        if bank.collapsed or bank.power_w == 0.0:
            ledger.short_j += (power_w - bank.power_w) * step_s
        self.thrust_n = thrust

        brake = rotor_drag / across if across > 1e-6 else 0.0
        along = 0.0 if tumbles else thrust
        rotor_n = along * tilt_n - brake * across_n
        rotor_e = along * tilt_e - brake * across_e
        rotor_u = along * tilt_u - brake * across_u
        ledger.wind_j += (rotor_n * wind_n + rotor_e * wind_e + rotor_u * wind_u) * step_s
        drag_n, drag_e, drag_u = -level * air_n, -level * air_e, -upright * air_u

        mass = frame.mass_kg
        line_n = line_e = line_u = hanging = 0.0
        load, sling = self.load, self.sling
        if load.mass_kg > 0:
            if load.line_m <= 0:
                mass += load.mass_kg
                loaded = pressure * load.drag_m2
                drag_n, drag_e, drag_u = drag_n - loaded * air_n, drag_e - loaded * air_e, drag_u - loaded * air_u
            else:
                if sling.lifts(load, above):
                    speed_u = self._jerk(load)
                if sling.hangs:
                    hanging = load.mass_kg
                    motion, wind = (speed_n, speed_e), (wind_n, wind_e)
                    line_n, line_e, line_u = sling.pull(load, self.climb_m_s2, density, motion, wind)
        inertia = mass + hanging

        if self.on_ground and rotor_u + line_u <= mass * G_M_S2:
            self.north_m_s2 = self.east_m_s2 = self.climb_m_s2 = 0.0
            return
        self.on_ground = False
        accel_n = (rotor_n + drag_n + line_n) / mass
        accel_e = (rotor_e + drag_e + line_e) / mass
        accel_u = (rotor_u + drag_u + line_u - mass * G_M_S2) / inertia
        self.north_m_s2, self.east_m_s2, self.climb_m_s2 = accel_n, accel_e, accel_u
        self.north_m_s = next_n = speed_n + accel_n * step_s
        self.east_m_s = next_e = speed_e + accel_e * step_s
        self.climb_m_s = next_u = speed_u + accel_u * step_s
        way_n = 0.5 * (speed_n + next_n) * step_s
        way_e = 0.5 * (speed_e + next_e) * step_s
        way_u = 0.5 * (speed_u + next_u) * step_s
        self.north_m += way_n
        self.east_m += way_e
        self.height_m = height + way_u
        ledger.thrust_j += rotor_n * way_n + rotor_e * way_e + rotor_u * way_u
        ledger.drag_j += drag_n * way_n + drag_e * way_e + drag_u * way_u
        held = hanging * accel_u
        ledger.line_j += line_n * way_n + line_e * way_e + (line_u - held) * way_u
        ledger.weight_j -= mass * G_M_S2 * way_u
        if hanging:
            sling.swing(step_s, load, accel_n, accel_e)
        if self.height_m <= self.ground_m:
            self._touch(mass)

    def _set_step(self, step_s: float) -> None:
        self._step_s = step_s
        self._tilt_decay = 1.0 - math.exp(-step_s / self.airframe.tilt_lag_s)

    def _air(self, above_m: float, north_m_s: float, east_m_s: float, up_m_s: float) -> tuple[float, float, float]:
        """Return the motion of the air; mean wind with the gusts that the flight through it meets."""
        now = self.time_s
        wind_n, wind_e, wind_u = self.wind.at(now, above_m)
        gusts = self.gusts
        if gusts.w20_m_s > 0.0:
            flow_n, flow_e = north_m_s - wind_n, east_m_s - wind_e
            flow_u = up_m_s - wind_u
            speed = math.sqrt(flow_n * flow_n + flow_e * flow_e + flow_u * flow_u)
            axis_n, axis_e = flow_n, flow_e
            if self.on_ground:  # no mean wind so low, but gusts have its axes
                axis_n, axis_e, _ = self.wind.at(now, REFERENCE_HEIGHT_M)
            level = math.sqrt(axis_n * axis_n + axis_e * axis_e)
            # Where the air hardly moves past, its direction is chance: the axes stay.
            along_n, along_e = (axis_n / level, axis_e / level) if level > AIRSPEED_FLOOR_M_S else (0.0, 0.0)
            gust_n, gust_e, gust_u = gusts.at(now, above_m, speed, along_n, along_e)
            wind_n, wind_e, wind_u = wind_n + gust_n, wind_e + gust_e, wind_u + gust_u
        self.wind_north_m_s, self.wind_east_m_s, self.wind_up_m_s = wind_n, wind_e, wind_u
        return wind_n, wind_e, wind_u

    def _turn(
        self, step_s: float, tilt_north: float, tilt_east: float, turn_rad_s: float
    ) -> tuple[float, float, float]:
        frame = self.airframe
        turn_rad_s = max(-frame.yaw_rate_rad_s, min(frame.yaw_rate_rad_s, turn_rad_s))
        if self.running and self.drive.yaw_left:
            turn_rad_s = self.drive.yaw_left * _YAW_RUNAWAY_RAD_S
        self.turn_rad_s = 0.0 if self.on_ground else turn_rad_s
        self.heading_rad = (self.heading_rad + self.turn_rad_s * step_s) % math.tau
        if self.on_ground:
            tilt_north = tilt_east = 0.0
        if self.drive.tumbles or not self.running or self.bank.voltage_v < _DEAD_V:
            return self.tilt_north, self.tilt_east, self._upright()
        change_n = (tilt_north - self.tilt_north) * self._tilt_decay
        change_e = (tilt_east - self.tilt_east) * self._tilt_decay
        change = math.sqrt(change_n * change_n + change_e * change_e)
        most = frame.tilt_rate_rad_s * step_s
        if change > most:
            change_n, change_e = change_n * most / change, change_e * most / change
        self.tilt_north += change_n
        self.tilt_east += change_e
        return self.tilt_north, self.tilt_east, self._upright()

    def _upright(self) -> float:
        return math.sqrt(max(0.0, 1.0 - self.tilt_north * self.tilt_north - self.tilt_east * self.tilt_east))

    # --- load and ground -------------------------------------------------------------------------------------

    def _jerk(self, load: Load) -> float:
        """Take a load off the ground: more mass climbs, so it climbs slower. Returns the climb."""
        mass = self.airframe.mass_kg
        kept = mass / (mass + load.mass_kg)
        self.ledger.impact_j += 0.5 * mass * self.climb_m_s**2 * (1 - kept * kept)
        self.climb_m_s *= kept
        return self.climb_m_s

    def _touch(self, mass_kg: float) -> None:
        self.impact_m_s = math.sqrt(self.north_m_s**2 + self.east_m_s**2 + self.climb_m_s**2)
        self.ledger.impact_j += 0.5 * mass_kg * self.impact_m_s**2
        self.height_m = self.ground_m
        self.north_m_s = self.east_m_s = self.climb_m_s = 0.0
        self.tilt_north = self.tilt_east = 0.0
        self.on_ground = True
        if self.impact_m_s > _CRASH_M_S:
            self.crashed = True
            self.running = False
