"""A radio link in flight: where the aircraft is says how much arrives, and that which frames are lost.

`move` at 10 Hz or faster, then send and fetch frames at will. "Down" is from the aircraft to the station, received
there; "up" the other way. Noise at each end is its receiver's, its surroundings', and that of interferers by where
they stand. A second link is a second object with another model, place of station or seed.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Final, NamedTuple

from simulators.radio.antenna import DIPOLE_DBI
from simulators.radio.channel import Channel
from simulators.radio.fading import Fading
from simulators.radio.loss import frame_loss, mended_share
from simulators.radio.model import LinkModel, RadioModel
from simulators.radio.modem import Modem
from simulators.radio.network import Network
from simulators.radio.path import Path
from simulators.radio.propagation import free_space_db
from simulators.radio.report import RadioReport
from simulators.site.ground import Ground

SILENT_DBM: Final = -300.0
"""Stands for no signal at all."""
OVERHEAD_BYTES: Final = 10
"""Preamble, header and check sum of a packet (assumed)."""
_OWN_BYTES: Final = 16
"""What radios tell each other of their own."""
_NOTICED_DB: Final = -5.0
"""Down to this margin a spoiled packet is noticed as one (assumed)."""
_NEAREST_M: Final = 1.0
_LOWEST_M: Final = 0.5


class Ways(NamedTuple):
    """A value each for what is received at the station and at the aircraft."""

    down: float
    up: float


@dataclass(frozen=True, slots=True)
class Interferer:
    """A foreign sender that fills the band: where, how strong with its antenna, how high, and when."""

    at: tuple[float, float]
    power_dbm: float
    from_s: float = 0.0
    to_s: float = math.inf
    height_m: float = 2.0
    """Above the field."""


class Radio:
    """One pair of radios. Nothing arrives before the first `move`."""

    __slots__ = (
        "_dice", "_fading", "_floor", "_path", "_required_db", "aircraft", "aircraft_report", "blocked", "down",
        "down_db", "interferers", "margin_db", "model", "noise_dbm", "now_s", "rssi_dbm", "station",
        "station_report", "up", "up_db",
    )  # fmt: skip

    def __init__(self, model: RadioModel, ground: Ground | None = None, seed: str | int = 1) -> None:
        self.model: Final = model
        self._path = Path(model, Ground() if ground is None else ground)
        self._fading = Fading(model.fading, self._path.wave_m, seed)
        dice = self._dice = random.Random(f"frames {seed}")
        self._required_db = model.required_db
        self._floor = Ways(model.noise_dbm + model.station_noise_db, model.noise_dbm + model.aircraft_noise_db)
        self.now_s = 0.0
        self.rssi_dbm = self.margin_db = Ways(SILENT_DBM, SILENT_DBM)
        self.noise_dbm = self._floor
        self.interferers: list[Interferer] = []
        self.blocked = False
        """Nothing passes: a radio off, a cable out."""
        self.down_db = self.up_db = 0.0
        """More loss one way, for what a scenario does: an antenna come loose takes both."""
        self.station: Final = Modem()
        self.aircraft: Final = Modem()

        def wait() -> float:
            return 2.0 * model.delay_s * dice.random()

        ways = model.bytes_s, model.buffer_bytes
        self.down: Final = Channel(*ways, self._lost_down, wait, model.retries)
        self.up: Final = Channel(*ways, self._lost_up, wait, model.retries)
        self.station_report: Final = RadioReport(self.station, self.up)
        self.aircraft_report: Final = RadioReport(self.aircraft, self.down)

    @property
    def blocked_db(self) -> float:
        """What ground and obstacles take at present."""
        return self._path.blocked_db

    def move(
        self,
        now_s: float,
        north_m: float,
        east_m: float,
        height_m: float,
        heading_rad: float,
        tilt_north: float = 0.0,
        tilt_east: float = 0.0,
    ) -> None:
        """Say where the aircraft is, above the field; tilts are parts of the unit vector along its rotors."""
        self.now_s = now_s
        model, path, fading = self.model, self._path, self._fading
        height_m += model.aircraft_antenna_m
        gain_db = path.gain_db(north_m, east_m, height_m, heading_rad, tilt_north, tilt_east)
        talks = fading.step(now_s, (north_m, east_m, height_m), path.blocked_db)
        noise_down, noise_up = self._floor
        if self.interferers:
            noise_down, noise_up = self._noise_dbm(now_s, north_m, east_m, height_m)
        if self.blocked:
            down = up = SILENT_DBM
        else:
            down = model.aircraft_power_dbm + gain_db + fading.down_db - self.down_db
            up = model.station_power_dbm + gain_db + fading.up_db - self.up_db
        required_db = self._required_db
        self.rssi_dbm = Ways(down, up)
        self.noise_dbm = Ways(noise_down, noise_up)
        self.margin_db = Ways(down - noise_down - required_db, up - noise_up - required_db)
        if talks:
            self.station.listen(noise_down)
            self.aircraft.listen(noise_up)
            if not self._lost_down(_OWN_BYTES):
                self.station.hear(now_s, down, noise_down, self.aircraft)
            if not self._lost_up(_OWN_BYTES):
                self.aircraft.hear(now_s, up, noise_up, self.station)

    def send_down(self, now_s: float, frame: bytes) -> bool:
        """Give a frame to the aircraft's radio. False if it had no room."""
        return self.down.send(now_s, frame)

    def send_up(self, now_s: float, frame: bytes) -> bool:
        """Give a frame to the station's radio. False if it had no room."""
        return self.up.send(now_s, frame)

    def arrived_down(self, now_s: float) -> list[bytes]:
        """Return what has come to the station."""
        return self.down.arrived(now_s)

    def arrived_up(self, now_s: float) -> list[bytes]:
        """Return what has come to the aircraft."""
        return self.up.arrived(now_s)

    def report(self, now_s: float) -> list[bytes]:
        """Return what the station's radio says of itself, once a second."""
        return self.station_report.frames(now_s)

    def up_silent_s(self, now_s: float) -> float:
        """Return for how long the aircraft has heard nothing from the station's radio, s."""
        return now_s - self.aircraft.heard_s

    def _lost_down(self, length: int) -> bool:
        return self._lost(length, self.margin_db[0], self.station)

    def _lost_up(self, length: int) -> bool:
        return self._lost(length, self.margin_db[1], self.aircraft)

    def _lost(self, length: int, margin_db: float, receiver: Modem) -> bool:
        """Draw whether a frame is lost at the present margin, and let the receiver count."""
        length += OVERHEAD_BYTES
        corrects = self.model.corrects
        if self.blocked or self._dice.random() < frame_loss(margin_db, length, corrects=corrects):
            receiver.miss(self.now_s, noticed=margin_db > _NOTICED_DB and not self.blocked)
            return True
        if corrects and self._dice.random() < mended_share(margin_db, length):
            receiver.mend()
        return False

    def _noise_dbm(self, now_s: float, north: float, east: float, height: float) -> Ways:
        """Return the noise at both ends with the interferers that send now."""
        model = self.model
        station = (*model.station_at, self._path.station_m)
        down, up = (10.0 ** (0.1 * level) for level in self._floor)
        for one in self.interferers:
            if one.from_s <= now_s < one.to_s:
                dbi = DIPOLE_DBI - model.station_loss_db
                if model.panel is not None:
                    away = (one.at[0] - station[0], one.at[1] - station[1])
                    dbi += model.panel.dbi(math.atan2(away[1], away[0]), 0.0) - DIPOLE_DBI
                down += 10.0 ** (0.1 * (one.power_dbm + dbi - _over_ground_db(model.frequency_mhz, one, station)))
                dbi = DIPOLE_DBI - model.aircraft_loss_db
                end = (north, east, height)
                up += 10.0 ** (0.1 * (one.power_dbm + dbi - _over_ground_db(model.frequency_mhz, one, end)))
        return Ways(10.0 * math.log10(down), 10.0 * math.log10(up))


def _over_ground_db(frequency_mhz: float, one: Interferer, end: tuple[float, float, float]) -> float:
    """Return the loss from an interferer: free space, or far off that of plane earth, 40 log d - 20 log(h1 h2)."""
    distance = max(math.dist((*one.at, one.height_m), end), _NEAREST_M)
    heights = max(one.height_m, _LOWEST_M) * max(end[2], _LOWEST_M)
    far_db = 40.0 * math.log10(distance) - 20.0 * math.log10(heights)
    return max(free_space_db(frequency_mhz, distance), far_db)


Link = Radio | Network


def open_link(model: LinkModel, ground: Ground | None = None, seed: str | int = 1) -> Link:
    """Return the link of a model."""
    return Radio(model, ground, seed) if isinstance(model, RadioModel) else Network(model, seed)
