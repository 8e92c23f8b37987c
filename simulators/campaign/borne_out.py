"""Whether a warning is borne out by the truth of its flight. Where that can tell, a fault excuses nothing."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from simulators.campaign.record import Flown
from simulators.campaign.watch import Life

EARLY_S: Final = 90.0
"""A warning about the return is right from so long before the moment that it speaks of ..."""
EARLY_PART: Final = 0.15
"""... or for this part of the flight until then, if that is longer: a bound of 95 % has its price, and crews are
to be left 85 % of what one that knows everything would fly."""
LANDING_FLOOR_PCT: Final = 5.0
"""Home cannot be reached with less than this left (the watch's rule says so)."""
_FALLEN_S: Final = 30.0
"""A fall from the greatest height of a campaign takes less."""


@dataclass(frozen=True, slots=True)
class Moments:
    """The last moments at which turning back lands with the reserve, and at all. None if there was none."""

    last_good_s: float | None
    last_landing_s: float | None


def is_borne_out(told: Life, rules: Collection[str], flown: Flown, moments: Moments) -> bool:
    """Tell whether a warning is right; `rules` are those that call the flight's fault."""
    at_s = told.told_s
    match told.rule:
        case "link-lost":
            return flown.silent_at(at_s)
        case "return-now":
            good_s = moments.last_good_s
            return good_s is None or at_s >= good_s - max(EARLY_S, EARLY_PART * (good_s - flown.took_off_s))
        case "return-overdue":  # it says that nothing is heard of it
            return flown.silent_at(at_s)
        case "battery-says-critical":  # the aircraft says so, of packs that have less than the reserve
            return moments.last_good_s is None or at_s >= moments.last_good_s
        case "aircraft-warns":  # its own words
            return flown.fault_began_s is not None and at_s >= flown.fault_began_s
        case "home-unreachable":
            return _unreachable(at_s, flown, moments)
        case _ if told.rule in rules and flown.fault_began_s is not None and at_s >= flown.fault_began_s:
            return True
        case "position-lost":
            return flown.without_fix_at(at_s)
        case "disarmed-in-air" | "falling":
            return flown.crashed and at_s >= flown.end_s - _FALLEN_S
        case _:
            return False


def _unreachable(at_s: float, flown: Flown, moments: Moments) -> bool:
    """Tell whether home could not be reached; on the way there, how it lands decides, with the same margin."""
    if flown.turned_back_s is None or at_s < flown.turned_back_s:
        return moments.last_landing_s is None or at_s >= moments.last_landing_s - EARLY_S
    margin_pct = EARLY_S * flown.charge_fall_pct_s
    return not flown.landed or flown.landing_charge_pct < LANDING_FLOOR_PCT + margin_pct
