"""The flight controller: modes, arming, landing, and what flies the craft in each step."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

from simulators.onboard import landing, sticks
from simulators.onboard.arming import unfit
from simulators.onboard.command import Sticks
from simulators.onboard.control import Control
from simulators.onboard.gauge import Gauges
from simulators.onboard.guards import Guards
from simulators.onboard.guide import Guide, Place, Velocity
from simulators.onboard.homing import Homing
from simulators.onboard.modes import ACTION_MODES, NEEDS_POSITION, Action, Landed, Mode, Severity, outranks
from simulators.onboard.place import Field
from simulators.onboard.route import Route
from simulators.onboard.sensors import Sensors
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft
from simulators.wire.parameters import ParameterSet
from simulators.wire.plan import PlanItem

BOOT_S: Final = 40.0
"""It was switched on this long before the flight's clock starts."""
_MOST_TEXTS: Final = 40
_SPOOL_S: Final = 1.5
_LIFTED_M: Final = 0.5
_LIFTING_S: Final = 8.0
"""Motors that have not lifted it for so long are stopped."""


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
        self.on_home: Callable[[Place], None] | None = None
        """Called when home is set anew."""
        self.now_s = 0.0
        self.booted_s = -BOOT_S
        """When its own clock began."""
        self.boots = 1
        self._armed_s = 0.0
        self._lifted_s = 0.0
        self._lifted_m = 0.0
        self._blind = False
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
            tilt, climb, turn = sticks.drift(self)
            self.control.lean(step_s, craft, self.sensors, tilt, climb, turn)
            return
        if self._blind and self.sensors.has_fix:
            self._see_again()
        velocity = self._velocity()
        if self.sensors.has_fix:
            self.control.fly(step_s, craft, self.sensors, velocity[:3], velocity[3])
        else:  # nothing to fly by: level, at the climb wanted
            self._blind = True
            self.control.lean(step_s, craft, self.sensors, (0.0, 0.0), velocity[2], velocity[3])

    def _see_again(self) -> None:
        """Go on where it is with a landing that has drifted without a position."""
        self._blind = False
        if self.mode is Mode.LAND:
            self.land_at = None
            self.stay_here()

    def _velocity(self) -> Velocity:
        mode = self.mode
        if mode is Mode.MISSION:
            return self.route.velocity(self)
        if mode is Mode.SAFE_RECOVERY and self.homing is not None:
            return self.homing.velocity(self)
        if mode is Mode.LAND:
            return landing.velocity(self)
        if mode is Mode.TAKEOFF:
            if self.sensors.height_m >= self.target[2] - _LIFTED_M:
                self._set_mode(Mode.POSITION_HOLD, Mode.POSITION_HOLD)
            return self.guide.stay(self.target)
        return sticks.hold(self)

    def _idle(self, step_s: float) -> None:
        """Let the motors turn on the ground."""
        weight = self.control.weight_kg * G_M_S2
        self.craft.step(step_s, 0.15 * weight, 0.0, 0.0, 0.0)
        wait_s = self.values["arm.wait_s"]
        if self.mode is Mode.MISSION:
            if self.now_s - self._armed_s >= _SPOOL_S:
                self._lift_off()
        elif self.mode in {Mode.POSITION_HOLD, Mode.ALTITUDE_HOLD} and self._stick_lifts():
            self.stay_here()
            self._lift_off()
        elif 0 < wait_s <= self.now_s - self._armed_s:
            self.say(Severity.NOTICE, "Nothing follows arming")
            self.disarm()

    def _stick_lifts(self) -> bool:
        heard = sticks.heard(self)
        return heard is not None and heard.up > sticks.LIFTS

    def _watch_ground(self) -> None:
        craft = self.craft
        if craft.crashed and not self._was_crashed:
            self._was_crashed = True
            self.say(Severity.EMERGENCY, "Struck the ground")
            self.disarm(force=True)
            return
        if not self.armed:
            if craft.on_ground:  # also after a fall
                self.landed = Landed.GROUND
            return
        if self.landed is Landed.GROUND:
            return
        if not craft.on_ground:
            self._ground_s = None
            if self.landed is Landed.TAKEOFF and self.sensors.height_m - self._lifted_m > _LIFTED_M:
                self.landed = Landed.AIR
            if self.mode is Mode.LAND:
                self.landed = Landed.LANDING
            elif self.landed is Landed.LANDING:
                self.landed = Landed.AIR
            return
        lifting = self.landed is Landed.TAKEOFF and self.mode is not Mode.LAND
        if lifting and self.now_s - self._lifted_s < _LIFTING_S:
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
        if self.mode is Mode.MISSION and self.route.aim is not None:
            return self.route.aim
        if self.mode is Mode.LAND:
            return (*(self.land_at or self.target[:2]), self.home[2])
        return self.target

    # --- orders ----------------------------------------------------------------------------------------------

    def arm(self, *, force: bool = False) -> str | None:
        """Start the motors. Returns why not, or None."""
        if self.armed:
            return None
        refused = None if force else unfit(self, plan=bool(self.route.items))
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
        self._lifted_s = self.now_s
        self._lifted_m = self.sensors.height_m
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
        elif mode is Mode.MISSION:
            if self.route.done:
                self.route.jump(0)
            if changed:
                self.stay_here()
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

    def act(self, action: Action) -> bool:
        """Carry out what a fail-safe orders; without a position it lands in place of what needs one.

        False if the present mode goes on: a return is not cut short by a hold, nor a landing by anything but a
        stop of the motors.
        """
        if action is Action.STOP_MOTORS:
            return self.disarm(force=True)
        flyable = self.sensors.has_fix or self.mode not in NEEDS_POSITION
        if flyable and not outranks(action, self.mode):
            return False
        mode = ACTION_MODES[action]
        if self.enter(mode, "fail-safe", intended=self.intended):  # the mode last commanded stays the one intended
            return True
        return self.enter(Mode.LAND, "fail-safe", intended=mode)

    def land_there(self, place: tuple[float, float], why: str) -> bool:
        """Land at a place north and east, flying there first. False if it cannot be flown now."""
        if not self.sensors.has_fix or not self.enter(Mode.LAND, why):
            return False
        self.land_at = place
        return True

    def stay_here(self, height_m: float | None = None) -> None:
        """Hold the place where it comes to rest."""
        height = self.guide.rest_height() if height_m is None else height_m
        self.target = (*self.guide.rest(), height)

    def release(self) -> bool:
        """Let the load go. False if there is none."""
        if self.craft.load.mass_kg <= 0:
            return False
        self.craft.drop_load()
        self.say(Severity.INFO, "Load released")
        return True

    def restart(self) -> None:
        """Begin anew as after a loss of supply: its clock, its guards, its plan's progress; home is where it is.

        In the air the motors go on: it comes back holding its place.
        """
        self.boots += 1
        self.booted_s = self.now_s
        self.guards.reset()
        self.route.load(self.route.items)
        self.intended = self.mode
        if self.armed and self.landed is not Landed.GROUND:
            self.enter(Mode.POSITION_HOLD if self.sensors.has_fix else Mode.ALTITUDE_HOLD, "restart")
        if self.sensors.has_fix:
            self.set_home((self.sensors.north_m, self.sensors.east_m, self.home[2]))
        self.say(Severity.INFO, "Flight controller started")

    def set_home(self, place: Place) -> None:
        """Set home."""
        self.home = place
        self.home_set = True
        if self.on_home is not None:
            self.on_home(place)

    def load_plan(self, items: Sequence[PlanItem]) -> None:
        """Take a plan; one that is being flown starts anew, or is held if it is gone."""
        self.route.load(items)
        if self.mode is not Mode.MISSION or not self.armed:
            return
        self.stay_here()
        if not items:
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
