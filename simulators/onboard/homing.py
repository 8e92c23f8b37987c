"""The return: its steps in the order that the aircraft is set to, to home or to the nearest safe point."""

from __future__ import annotations

import math
from typing import Final

from simulators.onboard.command import InCommand
from simulators.onboard.control import turn_to
from simulators.onboard.guide import Velocity
from simulators.onboard.modes import Mode, Severity, Step, order_of

_AT_HEIGHT_M: Final = 0.6
_OVER_M: Final = 1.5
_FACED_RAD: Final = math.radians(6.0)


class Homing:
    """One return, from its beginning to its last step."""

    def __init__(self, pilot: InCommand) -> None:
        """Choose where to, how high, and which steps; what is already fulfilled passes at once."""
        values, sensors = pilot.values, pilot.sensors
        self.place = _destination(pilot)
        self.steps = order_of(values["return.order"])
        self._at = 0
        self._since_s: float | None = None
        home_m = pilot.home[2]
        self.near = pilot.guide.distance(*self.place[:2]) < values["return.near_m"]
        least = values["return.low_m"] if self.near else values["return.height_m"]
        self.height_m = max(sensors.height_m, home_m + least)
        if Step.CLIMB not in self.steps:
            self.height_m = sensors.height_m
        self._held = pilot.guide.rest()
        self._level_m = sensors.height_m

    @property
    def step(self) -> Step | None:
        """The present step, or None when all are done."""
        return self.steps[self._at] if self._at < len(self.steps) else None

    def velocity(self, pilot: InCommand) -> Velocity:
        """Return velocity and turn of the present step, taking the next one when it is done."""
        while (step := self.step) is not None:
            flown = self._fly(step, pilot)
            if flown is not None:
                return flown
            self._at += 1
            self._since_s = None
            self._held = pilot.guide.rest()
        if not pilot.guide.distance(*self.place[:2]) < 2 * _OVER_M:
            return pilot.guide.stay((*self._held, self._level_m))
        return pilot.guide.stay((self.place[0], self.place[1], self._level_m))

    def _fly(self, step: Step, pilot: InCommand) -> Velocity | None:
        """Return what a step flies, or None when it is done."""
        guide, values, sensors = pilot.guide, pilot.values, pilot.sensors
        north, east, ground = self.place
        distance = guide.distance(north, east)
        hold_m = pilot.home[2] + ground + values["return.hold_m"]
        if step is Step.CLIMB:
            self._level_m = max(self._level_m, self.height_m)
            if sensors.height_m >= self.height_m - _AT_HEIGHT_M:
                return None
            return guide.stay((*self._held, self.height_m))
        if step is Step.TURN:
            bearing = math.atan2(east - sensors.east_m, north - sensors.north_m)
            off = abs(math.remainder(bearing - sensors.heading_rad, math.tau))
            if self.near or distance < _OVER_M or off < _FACED_RAD:
                return None
            stay = guide.stay((*self._held, self._level_m))
            return stay[0], stay[1], stay[2], turn_to(bearing, sensors)
        if step is Step.CRUISE:
            if distance < _OVER_M:
                return None
            return guide.go((north, east, self._level_m), values["return.speed_m_s"], face=distance > 3 * _OVER_M)
        if step is Step.DESCEND:
            self._level_m = min(self._level_m, hold_m)
            if sensors.height_m <= hold_m + _AT_HEIGHT_M:
                return None
            return guide.stay((*self._over(pilot), hold_m))
        if step is Step.HOLD:
            if self._since_s is None:
                self._since_s = pilot.now_s
            seconds = values["return.hold_s"]
            if 0 <= seconds <= pilot.now_s - self._since_s:
                return None
            return guide.stay((*self._over(pilot), self._level_m))
        pilot.land_at = self._over(pilot)
        pilot.enter(Mode.LAND, "return", intended=Mode.SAFE_RECOVERY)
        return 0.0, 0.0, 0.0, 0.0

    def _over(self, pilot: InCommand) -> tuple[float, float]:
        """Return where a vertical step happens: over the place if it is there, else where it is."""
        if pilot.guide.distance(*self.place[:2]) < 4 * _OVER_M:
            return self.place[0], self.place[1]
        return self._held


def _destination(pilot: InCommand) -> tuple[float, float, float]:
    """Return home, or the nearest of home and the safe points: north, east, ground above home in m."""
    home = (pilot.home[0], pilot.home[1], 0.0)
    if not pilot.values["return.places"]:
        return home
    places = [home]
    places += [
        (*pilot.field.metres(item.latitude_deg, item.longitude_deg), item.height_m)
        for item in pilot.safe_points
        if item.latitude_deg is not None and item.longitude_deg is not None
    ]
    chosen = min(places, key=lambda place: pilot.guide.distance(place[0], place[1]))
    if chosen is not home:
        pilot.say(Severity.NOTICE, "Return goes to a safe point")
    return chosen
