"""Formulas of propagation: free space, reflection by the ground, the first Fresnel zone, diffraction over edges.

Losses and gains in dB, lengths in m, frequency in MHz. Pure functions; who asks sees to their bounds.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from typing import Final

LIGHT_M_S: Final = 299_792_458.0
"""Speed of light (SI)."""
MEDIUM_DRY_GROUND: Final = (15.0, 0.035)
"""Relative permittivity and conductivity in S/m at about 1 GHz (ITU-R P.527, medium dry ground; from memory)."""
ONSET: Final = -0.78
"""Below this an edge costs nothing: 0.55 of the first Fresnel zone is free (ITU-R P.526)."""

Edge = tuple[float, float, float]
"""Distance from the beginning of a path, height above it, and height as it would be on bare ground, m."""

_FREE_SPACE_DB: Final = 20.0 * math.log10(4.0e6 * math.pi / LIGHT_M_S)
_SAME_EDGE_M: Final = 5.0
"""Two tops so near to each other are one edge."""


def wavelength_m(frequency_mhz: float) -> float:
    """Return the wavelength in m."""
    return LIGHT_M_S / (frequency_mhz * 1e6)


def free_space_db(frequency_mhz: float, distance_m: float) -> float:
    """Return the basic transmission loss of free space: 20 log10(4 pi d / wavelength) (ITU-R P.525)."""
    return _FREE_SPACE_DB + 20.0 * math.log10(frequency_mhz * distance_m)


def crossover_m(frequency_mhz: float, low_m: float, high_m: float) -> float:
    """Return 4 h1 h2 / wavelength: beyond it the two rays come to cancel, and power falls with distance^4.

    The last maximum of two rays over level ground; some texts put 4 pi instead of 4 (from memory).
    """
    return 4.0 * low_m * high_m / wavelength_m(frequency_mhz)


def reflection(sine: float, permittivity: complex) -> complex:
    """Return the reflection coefficient of the ground for vertical polarisation.

    `sine` is that of the grazing angle; `permittivity` is complex, see `ground_permittivity`. Fresnel's equation
    (e s - r) / (e s + r) with r = sqrt(e - 1 + s^2): -1 at grazing, least at the angle of Brewster.
    """
    root = cmath.sqrt(permittivity - 1.0 + sine * sine)
    bent = permittivity * sine
    return (bent - root) / (bent + root)


def ground_permittivity(frequency_mhz: float, ground: tuple[float, float] = MEDIUM_DRY_GROUND) -> complex:
    """Return the relative complex permittivity e - j 60 wavelength conductivity (ITU-R P.527)."""
    return complex(ground[0], -60.0 * wavelength_m(frequency_mhz) * ground[1])


def roughness_share(roughness_m: float, sine: float, wave_m: float) -> float:
    """Return the share of amplitude that rough ground still mirrors: exp(-2 (2 pi h s / wavelength)^2).

    Ament 1953 (from memory). `roughness_m` is the standard deviation of its height, `sine` that of the
    grazing angle.
    """
    phase = math.tau * roughness_m * sine / wave_m
    return math.exp(-2.0 * phase * phase)


def two_ray_db(
    frequency_mhz: float, distance_m: float, low_m: float, high_m: float, roughness_m: float = 0.0
) -> float:
    """Return the loss over level ground between isotropic antennas at two heights, `distance_m` apart on the map.

    The direct ray and one mirrored by medium dry ground, vertical polarisation, added by their phases.
    """
    wave_m = wavelength_m(frequency_mhz)
    direct_m = math.hypot(distance_m, high_m - low_m)
    mirrored_m = math.hypot(distance_m, high_m + low_m)
    sine = (high_m + low_m) / mirrored_m
    longer_m = 4.0 * low_m * high_m / (direct_m + mirrored_m)
    echo = reflection(sine, ground_permittivity(frequency_mhz)) * roughness_share(roughness_m, sine, wave_m)
    field = 1.0 / direct_m + echo / mirrored_m * cmath.rect(1.0, -math.tau * longer_m / wave_m)
    return free_space_db(frequency_mhz, 1.0) - 20.0 * math.log10(abs(field))


def fresnel_m(wave_m: float, d1_m: float, d2_m: float) -> float:
    """Return the radius of the first Fresnel zone: sqrt(wavelength d1 d2 / (d1 + d2)) (ITU-R P.526)."""
    return math.sqrt(wave_m * d1_m * d2_m / (d1_m + d2_m))


def edge_number(height_m: float, wave_m: float, d1_m: float, d2_m: float) -> float:
    """Return nu of an edge `height_m` above the path: h sqrt(2 (1/d1 + 1/d2) / wavelength) (ITU-R P.526)."""
    return height_m * math.sqrt(2.0 * (d1_m + d2_m) / (wave_m * d1_m * d2_m))


def knife_edge_db(nu: float) -> float:
    """Return J(nu) = 6.9 + 20 log10(sqrt((nu - 0.1)^2 + 1) + nu - 0.1), 0 below -0.78 (ITU-R P.526)."""
    if nu <= ONSET:
        return 0.0
    x = nu - 0.1
    return max(0.0, 6.9 + 20.0 * math.log10(math.sqrt(x * x + 1.0) + x))


def pillar_db(top: float, near: float, far: float) -> float:
    """Return the loss behind a screen of finite width from nu over its top and around its two sides.

    The three ways round add their powers (ITU-R P.526, finite-width screen, mean over phases; from memory).
    """
    losses = (knife_edge_db(top), knife_edge_db(near), knife_edge_db(far))
    return max(0.0, -10.0 * math.log10(sum(10.0 ** (-0.1 * loss) for loss in losses)))


def _more_db(height_m: float, bare_m: float, wave_m: float, d1_m: float, d2_m: float) -> float:
    """Return the loss by an edge, less that by bare ground at its place.

    Bare ground that comes near to the path is not an edge: what it takes, two rays tell.
    """
    scale = math.sqrt(2.0 * (d1_m + d2_m) / (wave_m * d1_m * d2_m))
    loss = knife_edge_db(height_m * scale)
    return max(0.0, loss - knife_edge_db(bare_m * scale)) if loss else 0.0


def deygout_db(edges: Sequence[Edge], wave_m: float, length_m: float) -> float:
    """Return the loss over several edges by Deygout (1966), at most three of them.

    The edge that alone costs most, then on the parts of the path to its left and right, drawn to its top, the one
    that costs most there, taken by the factor 1 - exp(-J/6) of ITU-R P.526 so that they come in smoothly. Without
    the constant that P.526 adds for measured terrain (from memory). Every edge lies between the path's ends.
    """
    main_db, main = 0.0, None
    for edge in edges:
        at, height, bare = edge
        loss = _more_db(height, bare, wave_m, at, length_m - at)
        if loss > main_db:
            main_db, main = loss, edge
    if main is None:
        return 0.0
    if len(edges) == 1:
        return main_db
    top_at, top, _ = main
    left_db = right_db = 0.0
    for at, height, bare in edges:
        if at < top_at - _SAME_EDGE_M:
            line = top * at / top_at
            left_db = max(left_db, _more_db(height - line, bare - line, wave_m, at, top_at - at))
        elif at > top_at + _SAME_EDGE_M:
            line = top * (length_m - at) / (length_m - top_at)
            right_db = max(right_db, _more_db(height - line, bare - line, wave_m, at - top_at, length_m - at))
    return main_db + (1.0 - math.exp(-main_db / 6.0)) * (left_db + right_db)
