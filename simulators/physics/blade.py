"""Blade elements: thrust and power coefficients of one rotor over advance ratio and axial inflow.

Each blade is cut into elements; each element meets the flight through its annulus and, tilted back by the skewed
wake, the induced flow (Coleman, Feingold and Stempin, NACA ARR L5E10, 1945, for the skew; Prandtl's factor for the
tip). Lift and drag come from a section polar with stall. In slow descent the annulus meets its own wake: there the
induced flow follows the measured mean of the vortex-ring state (quartic in Leishman, Principles of Helicopter
Aerodynamics, 2nd ed., eq. 2.99; from memory), fading as flight across the disc blows the wake away; in faster
descent the annulus is a windmill. No formula for the power of a whole disc stands here.

Coefficients are by rotor area and tip speed: thrust = CT rho A (Omega R)^2, power = CP rho A (Omega R)^3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

ADVANCE: Final = np.linspace(0.0, 0.4, 17)
"""Speed across the disc by tip speed, of the table's rows."""
AXIAL: Final = np.linspace(-0.2, 0.2, 41)
"""Speed along the shaft by tip speed, climb positive, of the table's columns."""
_RADIAL: Final = 12
_AZIMUTH: Final = 12
_HALVINGS: Final = 32
_MOST_INFLOW: Final = 0.5
_LEAST_TIP: Final = 1e-3
_RING_END: Final = 2.0  # descent, in hover inflows, from which a rotor is a windmill
_ONE_ANSWER: Final = 0.45  # flow across by descent above which momentum has one answer, and a steady one


@dataclass(frozen=True, slots=True)
class Blade:
    """A fixed-pitch rotor. Lengths in m, angles in rad.

    The chord runs linearly from root to tip; the pitch is that of a screw, `pitch_m` a turn.
    """

    radius_m: float
    pitch_m: float
    root_chord_m: float
    tip_chord_m: float
    blades: int = 2
    root_cut: float = 0.15
    lift_slope: float = 5.6
    zero_lift_rad: float = math.radians(-3.0)
    stall_rad: float = math.radians(13.0)
    drag_least: float = 0.0135
    drag_rise: float = 0.9

    @property
    def area_m2(self) -> float:
        """Disc area of one rotor."""
        return math.pi * self.radius_m**2


@dataclass(frozen=True, slots=True)
class Coefficients:
    """Of every node (advance, axial): thrust, induced and profile power, force across the disc, torque summed."""

    thrust: Array
    induced: Array
    profile: Array
    drag: Array
    torque: Array


def polar(blade: Blade, attack_rad: Array) -> tuple[Array, Array]:
    """Return lift and drag coefficients of a section; a flat plate beyond the stall (common practice)."""
    effective = attack_rad - blade.zero_lift_rad
    lift = blade.lift_slope * np.sin(effective) * np.cos(effective)
    drag = blade.drag_least + blade.drag_rise * np.square(effective - 0.06)
    stalled = 1 / (1 + np.exp(-(np.abs(attack_rad) - blade.stall_rad) / math.radians(2.0)))
    plate_lift, plate_drag = np.sin(2 * attack_rad), blade.drag_least + 1.8 * np.square(np.sin(attack_rad))
    return lift + stalled * (plate_lift - lift), drag + stalled * (plate_drag - drag)


def induced_flow(climb: Array, across: Array) -> Array:
    """Return the induced flow of an annulus, by that of hover at the same load.

    `climb` and `across` are the speeds along and across its axis, by the same. With flow across it of at least the
    flow induced in hover, and in climb, momentum alone decides (Glauert, ARC R&M 1111, 1926). Straight down the
    vortex ring's measured mean holds to a descent of 2 and a windmill's momentum beyond; between both it fades.
    """
    down = np.minimum(climb, 0.0)
    curve = 1 - 1.125 * down - 1.372 * down**2 - 1.718 * down**3 - 0.655 * down**4
    windmill = -0.5 * down - np.sqrt(np.maximum(0.25 * down**2 - 1, 0.0))
    straight = np.where(down < -_RING_END, windmill, curve)
    # With less flow across than descent / sqrt(8) momentum has three answers, and near that it leaps between them.
    least = np.minimum(-_ONE_ANSWER * down, 1.0)
    blown = _momentum(climb, np.maximum(across, least))
    fading = np.where(climb < 0, np.clip(1 - np.square(across), 0.0, None), 0.0)
    flow: Array = fading * straight * _momentum(np.zeros_like(climb), across) + (1 - fading) * blown
    return flow


def _momentum(climb: Array, across: Array) -> Array:
    """Return the root of v sqrt(across^2 + (climb + v)^2) = 1, of which there must be one only."""
    low, high = np.zeros_like(across), 1 + np.maximum(-climb, 0.0)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = middle * np.hypot(across, climb + middle) < 1
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    root: Array = 0.5 * (low + high)
    return root


@lru_cache(maxsize=16)
def coefficients(blade: Blade) -> Coefficients:
    """Return the coefficients of a rotor at all nodes, arrays of shape (advance, axial)."""
    advance, axial = (grid.reshape(-1, 1) for grid in np.meshgrid(ADVANCE, AXIAL, indexing="ij"))
    width = (1 - blade.root_cut) / _RADIAL
    radius = blade.root_cut + width * (np.arange(_RADIAL) + 0.5)
    chord_m = blade.root_chord_m + (blade.tip_chord_m - blade.root_chord_m) * radius
    solidity = blade.blades * chord_m / (math.pi * blade.radius_m)
    twist = np.arctan2(blade.pitch_m, math.tau * radius * blade.radius_m)
    azimuth = math.tau * (np.arange(_AZIMUTH) + 0.5) / _AZIMUTH
    along = radius[:, None] + advance[:, :, None] * np.sin(azimuth)

    def elements(induced: Array) -> tuple[Array, Array, Array, Array]:
        """Return flow angle, induced flow, and normal and in-plane force by radius, (node, radius, azimuth)."""
        through = np.abs(axial + induced)
        skew = np.tan(0.5 * np.arctan2(advance, np.maximum(through, 1e-6)))
        local = induced[:, :, None] * (1 + (skew * radius)[:, :, None] * np.cos(azimuth))
        normal = axial[:, :, None] + local
        angle = np.arctan2(normal, along)
        lift, drag = polar(blade, twist[:, None] - angle)
        lift, drag = np.where(along > 0, lift, 0.0), np.where(along > 0, drag, 1.0)
        pressure = 0.5 * solidity[:, None] * (np.square(along) + np.square(normal))
        force = pressure * (lift * np.cos(angle) - drag * np.sin(angle))
        swirl = pressure * (lift * np.sin(angle) + drag * np.cos(angle))
        return local, force, swirl, pressure * drag * np.sqrt(np.square(along) + np.square(normal))

    def lacking(induced: Array) -> Array:
        """Return what loading would induce less what is assumed, positive when more inflow is needed."""
        _, force, _, _ = elements(induced)
        flow = np.abs(axial + induced)
        tip = 0.5 * blade.blades * (1 - radius) / np.maximum(radius * np.sin(np.arctan2(flow, radius)), _LEAST_TIP)
        prandtl = 2 / math.pi * np.arccos(np.exp(-tip))
        loading = np.maximum(force.mean(axis=2), 0.0) / (4 * prandtl * radius)
        hover = np.sqrt(np.maximum(loading, 1e-9))
        short: Array = hover * induced_flow(axial / hover, advance / hover) - induced
        return short

    low = np.zeros((len(axial), _RADIAL))
    high = np.full_like(low, _MOST_INFLOW)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        more = lacking(middle) > 0
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    local, force, swirl, profile = elements(0.5 * (low + high))

    def total(values: Array) -> Array:
        summed: Array = values.mean(axis=2).sum(axis=1) * width
        return summed.reshape(len(ADVANCE), len(AXIAL))

    return Coefficients(
        thrust=total(force),
        induced=total(force * local),
        profile=total(profile),
        drag=total(swirl * np.sin(azimuth)),
        torque=total(swirl * radius[:, None]),
    )
