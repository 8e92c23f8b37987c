"""The telemetry radio at a point of the plan: path loss, margin, and how free the way between the antennas is.

Free space by ITU-R P.525, over plane ground beyond the two-ray crossover 40 dB a decade, the first Fresnel zone's
radius and 60 % of it by ITU-R P.530, one knife edge by ITU-R P.526. Plane earth: at 5 km the bulge between is
0.4 m, at 20 km 6 m. A thin mast counts as an edge across the way, which is more than it is. Not in it: antenna
patterns and the aircraft's own shadow, interference, more than one edge.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.polygon import Flat
from watchkeeper.brief.chart import Chart, Spot, chart
from watchkeeper.brief.findings import RadioToday, Remark

FADE_DB: Final = 10.0
"""What should be left for fading, turns of the antennas and the aircraft's shadow (common practice)."""
CLEAR_SHARE: Final = 0.6
"""Of the first Fresnel zone's radius that should be free (ITU-R P.530)."""
GROUND_NEAR_M: Final = 100.0
"""A named spot of ground stands for a rise as wide as this to either side (common practice)."""
PLACED_M: Final = 5.0
"""What is no further beside the way than this may stand in it: positions are no better (common practice)."""
END_M: Final = 1.0
"""What is nearer than this to an antenna is part of it."""
_LEAST_HEIGHT_M: Final = 0.5
"""Of an antenna above ground, for the ground's reflection."""
_LIGHT_M_MHZ: Final = 299.792458
_P525_DB: Final = 32.44778
"""20 log10(4 pi 10^9 / c): the constant of P.525 for MHz and km, which rounds it to 32.4."""
_NETWORK_WORDS: Final = frozenset({"network", "mobile", "cellular", "lte", "4g", "5g", "satellite"})
_BUDGET: Final = (
    "transmit power and both antennas' gains less the receiver's sensitivity, in dB, from the makers' data"
)


class Clear(NamedTuple):
    """How free the way between the antennas is at one place.

    `share` of the first Fresnel zone's radius `radius_m` there; below 0 it is blocked. `needs_m` is the height of
    the aircraft from which on the share asked for is free. `edge` is whether it is an edge that waves bend round
    (level ground is not: the two-ray law has it).
    """

    share: float
    radius_m: float
    over: str
    needs_m: float
    edge: bool


def why_no_radio(sortie: SortieFile) -> Remark | None:
    """Return why nothing can be worked out for the telemetry link; None where it can."""
    radio = sortie.radio
    if _is_network(radio.kind) or (radio.frequency_mhz is None and radio.control == "network"):
        what = "The link goes over a network: how far it reaches depends on its stations, not on home"
        return Remark(
            "advisory", "radio", what, "Try the network along the way, at flight height, before the flight"
        )
    if radio.frequency_mhz is None:
        what = "No radio frequency is named: reach and Fresnel zone of the telemetry link are not worked out"
        return Remark("advisory", "radio", what, "Name radio: {frequency: …, budget: …}")
    return None


def _is_network(kind: str | None) -> bool:
    return kind is not None and not _NETWORK_WORDS.isdisjoint(kind.lower().replace("-", " ").split())


def radio_at(
    sortie: SortieFile,
    home: tuple[float, float],
    point: str,
    distance_m: float,
    bearing_deg: float,
    height_m: float,
    *,
    fade_db: float = FADE_DB,
) -> RadioToday | None:
    """Return the telemetry link with the aircraft at a distance and bearing from home, at a height above it.

    None where nothing can be worked out; `why_no_radio` says why.
    """
    frequency_mhz = sortie.radio.frequency_mhz
    if frequency_mhz is None or why_no_radio(sortie) is not None:
        return None
    wave_m = _LIGHT_M_MHZ / frequency_mhz
    station_m = sortie.radio.station_height_m
    angle = math.radians(bearing_deg)
    path = _Path(wave_m, distance_m, (math.cos(angle), math.sin(angle)), station_m, height_m)
    ways = [path.over_level_ground(), *path.over(chart(sortie, home))]
    least = min(ways, key=lambda one: one.share)
    edges = [one for one in ways if one.edge]
    bend_db = max((knife_edge_db(edge_parameter(one.share)) for one in edges), default=0.0)
    open_db = path_loss_db(frequency_mhz, distance_m, station_m, height_m)
    budget_db = sortie.radio.budget_db
    margin_db = None if budget_db is None else budget_db - open_db - bend_db
    return RadioToday(
        point=point,
        distance_m=distance_m,
        path_loss_db=open_db + bend_db,
        margin_db=margin_db,
        margin_how=_how(budget_db, open_db, bend_db),
        fresnel_m=least.radius_m,
        clear_share=least.share,
        clear_over=least.over,
        remarks=(*_margin(point, margin_db, fade_db), *_clear(point, least), *_control(sortie)),
    )


def free_space_db(frequency_mhz: float, distance_m: float) -> float:
    """Return the loss of free space, dB (ITU-R P.525); nearer than 1 m as at 1 m."""
    return _P525_DB + 20.0 * math.log10(frequency_mhz) + 20.0 * math.log10(max(1.0, distance_m) / 1000.0)


def crossover_m(frequency_mhz: float, station_m: float, height_m: float) -> float:
    """Return from where on the ground takes from the direct ray, m: 4 ht hr / lambda (not the form with 4 pi)."""
    low_m, high_m = (max(_LEAST_HEIGHT_M, height) for height in (station_m, height_m))
    return 4.0 * low_m * high_m * frequency_mhz / _LIGHT_M_MHZ


def path_loss_db(frequency_mhz: float, distance_m: float, station_m: float, height_m: float) -> float:
    """Return the loss over plane ground, dB: of free space, and from the crossover on 40 dB a decade.

    Far out that is 20 log pi = 9.9 dB more than smooth plane ground alone costs: on the safe side.
    """
    slant_m = math.hypot(distance_m, height_m - station_m)
    beyond = distance_m / crossover_m(frequency_mhz, station_m, height_m)
    return free_space_db(frequency_mhz, slant_m) + (20.0 * math.log10(beyond) if beyond > 1.0 else 0.0)


def fresnel_m(wave_m: float, from_one_m: float, from_other_m: float) -> float:
    """Return the radius of the first Fresnel zone between two antennas, m: sqrt(lambda d1 d2 / (d1 + d2))."""
    return math.sqrt(wave_m * from_one_m * from_other_m / (from_one_m + from_other_m))


def edge_parameter(share: float) -> float:
    """Return P.526's v of an edge, from the share of the first Fresnel zone's radius that is free above it."""
    return -math.sqrt(2.0) * share


def knife_edge_db(v: float) -> float:
    """Return the loss over a knife edge, dB: J(v) of ITU-R P.526, 0 where the edge stands well below."""
    if v <= -0.78:
        return 0.0
    return max(0.0, 6.9 + 20.0 * math.log10(math.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1))


class _Path:
    """The straight way from the station's antenna over home to the aircraft's; `toward` is a unit vector."""

    def __init__(self, wave_m: float, distance_m: float, toward: Flat, station_m: float, height_m: float) -> None:
        self._wave_m = wave_m
        self._distance_m = distance_m
        self._toward = toward
        self._station_m = station_m
        self._height_m = height_m

    def over_level_ground(self) -> Clear:
        """Return the least over ground at home's level: where it reflects (heights as the ways to there)."""
        low_m, high_m = (max(_LEAST_HEIGHT_M, height) for height in (self._station_m, self._height_m))
        along_m = self._distance_m * low_m / (low_m + high_m)
        return self._at(max(1e-3, along_m), 0.0, 0.0, "level ground at home's height", edge=False)

    def over(self, today: Chart) -> list[Clear]:
        """Return the least over each obstacle and spot of ground near the way."""
        found = [self._by(one, one.radius_m) for one in today.obstacles]
        found += [self._by(one, GROUND_NEAR_M) for one in today.ground]
        return [one for one in found if one is not None]

    def _by(self, spot: Spot, radius_m: float) -> Clear | None:
        north, east = self._toward
        along_m = spot.north_m * north + spot.east_m * east
        aside_m = abs(spot.east_m * north - spot.north_m * east)
        half_m = math.sqrt(max(0.0, radius_m**2 - aside_m**2)) if spot.radius_m else 0.0
        low, high = END_M, self._distance_m - END_M
        if low >= high or along_m + half_m < low or along_m - half_m > high:
            return None
        gap_m = max(0.0, aside_m - radius_m - PLACED_M)
        edge = spot.height_m > 0.0
        places = {min(high, max(low, at_m)) for at_m in (along_m - half_m, along_m, along_m + half_m)}
        ways = [
            self._at(at_m, gap_m, spot.height_m, f"{spot.name} ({spot.height_m:.0f} m)", edge=edge)
            for at_m in places
        ]
        least = min(ways, key=lambda one: one.share)
        return least if gap_m == 0.0 or least.share < 1.0 else None

    def _at(self, along_m: float, gap_m: float, top_m: float, over: str, *, edge: bool) -> Clear:
        """Return how free the way is of something `gap_m` beside it with its top at a height."""
        rest_m = max(1e-3, self._distance_m - along_m)
        radius_m = fresnel_m(self._wave_m, along_m, rest_m)
        part = along_m / (along_m + rest_m)
        above_m = self._station_m + (self._height_m - self._station_m) * part - top_m
        free_m = above_m if gap_m == 0.0 else math.hypot(gap_m, max(0.0, above_m))
        needs_m = self._station_m + (top_m + CLEAR_SHARE * radius_m - self._station_m) / part
        return Clear(free_m / radius_m, radius_m, over, needs_m, edge)


def _how(budget_db: float | None, open_db: float, bend_db: float) -> str:
    bend = f" and {bend_db:.1f} dB over the edge in the way" if bend_db else ""
    if budget_db is None:
        return f"name radio.budget: {_BUDGET}"
    return f"budget of {budget_db:g} dB less {open_db:.1f} dB of path{bend}"


def _margin(point: str, margin_db: float | None, fade_db: float) -> tuple[Remark, ...]:
    if margin_db is None:
        what = "The telemetry link's margin is not worked out: its budget is not named"
        return (Remark("advisory", "radio", what, f"Name radio.budget: {_BUDGET}"),)
    if margin_db >= fade_db:
        return ()
    what = f"At {point} the telemetry link has a margin of {margin_db:.0f} dB, less than {fade_db:g} dB for fading"
    return (Remark("caution", "radio", what, "Raise the station's antenna, or plan nearer or higher"),)


def _clear(point: str, least: Clear) -> tuple[Remark, ...]:
    if least.share >= CLEAR_SHARE:
        return ()
    if least.share < 0.0:
        what = f"From {point}, {least.over} stands between the antennas"
    else:
        free = f"{100 * least.share:.0f} % of the first Fresnel zone is free"
        what = f"From {point}, {free} over {least.over}; {100 * CLEAR_SHARE:.0f} % is asked for"
    higher = f", or fly there at {math.ceil(least.needs_m)} m or more" if least.needs_m < 1000.0 else ""
    return (Remark("caution", "radio", what, f"Move the station or raise its antenna{higher}"),)


def _control(sortie: SortieFile) -> tuple[Remark, ...]:
    control = sortie.radio.control
    if control not in ("another", "network"):
        return ()
    over = "another radio" if control == "another" else "a network"
    what = f"Control goes over {over}: its reach is not worked out here"
    return (Remark("advisory", "radio", what, "Know what its loss is set to do"),)
