"""Flight modes: MAVLink's standard modes where they are sent, else pymavlink's tables of custom modes.

Neutral words for both: the standard's own eight, `external` (flown by commands from outside), `attitude` and
`rate` (flown by hand without position), `other`.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from pymavlink import mavutil
from pymavlink.dialects.v20 import all as dialect

STANDARD: Final[dict[int, str]] = {
    1: "position_hold", 2: "orbit", 3: "cruise", 4: "altitude_hold", 5: "safe_recovery", 6: "mission", 7: "land",
    8: "takeoff",
}  # fmt: skip  # MAV_STANDARD_MODE; 0 is "not a standard mode"
_WORDS: Final[dict[str, str]] = {
    # names as they stand in pymavlink's tables
    "RTL": "safe_recovery", "SMART_RTL": "safe_recovery", "AUTO_RTL": "safe_recovery", "RTGS": "safe_recovery",
    "QRTL": "safe_recovery",
    "AUTO": "mission", "MISSION": "mission",
    "LAND": "land", "QLAND": "land",
    "TAKEOFF": "takeoff",
    "LOITER": "position_hold", "POSHOLD": "position_hold", "BRAKE": "position_hold", "POSCTL": "position_hold",
    "QLOITER": "position_hold", "POSITION": "position_hold", "READY": "position_hold",
    "CIRCLE": "orbit",
    "ALT_HOLD": "altitude_hold", "ALTCTL": "altitude_hold", "QHOVER": "altitude_hold", "SPORT": "altitude_hold",
    "FLOWHOLD": "altitude_hold",
    "CRUISE": "cruise",
    "GUIDED": "external", "OFFBOARD": "external", "GUIDED_NOGPS": "external", "FOLLOW": "external",
    "FOLLOWME": "external",
    "STABILIZE": "attitude", "STABILIZED": "attitude", "MANUAL": "attitude", "DRIFT": "attitude",
    "QSTABILIZE": "attitude",
    "ACRO": "rate", "RATTITUDE": "rate",
}  # fmt: skip
_GENERIC: Final = dialect.MAV_AUTOPILOT_GENERIC
_PX4: Final = dialect.MAV_AUTOPILOT_PX4
_ARDUPILOT: Final = dialect.MAV_AUTOPILOT_ARDUPILOTMEGA
_CUSTOM_ENABLED: Final = dialect.MAV_MODE_FLAG_CUSTOM_MODE_ENABLED


def from_heartbeat(autopilot: int, vehicle: int, base_mode: int, custom_mode: int) -> tuple[str, str]:
    """Return (word of the catalogue, name in pymavlink's table or "") of a heartbeat's mode."""
    name = _name(autopilot, vehicle, base_mode & 0xFF, custom_mode)
    return _WORDS.get(name, "other"), name


@cache
def _name(autopilot: int, vehicle: int, base_mode: int, custom_mode: int) -> str:
    """Return the table's name, cached: the tables are searched once a mode."""
    if not base_mode & _CUSTOM_ENABLED or autopilot == _GENERIC:
        return ""
    if autopilot == _PX4:
        return str(mavutil.interpret_px4_mode(base_mode, custom_mode))
    if autopilot != _ARDUPILOT:
        return ""
    table = mavutil.mode_mapping_bynumber(vehicle) or {}
    return str(table.get(custom_mode, ""))
