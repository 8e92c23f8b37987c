"""Aircraft told by messages, for pictures of what no drill has: no files, no home, five at a time."""

from __future__ import annotations

import math

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.cli.inputs import load_rules
from watchkeeper.engine import Engine
from watchkeeper.link.encode import Encoder
from watchkeeper.picture.live import Painter
from watchkeeper.picture.models import AircraftPicture, StationPicture
from watchkeeper.rules.load import RuleSet

T0_US = 1_777_000_000_000_000
HOME = (10.0, 20.0)
"""An invented place in the middle of no country of ours."""
_RULES: list[RuleSet] = []


def rules() -> RuleSet:
    """Return the shipped rules, loaded once."""
    if not _RULES:
        _RULES.append(load_rules([]))
    return _RULES[0]


class Craft:
    """Sends the messages of one aircraft four times a second; values may be changed at any time."""

    def __init__(self, system: int = 7, *, home: bool = True) -> None:
        self.encode = Encoder(system, 1).encode
        self.system = system
        self.home: tuple[float, float] | None = HOME if home else None
        self.place: tuple[float, float] | None = HOME
        self.armed, self.landed, self.fix, self.used, self.hdop = True, 2, 3, 20, 80
        self.height_m = 30.0
        self.velocity = (0.0, 0.0)
        self.volt, self.amp, self.left_pct = 48.0, 90.0, 80
        self.wind: tuple[float, float] | None = None
        self.silent = False

    def frames(self, second: float) -> bytes:
        """Return what it sends at a time."""
        if self.silent:
            return b""
        encode = self.encode
        sent = [
            encode("HEARTBEAT", type=13, autopilot=0, base_mode=128 if self.armed else 0, mavlink_version=3),
            encode("CURRENT_MODE", standard_mode=1),
            encode("EXTENDED_SYS_STATE", landed_state=self.landed),
            encode("GPS_RAW_INT", fix_type=self.fix, satellites_visible=self.used, eph=self.hdop, epv=100),
            encode(
                "BATTERY_STATUS",
                id=0,
                voltages=[round(self.volt * 1000), *[65535] * 9],
                voltages_ext=[0] * 4,
                current_battery=round(self.amp * 100),
                current_consumed=-1,
                energy_consumed=-1,
                battery_remaining=self.left_pct,
                temperature=32767,
            ),
        ]
        if self.place is not None:
            sent.append(
                encode(
                    "GLOBAL_POSITION_INT",
                    time_boot_ms=round((100 + second) * 1000),
                    lat=round(self.place[0] * 1e7),
                    lon=round(self.place[1] * 1e7),
                    relative_alt=round(self.height_m * 1000),
                    vx=round(self.velocity[0] * 100),
                    vy=round(self.velocity[1] * 100),
                )
            )
        if self.home is not None:
            latitude, longitude = (round(degrees * 1e7) for degrees in self.home)
            sent.append(encode("HOME_POSITION", latitude=latitude, longitude=longitude))
        if self.wind is not None:
            sent.append(encode("WIND_COV", wind_x=self.wind[0], wind_y=self.wind[1]))
        return b"".join(sent)

    def at(self, north_m: float, east_m: float) -> None:
        """Put it somewhere: on a sphere, which is good enough to fly about."""
        self.place = (
            HOME[0] + math.degrees(north_m / 6.378e6),
            HOME[1] + math.degrees(east_m / 6.378e6) / math.cos(math.radians(HOME[0])),
        )


class Field:
    """An engine, its painter, and the craft in the air."""

    def __init__(
        self,
        *craft: Craft,
        files: tuple[AircraftFile, ...] = (),
        sortie: SortieFile | None = None,
        rule_set: RuleSet | None = None,
        language: Language = ENGLISH,
        begin_us: int = T0_US,
    ) -> None:
        self.engine = Engine(rule_set or rules(), files, sortie, language=language)
        self.painter = Painter(self.engine, station="meadow", exercise=False, sortie=sortie)
        self.craft = list(craft)
        self.second = 0.0
        self._begin_us = begin_us

    @property
    def now_us(self) -> int:
        return self._begin_us + round(self.second * 1e6)

    def fly(self, seconds: float) -> StationPicture:
        """Let time pass and return the picture."""
        for _ in range(round(seconds * 4)):
            for one in self.craft:
                data = one.frames(self.second)
                if data:
                    self.painter.take(self.engine.receive("udp://a", data, self.now_us / 1e6))
            self.second += 0.25
            self.painter.take(self.engine.tick(self.now_us / 1e6))
            self.painter.sample(self.now_us)
        return self.painter.picture(self.now_us)

    def one(self, seconds: float) -> AircraftPicture:
        """Let time pass and return the only aircraft."""
        (found,) = self.fly(seconds).aircraft
        return found
