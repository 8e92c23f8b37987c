"""What a reading is, and the closed lists of words that some readings have."""

from __future__ import annotations

from dataclasses import dataclass

from watchkeeper.units import UNITS, Unit

MAX_PACKS = 8  # packs that get readings of their own; more monitors than any multirotor carries


@dataclass(frozen=True, slots=True)
class ReadingType:
    """What one reading means. `words` is set for enumerations, `unit` "" for booleans, words and free text."""

    name: str
    unit_symbol: str
    meaning: str
    sources: str
    max_age_s: float = 3.0
    age_bound_s: float = 12.0
    words: tuple[str, ...] = ()
    boolean: bool = False
    text: bool = False
    """Free words from outside: a rule may say them, and ask whether they are known or how old; nothing else."""
    held: bool = False
    rate: float = 0.0
    estimate: bool = False
    """Worked out by an estimate, not folded from a message."""

    @property
    def unit(self) -> Unit:
        """The unit of the stored value."""
        return UNITS[self.unit_symbol]


PHASES = ("on_ground", "armed", "taking_off", "airborne", "returning", "landing", "landed")
PHASE_GROUPS: dict[str, frozenset[str]] = {
    "in_flight": frozenset({"taking_off", "airborne", "returning", "landing"}),
    "powered": frozenset(PHASES),
}
MODES = (
    "position_hold",
    "orbit",
    "cruise",
    "altitude_hold",
    "safe_recovery",
    "mission",
    "land",
    "takeoff",
    "external",
    "attitude",
    "rate",
    "other",
)  # the first eight are MAV_STANDARD_MODE; then: commanded from outside, and pilot-flown without position
MODE_CAUSES = ("none", "ordered", "switched", "planned", "own_return", "own_landing", "own", "unasked", "unknown")
"""Why the mode last changed in flight: a station's order or acknowledgement, or as the aircraft tells; a switch of
the radio control; plan or the course of the mode before; the aircraft by itself (into a return, a landing,
another mode); nobody, where orders can be seen."""
HOME_SOURCES = ("aircraft", "arming", "sortie")
CELL_SOURCES = ("aircraft_file", "reported", "inferred")
COMPASS = ("north", "north_east", "east", "south_east", "south", "south_west", "west", "north_west")
FOREIGN_SIGNALS = ("clear", "mitigated", "detected")  # GPS_JAMMING_STATE and GPS_SPOOFING_STATE from 1 on
FIXES = ("none", "no_fix", "fix_2d", "fix_3d", "dgps", "rtk_float", "rtk_fixed", "static", "ppp")  # GPS_FIX_TYPE

ACTIONS = (
    "nothing", "report", "hold", "height_hold", "return", "retrace", "return_or_land", "land", "stop_motors",
    "other",
)  # fmt: skip
"""What a fail-safe does. `retrace` goes back along the flown track; `return_or_land` lands if it cannot return."""
BREACHES = ("none", "too_low", "too_high", "boundary", "other")
"""Which border of its own fence an aircraft has crossed; the first four are FENCE_BREACH."""
