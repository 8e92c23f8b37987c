"""Power of a multirotor in hover, climb and forward flight, over its power in hover.

Momentum theory for the induced part: Glauert's flow for a rotor moving across and along its axis, v (V^2 + (c +
v)^2)^0.5 = 1 in units of the hover's induced velocity (Leishman, Principles of Helicopter Aerodynamics, ch. 2;
from memory). Profile power grows with the square of the advance ratio. Parasite power is the body's, and stands
apart, for it depends on the load and its shape.
"""

from __future__ import annotations

import math
from typing import Final

PROFILE_SHARE: Final = 0.30
"""Of hover power: a figure of merit of 0.65 with an induced factor of 1.1 leaves 0.28; small rotors more."""
PROFILE_GROWTH: Final = 4.65
"""Of profile power with the square of the advance ratio; 3 without the drag along the blades."""
TIP_SPEED: Final = 14.0
"""Tip speed over the hover's induced velocity: sqrt(2 / C_T) at C_T = 0.01 (common practice)."""
STANDARD_DENSITY: Final = 1.225
GRAVITY: Final = 9.80665
_ROUNDS: Final = 6


def hover_inflow(thrust_n: float, disc_m2: float, density: float = STANDARD_DENSITY) -> float:
    """Return the induced velocity in hover, m/s: (T / (2 rho A))^0.5."""
    return math.sqrt(thrust_n / (2.0 * density * disc_m2))


def inflow(across: float, along: float = 0.0) -> float:
    """Return the induced velocity over the hover's, at speeds across and along (climb) the axis over the same.

    Without climb in closed form; else by Newton from there. Descent into the own wake is not momentum theory's.
    """
    m = across * across
    v = math.sqrt(-m / 2.0 + math.sqrt(m * m / 4.0 + 1.0))
    if along == 0.0:
        return v
    for _ in range(_ROUNDS):
        total = along + v
        square = m + total * total
        f = v * v * square - 1.0
        slope = 2.0 * v * square + 2.0 * v * v * total
        if slope <= 0.0:
            break
        v = max(1e-3, v - f / slope)
    return v


def power_ratio(
    airspeed_m_s: float,
    climb_m_s: float,
    hover_inflow_m_s: float,
    *,
    profile_share: float = PROFILE_SHARE,
    profile_growth: float = PROFILE_GROWTH,
    tip_speed: float = TIP_SPEED,
) -> float:
    """Return rotor power (without parasite) over hover power; `tip_speed` over the hover's induced velocity.

    A descent is credited only as far as the aircraft flies out of its own wake: in a slow one the inflow that
    grows takes back what the height gives (measured by Castles and Gray, NACA TN 2474; from memory). However fast
    it sinks, rotors give nothing back to the packs: the profile power stays.
    """
    across, along = airspeed_m_s / hover_inflow_m_s, climb_m_s / hover_inflow_m_s
    if along < 0.0:
        along *= min(1.0, across * across)
    advance = across / tip_speed
    induced = max(0.0, inflow(across, along) + along)
    return (1.0 - profile_share) * induced + profile_share * (1.0 + profile_growth * advance * advance)


def mass_of_power(power_w: float, reference_w: float, reference_kg: float) -> float:
    """Return the mass that hovers at a power, by one measured point: power grows with mass to 3/2."""
    return float(reference_kg * (power_w / reference_w) ** (2.0 / 3.0))
