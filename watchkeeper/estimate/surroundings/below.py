"""What it would fall on: the footprint of a fall from here and now, against people and keep-out areas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.polygon import Flat
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.air.airdrag import density_kg_m3
from watchkeeper.estimate.air.wind import WindEstimate
from watchkeeper.estimate.packs.pack import number
from watchkeeper.estimate.surroundings.airspace import nearest_m
from watchkeeper.estimate.surroundings.falling import Footprint, footprint, plenty_1_m
from watchkeeper.estimate.surroundings.looking import Looking, Row
from watchkeeper.estimate.surroundings.site import Look, Site, Zone

AROUND_M: Final = 5.0
"""Of each place where it may come down: the size of it, and position error (common practice)."""
CARED_M: Final = 100.0
"""Nearer areas are measured, of others a bound is enough."""
UNTOLD_WIND_M_S: Final = 5.0
"""Standard deviation of a wind that nothing tells: a fresh breeze is not rare."""
_OVER_GROUND: Final = INDEX["position.over_ground"]


class Falling(Looking):
    """`fall.reach`, `fall.to_people`, `fall.to_keep_out`; unknown where the sortie has no such area."""

    indexes = tuple(INDEX[name] for name in ("fall.reach", "fall.to_people", "fall.to_keep_out"))

    def __init__(self, site: Site, aircraft: Aircraft, wind: WindEstimate) -> None:
        super().__init__(site)
        self._aircraft = aircraft
        self._wind = wind

    def _see(self, look: Look, now_us: int) -> Row | None:
        site = self._site
        if not (site.people or site.keep_out) or look.height_m is None:
            return None, None, None
        found = self._footprint(look, look.height_m, now_us)
        return (
            found.reach_m,
            _to_areas_m(site.people, look.place, found),
            _to_areas_m(site.keep_out, look.place, found),
        )

    def now(self, now_us: int) -> Footprint | None:
        """Return where it may come down if the motors stop now; None on the ground, and unseen."""
        look = self._site.look(now_us)
        return None if look is None or look.height_m is None else self._footprint(look, look.height_m, now_us)

    def _footprint(self, look: Look, height_m: float, now_us: int) -> Footprint:
        aircraft = self._aircraft
        told_m = number(aircraft.readings, _OVER_GROUND, now_us)
        altitude_m = aircraft.motion.altitude_m
        density = density_kg_m3(altitude_m if altitude_m is not None else 0.0)
        state = self._wind.state
        blows = (state.north_m_s, state.east_m_s) if state is not None else (0.0, 0.0)
        doubt_m_s = max(state.var_nn, state.var_ee) ** 0.5 if state is not None else UNTOLD_WIND_M_S
        return footprint(
            max(height_m, told_m or 0.0),  # from higher up it goes further
            look.velocity or (0.0, 0.0),
            look.climb_m_s,
            blows,
            doubt_m_s,
            plenty_1_m(aircraft.file, least_kg(aircraft.file), density),
        )


def least_kg(file: AircraftFile | None) -> float | None:
    """Return the least it weighs; None where no file says it."""
    return (file.mass.empty_kg or file.mass.maximum_kg) if file is not None else None


def _to_areas_m(zones: Sequence[Zone], place: Flat, found: Footprint) -> float | None:
    """Return how far from areas it may come down, 0 in one; None without areas."""
    if not zones:
        return None
    spots = [(place[0] + one.north_m, place[1] + one.east_m) for one in found.falls]
    near_m = AROUND_M + found.doubt_m
    within_m = near_m + CARED_M
    first_m = nearest_m(zones, spots[0], spots[1], within_m) - AROUND_M - found.doubt_m / 2.0
    second_m = nearest_m(zones, spots[1], spots[2], within_m) - near_m
    return max(0.0, min(first_m, second_m))
