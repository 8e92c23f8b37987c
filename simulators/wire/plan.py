"""Items of a plan, a fence or a list of safe points: checked when they come, told again when asked.

Commands and parameters: MAV_CMD of https://mavlink.io/en/messages/common.html
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

PLAN: Final = 0
FENCE: Final = 1
SAFE_POINTS: Final = 2
TYPES: Final = (PLAN, FENCE, SAFE_POINTS)
"""MAV_MISSION_TYPE."""
ACCEPTED, ERROR, UNSUPPORTED_FRAME, UNSUPPORTED, NO_SPACE, INVALID = range(6)
INVALID_PARAM1: Final = 6
INVALID_X, INVALID_Y, INVALID_Z, INVALID_SEQUENCE, DENIED, CANCELLED = range(10, 16)
"""MAV_MISSION_RESULT."""

_ABSOLUTE: Final = (0, 5)
_RELATIVE: Final = (3, 6)
_NO_PLACE: Final = 2
_NOT_GIVEN: Final = 2**31 - 1
"""What an integer position holds in place of not-a-number."""
_NEEDED, _OR_HERE, _NONE = range(3)
_MOST_S: Final = 3600.0
_HEIGHTS_M: Final = (-500.0, 10_000.0)
_MOST_RADIUS_M: Final = 100_000.0
_LEAST_CORNERS: Final = 3

Ranges = Mapping[int, tuple[float, float]]
"""Allowed ranges of parameters by their index, 0 for the first. Those not named may be anything finite or NaN."""
_COMMANDS: Final[Mapping[int, Mapping[int, tuple[int, Ranges]]]] = {
    PLAN: {
        16: (_NEEDED, {0: (0, _MOST_S), 1: (0, _MOST_RADIUS_M)}),  # NAV_WAYPOINT: stay s, acceptance m
        19: (_OR_HERE, {0: (0, _MOST_S)}),  # NAV_LOITER_TIME: s
        20: (_NONE, {}),  # NAV_RETURN_TO_LAUNCH
        21: (_OR_HERE, {}),  # NAV_LAND
        22: (_OR_HERE, {}),  # NAV_TAKEOFF
        112: (_NONE, {0: (0, _MOST_S)}),  # CONDITION_DELAY: s
        178: (_NONE, {0: (0, 3), 1: (-2, 100)}),  # DO_CHANGE_SPEED: SPEED_TYPE, m/s (-1 as it is, -2 default)
        211: (_NONE, {1: (0, 1)}),  # DO_GRIPPER: GRIPPER_ACTION
    },
    FENCE: {
        5000: (_NEEDED, {}),  # point of return
        5001: (_NEEDED, {0: (_LEAST_CORNERS, 500)}),  # corner of a border to stay within; how many there are
        5002: (_NEEDED, {0: (_LEAST_CORNERS, 500)}),  # corner of an area to keep out of
        5003: (_NEEDED, {0: (1, _MOST_RADIUS_M)}),  # circles: radius m
        5004: (_NEEDED, {0: (1, _MOST_RADIUS_M)}),
    },
    SAFE_POINTS: {5100: (_NEEDED, {})},
}
_FLAT: Final = (5001, 5002, 5003, 5004)
_CORNERS: Final = (5001, 5002)


@dataclass(frozen=True, slots=True)
class PlanItem:
    """One item. The place is None where the command has none or means the place it is given at."""

    command: int
    latitude_deg: float | None
    longitude_deg: float | None
    height_m: float
    """Above home, whatever the frame it came in."""
    p1: float = 0.0
    p2: float = 0.0
    p3: float = 0.0
    p4: float = 0.0
    """NaN: no direction asked for."""
    frame: int = 3
    autocontinue: bool = True

    @property
    def above_sea(self) -> bool:
        """Whether its height was given above sea level."""
        return self.frame in _ABSOLUTE

    def values(
        self, sequence: int, to: tuple[int, int], mission_type: int, home_altitude_m: float
    ) -> tuple[float | int, ...]:
        """Return the values of MISSION_ITEM_INT in wire order."""
        latitude_deg, longitude_deg = self.latitude_deg or 0.0, self.longitude_deg or 0.0
        x, y = round(latitude_deg * 1e7), round(longitude_deg * 1e7)
        z = self.height_m + (home_altitude_m if self.above_sea else 0.0)
        params = (self.p1, self.p2, self.p3, self.p4)
        whom = (sequence, self.command, *to)
        return (*params, x, y, z, *whom, self.frame, 0, int(self.autocontinue), mission_type)


def read_item(
    values: Sequence[Any], mission_type: int, home_altitude_m: float, *, integer: bool
) -> PlanItem | int:
    """Return the item of MISSION_ITEM_INT (`integer`) or MISSION_ITEM values.

    If it cannot be flown, return the MAV_MISSION_RESULT that says why not.
    """
    *params, x, y, z, _, command, _, _, frame, _, autocontinue, _ = values
    known = _COMMANDS[mission_type].get(command)
    if known is None:
        return UNSUPPORTED
    place, ranges = known
    if frame not in (*_ABSOLUTE, *_RELATIVE) and not (place == _NONE and frame == _NO_PLACE):
        return UNSUPPORTED_FRAME
    for at, value in enumerate(params):
        low, high = ranges.get(at, (-math.inf, math.inf))
        if math.isinf(value) or not (low <= value <= high or (at not in ranges and math.isnan(value))):
            return INVALID_PARAM1 + at
    p1, p2, p3 = (0.0 if math.isnan(value) else value for value in params[:3])  # NaN: not used
    if place == _NONE:
        return PlanItem(command, None, None, 0.0, p1, p2, p3, params[3], frame, bool(autocontinue))
    where = _place(x, y, place, integer=integer)
    if isinstance(where, int):
        return where
    height_m = 0.0 if command in _FLAT else z - (home_altitude_m if frame in _ABSOLUTE else 0.0)
    if not _HEIGHTS_M[0] <= height_m <= _HEIGHTS_M[1]:
        return INVALID_Z
    return PlanItem(command, *where, height_m, p1, p2, p3, params[3], frame, bool(autocontinue))


def _place(x: float, y: float, place: int, *, integer: bool) -> tuple[float | None, float | None] | int:
    """Return latitude and longitude in degrees, None for here, or the MAV_MISSION_RESULT against them."""
    if integer:
        latitude_deg = math.nan if x == _NOT_GIVEN else x / 1e7
        longitude_deg = math.nan if y == _NOT_GIVEN else y / 1e7
    else:
        latitude_deg, longitude_deg = x, y
    here = (math.isnan(latitude_deg) and math.isnan(longitude_deg)) or latitude_deg == longitude_deg == 0
    if place == _OR_HERE and here:
        return None, None
    if not abs(latitude_deg) <= 90:
        return INVALID_X
    return (latitude_deg, longitude_deg) if abs(longitude_deg) <= 180 else INVALID_Y


def check_whole(items: Sequence[PlanItem]) -> int:
    """Return the MAV_MISSION_RESULT of all items together: areas of a fence have all the corners they announce."""
    at = 0
    while at < len(items):
        item = items[at]
        if item.command not in _CORNERS:
            at += 1
            continue
        count = int(item.p1)
        corners = items[at : at + count]
        if len(corners) < count or any((one.command, one.p1) != (item.command, count) for one in corners):
            return INVALID
        at += count
    return ACCEPTED
