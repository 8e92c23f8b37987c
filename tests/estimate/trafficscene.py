"""One of the crew's aircraft and others in the air, told of by frames that pymavlink packs, into a whole engine.

Places are laid out with geographiclib, an authority of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from geographiclib.geodesic import Geodesic

from tests.aircraft.feeder import HOME, QUADROTOR, Sender
from tests.conftest import ROOT
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.alerts.events import AlertChange, Happening
from watchkeeper.cli.inputs import load_rules
from watchkeeper.engine import Engine

TRAFFIC = load_rules([ROOT / "rules" / "traffic.yaml", ROOT / "rules" / "link.yaml"], only=True)
T0 = 1_777_000_000.0
SEA_M = 300.0
ALL = 1 | 2 | 4 | 8 | 128
"""ADSB_FLAGS: coordinates, altitude, heading, velocity, vertical velocity."""
RULES = {"traffic-near", "traffic-converges", "traffic-avoided", "separation-lost", "separation-shrinks"}


def place(north_m: float, east_m: float, around: tuple[float, float] = HOME) -> tuple[float, float]:
    """Return latitude and longitude in degrees of a place around another."""
    azimuth = math.degrees(math.atan2(east_m, north_m))
    there = Geodesic.WGS84.Direct(*around, azimuth, math.hypot(north_m, east_m))
    return there["lat2"], there["lon2"]


@dataclass(frozen=True)
class State:
    """Metres north and east of the origin, metres above it, and the velocity."""

    north_m: float = 0.0
    east_m: float = 0.0
    height_m: float = 50.0
    north_m_s: float = 0.0
    east_m_s: float = 0.0
    climb_m_s: float = 0.0


def course(s: State, around: tuple[float, float]) -> int:
    """Return the course over ground there, centidegrees: near the poles it is another than here."""
    if not s.north_m_s and not s.east_m_s:
        return 0
    here, ahead = place(s.north_m, s.east_m, around), place(s.north_m + s.north_m_s, s.east_m + s.east_m_s, around)
    azimuth_deg: float = Geodesic.WGS84.Inverse(*here, *ahead)["azi1"]
    return round(azimuth_deg % 360 * 100) % 36_000


Path = Callable[[float], State]


def straight(north_m: float, east_m: float, height_m: float, north_m_s: float, east_m_s: float,
             climb_m_s: float = 0.0) -> Path:  # fmt: skip
    """Return a path at constant velocity, which is at the place given at 0 s."""
    return lambda t: State(
        north_m + north_m_s * t, east_m + east_m_s * t, height_m + climb_m_s * t, north_m_s, east_m_s, climb_m_s
    )


def standard_hpa(height_m: float) -> float:
    """Return the pressure of the standard atmosphere (ISO 2533: 288.15 K, 6.5 K/km, exponent 5.25588)."""
    return float(1013.25 * (1 - 0.0065 * height_m / 288.15) ** 5.25588)


@dataclass
class Own:
    """An aircraft of the crew's."""

    path: Path
    system: int = 7
    ellipsoid: bool = True
    pressure: bool = True
    around: tuple[float, float] = HOME
    boot_s: float = 100.0
    sender: Sender = field(init=False)

    def __post_init__(self) -> None:
        self.sender = Sender(self.system)

    def frames(self, t: float) -> bytes:
        s = self.path(t)
        latitude, longitude = place(s.north_m, s.east_m, self.around)
        pack = self.sender.pack
        at = {"lat": round(latitude * 1e7), "lon": round(longitude * 1e7)}
        sea_mm = round((SEA_M + s.height_m) * 1e3)
        raw = pack("HEARTBEAT", type=QUADROTOR, autopilot=0, base_mode=128, mavlink_version=3)
        raw += pack("EXTENDED_SYS_STATE", landed_state=2 if s.height_m > 1 else 1)
        raw += pack(
            "GLOBAL_POSITION_INT", time_boot_ms=round((self.boot_s + t) * 1e3), **at, alt=sea_mm,
            relative_alt=round(s.height_m * 1e3), vx=round(s.north_m_s * 100), vy=round(s.east_m_s * 100),
            vz=-round(s.climb_m_s * 100), hdg=65535,
        )  # fmt: skip
        raw += pack("VFR_HUD", alt=SEA_M + s.height_m, climb=s.climb_m_s, groundspeed=0)
        raw += pack(
            "GPS_RAW_INT", fix_type=3, satellites_visible=20, eph=80, alt=sea_mm, **at,
            alt_ellipsoid=sea_mm + 40_000 if self.ellipsoid else 0,
        )  # fmt: skip
        if self.pressure:
            raw += pack("SCALED_PRESSURE", press_abs=standard_hpa(SEA_M + s.height_m), temperature=2500)
        return raw


@dataclass
class Vehicle:
    """One that an ADS-B receiver tells of, once a second. Height above the origin by the standard atmosphere."""

    path: Path
    address: int = 0xABC123
    since_s: int = 0
    begin_s: float = 0.0
    end_s: float = math.inf
    around: tuple[float, float] = HOME
    changes: dict[str, Any] = field(default_factory=dict)

    def frames(self, t: float, sender: Sender) -> bytes:
        if not self.begin_s <= t < self.end_s:
            return b""
        s = self.path(t - self.since_s)
        latitude, longitude = place(s.north_m, s.east_m, self.around)
        fields: dict[str, Any] = {
            "ICAO_address": self.address, "lat": round(latitude * 1e7), "lon": round(longitude * 1e7),
            "altitude": round((SEA_M + s.height_m) * 1e3), "altitude_type": 0,
            "heading": course(s, self.around),
            "hor_velocity": round(math.hypot(s.north_m_s, s.east_m_s) * 100),
            "ver_velocity": round(s.climb_m_s * 100),
            "callsign": b"", "emitter_type": 1, "tslc": self.since_s, "flags": ALL, "squawk": 1200,
        }  # fmt: skip
        return sender.pack("ADSB_VEHICLE", **(fields | self.changes))


@dataclass
class Drone:
    """One that a receiver for remote identification tells of, once a second."""

    path: Path
    mac: bytes = b"\x02\x11\x22\x33\x44\x55"
    around: tuple[float, float] = HOME
    changes: dict[str, Any] = field(default_factory=dict)

    def frames(self, t: float, sender: Sender) -> bytes:
        s = self.path(t)
        latitude, longitude = place(s.north_m, s.east_m, self.around)
        fields: dict[str, Any] = {
            "id_or_mac": list(self.mac.ljust(20, b"\0")), "status": 2,
            "direction": course(s, self.around),
            "speed_horizontal": round(math.hypot(s.north_m_s, s.east_m_s) * 100),
            "speed_vertical": round(s.climb_m_s * 100),
            "latitude": round(latitude * 1e7), "longitude": round(longitude * 1e7), "altitude_barometric": -1000.0,
            "altitude_geodetic": SEA_M + 40.0 + s.height_m, "height": -1000.0, "horizontal_accuracy": 10,
            "vertical_accuracy": 4, "speed_accuracy": 3, "timestamp": t % 3600,
        }  # fmt: skip
        return sender.pack("OPEN_DRONE_ID_LOCATION", **(fields | self.changes))


class Scene:
    """An engine with the shipped rules, and what is said."""

    def __init__(self, *owns: Own, others: Iterable[Vehicle | Drone] = (), sortie: SortieFile | None = None,
                 beats: bool = True) -> None:  # fmt: skip
        self.engine = Engine(TRAFFIC, sortie=sortie)
        self.owns = list(owns)
        self.others = list(others)
        self.receiver = Sender(99, 156)
        self.beats = beats
        self.listening = True
        self.told: list[tuple[float, AlertChange]] = []

    def frames(self, t: float) -> bytes:
        """Return what the receiver sends in a second."""
        raw = b""
        if self.beats:
            raw += self.receiver.pack("HEARTBEAT", type=27, autopilot=8, mavlink_version=3)
        return raw + b"".join(other.frames(t, self.receiver) for other in self.others)

    def run(self, begin_s: float, end_s: float) -> Scene:
        """Let time pass: the aircraft send twice a second, the receiver once."""
        for half in range(round(begin_s * 2), round(end_s * 2)):
            t = half / 2
            for own in self.owns:
                self._take(self.engine.receive("udp://a", own.frames(t), T0 + t), t)
            if half % 2 == 1 and self.listening:
                self._take(self.engine.receive("udp://b", self.frames(t), T0 + t), t)
        return self

    def _take(self, happened: list[Happening], t: float) -> None:
        self.told += [(t, one) for one in happened if isinstance(one, AlertChange)]

    def calls(self) -> list[tuple[float, str, str, str]]:
        """Return when, rule, change and callout of what the traffic rules raised."""
        return [
            (t, one.rule, str(one.change), one.callout or "")
            for t, one in self.told
            if one.rule in RULES and str(one.change) in {"raised", "cleared"}
        ]

    def raised(self) -> list[tuple[str, float]]:
        """Return what was raised, and when."""
        return [(rule, t) for t, rule, change, _ in self.calls() if change == "raised"]

    def read(self, name: str, system: int = 7) -> Any:
        return self.engine.readings(system)[name]
