"""The standard atmosphere against printed tables, another implementation and the laws it rests on."""

from __future__ import annotations

import importlib
import math

import pytest

from simulators.physics.atmosphere import Atmosphere

AMBIANCE = importlib.import_module("ambiance")  # an independent ISO 2533 by geometric altitude

# ICAO Doc 7488 / ISO 2533 at geometric altitudes: m, K, Pa, kg/m3.
ISO_2533 = [
    (0.0, 288.15, 101325.0, 1.2250),
    (500.0, 284.900, 95461.3, 1.16727),
    (1000.0, 281.651, 89876.3, 1.11166),
    (1500.0, 278.402, 84559.7, 1.05810),
    (2000.0, 275.154, 79501.4, 1.00655),
    (3000.0, 268.659, 70121.1, 0.90925),
]


@pytest.mark.parametrize(("altitude_m", "kelvin", "pascal", "density"), ISO_2533)
@pytest.mark.parametrize("as_field", [False, True])
def test_iso_2533_table(altitude_m: float, kelvin: float, pascal: float, density: float, as_field: bool) -> None:
    # A standard day is the same from whatever field it is seen.
    air, height_m = (Atmosphere(altitude_m), 0.0) if as_field else (Atmosphere(0.0), altitude_m)
    assert air.temperature_degc(height_m) + 273.15 == pytest.approx(kelvin, abs=0.0005001)
    assert air.pressure_pa(height_m) == pytest.approx(pascal, abs=0.05)
    assert air.density_kg_m3(height_m) == pytest.approx(density, abs=5.1e-6)


@pytest.mark.parametrize("field_m", [-400.0, 0.0, 812.0, 4100.0])
def test_ambiance_library(field_m: float) -> None:
    air = Atmosphere(field_m)
    for height_m in (-50.0, 0.0, 10.0, 120.0, 500.0, 1500.0, 6000.0):
        other = AMBIANCE.Atmosphere(field_m + height_m)
        # Below the sea that library starts from the 177687 Pa printed for -5 km: half a unit of the last figure.
        rel = 1e-9 if field_m + height_m >= 0.0 else 0.5 / 177687.0
        assert air.temperature_degc(height_m) == pytest.approx(float(other.temperature_in_celsius[0]), abs=1e-9)
        assert air.pressure_pa(height_m) == pytest.approx(float(other.pressure[0]), rel=rel)
        assert air.density_kg_m3(height_m) == pytest.approx(float(other.density[0]), rel=rel)


def test_held_above_the_tropopause() -> None:
    air = Atmosphere(1000.0)
    # ISO 2533: -56.5 degC and 22632 Pa at 11 km.
    assert air.temperature_degc(30000.0) == pytest.approx(-56.5, abs=1e-9)
    assert air.pressure_pa(30000.0) == pytest.approx(22632.0, abs=0.1)
    assert air.density_kg_m3(30000.0) == air.density_kg_m3(20000.0)


@pytest.mark.parametrize(
    ("field_m", "degc", "pascal"), [(0.0, 38.0, None), (1650.0, 31.5, 83900.0), (420.0, -25.0, None)]
)
def test_any_day_is_in_hydrostatic_balance(field_m: float, degc: float, pascal: float | None) -> None:
    # dp/dz = -density * gravity, gravity by the inverse square of the distance from the Earth's centre.
    air = Atmosphere(field_m, degc, pascal)
    for height_m in (1.0, 100.0, 400.0, 2000.0):
        slope = (air.pressure_pa(height_m + 0.5) - air.pressure_pa(height_m - 0.5)) / 1.0
        gravity = 9.80665 * (6356766.0 / (6356766.0 + field_m + height_m)) ** 2
        assert slope == pytest.approx(-air.density_kg_m3(height_m) * gravity, rel=1e-7)


@pytest.mark.parametrize(("field_m", "degc", "pascal"), [(0.0, 38.0, 100800.0), (1650.0, -12.0, 82100.0)])
def test_any_day_keeps_what_was_measured_at_the_field(field_m: float, degc: float, pascal: float) -> None:
    air = Atmosphere(field_m, degc, pascal)
    assert air.temperature_degc(0.0) == pytest.approx(degc, abs=1e-12)
    assert air.pressure_pa(0.0) == pascal
    # The law of perfect gases with the molar gas constant (SI, 2019) and the molar mass of dry air of ISO 2533.
    expected = pascal * 0.0289644 / (8.314462618 * (degc + 273.15))
    assert air.density_kg_m3(0.0) == pytest.approx(expected, rel=2e-5)  # ISO 2533 has R = 8.31432
    assert air.temperature_degc(300.0) - degc == pytest.approx(-1.95, abs=0.002)


@pytest.mark.parametrize("degc", [0.0, -15.0, -30.0])
@pytest.mark.parametrize("feet", [500.0, 1000.0, 2000.0])
def test_cold_day_error_of_an_altimeter(degc: float, feet: float) -> None:
    # ICAO Doc 8168 (PANS-OPS), temperature corrections, from memory: to be at height H over a field at sea level,
    # fly H (15 - t0) / (273 + t0 - 0.5 * 0.00198 H) higher by the altimeter; said there to be within 5 %.
    pressure_pa = Atmosphere(0.0, degc).pressure_pa(feet * 0.3048)
    low_m, high_m = 0.0, 2000.0
    standard = Atmosphere(0.0)
    for _ in range(60):
        middle_m = (low_m + high_m) / 2.0
        low_m, high_m = (middle_m, high_m) if standard.pressure_pa(middle_m) > pressure_pa else (low_m, middle_m)
    published = feet * (15.0 - degc) / (273.0 + degc - 0.5 * 0.00198 * feet)
    assert low_m / 0.3048 - feet == pytest.approx(published, rel=0.05)


@pytest.mark.parametrize(
    ("field_m", "degc", "pascal"),
    [
        (-600.0, None, None),
        (11100.0, None, None),
        (math.nan, None, None),
        (0.0, 90.0, None),
        (0.0, math.nan, None),
        (0.0, None, 1013.25),  # hectopascals
        (0.0, None, math.inf),
    ],
)
def test_refuses_what_no_day_has(field_m: float, degc: float | None, pascal: float | None) -> None:
    with pytest.raises(ValueError, match="outside"):
        Atmosphere(field_m, degc, pascal)
