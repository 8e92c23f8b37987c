"""What today asks of the aircraft's fail-safe settings: plain data, against which `compare` holds them.

Heights are above home, speeds over ground. None means "not asked", unless the field says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

LONGEST_DELAY_S: Final = 10.0
"""For which a low-battery threshold may have to hold before it acts (common practice)."""
Quantity = Literal["voltage", "compensated_voltage", "gauge", "charge_used"]
QUANTITIES: Final[tuple[Quantity, ...]] = ("voltage", "compensated_voltage", "gauge", "charge_used")
Flown = Literal["mission", "by_hand", "hold", "landing", "external"]
"""How it is flown, in the words of the settings `control_lost_kept` and `station_lost_kept`."""


@dataclass(frozen=True, slots=True)
class Window:
    """A number must lie within, both ends allowed; `least_for` and `greatest_for` say for the sake of what.

    `greatest` None: nothing limits it upwards; under `least`: nothing fits today, then every setting differs and
    no change is proposed. `advised` None: the nearer end is proposed.
    """

    least: float
    greatest: float | None
    advised: float | None
    least_for: str = ""
    greatest_for: str = ""


@dataclass(frozen=True, slots=True)
class Trigger:
    """One quantity by which a low-battery action can begin: V of the bus, %, or mAh used.

    The first two fall in flight, what is used rises; "farthest" below is meant so.
    `at` is the crew's threshold: a return begun there comes home with the reserve; None: not worked out.
    `planned` is the farthest that it gets on the planned flight before the way home begins, gusts included: what
    acts there or before acts too early; None: not known.
    `way_home` is the farthest that it gets until it has landed, if the return begins at `at`, by the lower bound:
    what lands it where it is must act after that; None: not known.
    `usable` False: today no action is to hang on it (the voltage sags under `at` in a climb); `why` says why.
    """

    at: float | None
    planned: float | None = None
    way_home: float | None = None
    usable: bool = True
    why: str = ""


@dataclass(frozen=True, slots=True)
class LowBattery:
    """The crew's threshold in all quantities; one that is not in `triggers` is not worked out.

    "voltage" is of the bus as measured. "compensated_voltage" is "voltage" and a pack's current times
    `pack_ohm`, which is the resistance that it was worked out with: an aircraft that reckons with another one gets
    a threshold that is scaled. "gauge" counts from full with `capacity_mah`. "charge_used" is out of all packs.
    """

    triggers: Mapping[Quantity, Trigger]
    pack_ohm: float | None = None
    """Resistance of a pack; None: only what the aircraft learns by itself counts as right."""
    capacity_mah: float | None = None
    """Of what the gauge of its first battery counts, when full; None: gauges are not judged."""
    used_share: Mapping[int, float] = field(default_factory=dict)
    """By MAVLink's battery id, the part of "charge_used" that this battery counts; one that is not in it cannot be
    judged by charge."""
    delay_most_s: float = LONGEST_DELAY_S
    """A threshold may have to hold for so long before it acts; `at` has room for it."""


@dataclass(frozen=True, slots=True)
class LinkLost:
    """What is to happen when a link is lost.

    It must return, after `least_s` (a shorter gap is nothing yet) and within `within_s`, in all flight of
    `flown`. With `moving_crew` a return goes where the crew is not: then the crew has to decide, and hold or land
    are taken as well.
    """

    within_s: float
    least_s: float = 0.3
    moving_crew: bool = False
    flown: tuple[Flown, ...] = ("mission", "by_hand")


@dataclass(frozen=True, slots=True)
class Fence:
    """The plan against fences. Room for position errors is to be in the numbers.

    `radius_least_m` holds the plan's farthest point, `height_least_m` its highest and the return height today
    asks for (the one that is set is looked at too). `height_most_m` is the ceiling. `wanted`: a fence that is off
    is less good (there is a boundary or a ceiling).
    """

    radius_least_m: float
    height_least_m: float
    radius_most_m: float | None = None
    height_most_m: float | None = None
    wanted: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """All that today asks."""

    return_height_m: Window
    return_speed_m_s: Window | None
    """Slowest that makes it home, fastest that can be held against today's wind; None: not worked out."""
    plan_highest_m: float
    """Highest point of the plan: a return that always climbs begins there."""
    free_around_m: float = 0.0
    """Nothing that a return has to climb over stands nearer to home; infinite where nothing does."""
    hold_least_m: float | None = None
    """Least height of a hold over home, for a load on a line; None: any."""
    hold_most_s: float | None = None
    """Longest hold over home that the energy was reckoned with; None: any that ends."""
    landing_most_m_s: float = 1.0
    landing_least_m_s: float = 0.2
    """A slower landing costs energy, or is a wrong unit."""
    landing_slow_from_m: float = 3.0
    """At the latest from here down it must be that slow (common practice: three to ten metres)."""
    low_battery: LowBattery | None = None
    """None: could not be worked out; the aircraft's stages are then not understood."""
    control_lost: LinkLost | None = None
    station_lost: LinkLost | None = None
    fence: Fence | None = None
    position_lost_within_s: float = math.inf
    """Without a position it must land or hold its height, within so long; infinite: whenever."""
