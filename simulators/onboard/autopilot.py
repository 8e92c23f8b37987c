"""The flight controller: modes, arming, landing, and what flies the craft in each step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from simulators.onboard.control import Control
from simulators.onboard.gauge import Gauges
from simulators.onboard.guards import Guards
from simulators.onboard.guide import Guide, Place, Velocity
from simulators.onboard.homing import Homing
from simulators.onboard.modes import ACTION_MODES, NEEDS_POSITION, Action, Landed, Mode, Severity
from simulators.onboard.place import Field
from simulators.onboard.route import Route
from simulators.onboard.sensors import Sensors
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft
from simulators.wire.parameters import ParameterSet
from simulators.wire.plan import PlanItem

_STICK_S: Final = 1.0
"""Sticks count this long; then they are taken to be released."""
_STICK_TURN_RAD_S: Final = 0.8
_DEAD: Final = 0.05
_MOST_TEXTS: Final = 40
_SPOOL_S: Final = 1.5
_LIFTED_M: Final = 0.5


class Sticks(NamedTuple):
    """Manual control, each from -1 to 1: forward, right, up, turn to the right; and when it came."""

    forward: float
    right: float
    up: float
    turn: float
    time_s: float


class Autopilot:
    """Flies one craft. `step` once a step; everything else changes what it is to do."""

    def __init__(
        self, craft: Craft, sensors: Sensors, gauges: Gauges, parameters: ParameterSet, field: Field
    ) -> None:
        self.craft = craft
        self.sensors = sensors
        self.gauges = gauges
        self.field = field
        self.parameters = parameters
        self.values = {name: parameters[name] for name in parameters}
        parameters.on_change = self._take_value
        self.guide = Guide(sensors, self.values)
        self.guards = Guards()
        self.route = Route()
        self.control = Control(craft.airframe.mass_kg + craft.load.mass_kg)
        self.safe_points: tuple[PlanItem, ...] = ()
        self.mode = Mode.POSITION_HOLD
        self.intended = Mode.POSITION_HOLD
        self.armed = False
        self.landed = Landed.GROUND
        self.home: Place = (0.0, 0.0, 0.0)
        self.home_set = False
        self.target: Place = (0.0, 0.0, 0.0)
        self.target_speed_m_s: float | None = None
        self.land_at: tuple[float, float] | None = None
        self.homing: Homing | None = None
        self.control_link = True
        self.station_s: float | None = None
        """When a ground station was last heard."""
        self.texts: list[tuple[int, str]] = []
        self.sticks: Sticks | None = None
        self.now_s = 0.0
        self._armed_s = 0.0
        self._ground_s: float | None = None
        self._was_crashed = False
        self._apply()

    # --- one step --------------------------------------------------------------------------------------------

    def step(self, step_s: float) -> None:
        """Sense, judge, and fly one step."""
        craft = self.craft
        self.now_s = craft.time_s
        self.sensors.update(craft)
        self.gauges.update(self.now_s)
        self.guards.update(self)
        self._watch_ground()
        if not self.armed:
            craft.step(step_s, 0.0, 0.0, 0.0, 0.0)
            return
        if self.landed is Landed.GROUND:
            self._idle(step_s)
            return
        if self.mode is Mode.ALTITUDE_HOLD:
            self._drift(step_s)
            return
        velocity = self._velocity()
        if self.sensors.has_fix:
            self.control.fly(step_s, craft, self.sensors, velocity[:3], velocity[3])
        else:  # nothing to fly by: level, at the climb wanted
            self.control.lean(step_s, craft, self.sensors, (0.0, 0.0), velocity[2], velocity[3])

    def _velocity(self) -> Velocity:
        mode = self.mode
        if mode is Mode.MISSION:
            return self.route.velocity(self)
        if mode is Mode.SAFE_RECOVERY and self.homing is not None:
            return self.homing.velocity(self)
        if mode is Mode.LAND:
            return self._land()
        if mode is Mode.TAKEOFF:
            if self.sensors.height_m >= self.target[2] - _LIFTED_M:
                self._set_mode(Mode.POSITION_HOLD, Mode.POSITION_HOLD)
            return self.guide.stay(self.target)
        return self._hold()

    def _hold(self) -> Velocity:
        sticks = self._live_sticks()
        if sticks is None:
            return self.guide.go(self.target, self.target_speed_m_s or self.values["fly.speed_m_s"], face=False)
        heading = self.sensors.heading_rad
        cosine, sine = math.cos(heading), math.sin(heading)
        speed = self.values["fly.speed_m_s"]
        north = (sticks.forward * cosine - sticks.right * sine) * speed
        east = (sticks.forward * sine + sticks.right * cosine) * speed
        self.stay_here(self.target[2] if abs(sticks.up) < _DEAD else None)
        climb = self.guide.rise(self.target[2]) if abs(sticks.up) < _DEAD else self._stick_climb(sticks)
        return north, east, climb, sticks.turn * _STICK_TURN_RAD_S

    def _drift(self, step_s: float) -> None:
        sticks = self._live_sticks()
        tilt = (0.0, 0.0)
        climb, turn = self.guide.rise(self.target[2]), 0.0
        if sticks is not None:
            heading = self.craft.heading_rad
            cosine, sine = math.cos(heading), math.sin(heading)
            most = self.control.tilt_most
            tilt = (
                (sticks.forward * cosine - sticks.right * sine) * most,
                (sticks.forward * sine + sticks.right * cosine) * most,
            )
            turn = sticks.turn * _STICK_TURN_RAD_S
            if abs(sticks.up) >= _DEAD:
                climb = self._stick_climb(sticks)
                self.target = (*self.target[:2], self.sensors.height_m)
        self.control.lean(step_s, self.craft, self.sensors, tilt, climb, turn)

    def _stick_climb(self, sticks: Sticks) -> float:
        return sticks.up * self.values["fly.climb_m_s" if sticks.up > 0 else "fly.sink_m_s"]

    def _live_sticks(self) -> Sticks | None:
        sticks = self.sticks
        if sticks is None or not self.control_link or self.now_s - sticks.time_s > _STICK_S:
            return None
        moved = max(abs(sticks.forward), abs(sticks.right), abs(sticks.up), abs(sticks.turn)) >= _DEAD
        return sticks if moved else None

    def _land(self) -> Velocity:
        values = self.values
        place = self.land_at or self.target[:2]
        low = self.sensors.height_m - self.home[2] < values["land.slow_m"]
        sink = values["land.slow_m_s"] if low else values["land.fast_m_s"]
        stay = self.guide.stay((*place, self.sensors.height_m))
        return stay[0], stay[1], -sink, 0.0

    def _idle(self, step_s: float) -> None:
        """Let the motors turn on the ground."""
        weight = self.control.weight_kg * G_M_S2
        self.craft.step(step_s, 0.15 * weight, 0.0, 0.0, 0.0)
        wait_s = self.values["arm.wait_s"]
        if 0 < wait_s <= self.now_s - self._armed_s:
            self.say(Severity.NOTICE, "Nothing follows arming")
            self.disarm()
        elif self.mode is Mode.MISSION and self.now_s - self._armed_s >= _SPOOL_S:
            self._lift_off()

    def _watch_ground(self) -> None:
        craft = self.craft
        if craft.crashed and not self._was_crashed:
            self._was_crashed = True
            self.say(Severity.EMERGENCY, "Struck the ground")
            self.disarm(force=True)
            return
        if not self.armed or self.landed is Landed.GROUND:
            return
        height = self.sensors.height_m - self.home[2]
        if not craft.on_ground:
            self._ground_s = None
            if self.landed is Landed.TAKEOFF and height > _LIFTED_M:
                self.landed = Landed.AIR
            if self.mode is Mode.LAND:
                self.landed = Landed.LANDING
            elif self.landed is Landed.LANDING:
                self.landed = Landed.AIR
            return
        if self.landed is Landed.TAKEOFF:
            return
        if self._ground_s is None:
            self._ground_s = self.now_s
        elif self.now_s - self._ground_s >= self.values["land.off_s"]:
            self.landed = Landed.GROUND
            self.say(Severity.INFO, "Landed")
            self.disarm()

    @property
    def aim(self) -> Place:
        """Where it is flying to."""
        if self.homing is not None:
            return (self.homing.place[0], self.homing.place[1], self.homing.height_m)
        return self.target

    # --- orders ----------------------------------------------------------------------------------------------

    def arm(self, *, force: bool = False) -> str | None:
        """Start the motors. Returns why not, or None."""
        if self.armed:
            return None
        refused = None if force else self._unfit()
        if refused is not None:
            self.say(Severity.WARNING, f"Not armed: {refused}")
            return refused
        if self.craft.crashed:
            return "damaged"
        self.armed = True
        self._armed_s = self.now_s
        self.landed = Landed.GROUND
        self.guards.reset()
        self.control.reset()
        self.craft.running = True
        if self.sensors.has_fix:
            self.set_home((self.sensors.north_m, self.sensors.east_m, self.sensors.height_m))
        self.stay_here()
        self.say(Severity.INFO, "Armed")
        return None

    def _unfit(self) -> str | None:
        if not self.sensors.has_fix and self.values["arm.needs_fix"]:
            return "no position"
        if self.mode in {Mode.LAND, Mode.SAFE_RECOVERY}:
            return f"mode {self.mode.words}"
        if self.mode is Mode.MISSION and not self.route.items:
            return "no plan"
        if self.gauges.voltage_v < self.values["low1.volt_v"]:
            return "battery low"
        return None

    def disarm(self, *, force: bool = False) -> bool:
        """Stop the motors. False if it flies and is not forced."""
        if not self.armed:
            return True
        if not self.craft.on_ground and not force:
            return False
        if not self.craft.on_ground:
            self.say(Severity.EMERGENCY, "Motors stopped in the air")
        self.armed = False
        self.craft.running = False
        self._ground_s = None
        if self.craft.on_ground:
            self.landed = Landed.GROUND
        if self.mode in {Mode.LAND, Mode.SAFE_RECOVERY, Mode.TAKEOFF, Mode.MISSION}:
            self.mode = self.intended = Mode.POSITION_HOLD
        self.say(Severity.INFO, "Disarmed")
        return True

    def take_off(self, height_m: float | None = None) -> bool:
        """Climb straight up to a height above home. False if it is not armed on the ground."""
        if not self.armed or self.landed is not Landed.GROUND or not self.sensors.has_fix:
            return False
        height = self.values["lift.height_m"] if height_m is None else height_m
        self._set_mode(Mode.TAKEOFF, Mode.TAKEOFF)
        self.target = (self.sensors.north_m, self.sensors.east_m, self.home[2] + height)
        self._lift_off()
        return True

    def _lift_off(self) -> None:
        self.landed = Landed.TAKEOFF
        self.control.reset()

    def start_plan(self, first: int = 0) -> bool:
        """Fly the plan from an item; starts the motors if the aircraft is set to. False if it cannot."""
        if not self.route.jump(first):
            return False
        if not self.armed:
            if not self.values["plan.arms"]:
                return False
            self._set_mode(Mode.MISSION, Mode.MISSION)
            if self.arm() is not None:
                self._set_mode(Mode.POSITION_HOLD, Mode.POSITION_HOLD)
                return False
            return True
        return self.enter(Mode.MISSION, "order")

    def go_to(self, place: Place, speed_m_s: float | None = None) -> bool:
        """Fly to a place and hold there. False unless it flies with a position."""
        if not self.armed or self.landed in {Landed.GROUND, Landed.TAKEOFF} or not self.sensors.has_fix:
            return False
        self.enter(Mode.POSITION_HOLD, "order")
        self.target = place
        self.target_speed_m_s = speed_m_s
        return True

    def enter(self, mode: Mode, why: str, *, intended: Mode | None = None) -> bool:
        """Change the mode. False if it cannot be flown now."""
        if mode in NEEDS_POSITION and not self.sensors.has_fix and self.armed:
            self.say(Severity.WARNING, f"No position for {mode.words}")
            return False
        if mode is Mode.MISSION and not self.route.items:
            self.say(Severity.WARNING, "No plan")
            return False
        if mode is Mode.TAKEOFF:
            return self.take_off()
        changed = mode is not self.mode
        self._set_mode(mode, intended or mode)
        if not self.armed:
            return True
        if mode is Mode.SAFE_RECOVERY:
            self.homing = Homing(self)
        elif mode is Mode.MISSION and self.route.done:
            self.route.jump(0)
        elif mode is Mode.LAND:
            if why != "return":
                self.land_at = None
                self.stay_here()
        elif mode in {Mode.POSITION_HOLD, Mode.ALTITUDE_HOLD}:
            self.stay_here()
        if changed:
            self.say(Severity.NOTICE, f"Mode {mode.words}: {why}")
        return True

    def _set_mode(self, mode: Mode, intended: Mode) -> None:
        self.mode = mode
        self.intended = intended
        self.target_speed_m_s = None
        if mode is not Mode.SAFE_RECOVERY:
            self.homing = None

    def act(self, action: Action) -> None:
        """Carry out what a fail-safe orders; without a position it lands in place of what needs one."""
        if action is Action.STOP_MOTORS:
            self.disarm(force=True)
            return
        mode = ACTION_MODES[action]
        if mode is self.mode or (mode is Mode.SAFE_RECOVERY and self.intended is Mode.SAFE_RECOVERY):
            return
        if not self.enter(mode, "fail-safe"):
            self.enter(Mode.LAND, "fail-safe", intended=mode)

    def stay_here(self, height_m: float | None = None) -> None:
        """Hold the present place."""
        sensors = self.sensors
        height = sensors.height_m if height_m is None else height_m
        self.target = (sensors.north_m, sensors.east_m, height)

    def release(self) -> bool:
        """Let the load go. False if there is none."""
        if self.craft.load.mass_kg <= 0:
            return False
        self.craft.drop_load()
        self.say(Severity.INFO, "Load released")
        return True

    def set_home(self, place: Place) -> None:
        """Set home."""
        self.home = place
        self.home_set = True

    def load_plan(self, items: Sequence[PlanItem]) -> None:
        """Take a plan; one that is being flown starts anew, or is held if it is gone."""
        self.route.load(items)
        if self.mode is Mode.MISSION and not items and self.armed:
            self.enter(Mode.POSITION_HOLD, "no plan")

    def say(self, severity: Severity, text: str) -> None:
        """Queue a status text; the oldest go when nobody fetches them."""
        self.texts.append((int(severity), text))
        del self.texts[:-_MOST_TEXTS]

    def _take_value(self, name: str, value: float) -> None:
        self.values[name] = value
        self._apply()

    def _apply(self) -> None:
        self.control.tilt_most = math.sin(math.radians(self.values["fly.tilt_deg"]))
        self.control.accel_m_s2 = self.values["fly.accel_m_s2"]
