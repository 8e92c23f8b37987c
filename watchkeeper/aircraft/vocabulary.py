"""What the aircraft itself is set to do, in neutral words: one vocabulary for all autopilots.

Every setting is a `Setting`, in the unit that its name ends with. With it stand here that unit, the bounds within
which a number is plausible on a multirotor (common practice, wide), and the words that may stand for a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Final, NamedTuple, get_type_hints

from watchkeeper.aircraft.catalogue import ACTIONS
from watchkeeper.aircraft.files import SEGMENTS

Value = float | str | tuple[str, ...]

KEPT: Final = ("mission", "external", "hold", "landing", "by_hand")
"""In which flight a lost link may be disregarded."""


class Status(Enum):
    """Whether a setting is known."""

    UNDERSTOOD = "understood"
    NOT_SEEN = "not seen"
    NOT_UNDERSTOOD = "not understood"


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: its value in `unit` or as a word, and in order the autopilot's names that decided it.

    `why` says in plain words why there is no value, `note` what else there is to know of one.
    """

    value: Value | None
    unit: str
    names: tuple[str, ...]
    status: Status
    why: str = ""
    note: str = ""

    @property
    def number(self) -> float | None:
        """Its value, if it is a number."""
        return self.value if isinstance(self.value, float) else None

    @property
    def word(self) -> str | None:
        """Its value, if it is a word."""
        return self.value if isinstance(self.value, str) else None

    @property
    def words(self) -> tuple[str, ...] | None:
        """Its value, if it is a list of words."""
        return self.value if isinstance(self.value, tuple) else None


class Kind(NamedTuple):
    """What a setting may be: a number from `least` to `most` in `unit` (none: least above most), or words."""

    unit: str
    least: float
    most: float
    words: tuple[str, ...]
    several: bool = False
    """A list of the words."""

    def allows(self, value: Value) -> bool:
        """Whether a value is one of those."""
        if isinstance(value, tuple):
            return self.several and all(word in self.words for word in value) and len({*value}) == len(value)
        if isinstance(value, str):
            return not self.several and value in self.words
        return self.least <= value <= self.most


def _number(unit: str, least: float, most: float, *words: str) -> Kind:
    return Kind(unit, least, most, words)


def _word(*words: str) -> Kind:
    return Kind("", 1.0, 0.0, words)


def _words(*words: str) -> Kind:
    return Kind("", 1.0, 0.0, words, several=True)


@dataclass(frozen=True, slots=True)
class LowStage:
    """One stage of what the aircraft does about a low battery. `battery` None: of all its packs together."""

    name: str
    battery: int | None
    """MAVLink's battery id."""
    quantity: Setting
    threshold: Setting
    """In V of the whole pack, % or mAh; "off"."""
    delay_s: Setting
    action: Setting
    latched: Setting
    """"yes": acts once a flight."""


STAGE: Final[dict[str, Kind]] = {
    "delay_s": Kind("s", 0.0, 600.0, ()),
    "action": Kind("", 1.0, 0.0, ACTIONS),
    "latched": Kind("", 1.0, 0.0, ("yes", "no")),
}
THRESHOLD: Final[dict[str, Kind]] = {
    "V": Kind("V", 2.5, 200.0, ("off",)),
    "%": Kind("%", 0.5, 95.0, ("off",)),
    "mAh": Kind("mAh", 1.0, 1e6, ("off",)),
}
QUANTITY: Final[dict[str, Kind]] = {
    "V": Kind("", 1.0, 0.0, ("voltage", "compensated_voltage")),
    "%": Kind("", 1.0, 0.0, ("gauge",)),
    "mAh": Kind("", 1.0, 0.0, ("charge_used", "charge_left")),
}


@dataclass(frozen=True, slots=True)
class Settings:
    """All settings of one aircraft. Heights are above home."""

    return_height_m: Annotated[Setting, _number("m", 2, 1000, "present")]
    """Least height of the way home; "present": keeps the one it has."""
    return_climb_m: Annotated[Setting, _number("m", 0, 300)]
    """Least climb at the start of a return."""
    return_cone_slope: Annotated[Setting, _number("", 0, 20, "off")]
    """Nearer than height / slope the way home is lower: distance times slope."""
    return_cone_climb_m: Annotated[Setting, _number("m", 0, 50, "off")]
    """Least climb within that cone."""
    return_cone_within_m: Annotated[Setting, _number("m", 0, 10_000, "any", "off")]
    """Distance within which the cone holds."""
    return_near_m: Annotated[Setting, _number("m", 0, 1000, "off")]
    """Distance within which a return climbs no higher than `return_near_height_m`."""
    return_near_height_m: Annotated[Setting, _number("m", 0, 1000, "off")]
    return_speed_m_s: Annotated[Setting, _number("m/s", 0.3, 40)]
    """Over ground."""
    return_order: Annotated[Setting, _words(*SEGMENTS)]
    """What it flies, in its order. A landing descends by itself."""
    return_turn: Annotated[Setting, _word("first", "under_way")]
    """Whether it turns towards home before it flies there."""
    return_hold_s: Annotated[Setting, _number("s", 0, 3600, "endless")]
    return_hold_height_m: Annotated[Setting, _number("m", 0, 1000, "present")]
    return_final_height_m: Annotated[Setting, _number("m", 0, 1000, "present")]
    """0: it lands; else it stays there."""
    return_to: Annotated[Setting, _word("home", "nearest", "safe_points")]
    """`nearest` of home and safe points; `safe_points`: home only if none is in reach."""
    return_to_within_m: Annotated[Setting, _number("m", 0, 1e6, "any")]
    """Safe points farther away do not count."""
    climb_m_s: Annotated[Setting, _number("m/s", 0.1, 20)]
    """Of automatic flight, as the next."""
    descent_m_s: Annotated[Setting, _number("m/s", 0.1, 20)]
    landing_high_m_s: Annotated[Setting, _number("m/s", 0.1, 20)]
    landing_low_m_s: Annotated[Setting, _number("m/s", 0.1, 5)]
    landing_change_m: Annotated[Setting, _number("m", 0, 200)]
    """Below this a landing has its low speed."""
    landing_ramp_m: Annotated[Setting, _number("m", 0, 200)]
    """From here down to there it slows; the same height: it changes at once."""
    acceleration_m_s2: Annotated[Setting, _number("m/s2", 0.1, 20)]
    """Over ground, in automatic flight."""
    tilt_deg: Annotated[Setting, _number("deg", 3, 80)]
    """Greatest, in automatic flight."""
    plan_speed_m_s: Annotated[Setting, _number("m/s", 0.3, 40)]
    pack_resistance_ohm: Annotated[Setting, _number("ohm", 0, 1, "learned")]
    """By which it compensates a pack's voltage for current; "learned": it works that out in flight."""
    pack_capacity_mah: Annotated[Setting, _number("mAh", 50, 1e6, "none")]
    """Of its first battery, as it takes it to be."""
    control_lost_s: Annotated[Setting, _number("s", 0, 600, "off")]
    control_lost_action: Annotated[Setting, _word(*ACTIONS)]
    control_lost_kept: Annotated[Setting, _words(*KEPT)]
    """In which flight it does nothing about it."""
    station_lost_s: Annotated[Setting, _number("s", 0, 3600, "off")]
    station_lost_action: Annotated[Setting, _word(*ACTIONS)]
    station_lost_kept: Annotated[Setting, _words(*KEPT)]
    fence_radius_m: Annotated[Setting, _number("m", 1, 100_000, "off")]
    fence_height_m: Annotated[Setting, _number("m", 1, 10_000, "off")]
    fence_delay_s: Annotated[Setting, _number("s", 0, 60)]
    fence_action: Annotated[Setting, _word(*ACTIONS)]
    position_lost_s: Annotated[Setting, _number("s", 0, 600)]
    position_lost_action: Annotated[Setting, _word(*ACTIONS)]
    low_battery: tuple[LowStage, ...] | None
    """Those it has or may have; None: nothing is known of them, which is not to say that it has none."""

    def __getitem__(self, name: str) -> Setting:
        """Return a setting by its name. KeyError for a name that VOCABULARY does not have."""
        if name not in VOCABULARY:
            raise KeyError(name)
        found: Setting = getattr(self, name)
        return found

    @property
    def return_lands(self) -> bool | None:
        """Whether a return ends on the ground, as far as that is understood."""
        order = self.return_order.words
        if order is None:
            return None
        if "land" not in order:
            return False
        if "hold" not in order or order.index("hold") > order.index("land"):
            return True
        return None if self.return_hold_s.value is None else self.return_hold_s.value != "endless"


VOCABULARY: Final[dict[str, Kind]] = {
    name: hint.__metadata__[0]
    for name, hint in get_type_hints(Settings, include_extras=True).items()
    if name != "low_battery"
}
"""Every setting but the stages, by name."""
