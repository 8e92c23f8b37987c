"""The keys of a flown scenario about its ground, its sky and its radio links.

Places are metres north and east of where the aircraft is switched on, heights above the field.
"""

from __future__ import annotations

import math
from typing import Annotated, Final, Literal

from pydantic import Field, Strict

from simulators.flown.surroundings import Control, SurroundingsModel
from simulators.radio.antenna import Panel
from simulators.radio.model import FadingModel, LinkModel, NetworkModel, RadioModel
from simulators.scenario_file import Number, Part, Time
from simulators.site.ground import Ground, Hill, Obstacle, Ridge
from simulators.sky.orbits import BEIDOU, GALILEO, GLONASS, GPS, Constellation
from simulators.sky.receiver import SkyModel

Metres = Annotated[Number, Field(ge=-20_000, le=20_000)]
Spot = tuple[Metres, Metres]
Height = Annotated[Number, Field(gt=0, le=2000)]
Width = Annotated[Number, Field(gt=0, le=5000)]
Db = Annotated[Number, Field(ge=0, le=60)]
SystemName = Literal["gps", "glonass", "galileo", "beidou"]
_SYSTEMS: Final[dict[str, Constellation]] = {
    "gps": GPS, "glonass": GLONASS, "galileo": GALILEO, "beidou": BEIDOU,
}  # fmt: skip


class HillKeys(Part):
    """A round hill."""

    at: Spot
    height_m: Height
    radius_m: Width


class RidgeKeys(Part):
    """A ridge along a line."""

    points: Annotated[list[Spot], Field(min_length=2, max_length=50)]
    height_m: Height
    half_width_m: Width


class ObstacleKeys(Part):
    """A building, mast or tree."""

    at: Spot
    height_m: Height
    radius_m: Annotated[Number, Field(gt=0, le=500)] = 1.0


class GroundKeys(Part):
    """What rises above the level field."""

    hills: Annotated[list[HillKeys], Field(max_length=50)] = Field(default=[])
    ridges: Annotated[list[RidgeKeys], Field(max_length=20)] = Field(default=[])
    obstacles: Annotated[list[ObstacleKeys], Field(max_length=200)] = Field(default=[])

    def made(self) -> Ground:
        """Return the ground. ValueError for a ridge with a point twice."""
        return Ground(
            tuple(Hill(one.at, one.height_m, one.radius_m) for one in self.hills),
            tuple(Ridge(tuple(one.points), one.height_m, one.half_width_m) for one in self.ridges),
            tuple(Obstacle(one.at, one.height_m, one.radius_m) for one in self.obstacles),
        )


class SkyKeys(Part):
    """Satellites and receiver."""

    systems: Annotated[list[SystemName], Field(min_length=1, max_length=4)] = Field(
        default=["gps", "glonass", "galileo"]
    )
    mask_deg: Annotated[Number, Field(ge=0, lt=80)] = 10.0
    cold_start_s: Time = 0.0

    def made(self) -> SkyModel:
        """Return the receiver."""
        systems = tuple(_SYSTEMS[name] for name in self.systems)
        return SkyModel(systems, self.mask_deg, cold_start_s=self.cold_start_s)


class RadioKeys(Part):
    """A pair of radios that report on themselves. A panel looks towards `panel_deg`; without it a dipole."""

    kind: Literal["radio"]
    frequency_mhz: Annotated[Number, Field(ge=30, le=6000)] = 915.0
    power_dbm: Annotated[Number, Field(ge=-10, le=36)] = 20.0
    air_bits_s: Annotated[Number, Field(ge=2000, le=1e6)] = 64_000.0
    station_at: Spot = (0.0, 0.0)
    station_antenna_m: Annotated[Number, Field(gt=0, le=50)] = 2.0
    panel_deg: Annotated[Number, Field(ge=0, lt=360)] | None = None
    fading_db: Annotated[Number, Field(ge=0, le=12)] = 2.5
    corrects: Annotated[bool, Strict()] = False

    def made(self) -> LinkModel:
        """Return the link."""
        return RadioModel(
            frequency_mhz=self.frequency_mhz,
            aircraft_power_dbm=self.power_dbm,
            station_power_dbm=self.power_dbm,
            air_bits_s=self.air_bits_s,
            bandwidth_hz=2 * self.air_bits_s,
            station_at=self.station_at,
            station_antenna_m=self.station_antenna_m,
            panel=None if self.panel_deg is None else Panel(azimuth_rad=math.radians(self.panel_deg)),
            fading=FadingModel(sigma_db=self.fading_db),
            corrects=self.corrects,
        )


class NetworkKeys(Part):
    """A network that says nothing of itself. Outages come by chance every `between_s` on average."""

    kind: Literal["network"]
    latency_s: Annotated[Number, Field(ge=0, le=10)] = 0.12
    jitter_s: Annotated[Number, Field(ge=0, le=5)] = 0.03
    loss_pct: Annotated[Number, Field(ge=0, le=100)] = 0.2
    between_s: Annotated[Number, Field(gt=0, le=7200)] | None = None
    outage_s: Annotated[Number, Field(gt=0, le=600)] = 4.0

    def made(self) -> LinkModel:
        """Return the link."""
        between_s = math.inf if self.between_s is None else self.between_s
        return NetworkModel(
            latency_s=self.latency_s,
            jitter_s=self.jitter_s,
            loss=self.loss_pct / 100,
            between_s=between_s,
            outage_s=self.outage_s,
        )


LinkKeys = Annotated[RadioKeys | NetworkKeys, Field(discriminator="kind")]


def surroundings(
    ground: GroundKeys | None, sky: SkyKeys | None, links: list[RadioKeys | NetworkKeys], control: Control
) -> SurroundingsModel:
    """Return the surroundings of a flight. ValueError for what cannot stand in a landscape."""
    return SurroundingsModel(
        Ground() if ground is None else ground.made(),
        None if sky is None else sky.made(),
        tuple(link.made() for link in links),
        control,
    )
