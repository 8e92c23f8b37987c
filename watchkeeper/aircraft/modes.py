"""Flight modes: MAVLink's standard modes where they are sent, else pymavlink's tables of custom modes.

Neutral words for both: the standard's own eight, `external` (flown by commands from outside), `attitude` and
`rate` (flown by hand without position), `other`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from pymavlink import mavutil
from pymavlink.dialects.v20 import all as dialect

STANDARD: Final[dict[int, str]] = {
    1: "position_hold", 2: "orbit", 3: "cruise", 4: "altitude_hold", 5: "safe_recovery", 6: "mission", 7: "land",
    8: "takeoff",
}  # fmt: skip  # MAV_STANDARD_MODE; 0 is "not a standard mode"
WORDS: Final[dict[str, str]] = {
    # names as they stand in pymavlink's tables
    "RTL": "safe_recovery", "SMART_RTL": "safe_recovery", "AUTO_RTL": "safe_recovery", "RTGS": "safe_recovery",
    "QRTL": "safe_recovery",
    "AUTO": "mission", "MISSION": "mission",
    "LAND": "land", "QLAND": "land",
    "TAKEOFF": "takeoff",
    "LOITER": "position_hold", "POSHOLD": "position_hold", "BRAKE": "position_hold", "POSCTL": "position_hold",
    "QLOITER": "position_hold", "POSITION": "position_hold", "READY": "position_hold", "ZIGZAG": "position_hold",
    "OF_LOITER": "position_hold",
    "CIRCLE": "orbit",
    "ALT_HOLD": "altitude_hold", "ALTCTL": "altitude_hold", "QHOVER": "altitude_hold", "SPORT": "altitude_hold",
    "FLOWHOLD": "altitude_hold", "AUTOTUNE": "altitude_hold",
    "CRUISE": "cruise",
    "GUIDED": "external", "OFFBOARD": "external", "GUIDED_NOGPS": "external", "FOLLOW": "external",
    "FOLLOWME": "external", "AVOID_ADSB": "external",
    "STABILIZE": "attitude", "STABILIZED": "attitude", "MANUAL": "attitude", "DRIFT": "attitude",
    "QSTABILIZE": "attitude",
    "ACRO": "rate", "RATTITUDE": "rate", "FLIP": "rate", "TURTLE": "rate",
}  # fmt: skip
RETRACES: Final = frozenset({"SMART_RTL"})
"""Names of returns that go back along the flown track, which may lead away from home for a while."""
MOST_LEARNED: Final = 256
_GENERIC: Final = dialect.MAV_AUTOPILOT_GENERIC
_PX4: Final = dialect.MAV_AUTOPILOT_PX4
_ARDUPILOT: Final = dialect.MAV_AUTOPILOT_ARDUPILOTMEGA
_CUSTOM_ENABLED: Final = dialect.MAV_MODE_FLAG_CUSTOM_MODE_ENABLED


class ModeTracker:
    """The mode of one power-up, and which of the aircraft's own modes are standard ones as it says itself."""

    __slots__ = ("_custom", "_learned", "_told", "apart", "intended", "name", "word")

    def __init__(self) -> None:
        self.word = "other"
        self.name = ""
        """Its name in pymavlink's table, "" where there is none."""
        self.intended: int | None = None
        """The custom mode that was last commanded, by a station or by the radio control; None: not told."""
        self.apart = False
        """CURRENT_MODE told of another mode than the one last commanded: it could not enter that, or left it."""
        self._custom: int | None = None
        self._learned: dict[int, int] = {}
        self._told = False
        """CURRENT_MODE named a standard mode, and the heartbeat's mode has not changed since."""

    def heartbeat(self, autopilot: int, vehicle: int, base_mode: int, custom_mode: int) -> str:
        """Take the mode of a heartbeat in; return the word for it."""
        if custom_mode == self._custom and self._told:
            return self.word
        self._custom = custom_mode
        self._told = False
        self.name = named(autopilot, vehicle, base_mode & _CUSTOM_ENABLED, custom_mode)
        standard = self._learned.get(custom_mode)
        self.word = STANDARD[standard] if standard is not None else WORDS.get(self.name, "other")
        return self.word

    def learn(self, custom_mode: int, standard: int) -> None:
        """Take in which standard mode a custom mode is (AVAILABLE_MODES, CURRENT_MODE)."""
        if standard not in STANDARD:
            self._learned.pop(custom_mode, None)
        elif custom_mode in self._learned or len(self._learned) < MOST_LEARNED:
            self._learned[custom_mode] = standard

    def current(self, standard: int, custom_mode: int, intended: int) -> str:
        """Take CURRENT_MODE in; return the word for the mode."""
        self.learn(custom_mode, standard)
        self.intended = intended or None
        self.apart = intended not in {0, custom_mode}
        self._told = standard in STANDARD
        if self._told:
            self.word = STANDARD[standard]
        return self.word


@lru_cache(maxsize=256)
def named(autopilot: int, vehicle: int, custom_enabled: int, custom_mode: int) -> str:
    """Return the name of a custom mode in pymavlink's tables, "" if they have none."""
    if not custom_enabled or autopilot == _GENERIC:
        return ""
    if autopilot == _PX4:
        return str(mavutil.interpret_px4_mode(custom_enabled, custom_mode))
    if autopilot != _ARDUPILOT:
        return ""
    table = mavutil.mode_mapping_bynumber(vehicle) or {}
    return str(table.get(custom_mode, ""))
