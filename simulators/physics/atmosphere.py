"""The standard atmosphere below 11 km, set to the day's temperature and pressure at the field.

ISO 2533:1975 (ICAO Doc 7488): temperature falls 6.5 K in each geopotential kilometre. A day's temperature is an
offset from that, the same at all heights; pressure then follows from the weight of the air (hydrostatic balance)
and density from the law of perfect gases. Dry air: at 30 degC saturated air would be 1.6 % lighter.
"""

from __future__ import annotations

from typing import Final

# ISO 2533:1975, table 1 and section 2.
STANDARD_TEMPERATURE_K: Final = 288.15
STANDARD_PRESSURE_PA: Final = 101325.0
LAPSE_K_PER_M: Final = 0.0065
GAS_CONSTANT_J_KG_K: Final = 287.05287
GRAVITY_M_S2: Final = 9.80665
EARTH_RADIUS_M: Final = 6356766.0
CELSIUS_ZERO_K: Final = 273.15

LOWEST_FIELD_M: Final = -500.0
"""Below every dry shore on Earth."""
TOP_M: Final = EARTH_RADIUS_M * 11000.0 / (EARTH_RADIUS_M - 11000.0)
"""Geometric altitude of the tropopause, where the lapse ends; whatever is higher is held there."""

_PRESSURE_POWER: Final = GRAVITY_M_S2 / (GAS_CONSTANT_J_KG_K * LAPSE_K_PER_M)
_DENSITY_POWER: Final = _PRESSURE_POWER - 1.0


def _geopotential_m(altitude_m: float) -> float:
    """Return the geopotential altitude of a geometric one (ISO 2533, equation 8)."""
    return EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)


class Atmosphere:
    """The air over one field on one day. Heights are geometric metres above the field."""

    __slots__ = ("_density", "_field_radius_m", "_lapse", "_pressure", "_temperature_k", "_top_m")

    def __init__(
        self, field_altitude_m: float, temperature_degc: float | None = None, pressure_pa: float | None = None
    ) -> None:
        """Set the day by what is measured at the field; None means the standard value at its altitude.

        `field_altitude_m` is geometric, above mean sea level; `pressure_pa` that at the field, not reduced to sea
        level. Raises ValueError for a field outside -500 m to 11 km or values that no day on Earth has.
        """
        if not LOWEST_FIELD_M <= field_altitude_m < TOP_M:
            raise ValueError(f"field altitude {field_altitude_m} m is outside {LOWEST_FIELD_M:.0f} m to 11 km")
        standard_k = STANDARD_TEMPERATURE_K - LAPSE_K_PER_M * _geopotential_m(field_altitude_m)
        temperature_k = standard_k if temperature_degc is None else temperature_degc + CELSIUS_ZERO_K
        if not 180.0 <= temperature_k <= 340.0:
            raise ValueError(f"field temperature {temperature_degc} degC is outside -93 to 67 degC")
        if pressure_pa is None:
            pressure_pa = STANDARD_PRESSURE_PA * (standard_k / STANDARD_TEMPERATURE_K) ** _PRESSURE_POWER
        if not 20000.0 <= pressure_pa <= 120000.0:
            raise ValueError(f"field pressure {pressure_pa} Pa is outside 20 to 120 kPa")
        self._temperature_k = temperature_k
        self._pressure = pressure_pa
        self._density = pressure_pa / (GAS_CONSTANT_J_KG_K * temperature_k)
        # Geopotential above the field is h * r^2 / ((r + a) (r + a + h)); by the field's temperature, the share
        # of it lost at height h is _lapse * h / (_field_radius_m + h): one division and one power a call.
        self._field_radius_m = EARTH_RADIUS_M + field_altitude_m
        self._lapse = LAPSE_K_PER_M * EARTH_RADIUS_M**2 / self._field_radius_m / temperature_k
        self._top_m = TOP_M - field_altitude_m

    def density_kg_m3(self, height_m: float) -> float:
        """Return the density of the air."""
        return float(self._density * self._share(height_m) ** _DENSITY_POWER)

    def pressure_pa(self, height_m: float) -> float:
        """Return the static pressure."""
        return float(self._pressure * self._share(height_m) ** _PRESSURE_POWER)

    def temperature_degc(self, height_m: float) -> float:
        """Return the temperature of the air."""
        return self._temperature_k * self._share(height_m) - CELSIUS_ZERO_K

    def _share(self, height_m: float) -> float:
        """Return the absolute temperature at a height by that at the field."""
        height_m = min(height_m, self._top_m)
        return 1.0 - self._lapse * height_m / (self._field_radius_m + height_m)
