"""What modes and fail-safes see of the flight controller they belong to, and what they may have it do.

It lets them stand apart from the controller that calls them: imports go one way.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

from simulators.onboard.control import Control
from simulators.onboard.gauge import Gauges
from simulators.onboard.guide import Guide, Place
from simulators.onboard.modes import Action, Landed, Mode, Severity
from simulators.onboard.place import Field
from simulators.onboard.sensors import Sensors
from simulators.physics.craft import Craft
from simulators.wire.plan import PlanItem


class Sticks(NamedTuple):
    """Manual control, each from -1 to 1: forward, right, up, turn to the right; and when it came."""

    forward: float
    right: float
    up: float
    turn: float
    time_s: float


class InCommand(Protocol):
    """The controller as its parts see it."""

    craft: Craft
    sensors: Sensors
    gauges: Gauges
    control: Control
    guide: Guide
    field: Field
    values: dict[str, float]
    safe_points: tuple[PlanItem, ...]
    mode: Mode
    armed: bool
    landed: Landed
    home: Place
    target: Place
    target_speed_m_s: float | None
    land_at: tuple[float, float] | None
    control_link: bool
    station_s: float | None
    sticks: Sticks | None
    now_s: float

    def enter(self, mode: Mode, why: str, *, intended: Mode | None = None) -> bool:
        """Change the mode. False if it cannot be flown now."""

    def act(self, action: Action) -> bool:
        """Carry out what a fail-safe orders."""

    def say(self, severity: Severity, text: str) -> None:
        """Queue a status text."""

    def stay_here(self, height_m: float | None = None) -> None:
        """Hold the present place."""

    def land_there(self, place: tuple[float, float], why: str) -> bool:
        """Land at a place north and east. False if it cannot be flown now."""

    def release(self) -> bool:
        """Let the load go. False if there is none."""
