"""An invented flight as a telemetry log, every number of it known: 200 m north at 5 m/s, a wait, and back."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from pathlib import Path

from geographiclib.geodesic import Geodesic

from watchkeeper.link.encode import Encoder

EARTH = Geodesic.WGS84
START_US = 1_800_000_000_000_000  # 2027-01-15 08:00:00 UTC
HOME = (10.5, -40.25)
TAKE_OFF_S, TURN_S, LAND_S, END_S = 20.0, 80.0, 130.0, 150.0
OUT_M, HEIGHT_M, SPEED_M_S, CELLS = 200.0, 30.0, 5.0, 4
CROSSES_S = 100.0
"""From then on a cell has less than 3.5 V, until the landing."""
HOSTILE = "<script>alert(1)</script>\" onload='x'"
AIRCRAFT = """\
aircraft: test quad <b>
system: 7
mass: {empty: 4 kg}
rotors: {count: 4, diameter: 0.38 m}
packs: {cells: 4, capacity: 10 Ah}
"""


def current_a(at_s: float) -> float:
    return (20.0 + 0.05 * (at_s - TAKE_OFF_S)) if TAKE_OFF_S <= at_s < LAND_S else 0.5


def cell_v(at_s: float) -> float:
    if not TAKE_OFF_S <= at_s < LAND_S:
        return 3.9
    return 3.7 - 0.0025 * (at_s - TAKE_OFF_S) - 1e-4 * (at_s >= CROSSES_S)


def north_m(at_s: float) -> float:
    if at_s < 30.0:
        return 0.0
    if at_s < 70.0:
        return (at_s - 30.0) * SPEED_M_S
    return OUT_M if at_s < TURN_S else max(0.0, OUT_M - (at_s - TURN_S) * SPEED_M_S)


def height_m(at_s: float) -> float:
    if at_s < TAKE_OFF_S:
        return 0.0
    if at_s < 120.0:
        return min(HEIGHT_M, (at_s - TAKE_OFF_S) * 3.0)
    return max(0.0, HEIGHT_M - (at_s - 120.0) * 3.0)


def place(at_s: float) -> tuple[float, float]:
    spot = EARTH.Direct(*HOME, 0.0, north_m(at_s))
    return spot["lat2"], spot["lon2"]


def frames(system: int = 7, *, text: str = HOSTILE) -> Iterator[tuple[float, bytes]]:
    craft = Encoder(system, 1)
    for step in range(round(END_S * 4)):
        at_s = step / 4
        flying = TAKE_OFF_S <= at_s < LAND_S
        lat, lon = (round(x * 1e7) for x in place(at_s))
        up, boot = height_m(at_s), round(at_s * 1000) + 5000
        v, a = cell_v(at_s) * CELLS, current_a(at_s)
        if step % 4 == 0:
            mode = 6 if TURN_S <= at_s < LAND_S else 5  # MAV_STANDARD_MODE comes apart, by its own message
            yield (
                at_s,
                craft.encode(
                    "HEARTBEAT",
                    type=2,
                    autopilot=0,
                    base_mode=0x81 if flying else 0x01,
                    system_status=4 if flying else 3,
                ),
            )
            standard = 5 if TURN_S <= at_s < LAND_S else 1
            yield at_s, craft.encode("CURRENT_MODE", standard_mode=standard, custom_mode=mode)
            yield at_s, craft.encode("EXTENDED_SYS_STATE", landed_state=2 if flying else 1)
            yield at_s, craft.encode("GPS_RAW_INT", fix_type=3, lat=lat, lon=lon, satellites_visible=15, eph=80)
        if step == 40:
            yield (
                at_s,
                craft.encode("HOME_POSITION", latitude=round(HOME[0] * 1e7), longitude=round(HOME[1] * 1e7)),
            )
            yield at_s, craft.encode("STATUSTEXT", severity=3, text=text.encode())
        speed = 0.0 if not 30 <= at_s < 120 or 70 <= at_s < TURN_S else SPEED_M_S * (1 if at_s < 75 else -1)
        yield at_s, craft.encode(
            "GLOBAL_POSITION_INT",
            time_boot_ms=boot, lat=lat, lon=lon, alt=round(up * 1000), relative_alt=round(up * 1000),
            vx=round(speed * 100), hdg=0,
        )  # fmt: skip
        yield (
            at_s,
            craft.encode(
                "SYS_STATUS", voltage_battery=round(v * 1000), current_battery=round(a * 100), battery_remaining=-1
            ),
        )


def log_bytes(found: Iterator[tuple[float, bytes]]) -> bytes:
    """Return a telemetry log: 8-byte big-endian microseconds before each frame."""
    return b"".join(struct.pack(">Q", START_US + round(at_s * 1e6)) + frame for at_s, frame in found)


def write_log(path: Path, system: int = 7) -> Path:
    path.write_bytes(log_bytes(frames(system)))
    return path


def utc(at_s: float) -> str:
    minute, second = divmod(at_s, 60)
    return f"2027-01-15T08:{int(minute):02d}:{second:09.6f}Z"


def decision(at_s: float, rule: str, change: str, *, level: str = "caution", by: str | None = None) -> str:
    """Return a line of `decisions.jsonl` as a watch writes it."""
    return json.dumps(
        {
            "time": utc(at_s), "elapsed_s": at_s, "exercise": False, "aircraft": 7, "rule": rule, "level": level,
            "change": change, "state": "unacknowledged",
            "callout": f"{level.title()}. Test. {rule}.",
            "reason": "by hand", "evidence": {"battery.cell_voltage": 3.21, "text.caution": HOSTILE},
            "kind": "alert", "spoken": True, "trial": False, "by": by,
        }
    )  # fmt: skip


def delivery(at_s: float, decided_s: float, rule: str, change: str, outlet: str, outcome: str) -> str:
    return json.dumps(
        {
            "time": utc(at_s), "outlet": outlet, "outcome": outcome, "detail": "", "decided": utc(decided_s),
            "aircraft": 7, "rule": rule, "change": change,
        }
    )  # fmt: skip


def write_folder(folder: Path) -> Path:
    """Write a recording folder with the log of a live watch: a call, acknowledged and acted on."""
    folder.mkdir()
    write_log(folder / "source-1.tlog")
    source = {"name": "radio", "file": "source-1.tlog"}
    (folder / "sources.json").write_text(json.dumps({"station": "field", "sources": [source]}))
    begun = json.dumps({"time_us": START_US, "action": "start"})
    ended = json.dumps({"time_us": START_US + 150_000_000, "action": "stop"})
    (folder / "actions.jsonl").write_text(f"{begun}\n{ended}\n")
    lines = [
        decision(60.0, "return-reserve", "raised"),
        decision(64.5, "return-reserve", "acknowledged", by="pilot"),
        decision(90.0, "return-reserve", "cleared"),
        decision(95.0, "voltage-sag", "raised", level="warning"),
        "{broken",
    ]
    (folder / "decisions.jsonl").write_text("\n".join(lines) + "\n")
    told = [delivery(60.25, 60.0, "return-reserve", "raised", "voice", "spoken")]
    (folder / "deliveries.jsonl").write_text("\n".join(told) + "\n")
    return folder
