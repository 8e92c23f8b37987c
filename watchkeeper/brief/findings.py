"""What a brief says, as plain values: worked out by the modules beside this one, shown by card, page and JSON.

Heights are above home, bearings from true north, usable charge is 0 % where hover power can no longer be held
above the cell floor, `gauge_pct` is what a gauge shows that counts from full with the right capacity. None means
that it could not be worked out; why stands in a `Remark`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Weight = Literal["warning", "caution", "advisory"]
"""As for alerts: do not fly so; see to it; know it."""
Verdict = Literal["fits", "differs", "not understood"]
WEIGHTS: Final[tuple[Weight, ...]] = ("warning", "caution", "advisory")


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to be said: what it is about, what is so, and what to do."""

    weight: Weight
    about: str
    what: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class PackToday:
    """One pack as it is reckoned with; `source` says where its numbers come from."""

    number: int
    label: str | None
    cells: int
    capacity_ah: float
    usable_ah: float
    resistance_mohm: float
    cycles: float | None
    temperature_degc: float | None
    rest_v: float
    """At which it should stand before it is joined to the others, full and at rest."""
    source: str


@dataclass(frozen=True, slots=True)
class Threshold:
    """What the packs show when the return from `place` has to begin, hovering."""

    place: str
    volt_v: float
    """Of the bus, as measured."""
    compensated_v: float
    """The same without the drop of the load."""
    gauge_pct: float
    used_mah: float
    """Out of all packs, as the aircraft counts them."""
    usable_pct: float


@dataclass(frozen=True, slots=True)
class Deepest:
    """The lowest voltage of the bus before the way home begins, in one case."""

    case: Literal["as planned", "in a gust", "one pack out"]
    volt_v: float
    leg: str
    at_s: float
    stays_above: bool
    """The threshold's voltage as measured."""


NOT_HOME_PCT: Final = -100.0
"""Usable charge left at home, or less, where by the lower bound there is no way home at all."""


@dataclass(frozen=True, slots=True)
class LegToday:
    """A leg of the plan, what it takes, and what the packs show at its end.

    `turn_back` is what they show at its end when the way home from there has to begin; `home_pct` and
    `home_low_pct` are the usable charge left by a return begun there, expected and by the lower bound of 95 %.
    """

    name: str
    time_s: float
    end_s: float
    energy_wh: float
    distance_m: float
    """From home, at its end."""
    height_m: float
    volt_v: float
    gauge_pct: float
    usable_pct: float
    home_pct: float | None
    home_low_pct: float | None
    turn_back: Threshold | None


@dataclass(frozen=True, slots=True)
class StageToday:
    """One stage of the aircraft's own low-battery action, and when it would act on today's plan.

    `acts_s` None: not on this plan. `lands_with_pct` is the usable charge expected after landing if the aircraft
    is left alone at the farthest point and this stage brings it home.
    """

    name: str
    threshold: str
    action: str
    acts_s: float | None
    leg: str
    before_turn_back: bool
    lands_with_pct: float | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class BatteryToday:
    """The packs on today's plan. `required_pct` is the usable charge that must be left after landing."""

    packs: tuple[PackToday, ...]
    required_pct: float
    legs: tuple[LegToday, ...]
    threshold: Threshold | None
    deepest: tuple[Deepest, ...]
    stages: tuple[StageToday, ...]
    on_station_s: float | None
    """How long it can stay at the farthest point, all stays before as planned."""
    rest_difference_v: float | None
    """By how much packs may differ at rest before they are joined."""
    rest_difference_why: str = ""
    home_s: float | None = None
    """The time of the way home from the end of the plan."""


@dataclass(frozen=True, slots=True)
class HeightToday:
    """The window of return heights, and what is set.

    `required_m` is the least, for the sake of `required_by`; `allowed_m` the greatest, for `allowed_by` (None: no
    ceiling is named). `set_m` is the aircraft's, as `set_by` knows it.
    """

    required_m: float
    required_by: str
    allowed_m: float | None
    allowed_by: str
    set_m: float | None
    set_by: str
    advised_m: float | None
    """Within the window; None where there is none."""
    hold_m: float | None
    hold_least_m: float
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True)
class PointReach:
    """A point of the plan against the reach in its bearing."""

    name: str
    distance_m: float
    bearing_deg: float
    height_m: float
    reach_m: float
    home_low_pct: float | None

    @property
    def inside(self) -> bool:
        """Whether a return from there keeps the reserve by the lower bound."""
        return self.distance_m <= self.reach_m


@dataclass(frozen=True, slots=True)
class PlaceToday:
    """The best landing place for a point of the plan: from there, m and degrees, and the usable charge left."""

    point: str
    place: str
    distance_m: float
    bearing_deg: float
    left_pct: float | None


@dataclass(frozen=True, slots=True)
class RadioToday:
    """The telemetry link at the farthest point of the plan."""

    point: str
    distance_m: float
    path_loss_db: float
    margin_db: float | None
    margin_how: str
    fresnel_m: float
    """Radius of the first Fresnel zone where it is least clear."""
    clear_share: float
    """Of that radius that is free of ground and obstacles; 0.6 is asked for."""
    clear_over: str
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True)
class DuskToday:
    """Sunset, and the end of civil twilight (sun at -6 degrees), UTC as ISO 8601.

    None where the sun does not set.
    """

    sunset: str | None
    twilight_ends: str | None
    take_off: str | None
    lands_at: str | None
    remarks: tuple[Remark, ...] = ()
    latest_take_off: str | None = None
    """So that it lands before sunset with something to spare."""


@dataclass(frozen=True, slots=True)
class ReachToday:
    """How far it can go and still come home with the reserve, by bearing."""

    bearings: tuple[tuple[float, float], ...]
    """(degrees, m), evenly from north."""
    height_m: float
    points: tuple[PointReach, ...]
    places: tuple[PlaceToday, ...]
    radio: RadioToday | None
    dusk: DuskToday | None


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One fail-safe setting: what the aircraft has beside what today asks.

    `has` and `asked` are words with units. `changes` are in the aircraft's own names and units.
    """

    name: str
    own: tuple[str, ...]
    has: str
    asked: str
    verdict: Verdict
    why: str = ""
    changes: tuple[str, ...] = ()
    weight: Weight = "caution"


@dataclass(frozen=True, slots=True)
class Difference:
    """A parameter that differs from the baseline's; "" where one of them has it not."""

    name: str
    here: str
    baseline: str
    means: str = ""


@dataclass(frozen=True, slots=True)
class SettingsToday:
    """What the aircraft has, as far as it was seen."""

    source: str
    autopilot: str
    count: int
    complete: bool
    rows: tuple[SettingRow, ...]
    differences: tuple[Difference, ...] | None = None
    """None: no baseline was given."""
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True)
class Emergency:
    """A failure: what the aircraft does by itself (as set), and what the crew does."""

    failure: str
    aircraft: str
    crew: str


@dataclass(frozen=True, slots=True)
class CrewToday:
    """The crew's page."""

    roles: tuple[tuple[str, str], ...]
    checklist: tuple[str, ...]
    emergencies: tuple[Emergency, ...]
    cautions: tuple[str, ...]
    blind: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Brief:
    """All of it. `made_at` is UTC as ISO 8601."""

    sortie: str
    aircraft: str
    made_at: str
    conditions: tuple[tuple[str, str], ...]
    battery: BatteryToday | None
    height: HeightToday
    reach: ReachToday | None
    settings: SettingsToday | None
    crew: CrewToday
    obstacles: tuple[tuple[str, float, float, float, float], ...]
    """Name, m from home, degrees, top in m, radius in m: for the plot."""
    areas: tuple[tuple[str, str, tuple[tuple[float, float], ...]], ...]
    """Name, kind, corners as (m from home, degrees): for the plot."""
    places: tuple[tuple[str, float, float], ...]
    """Landing places: name, m from home, degrees."""
    remarks: tuple[Remark, ...]
    """Most weighty first."""
    wind: tuple[float, float] | None = None
    """Today's, m/s, and the degrees it comes from: for the plot."""
