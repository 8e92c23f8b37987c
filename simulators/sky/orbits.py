"""Where the navigation satellites are: circular orbits in their real planes, seen from the turning Earth.

Two slow effects of the Earth's flattening (J2) are kept, else ground tracks would not repeat as published: the
nodes go back, and the argument of latitude runs a little faster or slower than by Kepler's third law. For a
circular orbit of radius a and inclination i, with k = 3/2 J2 (R / a)^2 and n = sqrt(GM / a^3):

    node rate -n k cos i        argument of latitude rate n (1 + k (3 - 4 sin^2 i))

(Kaula, Theory of Satellite Geodesy, first order secular terms; from memory.) Left out: eccentricity (below 0.02),
the pull of Moon and Sun, station keeping, spares, and geostationary and inclined geosynchronous satellites.

The numbers of the constellations are those of their owners' documents, written down from memory:
GPS SPS Performance Standard 2020, table 3.2-1 (the 24 baseline slots, three of them expanded to two satellites
each) and IS-GPS-200; GLONASS ICD L1 edition 5.1; Galileo OS Service Definition Document, annex C, and OS SIS ICD;
BeiDou BDS-SIS-ICD-B1I 3.0 and the BDS Open Service Performance Standard 3.0. Where a document gives no place at a
date (GLONASS, BeiDou), the first node and argument are our own choice: the shape is real, its turn is not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

Vector = tuple[float, float, float]

GM_M3_S2: Final = 3.986004418e14
"""Earth's gravitation, WGS 84."""
EQUATOR_RADIUS_M: Final = 6378137.0
J2: Final = 1.08263e-3
EARTH_RATE_RAD_S: Final = 7.2921158553e-5
"""Turn against the mean equinox, as `earth_angle_rad` has it: the mean sidereal day is 86164.0905 s."""

_J2000_UNIX_S: Final = 946728000.0
_JULY_1993_UNIX_S: Final = 741484800.0
_NOVEMBER_2016_UNIX_S: Final = 1479686400.0

Plane = tuple[float, tuple[float, ...]]
"""Right ascension of the ascending node, and the argument of latitude of each satellite, degrees at the epoch."""


@dataclass(frozen=True, slots=True)
class Constellation:
    """One system of satellites. `received_dbw` is the least power its document promises on the ground."""

    name: str
    radius_m: float
    inclination_deg: float
    received_dbw: float
    planes: tuple[Plane, ...]
    epoch_unix_s: float = _J2000_UNIX_S

    @property
    def satellites(self) -> int:
        """How many there are."""
        return sum(len(arguments) for _, arguments in self.planes)

    @property
    def argument_rate_rad_s(self) -> float:
        """How fast a satellite runs round its plane, from node to node."""
        sine = math.sin(math.radians(self.inclination_deg))
        return _mean_motion_rad_s(self.radius_m) * (1.0 + _flattening(self.radius_m) * (3.0 - 4.0 * sine * sine))

    @property
    def node_rate_rad_s(self) -> float:
        """How fast the planes turn about the Earth's axis: westward, so below zero."""
        cosine = math.cos(math.radians(self.inclination_deg))
        return -_mean_motion_rad_s(self.radius_m) * _flattening(self.radius_m) * cosine


def walker(total: int, planes: int, phasing: int, node_deg: float, argument_deg: float) -> tuple[Plane, ...]:
    """Return the planes of a Walker delta pattern total/planes/phasing.

    Nodes are spread evenly over 360 degrees and satellites evenly over each plane; from one plane to the next east
    the arguments advance by phasing x 360 / total (Walker 1984, Satellite constellations; from memory). The
    first satellite stands at `node_deg`, `argument_deg`. Raises ValueError if the planes would not be alike.
    """
    if planes < 1 or total % planes or not 0 <= phasing < planes:
        raise ValueError(f"walker {total}/{planes}/{phasing}: no such pattern")
    each = total // planes
    return tuple(
        (
            (node_deg + 360.0 * plane / planes) % 360.0,
            tuple(
                (argument_deg + 360.0 * phasing * plane / total + 360.0 * slot / each) % 360.0
                for slot in range(each)
            ),
        )
        for plane in range(planes)
    )


GPS: Final = Constellation(
    "GPS",
    radius_m=26_559_700.0,
    inclination_deg=55.0,
    received_dbw=-158.5,
    planes=(
        (272.847, (268.126, 161.786, 11.676, 41.806)),
        (332.847, (94.916, 66.356, 173.336, 309.976, 204.376)),
        (32.847, (111.876, 11.796, 339.666, 241.556)),
        (92.847, (135.226, 282.676, 257.976, 35.156, 167.356)),
        (152.847, (197.046, 302.596, 66.066, 333.686)),
        (212.847, (238.886, 0.456, 334.016, 105.206, 135.346)),
    ),
    epoch_unix_s=_JULY_1993_UNIX_S,
)
GLONASS: Final = Constellation(
    "GLONASS",
    radius_m=25_508_000.0,
    inclination_deg=64.8,
    received_dbw=-161.0,
    planes=walker(24, 3, 1, node_deg=20.0, argument_deg=0.0),
)
GALILEO: Final = Constellation(
    "Galileo",
    radius_m=29_599_801.0,
    inclination_deg=56.0,
    received_dbw=-157.25,
    planes=walker(24, 3, 1, node_deg=317.632, argument_deg=225.153),
    epoch_unix_s=_NOVEMBER_2016_UNIX_S,
)
BEIDOU: Final = Constellation(
    "BeiDou",
    radius_m=27_906_100.0,
    inclination_deg=55.0,
    received_dbw=-163.0,
    planes=walker(24, 3, 1, node_deg=80.0, argument_deg=10.0),
)
EVERY: Final = (GPS, GLONASS, GALILEO, BEIDOU)


def period_s(radius_m: float) -> float:
    """Return the period of a circular orbit by Kepler's third law."""
    return math.tau / _mean_motion_rad_s(radius_m)


def earth_angle_rad(unix_s: float) -> float:
    """Return Greenwich mean sidereal time as an angle, 0 to tau.

    GMST = 280.46061837 + 360.98564736629 d degrees, d days from J2000 in UT1 (Meeus, Astronomical Algorithms,
    12.4, without its last terms). UTC is taken for UT1, which it follows within 0.9 s or 0.004 degrees.
    """
    days = (unix_s - _J2000_UNIX_S) / 86400.0
    # whole turns are taken out before they cost digits
    return math.radians((280.46061837 + 360.0 * (days % 1.0) + 0.98564736629 * days) % 360.0)


class Orbits:
    """The satellites of several constellations together, in the order of constellation, plane and slot."""

    __slots__ = ("_planes", "constellations", "owners")

    def __init__(self, constellations: Sequence[Constellation] = EVERY) -> None:
        self.constellations = tuple(constellations)
        self.owners = tuple(
            index for index, each in enumerate(self.constellations) for _ in range(each.satellites)
        )
        """For each satellite the index of its constellation."""
        self._planes = [
            (
                each.epoch_unix_s,
                each.radius_m,
                math.cos(math.radians(each.inclination_deg)),
                math.sin(math.radians(each.inclination_deg)),
                math.radians(node_deg),
                each.node_rate_rad_s,
                each.argument_rate_rad_s,
                [(math.cos(math.radians(u)), math.sin(math.radians(u))) for u in arguments],
            )
            for each in self.constellations
            for node_deg, arguments in each.planes
        ]

    def positions(self, unix_s: float) -> list[Vector]:
        """Return (x, y, z) of every satellite in m: Earth-centred, Earth-fixed; x through Greenwich, z north."""
        turned = earth_angle_rad(unix_s)
        found: list[Vector] = []
        for epoch_s, radius_m, cos_i, sin_i, node, node_rate, rate, slots in self._planes:
            elapsed_s = unix_s - epoch_s
            longitude = node + node_rate * elapsed_s - turned
            gone = rate * elapsed_s
            cosine, sine = radius_m * math.cos(gone), radius_m * math.sin(gone)
            east, north = math.cos(longitude), math.sin(longitude)
            # p and q are where a satellite stands now that was at argument 0 and 90 degrees; all else is between
            px, py, pz = cosine * east - sine * cos_i * north, cosine * north + sine * cos_i * east, sine * sin_i
            qx, qy, qz = (
                -sine * east - cosine * cos_i * north,
                cosine * cos_i * east - sine * north,
                cosine * sin_i,
            )
            found += [(px * c + qx * s, py * c + qy * s, pz * c + qz * s) for c, s in slots]
        return found


def _mean_motion_rad_s(radius_m: float) -> float:
    return math.sqrt(GM_M3_S2 / radius_m**3)


def _flattening(radius_m: float) -> float:
    return 1.5 * J2 * (EQUATOR_RADIUS_M / radius_m) ** 2
