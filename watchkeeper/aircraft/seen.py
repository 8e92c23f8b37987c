"""What was last seen of a flight, by which its phase is judged."""

from __future__ import annotations

from dataclasses import dataclass

UNDEFINED, ON_GROUND, IN_AIR, TAKING_OFF, LANDING = range(5)  # MAV_LANDED_STATE


@dataclass(slots=True)
class Seen:
    """What the phase is judged by, as last seen. Unknown is None (m and m/s, up positive)."""

    armed: bool | None = None
    mode: str = "other"
    landed: int = UNDEFINED
    height_m: float | None = None
    base_m: float | None = None
    """Altitude above the sea from which the height counts."""
    climb_m_s: float | None = None
    speed_m_s: float | None = None
    throttle_pct: float | None = None
    home_m: float | None = None
    motion_us: int = 0
    """When height and speeds were seen."""
    plan_returns: bool = False
    plan_lands: bool = False

    @property
    def lands(self) -> bool:
        """Mode, landed state or plan say that it lands."""
        return self.mode == "land" or self.landed == LANDING or self.plan_lands

    @property
    def returns(self) -> bool:
        """Mode or plan say that it returns."""
        return self.mode == "safe_recovery" or self.plan_returns
