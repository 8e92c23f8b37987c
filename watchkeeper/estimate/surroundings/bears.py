"""What the files say: the limits of the sortie, what the aircraft bears, and the downwash of its own rotors.

Momentum theory: a hovering rotor's induced velocity is vh = sqrt(T / (2 rho A)), T its thrust, A the area of its
disc (Leishman, Principles of Helicopter Aerodynamics, ch. 2: from memory). Sinking into its own wake at half of it
and faster, slow ahead, a rotor gets into the vortex-ring state.
"""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import Stream
from watchkeeper.estimate.air.airdrag import density_kg_m3
from watchkeeper.estimate.surroundings.falling import G_M_S2

_STEP_M: Final = 100.0
"""Of altitude: by 1 % of density, half of that in the velocity."""


def downwash_m_s(mass_kg: float, rotors: int, diameter_m: float, density: float) -> float:
    """Return vh: a mass hovering on rotors side by side, in air of a density in kg/m3."""
    discs_m2 = rotors * math.pi / 4.0 * diameter_m**2
    return math.sqrt(mass_kg * G_M_S2 / (2.0 * density * discs_m2))


class Bears:
    """`sortie.…`, `limit.…` and `rotor.downwash`, as far as the files tell.

    What the sortie does not have is not judged; what it has and nobody can judge now is blind. Hence `sortie.…`.
    """

    indexes = tuple(
        INDEX[name]
        for name in (
            "sortie.ceiling", "sortie.sight", "sortie.boundary", "sortie.keep_out", "sortie.people",
            "sortie.obstacles", "limit.wind", "limit.gust", "limit.descent", "rotor.downwash",
        )
    )  # fmt: skip

    def __init__(self, file: AircraftFile | None, sortie: SortieFile | None, motion: Motion) -> None:
        self._file = file if file is not None else AircraftFile()
        self._motion = motion
        self._has = _has(sortie if sortie is not None else SortieFile())
        self._mass_kg = _mass_kg(self._file, sortie)
        self._at_m: float | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | bool | None, ...] | None:  # noqa: ARG002 - as all parts are asked
        """Return the answers for `indexes`; None while it flies about as high above the sea as before."""
        altitude_m = self._motion.altitude_m or 0.0
        if self._at_m is not None and abs(altitude_m - self._at_m) < _STEP_M:
            return None
        self._at_m = altitude_m
        limits, rotors = self._file.limits, self._file.rotors
        wash_m_s = None
        if self._mass_kg is not None and rotors.count is not None and rotors.diameter_m is not None:
            wash_m_s = downwash_m_s(self._mass_kg, rotors.count, rotors.diameter_m, density_kg_m3(altitude_m))
        return *self._has, limits.wind_m_s, limits.gust_m_s, limits.descent_m_s, wash_m_s


def _has(sortie: SortieFile) -> tuple[bool, ...]:
    kinds = {area.kind for area in sortie.areas}
    return (
        sortie.ceiling_m is not None,
        sortie.sight_m is not None,
        "boundary" in kinds,
        "keep_out" in kinds,
        "people" in kinds,
        bool(sortie.obstacles),
    )


def _mass_kg(file: AircraftFile, sortie: SortieFile | None) -> float | None:
    """Return what it weighs at take-off: empty with the load; without an empty mass, at most."""
    empty_kg, most_kg = file.mass.empty_kg, file.mass.maximum_kg
    if empty_kg is None:
        return most_kg
    loaded_kg = empty_kg + (sortie.payload.mass_kg if sortie is not None else 0.0)
    return min(loaded_kg, most_kg) if most_kg is not None else loaded_kg
