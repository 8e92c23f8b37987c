"""Keeps what is known of an aircraft in flight, and takes it up again in a watch that was started anew.

What is kept is used only for the same power-up of the same aircraft, soon and seen in the air again: a charge
counted for another pack, or before a landing, is worse than none.
"""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from watchkeeper.aircraft.geodesy import is_place
from watchkeeper.aircraft.phase import FLYING
from watchkeeper.aircraft.readings import US
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.learning import JSON
from watchkeeper.estimate.suite import EstimateSuite

LONGEST_US: Final = 600 * US
"""Between the last save and the first frame in the air: a flight of a heavy multirotor lasts hardly longer."""
UNTIMED_US: Final = 120 * US
"""The same, since it was last heard, where no boot time tells the power-up: packs are not changed in less."""
DECIDED_US: Final = 30 * US
"""An aircraft is given so long to show that it flies and since when it is powered: then new values are better."""
SAME_START_US: Final = 5 * US
"""How far two measured starts of one power-up may lie apart: messages are late, clocks drift by some 20 ppm."""
_DOWN: Final = frozenset({"on_ground", "landed"})
_HOMES: Final = frozenset({"arming", "aircraft"})
"""Homes that the flight gave; that of the sortie file is read anew."""
_STRICT: Final = ConfigDict(strict=True, frozen=True, allow_inf_nan=False)
_MOST_US: Final = 1 << 52


class _Home(BaseModel):
    """Where home was, degrees and metres above the sea."""

    model_config = _STRICT

    latitude_deg: float
    longitude_deg: float
    source: Literal["arming", "aircraft"]
    height_m: float | None = None


class Kept(BaseModel):
    """One aircraft. Times are engine time, which in a live watch is the time since 1970."""

    model_config = _STRICT

    system: int = Field(ge=1, le=255)
    saved_us: int = Field(ge=0, lt=_MOST_US)
    heard_us: int = Field(ge=0, lt=_MOST_US)
    phase: str = Field(max_length=20)
    started_us: int | None = Field(default=None, gt=-_MOST_US, lt=_MOST_US)
    """When its power-up began, where it tells its own time."""
    home: _Home | None = None
    learned: dict[str, Any]


def record(aircraft: Aircraft, suite: EstimateSuite, now_us: int) -> dict[str, JSON] | None:
    """Return what to keep of an aircraft, None if it is not in flight. Changes nothing."""
    phase, home = aircraft.tracker.phase, aircraft.home
    if phase not in FLYING:
        return None
    kept: dict[str, JSON] = {
        "system": aircraft.system,
        "saved_us": now_us,
        "heard_us": aircraft.link.time_us,
        "phase": phase,
        "started_us": aircraft.boot.started_us,
    }
    if home is not None and aircraft.home_source in _HOMES:
        kept["home"] = {
            "latitude_deg": home[0],
            "longitude_deg": home[1],
            "source": aircraft.home_source,
            "height_m": aircraft.homing.height_m,
        }
    return {**kept, "learned": suite.learned()}


class Resuming:
    """What was kept of aircraft that have not shown yet whether it holds."""

    def __init__(self) -> None:
        self.waiting: dict[int, Kept] = {}
        """By system id."""
        self.remarks: dict[int, str] = {}
        """What became of it, in plain words by system id."""

    def offer(self, system: int | None, kept: object) -> None:
        """Take what was kept of an aircraft; what cannot be read is thrown away."""
        try:
            one = Kept.model_validate(kept)
        except ValidationError:
            return
        if one.system == system:
            self.waiting[system] = one

    def records(self, now_us: int) -> dict[int, dict[str, JSON]]:
        """Return by system id what still waits and is not too old, as it was kept."""
        return {
            system: kept.model_dump()
            for system, kept in self.waiting.items()
            if 0 <= now_us - kept.saved_us <= LONGEST_US
        }

    def settle(self, aircraft: Aircraft, suite: EstimateSuite, since_us: int, now_us: int) -> bool:
        """Take up what was kept of an aircraft heard `since_us`, if it holds; return whether it was taken up."""
        kept = self.waiting[aircraft.system]
        unfit = _unfit(kept, aircraft, now_us)
        if unfit is None:
            if now_us - since_us <= DECIDED_US:
                return False
            unfit = "not seen to be the same flight"
        del self.waiting[aircraft.system]
        if unfit:
            self.remarks[aircraft.system] = f"what was kept of it is not used: {unfit}"
            return False
        _take_home(kept.home, aircraft, now_us)
        suite.resume(kept.learned)
        ago_s = (now_us - kept.saved_us) / US
        self.remarks[aircraft.system] = f"goes on with what was learned until {ago_s:.0f} s before"
        return True


def _unfit(kept: Kept, aircraft: Aircraft, now_us: int) -> str | None:
    """Return why what was kept does not hold; nothing if it does; None while that cannot be told."""
    started_us, phase = aircraft.boot.started_us, aircraft.tracker.phase
    if now_us < kept.saved_us:
        return "it is of later"
    if now_us - kept.saved_us > LONGEST_US:
        return "too old"
    if phase in _DOWN:
        return "on the ground"
    if started_us is not None and started_us > kept.heard_us:
        return "another power-up"
    if kept.started_us is None:
        if now_us - kept.heard_us > UNTIMED_US:
            return "too old without a boot time"
    elif started_us is None or abs(started_us - kept.started_us) > SAME_START_US:
        return None
    return "" if phase in FLYING else None


def _take_home(home: _Home | None, aircraft: Aircraft, now_us: int) -> None:
    """Let home be where it was, unless the flight has already told it again."""
    if home is None or aircraft.home_source in _HOMES or not is_place(home.latitude_deg, home.longitude_deg):
        return
    if aircraft.homing.height_m is None:
        aircraft.homing.height_m = home.height_m
    aircraft.set_home(home.latitude_deg, home.longitude_deg, home.source, now_us)
