"""What a flight meets beside the air: ground, sky, others in the air and radio links; and who hears it.

Moved ten times a second after the aircraft. Without a link everything is heard at once and in whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from simulators.flown.flight import FastFlight
from simulators.flown.overhead import Other, Overhead
from simulators.radio.link import Link, Radio, open_link
from simulators.radio.model import LinkModel
from simulators.site.ground import Ground
from simulators.sky.receiver import Sky, SkyModel

CONTROL_LOST_S: Final = 1.0
"""A receiver calls control lost after this long without the sender (common practice)."""
_FIX_3D: Final = 3
_EMPTY_GROUND: Final = Ground()

Control = Literal["same", "another"]


@dataclass(frozen=True, slots=True)
class SurroundingsModel:
    """Ground, sky and links of a flight; `control` says whether the pilot's control goes over the first link."""

    ground: Ground = _EMPTY_GROUND
    sky: SkyModel | None = None
    links: tuple[LinkModel, ...] = ()
    control: Control = "another"
    receiver: bool = False
    """Somebody at the station listens to others in the air."""
    others: tuple[Other, ...] = ()


class Surroundings:
    """The surroundings of one flight."""

    def __init__(self, model: SurroundingsModel, flight: FastFlight, seed: int | str) -> None:
        setup = flight.setup
        self.model: Final = model
        self.ground: Final = model.ground
        self.links: Final[tuple[Link, ...]] = tuple(
            open_link(one, model.ground, f"{seed} link {i}") for i, one in enumerate(model.links)
        )
        self.overhead: Final = Overhead(flight, model.others, receiver=model.receiver)
        self.sky: Sky | None = None
        if model.sky is not None:
            start_s = setup.start.timestamp()
            self.sky = Sky(model.sky, start_s, setup.latitude_deg, setup.longitude_deg, seed)
        self.control_cut = False
        """A fault of the control link beside what the radio does."""
        self.position_cut = False
        """A fault of the receiver beside what the sky does."""
        self._flight: Final = flight
        self.move()

    def move(self) -> None:
        """Bring everything to where the aircraft now is."""
        flight = self._flight
        craft, sensors, now = flight.craft, flight.pilot.sensors, flight.time_s
        north, east, height = craft.north_m, craft.east_m, craft.height_m
        if self.ground:
            craft.ground_m = self.ground.height_m(north, east)
        for link in self.links:
            link.move(now, north, east, height, craft.heading_rad, craft.tilt_north, craft.tilt_east)
        linked = True
        if self.links and self.model.control == "same":
            linked = self.links[0].up_silent_s(now) < CONTROL_LOST_S
        flight.pilot.control_link = linked and not self.control_cut
        sky = self.sky
        if sky is None:
            sensors.has_fix = not self.position_cut
            return
        skyline = self.ground.skyline(north, east, height) if self.ground else None
        seen = sky.look(now, skyline, craft.tilt_north, craft.tilt_east)
        sensors.satellites, sensors.dilution = seen.used, seen.hdop
        sensors.has_fix = seen.fix >= _FIX_3D and not self.position_cut
        sensors.scatter = sky.error_scale
        sensors.false_m, sensors.false_m_s = sky.offset(now)

    def down(self, frames: Sequence[bytes]) -> list[list[bytes]]:
        """Take what the aircraft sends; return what each link brings to the station, its own reports included."""
        if not self.links:
            return [list(frames)]
        now = self._flight.time_s
        heard: list[list[bytes]] = []
        for link in self.links:
            for frame in frames:
                link.send_down(now, frame)
            heard.append(link.arrived_down(now) + link.report(now))
        return heard

    def up(self, frames: Sequence[bytes]) -> list[bytes]:
        """Take what the station sends; return what reaches the aircraft now, twice if two links bring it."""
        if not self.links:
            return list(frames)
        now = self._flight.time_s
        arrived: list[bytes] = []
        for link in self.links:
            for frame in frames:
                link.send_up(now, frame)
            arrived += link.arrived_up(now)
        return arrived

    @property
    def margin_db(self) -> float | None:
        """What the first radio link has in hand towards the station, or None without one."""
        first = self.links[0] if self.links else None
        return first.margin_db.down if isinstance(first, Radio) else None
