"""Antennas against known values of their patterns."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from simulators.radio.antenna import DIPOLE_DBI, NULL_DB, BodyShadow, Panel, dipole_shape


def test_a_dipole_against_its_known_values() -> None:
    # Half power at 39 degrees from broadside, a beam of 78 degrees (from memory); 60 degrees off: cos(78) / 0.5.
    assert dipole_shape(0.0) == 1.0
    assert 20.0 * math.log10(dipole_shape(math.cos(math.radians(51.0)))) == pytest.approx(-3.0, abs=0.05)
    assert 20.0 * math.log10(dipole_shape(math.cos(math.radians(30.0)))) == pytest.approx(-7.6, abs=0.1)
    assert dipole_shape(0.5) == dipole_shape(-0.5)


def test_its_directivity_is_that_of_its_pattern() -> None:
    # 2 / integral of F^2 sin t dt: 1.643, 2.15 dBi. The filled null is a small part of it.
    steps = 2000
    angles = [math.pi * (i + 0.5) / steps for i in range(steps)]
    power = sum(dipole_shape(math.cos(angle)) ** 2 * math.sin(angle) for angle in angles) * math.pi / steps
    assert 10.0 * math.log10(2.0 / power) == pytest.approx(DIPOLE_DBI, abs=0.02)


def test_the_null_is_filled() -> None:
    for cosine in (1.0, -1.0, 0.99999, 0.9999999):
        assert 20.0 * math.log10(dipole_shape(cosine)) == pytest.approx(-NULL_DB, abs=0.01)
    shapes = [dipole_shape(0.001 * i) for i in range(1001)]
    assert all(a >= b for a, b in pairwise(shapes))


def test_the_shadow_is_behind_and_smooth() -> None:
    shadow = BodyShadow(depth_db=8.0)
    assert shadow.loss_db(math.pi, 0.0) == pytest.approx(8.0)
    assert shadow.loss_db(-math.pi, 0.3) == pytest.approx(8.0)
    assert shadow.loss_db(math.pi - math.radians(30.0), 0.0) == pytest.approx(4.0)
    assert shadow.loss_db(0.0, 0.0) == shadow.loss_db(math.radians(119.0), 0.0) == 0.0
    around = [shadow.loss_db(math.radians(i), 0.0) for i in range(361)]
    assert max(abs(b - a) for a, b in pairwise(around)) < 0.25


def test_from_below_the_antenna_sees_past_the_body() -> None:
    shadow = BodyShadow(depth_db=8.0)
    down = [shadow.loss_db(math.pi, -math.radians(i)) for i in range(91)]
    assert all(a >= b for a, b in pairwise(down))
    assert down[20] == pytest.approx(4.0)
    assert down[40] == 0.0


def test_a_panel_loses_three_decibels_at_half_its_width() -> None:
    panel = Panel(gain_dbi=9.0, azimuth_rad=math.radians(350.0), elevation_rad=0.2)
    assert panel.dbi(math.radians(350.0), 0.2) == 9.0
    assert panel.dbi(math.radians(350.0 + 35.0), 0.2) == pytest.approx(6.0)
    assert panel.dbi(math.radians(-10.0 - 35.0), 0.2) == pytest.approx(6.0)
    assert panel.dbi(math.radians(350.0), 0.2 + math.radians(30.0)) == pytest.approx(6.0)
    assert panel.dbi(math.radians(170.0), 0.2) == pytest.approx(9.0 - 20.0)


def test_a_panel_without_width_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        Panel(width_rad=0.0)
