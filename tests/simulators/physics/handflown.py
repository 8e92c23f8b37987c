"""What the tests of flight share: momentum theory, rotors trimmed to a thrust, and craft flown by hand.

Momentum theory stands here and in the tests only: it is the outside check of the simulated blade elements.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from simulators.flown.flight import FastFlight
from simulators.onboard.modes import Mode
from simulators.physics.airframe import Airframe, Load
from simulators.physics.atmosphere import Atmosphere
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft
from simulators.physics.gusts import Gusts
from simulators.physics.packs import Pack, PackBank, PackModel
from simulators.physics.rotor import Rotor
from simulators.physics.wind import MeanWind

RHO_KG_M3 = 1.225
"""Standard density at sea level (facts section 5)."""
STEP_S = 0.02


def hover_inflow(thrust_n: float, area_m2: float, density_kg_m3: float = RHO_KG_M3) -> float:
    """Return the induced speed of hover: vh = sqrt(T / (2 rho A)) (facts section 5)."""
    return math.sqrt(thrust_n / (2 * density_kg_m3 * area_m2))


def edgewise_inflow(ratio: float) -> float:
    """Return Glauert's induced speed by vh at a speed across the disc by vh (closed form, facts section 5)."""
    m = ratio * ratio
    return math.sqrt(-m / 2 + math.sqrt(m * m / 4 + 1))


def climb_inflow(ratio: float) -> float:
    """Return the induced speed by vh in an axial climb by vh: -c/2 + sqrt(c^2/4 + 1) (Leishman, from memory)."""
    return -ratio / 2 + math.sqrt(ratio * ratio / 4 + 1)


class Trim(NamedTuple):
    """One rotor at the speed at which it gives a thrust. Powers in W; `drag_w` is taken from the flight."""

    tip_m_s: float
    thrust_n: float
    induced_w: float
    profile_w: float
    axial_w: float
    drag_n: float
    drag_w: float

    @property
    def shaft_w(self) -> float:
        """Power of the shaft."""
        return self.induced_w + self.profile_w + self.axial_w - self.drag_w


def trimmed(
    rotor: Rotor, thrust_n: float, axial_m_s: float = 0.0, across_m_s: float = 0.0, density: float = RHO_KG_M3
) -> Trim:
    """Return the rotor at the speed that gives a thrust, found by halving."""
    low, high = 5.0, 400.0
    for _ in range(60):
        tip = 0.5 * (low + high)
        coefficient = rotor.at(across_m_s / tip, axial_m_s / tip)[0]
        if coefficient * density * rotor.area_m2 * tip * tip < thrust_n:
            low = tip
        else:
            high = tip
    advance, axial = across_m_s / tip, axial_m_s / tip
    thrust, induced, profile, drag = rotor.at(advance, axial)
    unit_n = density * rotor.area_m2 * tip * tip
    unit_w = unit_n * tip
    return Trim(
        tip,
        thrust * unit_n,
        induced * unit_w,
        profile * unit_w,
        thrust * axial * unit_w,
        drag * unit_n,
        drag * advance * unit_w,
    )


def level_trim(
    rotor: Rotor, rotors: int, weight_n: float, drag_n: float, speed_m_s: float, density: float = RHO_KG_M3
) -> tuple[float, Trim]:
    """Return tilt in rad and one rotor in level flight against a drag of the body and the rotors' own.

    Along the disc: T sin(tilt) - H cos(tilt) = D; upwards: T cos(tilt) + H sin(tilt) = W.
    """
    tilt = math.atan2(drag_n, weight_n)
    for _ in range(60):
        thrust_n = weight_n * math.cos(tilt) + drag_n * math.sin(tilt)
        one = trimmed(rotor, thrust_n / rotors, speed_m_s * math.sin(tilt), speed_m_s * math.cos(tilt), density)
        new = math.asin(min(1.0, (drag_n + rotors * one.drag_n * math.cos(tilt)) / thrust_n))
        tilt = 0.5 * (tilt + new)
    return tilt, one


def make_craft(
    airframe: Airframe | None = None,
    load: Load | None = None,
    wind: Sequence[tuple[float, float, float]] = ((0.0, 0.0, 0.0),),
    *,
    gusts_w20_m_s: float = 0.0,
    altitude_m: float = 0.0,
    height_m: float | None = 60.0,
    packs: int = 2,
    model: PackModel | None = None,
    seed: int = 1,
) -> Craft:
    """Return a craft in the air with its rotors at rest speed, or on the ground for a height of None."""
    bank = PackBank([Pack(model or PackModel(), temperature_degc=25.0) for _ in range(packs)])
    craft = Craft(
        airframe or Airframe(), bank, Atmosphere(altitude_m), MeanWind(wind), Gusts(seed, gusts_w20_m_s), load
    )
    craft.running = True
    if height_m is not None:
        craft.on_ground = False
        craft.height_m = height_m
        carried = craft.load.mass_kg if craft.load.line_m <= 0 else 0.0
        share_n = (craft.airframe.mass_kg + carried) * G_M_S2 / craft.airframe.rotors
        speed = craft.drive.rotor.speed_for(share_n, craft.atmosphere.density_kg_m3(height_m))
        for group in craft.drive.groups:
            group.speed_rad_s = speed
    return craft


class Hand:
    """Flies a craft by the truth: velocity by tilt and thrust, proportional and integral.

    It reckons with the mass at its beginning; of a change it learns by what happens.
    """

    def __init__(self, craft: Craft, step_s: float = STEP_S) -> None:
        self.craft = craft
        self.step_s = step_s
        self.weight_kg = craft.airframe.mass_kg + craft.load.mass_kg
        self.held = [0.0, 0.0, 0.0]

    def fly(
        self,
        seconds: float,
        velocity: tuple[float, float, float] = (0.0, 0.0, 0.0),
        *,
        height_m: float | None = None,
        after: Callable[[], None] | None = None,
    ) -> None:
        """Fly a velocity (north, east, up), or hold a height with it; call `after` after each step."""
        craft = self.craft
        for _ in range(round(seconds / self.step_s)):
            up = velocity[2]
            if height_m is not None:
                up = max(-1.5, min(2.5, 0.8 * (height_m - craft.height_m)))
            now = (craft.north_m_s, craft.east_m_s, craft.climb_m_s)
            lack = [want - is_now for want, is_now in zip((*velocity[:2], up), now, strict=True)]
            self.held = [held + 0.5 * one * self.step_s for held, one in zip(self.held, lack, strict=True)]
            north, east, lift = (1.3 * one + held for one, held in zip(lack, self.held, strict=True))
            lift = max(1.0, lift + G_M_S2)
            size = math.sqrt(north * north + east * east + lift * lift)
            upright = math.sqrt(1 - craft.tilt_north**2 - craft.tilt_east**2)
            craft.step(self.step_s, self.weight_kg * lift / upright, north / size, east / size, 0.0)
            if after is not None:
                after()

    def mean_power_w(self, seconds: float, velocity: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> float:
        """Return the mean power from the bus over a time, as the ledger has it."""
        before_j = self.craft.ledger.electrical_j()
        self.fly(seconds, velocity)
        return (self.craft.ledger.electrical_j() - before_j) / seconds


def there_and_back(
    flight: FastFlight,
    *,
    out_m: tuple[float, float] = (600.0, 0.0),
    height_m: float = 40.0,
    longest_s: float = 400.0,
    events: Mapping[float, Callable[[FastFlight], object]] | None = None,
    after: Callable[[], None] | None = None,
) -> None:
    """Fly a whole flight: arm, take off, out (north, east), return, land, motors off, two seconds more.

    `events` happen at their times in s; `after` is called after each step. Ends at `longest_s` at the latest.
    """
    pilot = flight.pilot
    waiting = dict(events or {})
    went = False
    while flight.time_s < longest_s:
        flight.step()
        if after is not None:
            after()
        for time_s in [time_s for time_s in waiting if flight.time_s >= time_s - 1e-6]:
            waiting.pop(time_s)(flight)
        if flight.time_s < 1.0:
            continue
        if not went and not pilot.armed:
            assert pilot.arm() is None
            assert pilot.take_off(height_m)
        elif pilot.armed and pilot.mode is Mode.POSITION_HOLD:
            if not went:
                went = pilot.go_to((*out_m, height_m))
            elif pilot.guide.distance(*out_m) < 3.0:
                pilot.enter(Mode.SAFE_RECOVERY, "order")
        elif went and not pilot.armed:
            longest_s = min(longest_s, flight.time_s + 2.0)
    assert not waiting
