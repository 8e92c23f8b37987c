"""What is known of drag and air before the first look: from aircraft file, sortie file and standard atmosphere.

Drag over mass at airspeed u is (k1 + k2 u) u. Most of it is frame, load and cables in the wind: k2 = density times
drag area over twice the mass. The rotors' share k1 comes of advancing and retreating blades.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import AircraftFile, SortieFile

DENSITY_KG_M3: Final = 1.225
"""ISO 2533 at sea level."""
_R_J_KG_K: Final = 287.05287
_SEA_K: Final = 288.15
_SEA_PA: Final = 101325.0
_LAPSE_K_M: Final = 0.0065
_EXPONENT: Final = 9.80665 / (_R_J_KG_K * _LAPSE_K_M)
_TOP_M: Final = 11_000.0
_ZERO_K: Final = 273.15

_AREA_M2: Final = 0.6
_AREA_KG: Final = 35.0
_AREA_M_S: Final = 10.0
"""A heavy multirotor's drag as a whole is that of 0.6 m2 at 35 kg at a usual cruise (common practice); areas of
like shapes go with mass to the power of 2/3."""
_LINEAR_1_S: Final = 0.03
"""Rotors' drag over mass and speed. Blade elements with a drag coefficient of 0.02 at 130 m/s give 0.01 by profile
drag alone; inflow and stiff blades treble it (common practice, known to a factor of two)."""
_SHAPE_SD: Final = 0.45
_POWER: Final = 1.75
"""With which power of the airspeed drag grows, between 1 and 2."""
_AREA_SD: Final = 0.25
"""Machines of one size differ in drag by a quarter (common practice)."""
_BARE_KG: Final = 8.0
_BARE_SD: Final = 0.8
"""Half a kilogram to fifty, and any shape: published k2 reach from 0.0045 1/m (Zeng, Xu, Zhang 2019, 2 kg) over
0.0105 (35 kg with 0.6 m2) to about 0.02 (Liu, Sengupta, Kurzhanskiy 2017, 1.4 kg); a recorded small quadrotor flew
with about four times the middle of it."""
_LINE_SD: Final = 0.3
"""A load on a line has drag of its own, seen in the tilt only as far as the line pulls sideways."""


class Drag(NamedTuple):
    """What is known of the drag: k1 in 1/s, k2 in 1/m at sea-level density.

    `scale_sd` is the standard deviation of the log of the airspeed that a lean tells, `shape_sd` that of k1's log.
    """

    linear_1_s: float
    square_1_m: float
    scale_sd: float
    shape_sd: float


def drag_of(file: AircraftFile | None, sortie: SortieFile | None) -> Drag:
    """Return what the files tell of the drag: of the size, by mass, or next to nothing."""
    most_kg = least_kg = None
    if file is not None:
        most_kg = file.mass.maximum_kg or file.mass.empty_kg
        least_kg = file.mass.empty_kg or file.mass.maximum_kg
    if most_kg is None or least_kg is None:
        return Drag(_LINEAR_1_S, _square(_BARE_KG, _BARE_KG), _BARE_SD / _POWER, _SHAPE_SD)
    load_sd, line_sd = math.log(most_kg / least_kg) / math.sqrt(12), 0.0
    mass_kg = math.sqrt(most_kg * least_kg)
    if sortie is not None and sortie.payload.mass_kg > 0:
        mass_kg, load_sd = min(least_kg + sortie.payload.mass_kg, most_kg), load_sd / 3
        line_sd = _LINE_SD if sortie.payload.line_m > 0 else 0.0
    sd = math.hypot(_AREA_SD, load_sd, line_sd)
    return Drag(_LINEAR_1_S, _square(most_kg, mass_kg), sd / _POWER, _SHAPE_SD)


def _square(most_kg: float, mass_kg: float) -> float:
    """Return k2 for a machine built for one mass that weighs another."""
    area_m2 = _AREA_M2 * math.pow(most_kg / _AREA_KG, 2 / 3)
    whole_1_m = 0.5 * DENSITY_KG_M3 * area_m2 / mass_kg
    return whole_1_m - _LINEAR_1_S / _AREA_M_S


def density_kg_m3(altitude_m: float, pressure_hpa: float | None = None, air_degc: float | None = None) -> float:
    """Return the density of the air: by ISO 2533 at an altitude, pressure and temperature instead where known."""
    altitude_m = max(-1000.0, min(altitude_m, _TOP_M))
    kelvin = _SEA_K - _LAPSE_K_M * altitude_m
    pressure_pa = _SEA_PA * math.pow(kelvin / _SEA_K, _EXPONENT) if pressure_hpa is None else 100 * pressure_hpa
    if air_degc is not None:
        kelvin = air_degc + _ZERO_K
    return pressure_pa / (_R_J_KG_K * kelvin)


def flow(accel_m_s2: float, linear_1_s: float, square_1_m: float) -> float:
    """Return the airspeed at which the drag over mass is `accel_m_s2`."""
    root = math.sqrt(linear_1_s * linear_1_s + 4 * square_1_m * accel_m_s2)
    return 2 * accel_m_s2 / (linear_1_s + root)
