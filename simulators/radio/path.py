"""The mean path between station and aircraft: two rays, both antennas, the body's shadow, what stands between.

The mirror of the second ray is level, at the height of the ground where it is mirrored, but not above the ground
under either end. What stands between takes from both rays. The tilt's small change of polarisation is left out.
"""

from __future__ import annotations

import cmath
import math
from typing import Final

from simulators.radio.antenna import DIPOLE_DBI, dipole_shape
from simulators.radio.model import RadioModel
from simulators.radio.propagation import (
    Edge,
    deygout_db,
    edge_number,
    free_space_db,
    ground_permittivity,
    pillar_db,
    reflection,
    roughness_share,
    wavelength_m,
)
from simulators.site.ground import Ground

_NEAREST_M: Final = 1.0
_LOWEST_M: Final = 0.05
_LEAST_FIELD: Final = 1e-15
_CLEAR: Final = 0.3
"""Of sqrt(wavelength x length): 0.6 of the first Fresnel zone amid the path."""


class Path:
    """Gain of the whole path in dB, antennas and losses included; the same both ways."""

    __slots__ = ("_constant_db", "_ground", "_model", "_permittivity", "blocked_db", "station_m", "wave_m")

    def __init__(self, model: RadioModel, ground: Ground) -> None:
        self._model = model
        self._ground = ground
        self._permittivity = ground_permittivity(model.frequency_mhz)
        ends_dbi = DIPOLE_DBI + (DIPOLE_DBI if model.panel is None else 0.0)
        losses_db = model.aircraft_loss_db + model.station_loss_db
        self._constant_db = ends_dbi - losses_db - free_space_db(model.frequency_mhz, 1.0)
        self.wave_m = wavelength_m(model.frequency_mhz)
        self.station_m = ground.height_m(*model.station_at) + model.station_antenna_m
        self.blocked_db = 0.0

    def gain_db(
        self, north: float, east: float, height: float, heading: float, tilt_north: float, tilt_east: float
    ) -> float:
        """Return the gain for an aircraft whose antenna is there.

        m, rad; the tilts are the parts of the unit vector along the rotors' axis. Keeps the loss by what stands
        between in `blocked_db`.
        """
        model, station_m = self._model, self.station_m
        north -= model.station_at[0]
        east -= model.station_at[1]
        flat2 = north * north + east * east
        rise = height - station_m
        direct_m = max(math.sqrt(flat2 + rise * rise), _NEAREST_M)
        flat = math.sqrt(flat2)
        mirror_m = self._mirror_m(north, east, flat, height) if self._ground else 0.0
        low, high = station_m - mirror_m, max(height - mirror_m, _LOWEST_M)
        mirrored_m = max(math.sqrt(flat2 + (low + high) ** 2), _NEAREST_M)
        sine = min((low + high) / mirrored_m, 1.0)

        # Aircraft: cosines of the rays to the dipole's axis, which leans with the aircraft.
        upright = math.sqrt(max(0.0, 1.0 - tilt_north * tilt_north - tilt_east * tilt_east))
        lean = -(north * tilt_north + east * tilt_east)
        seen = _cosine((lean - rise * upright) / direct_m)
        direct = dipole_shape(seen)
        mirrored = dipole_shape(_cosine((lean - (low + high) * upright) / mirrored_m))
        azimuth = math.atan2(east, north)  # of the aircraft from the station; back is the other way
        loss_db = model.shadow.loss_db(azimuth + math.pi - heading, math.asin(seen))

        # Station.
        up = _cosine(rise / direct_m)
        if model.panel is None:
            direct *= dipole_shape(up)
            mirrored *= dipole_shape(sine)
        else:
            direct *= 10.0 ** (0.05 * model.panel.dbi(azimuth, math.asin(up)))
            mirrored *= 10.0 ** (0.05 * model.panel.dbi(azimuth, -math.asin(sine)))

        echo = reflection(sine, self._permittivity) * roughness_share(model.roughness_m, sine, self.wave_m)
        longer_m = 4.0 * low * high / (direct_m + mirrored_m)
        turned = cmath.rect(mirrored / mirrored_m, -math.tau * longer_m / self.wave_m)
        field = max(abs(direct / direct_m + echo * turned), _LEAST_FIELD)
        self.blocked_db = self._blocked(north, east, height, flat) if self._ground else 0.0
        return self._constant_db + 20.0 * math.log10(field) - loss_db - self.blocked_db

    def _mirror_m(self, north: float, east: float, flat: float, height: float) -> float:
        """Return the height of the ground where the second ray is mirrored."""
        ground, model = self._ground, self._model
        station_n, station_e = model.station_at
        under = ground.height_m(station_n + north, station_e + east)
        share = self.station_m / max(self.station_m + height, self.station_m) if flat else 0.0
        there = ground.height_m(station_n + share * north, station_e + share * east)
        return min(there, under, self.station_m - model.station_antenna_m)

    def _blocked(self, north: float, east: float, height: float, flat: float) -> float:
        """Return the loss over crests by Deygout, and by the obstacle that takes most."""
        at, wave_m, station_m = self._model.station_at, self.wave_m, self.station_m
        there = (at[0] + north, at[1] + east)
        crests = self._ground.crests(at, station_m, there, height, _CLEAR * math.sqrt(wave_m * flat))
        if not crests:
            return 0.0
        slope = (height - station_m) / flat
        edges: list[Edge] = []
        pillar = 0.0
        for along, top, beside, radius in crests:
            line = station_m + slope * along
            if radius == 0.0:
                edges.append((along, top - line, -line))
                continue
            scale = edge_number(1.0, wave_m, along, flat - along)
            near, far = (radius - beside) * scale, (radius + beside) * scale
            bare = pillar_db(-line * scale, near, far)
            pillar = max(pillar, pillar_db((top - line) * scale, near, far) - bare)
        return deygout_db(edges, wave_m, flat) + pillar


def _cosine(value: float) -> float:
    return min(1.0, max(-1.0, value))
