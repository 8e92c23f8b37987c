"""Feeds a fleet with messages packed by pymavlink, which is the outside authority for what is on the wire."""

from __future__ import annotations

from typing import Any

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.framing import Frame, Framer

S = 1_000_000
QUADROTOR = dialect.MAV_TYPE_QUADROTOR
ARDUPILOT = dialect.MAV_AUTOPILOT_ARDUPILOTMEGA
PX4 = dialect.MAV_AUTOPILOT_PX4
GENERIC = dialect.MAV_AUTOPILOT_GENERIC
HOME = (10.0, 20.0)  # an invented place in no country of ours


class Sender:
    """One component that packs messages, with its own sequence numbers."""

    def __init__(self, system: int = 7, component: int = 1, *, version: int = 2) -> None:
        self.system = system
        self.mav = dialect.MAVLink(None, srcSystem=system, srcComponent=component)
        self.version = version

    def pack(self, name: str, **fields: Any) -> bytes:
        """Return one frame; fields left out are zero."""
        kind = getattr(dialect, f"MAVLink_{name.lower()}_message")
        whole: dict[str, Any] = {}
        for field, c_type, length in zip(kind.fieldnames, kind.fieldtypes, _lengths(kind), strict=True):
            zero: Any = b"" if c_type == "char" else [0] * length if length else 0
            value = fields.pop(field, zero)
            whole[field] = value.encode() if isinstance(value, str) else value
        assert not fields, f"{name} has no {fields}"
        raw = kind(**whole).pack(self.mav, force_mavlink1=self.version == 1)
        self.mav.seq = (self.mav.seq + 1) % 256
        return bytes(raw)


def _lengths(kind: Any) -> list[int]:
    """Return the array lengths in the order of the definition."""
    by_name = dict(zip(kind.ordered_fieldnames, kind.array_lengths, strict=True))
    return [by_name[name] for name in kind.fieldnames]


class Listener:
    """A fleet with a clock."""

    def __init__(self, fleet: Fleet | None = None) -> None:
        self.fleet = fleet if fleet is not None else Fleet()
        self.now_us = 1_000 * S
        self._framers: dict[str, Framer] = {}

    def frames(self, raw: bytes, source: str = "a") -> list[Frame]:
        return self._framers.setdefault(source, Framer()).feed(raw)

    def hear(self, raw: bytes, source: str = "a") -> list[Aircraft]:
        touched: list[Aircraft] = []
        for frame in self.frames(raw, source):
            touched += self.fleet.receive(source, frame, self.now_us)
        return touched

    def wait(self, seconds: float) -> None:
        self.now_us += round(seconds * S)

    def read(self, name: str, system: int = 7) -> Any:
        return self.fleet.aircraft[system].readings.read(INDEX[name], self.now_us)

    def is_blind(self, name: str) -> bool:
        return self.read(name) is BLIND

    def is_fault(self, name: str) -> bool:
        return self.read(name) is FAULT

    @property
    def aircraft(self) -> Aircraft:
        return self.fleet.aircraft[7]


class Flight(Listener):
    """A listener, and one aircraft that can be moved about."""

    def __init__(self, fleet: Fleet | None = None, *, autopilot: int = ARDUPILOT, system: int = 7) -> None:
        super().__init__(fleet)
        self.sender = Sender(system)
        self.autopilot = autopilot
        self.started_us = self.now_us - 60 * S

    @property
    def boot_ms(self) -> int:
        return (self.now_us - self.started_us) // 1000

    def send(self, name: str, **fields: Any) -> list[Aircraft]:
        return self.hear(self.sender.pack(name, **fields))

    def beat(self, *, armed: bool = False, mode: int = 0, flag: int = 1) -> list[Aircraft]:
        """Send a heartbeat, and another before the first: one alone makes no aircraft."""
        if self.sender.system not in self.fleet.aircraft:
            self.beat_once(armed=armed, mode=mode, flag=flag)
        return self.beat_once(armed=armed, mode=mode, flag=flag)

    def beat_once(self, *, armed: bool = False, mode: int = 0, flag: int = 1) -> list[Aircraft]:
        return self.send(
            "HEARTBEAT",
            type=QUADROTOR,
            autopilot=self.autopilot,
            base_mode=flag | (128 if armed else 0),
            custom_mode=mode,
            system_status=4,
            mavlink_version=3,
        )

    def gps(self, fix: int = 3, used: int = 14, eph: int = 90) -> None:
        self.send("GPS_RAW_INT", fix_type=fix, satellites_visible=used, eph=eph)

    def at(self, latitude_deg: float = HOME[0], longitude_deg: float = HOME[1], height_m: float = 0.0,
           vz: int = 0) -> None:  # fmt: skip
        self.send(
            "GLOBAL_POSITION_INT",
            time_boot_ms=self.boot_ms,
            lat=round(latitude_deg * 1e7),
            lon=round(longitude_deg * 1e7),
            alt=round((100 + height_m) * 1000),
            relative_alt=round(height_m * 1000),
            vx=300,
            vy=-400,
            vz=vz,
            hdg=65535,
        )
