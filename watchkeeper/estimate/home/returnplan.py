"""What the aircraft is set to do when it returns, in one vocabulary, and where that is known from.

Its own settings, where they were seen and understood, go first; then the aircraft file; then stated defaults,
which are on the costly side: high, slow, with a hold. Each value by itself: half a list of parameters is half
an answer.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import SEGMENTS, AircraftFile
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.estimate.air.leanfilter import USUAL_TILT_DEG

DEFAULT_HEIGHT_M: Final = 40.0
DEFAULT_SPEED_M_S: Final = 5.0
DEFAULT_CLIMB_M_S: Final = 2.0
DEFAULT_DESCENT_M_S: Final = 1.5
DEFAULT_LANDING_M_S: Final = 0.5
DEFAULT_LANDING_FROM_M: Final = 10.0
DEFAULT_HOLD_S: Final = 10.0
DEFAULT_AIRSPEED_M_S: Final = 15.0
DEFAULT_ACCELERATION_M_S2: Final = 1.5
DEFAULT_TURN_S: Final = 3.0
"""To face home before flying there: half a turn at 60 deg/s (common practice)."""


class ReturnPlan(NamedTuple):
    """A return as it is set. Heights above home. `height_m` None: as high as it then is.

    `near_m` is the distance under which it does not climb to `height_m` but to `near_height_m`; `cone` the
    slope of a cone around home under which it climbs no higher than it; `least_climb_m` is climbed whatever the
    height. `landing_ramp_m` is the height from which a landing slows down to its low speed, reached at
    `landing_from_m`. `hold_s` may be infinite; without "land" in `order` it stays in the air. `tilt_deg` limits
    how it can lean.
    """

    height_m: float | None = DEFAULT_HEIGHT_M
    near_m: float = 0.0
    near_height_m: float = 0.0
    cone: float = 0.0
    cone_climb_m: float = 0.0
    cone_within_m: float = math.inf
    least_climb_m: float = 0.0
    speed_m_s: float = DEFAULT_SPEED_M_S
    order: tuple[str, ...] = SEGMENTS
    climb_m_s: float = DEFAULT_CLIMB_M_S
    descent_m_s: float = DEFAULT_DESCENT_M_S
    hold_s: float = DEFAULT_HOLD_S
    hold_m: float | None = None
    landing_fast_m_s: float = DEFAULT_DESCENT_M_S
    landing_m_s: float = DEFAULT_LANDING_M_S
    landing_from_m: float = DEFAULT_LANDING_FROM_M
    landing_ramp_m: float = 0.0
    acceleration_m_s2: float = DEFAULT_ACCELERATION_M_S2
    airspeed_m_s: float = DEFAULT_AIRSPEED_M_S
    tilt_deg: float = USUAL_TILT_DEG
    turn_s: float = DEFAULT_TURN_S

    @property
    def lands(self) -> bool:
        """Whether it comes down by itself."""
        return "land" in self.order and math.isfinite(self.hold_s)

    def top_m(self, height_m: float, distance_m: float) -> float:
        """Return the height at which it flies home from a height and a distance."""
        top = height_m if self.height_m is None else self.height_m
        if distance_m < self.near_m:
            top = self.near_height_m
        elif self.cone > 0.0 and distance_m < self.cone_within_m:
            top = min(top, max(self.cone * distance_m, height_m + self.cone_climb_m))
        return max(top, height_m + self.least_climb_m)


def of_file(file: AircraftFile) -> ReturnPlan:
    """Return what an aircraft file says, with the defaults for what it does not."""
    back, limits = file.return_, file.limits
    plan = ReturnPlan(order=back.order)
    descent_m_s = min(limits.descent_m_s or DEFAULT_DESCENT_M_S, DEFAULT_DESCENT_M_S)
    plan = plan._replace(descent_m_s=descent_m_s, landing_fast_m_s=descent_m_s)
    if limits.tilt_deg is not None:
        plan = plan._replace(tilt_deg=limits.tilt_deg)
    if back.height_m is not None:
        plan = plan._replace(height_m=back.height_m)
    if back.speed_m_s is not None:
        plan = plan._replace(speed_m_s=back.speed_m_s)
    if back.hold is not None:
        plan = plan._replace(hold_s=back.hold.time_s, hold_m=back.hold.height_m)
    if back.landing_m_s is not None:
        plan = plan._replace(landing_m_s=back.landing_m_s)
    if limits.airspeed_m_s is not None:
        plan = plan._replace(airspeed_m_s=limits.airspeed_m_s)
    return plan


def of_settings(settings: Settings, plan: ReturnPlan) -> ReturnPlan:
    """Return a plan with what was seen and understood of the aircraft's own settings put into it."""
    found: dict[str, float | tuple[str, ...] | None] = {}
    for field, setting in _NUMBERS.items():
        value = settings[setting].number
        if value is not None:
            found[field] = value
    if settings.return_height_m.word == "present":
        found["height_m"] = None
    if "off" in {settings.return_cone_slope.word, settings.return_cone_within_m.word}:
        found["cone"] = 0.0
    if settings.return_near_m.word == "off":
        found["near_m"] = 0.0
    if settings.return_hold_s.word == "endless":
        found["hold_s"] = math.inf
    if settings.return_turn.word == "under_way":
        found["turn_s"] = 0.0
    order = settings.return_order.words
    if order is not None:
        found["order"] = order
    return plan._replace(**found)  # type: ignore[arg-type]  # names and kinds are those of _NUMBERS


_NUMBERS: Final = {
    "height_m": "return_height_m",
    "least_climb_m": "return_climb_m",
    "cone": "return_cone_slope",
    "cone_climb_m": "return_cone_climb_m",
    "cone_within_m": "return_cone_within_m",
    "near_m": "return_near_m",
    "near_height_m": "return_near_height_m",
    "speed_m_s": "return_speed_m_s",
    "hold_s": "return_hold_s",
    "hold_m": "return_hold_height_m",
    "climb_m_s": "climb_m_s",
    "descent_m_s": "descent_m_s",
    "landing_fast_m_s": "landing_high_m_s",
    "landing_m_s": "landing_low_m_s",
    "landing_from_m": "landing_change_m",
    "landing_ramp_m": "landing_ramp_m",
    "acceleration_m_s2": "acceleration_m_s2",
    "tilt_deg": "tilt_deg",
}
"""Fields of a plan, and the settings that say them by a number."""
