"""Where an aircraft whose motors stop comes down: a point mass under gravity and drag, in a steady wind.

du/dt = g - k |u| u with u the velocity through the air and k = density times drag area over twice the mass
(any textbook on ballistics). Without drag it is closed: t = (w + sqrt(w^2 + 2 g h)) / g with w upwards. With drag
it is integrated by the classical Runge-Kutta method of fourth order. How an airframe tumbles nobody knows, so both
ends are taken, no drag and plenty of it, and what lies between.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.polygon import Flat

G_M_S2: Final = 9.80665
PLENTY_1_M: Final = 0.1
"""Drag (k) that nothing without a parachute exceeds: it sinks at 10 m/s, as under one (common practice)."""
DISC_DRAG: Final = 1.2
"""Drag coefficient of windmilling rotors by the area of their discs: about that of a flat plate, and the most that
autorotation gives (momentum theory: common practice)."""
MOST_M_S: Final = 150.0
"""Faster no multirotor is, and no wind; it is a number that somebody made up."""
_STEPS_A_SECOND: Final = 4.0
FALL_S: Final = 120.0
"""Longer no fall is followed: with plenty of drag from 1.2 km."""
SOME: Final = 0.15
"""Of the most drag: what lies about halfway along the footprint."""


class Fall(NamedTuple):
    """One fall: metres north and east of where it began, seconds, and the speed at the end in m/s."""

    north_m: float
    east_m: float
    time_s: float
    speed_m_s: float


class Footprint(NamedTuple):
    """Where it may come down: from no drag over some to plenty, metres north and east of where it now is.

    `doubt_m` is by how much the doubt of the wind moves the last of them.
    """

    falls: tuple[Fall, Fall, Fall]
    doubt_m: float

    @property
    def reach_m(self) -> float:
        """The farthest of them."""
        return max(math.hypot(one.north_m, one.east_m) for one in self.falls)


def free_fall(height_m: float, velocity: Flat, climb_m_s: float) -> Fall:
    """Return the fall without drag from a height over ground."""
    height_m = max(0.0, height_m)
    end_m_s = math.sqrt(climb_m_s * climb_m_s + 2.0 * G_M_S2 * height_m)
    time_s = max(0.0, (climb_m_s + end_m_s) / G_M_S2)
    return Fall(velocity[0] * time_s, velocity[1] * time_s, time_s, math.hypot(end_m_s, *velocity))


def fall(height_m: float, velocity: Flat, climb_m_s: float, wind: Flat, drag_1_m: float) -> Fall:
    """Return the fall with a drag k in 1/m; `wind` is where the air moves to, m/s north and east.

    A speed through the air over MOST_M_S is taken for that.
    """
    if drag_1_m <= 0.0 or height_m <= 0.0:
        return free_fall(height_m, velocity, climb_m_s)
    # no step longer than a quarter of a second, nor than a part of the time in which the drag acts
    fastest_m_s = math.hypot(velocity[0] - wind[0], velocity[1] - wind[1], climb_m_s)
    part = min(1.0, MOST_M_S / (fastest_m_s + 1e-9))  # of what nobody can mean: steps have to be counted
    step_s = min(1.0 / _STEPS_A_SECOND, 0.25 / (drag_1_m * fastest_m_s * part + 1e-9))
    north, east, down = (part * (velocity[0] - wind[0]), part * (velocity[1] - wind[1]), -part * climb_m_s)
    north_m = east_m = fallen_m = time_s = 0.0
    landed = False
    while not landed and time_s < FALL_S:
        moved = _step(north, east, down, drag_1_m, step_s)
        if fallen_m + moved[5] >= height_m:
            # the last step again, as long as it takes to the ground as it gathers speed in it: s = v t + a t^2 / 2
            landed = True
            rest_m, gathers_m_s2 = height_m - fallen_m, (moved[2] - down) / step_s
            step_s = 2.0 * rest_m / (down + math.sqrt(max(0.0, down * down + 2.0 * gathers_m_s2 * rest_m)))
            moved = _step(north, east, down, drag_1_m, step_s)
        north, east, down, dn, de, dd = moved
        north_m, east_m, fallen_m, time_s = north_m + dn, east_m + de, fallen_m + dd, time_s + step_s
    speed_m_s = math.hypot(north + wind[0], east + wind[1], down)
    return Fall(north_m + wind[0] * time_s, east_m + wind[1] * time_s, time_s, speed_m_s)


def _step(
    north: float, east: float, down: float, k: float, step_s: float
) -> tuple[float, float, float, float, float, float]:
    """Return the velocity through the air after a step, and the way made in it."""

    def push(n: float, e: float, d: float) -> tuple[float, float, float]:
        drag = k * math.sqrt(n * n + e * e + d * d)
        return -drag * n, -drag * e, G_M_S2 - drag * d

    half = 0.5 * step_s
    a1, b1, c1 = push(north, east, down)
    n2, e2, d2 = north + half * a1, east + half * b1, down + half * c1
    a2, b2, c2 = push(n2, e2, d2)
    n3, e3, d3 = north + half * a2, east + half * b2, down + half * c2
    a3, b3, c3 = push(n3, e3, d3)
    n4, e4, d4 = north + step_s * a3, east + step_s * b3, down + step_s * c3
    a4, b4, c4 = push(n4, e4, d4)
    sixth = step_s / 6.0
    return (
        north + sixth * (a1 + 2.0 * (a2 + a3) + a4),
        east + sixth * (b1 + 2.0 * (b2 + b3) + b4),
        down + sixth * (c1 + 2.0 * (c2 + c3) + c4),
        sixth * (north + 2.0 * (n2 + n3) + n4),
        sixth * (east + 2.0 * (e2 + e3) + e4),
        sixth * (down + 2.0 * (d2 + d3) + d4),
    )


def plenty_1_m(file: AircraftFile | None, mass_kg: float | None, density_kg_m3: float) -> float:
    """Return the most drag a falling aircraft has: all its rotors' discs as plates, else as under a parachute."""
    if file is None or mass_kg is None or not file.rotors.count or not file.rotors.diameter_m:
        return PLENTY_1_M
    discs_m2 = file.rotors.count * math.pi / 4.0 * file.rotors.diameter_m**2
    return min(PLENTY_1_M, density_kg_m3 * DISC_DRAG * discs_m2 / (2.0 * mass_kg))


def footprint(
    height_m: float, velocity: Flat, climb_m_s: float, wind: Flat, wind_doubt_m_s: float, most_1_m: float
) -> Footprint:
    """Return where it may come down, with no drag up to `most_1_m`."""
    falls = (
        free_fall(height_m, velocity, climb_m_s),
        fall(height_m, velocity, climb_m_s, wind, SOME * most_1_m),
        fall(height_m, velocity, climb_m_s, wind, most_1_m),
    )
    return Footprint(falls, wind_doubt_m_s * falls[2].time_s)
