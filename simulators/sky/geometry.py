"""Directions to satellites from a place on WGS 84, and how well a set of directions fixes a position.

Dilution of precision is the root of the trace of (G^T G)^-1, where G has one row (direction, clock) a satellite
(Kaplan and Hegarty, Understanding GPS, 7.3; Parkinson and Spilker, vol. I, ch. 11). With a clock for each
constellation the clocks are eliminated first (Schur complement): what is left is 3 by 3, the scatter of the
directions about their mean in each constellation, summed. So a constellation's only satellite adds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

Vector = tuple[float, float, float]

_A_M: Final = 6378137.0
_F: Final = 1.0 / 298.257223563
_E2: Final = _F * (2.0 - _F)
_FLAT: Final = 1e-10
"""Below this determinant directions are taken to lie in one cone or plane: dilution would be far above 1000."""


class Dilution(NamedTuple):
    """Error of the solution over error of one range. `tdop` is of the clock of the first satellite given."""

    hdop: float
    vdop: float
    pdop: float
    tdop: float


class Place:
    """A geodetic place that looks at the sky. Raises ValueError for a latitude or longitude that is none."""

    __slots__ = ("_frame", "position_m")

    def __init__(self, latitude_deg: float, longitude_deg: float, height_m: float = 0.0) -> None:
        if not (abs(latitude_deg) <= 90.0 and abs(longitude_deg) <= 360.0 and math.isfinite(height_m)):
            raise ValueError(f"{latitude_deg}, {longitude_deg} is no place on Earth")
        phi, lam = math.radians(latitude_deg), math.radians(longitude_deg)
        sp, cp, sl, cl = math.sin(phi), math.cos(phi), math.sin(lam), math.cos(lam)
        normal_m = _A_M / math.sqrt(1.0 - _E2 * sp * sp)
        self.position_m: Vector = (
            (normal_m + height_m) * cp * cl,
            (normal_m + height_m) * cp * sl,
            (normal_m * (1.0 - _E2) + height_m) * sp,
        )
        """Earth-centred, Earth-fixed."""
        self._frame = (-sp * cl, -sp * sl, cp, -sl, cl, cp * cl, cp * sl, sp)

    def above(self, positions: Sequence[Vector]) -> list[tuple[int, float, float, float]]:
        """Return (index, north, east, up) of every position above the horizon, as unit vectors."""
        x0, y0, z0 = self.position_m
        nx, ny, nz, ex, ey, ux, uy, uz = self._frame
        level = ux * x0 + uy * y0 + uz * z0
        sqrt = math.sqrt
        found = []
        for index, (x, y, z) in enumerate(positions):
            up = ux * x + uy * y + uz * z - level
            if up > 0.0:
                x -= x0  # noqa: PLW2901 two names more would cost more than this saves
                y -= y0  # noqa: PLW2901
                z -= z0  # noqa: PLW2901
                scale = 1.0 / sqrt(x * x + y * y + z * z)
                found.append((index, scale * (nx * x + ny * y + nz * z), scale * (ex * x + ey * y), scale * up))
        return found


def elevation_azimuth(direction: Vector) -> tuple[float, float]:
    """Return elevation, and azimuth clockwise of north from 0 to tau, in rad, of a unit (north, east, up)."""
    north, east, up = direction
    return math.asin(max(-1.0, min(1.0, up))), math.atan2(east, north) % math.tau


def dilution(directions: Sequence[Vector], clocks: Sequence[int] | None = None) -> Dilution | None:
    """Return the dilution of unit (north, east, up) directions, or None if they fix no position.

    `clocks` names each satellite's clock, one unknown for each name that occurs; None is one clock for all.
    """
    if not directions:
        return None
    groups = _sums(directions, clocks)
    nn = ne = nu = ee = eu = uu = 0.0
    for count, n, e, u, snn, sne, snu, see, seu, suu in groups:
        nn += snn - n * n / count
        ne += sne - n * e / count
        nu += snu - n * u / count
        ee += see - e * e / count
        eu += seu - e * u / count
        uu += suu - u * u / count
    # the inverse of a symmetric matrix by its cofactors
    c_nn, c_ne, c_nu = ee * uu - eu * eu, nu * eu - ne * uu, ne * eu - nu * ee
    determinant = nn * c_nn + ne * c_ne + nu * c_nu
    if determinant < _FLAT:
        return None
    c_ee, c_eu, c_uu = nn * uu - nu * nu, ne * nu - nn * eu, nn * ee - ne * ne
    horizontal, vertical = (c_nn + c_ee) / determinant, c_uu / determinant
    count, n, e, u = groups[0][:4]
    n, e, u = n / count, e / count, u / count
    across = n * (c_nn * n + 2.0 * (c_ne * e + c_nu * u)) + e * (c_ee * e + 2.0 * c_eu * u) + u * c_uu * u
    return Dilution(
        math.sqrt(horizontal),
        math.sqrt(vertical),
        math.sqrt(horizontal + vertical),
        math.sqrt(1.0 / count + across / determinant),
    )


def level_dilution(directions: Sequence[Vector], clocks: Sequence[int] | None = None) -> float | None:
    """Return the horizontal dilution when the height is known and held, as a fix in two dimensions has it."""
    nn = ne = ee = 0.0
    for count, n, e, _, snn, sne, _, see, _, _ in _sums(directions, clocks):
        nn += snn - n * n / count
        ne += sne - n * e / count
        ee += see - e * e / count
    determinant = nn * ee - ne * ne
    return math.sqrt((nn + ee) / determinant) if determinant >= _FLAT else None


def _sums(directions: Sequence[Vector], clocks: Sequence[int] | None) -> list[list[float]]:
    """Return for each clock the count and the sums of n, e, u and of their products."""
    if clocks is None:
        return [_sum(directions)] if directions else []
    members: dict[int, list[Vector]] = {}
    for direction, clock in zip(directions, clocks, strict=True):
        members.setdefault(clock, []).append(direction)
    return [_sum(group) for group in members.values()]


def _sum(directions: Sequence[Vector]) -> list[float]:
    n1 = e1 = u1 = nn = ne = nu = ee = eu = uu = 0.0
    for n, e, u in directions:
        n1 += n
        e1 += e
        u1 += u
        nn += n * n
        ne += n * e
        nu += n * u
        ee += e * e
        eu += e * u
        uu += u * u
    return [float(len(directions)), n1, e1, u1, nn, ne, nu, ee, eu, uu]
