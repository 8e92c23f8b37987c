"""When a low-battery stage of the aircraft will act, flying on as now.

A stage is a quantity (voltage as measured or compensated for current, gauge, charge used or left), a threshold, a
time for which it must hold, and an action. Each is foretold by flying on as now: the packs' charge falls, their
voltage with it, the gauge as fast as the current says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from watchkeeper.aircraft.vocabulary import LowStage, Settings
from watchkeeper.estimate.packs.battery import Supply

ACTIVE: Final = frozenset(
    {"hold", "height_hold", "return", "retrace", "return_or_land", "land", "stop_motors", "other"}
)
"""Actions by which it flies otherwise than it is told."""
LONGEST_S: Final = 3600.0
EARLY: Final = 0.5
"""Deviations of what a curve may bend: more would call a stage minutes before it acts."""
_NOW_S: Final = 1.0
"""What comes sooner than the next answer is now."""
_HALVINGS: Final = 12


class Gauge(NamedTuple):
    """What the aircraft's own stages look at: volts of the bus, gauge in %, charge used in Ah, current in A.

    `capacity_ah` is what its gauge reckons with; None where unknown. `share` is the part of the current of the
    pack whose voltage is compensated.
    """

    voltage_v: float | None
    gauge_pct: float | None
    consumed_ah: float | None
    current_a: float | None
    capacity_ah: float | None
    share: float
    off_v: float | None = None


class Coming(NamedTuple):
    """A stage that will act: when (s from now), what it does, and which it is."""

    in_s: float
    action: str
    stage: LowStage


def coming(
    settings: Settings,
    supplies: Sequence[Supply],
    gauge: Gauge,
    power_w: float,
    acted: frozenset[str] = frozenset(),
) -> Coming | None:
    """Return the next stage that will act, flying on at a power; None if none is known that will.

    `acted` holds names of stages that have acted and do so once a flight.
    """
    found: list[Coming] = []
    for stage in settings.low_battery or ():
        action = stage.action.word
        if action not in ACTIVE or stage.name in acted:
            continue
        in_s = reaches(stage, settings, supplies, gauge, power_w)
        if in_s is not None and in_s < LONGEST_S:
            found.append(Coming(in_s + (stage.delay_s.number or 0.0), action, stage))
    return min(found, key=lambda one: one.in_s, default=None)


def uncertain(
    settings: Settings,
    supplies: Sequence[Supply],
    gauge: Gauge,
    power_w: float,
    acted: frozenset[str] = frozenset(),
) -> bool:
    """Whether a stage may act of which it cannot be said when: then "nothing" would be a promise."""
    for stage in settings.low_battery or ():
        action = stage.action.word
        if stage.name in acted or stage.threshold.word == "off" or (action is not None and action not in ACTIVE):
            continue
        if action is None or reaches(stage, settings, supplies, gauge, power_w) is None:
            return True
    return False


def reaches(
    stage: LowStage, settings: Settings, supplies: Sequence[Supply], gauge: Gauge, power_w: float
) -> float | None:
    """Return the seconds until a stage's threshold is reached (0: it is), flying on; None where unknown."""
    threshold, quantity = stage.threshold.number, stage.quantity.word
    if threshold is None or quantity is None:
        return None
    current_a = gauge.current_a
    match quantity:
        case "voltage" | "compensated_voltage":
            return _voltage_in(threshold, _ohm(quantity, settings, supplies), supplies, gauge, power_w)
        case "gauge":
            if gauge.gauge_pct is None or current_a is None or gauge.capacity_ah is None or current_a <= 0.0:
                return None
            return max(0.0, gauge.gauge_pct - threshold) / 100.0 * gauge.capacity_ah * 3600.0 / current_a
        case "charge_used" | "charge_left":
            used_ah, capacity_ah = gauge.consumed_ah, gauge.capacity_ah
            if used_ah is None or current_a is None or current_a <= 0.0:
                return None
            limit_ah = threshold / 1000.0
            if quantity == "charge_left":
                if capacity_ah is None:
                    return None
                limit_ah = capacity_ah - limit_ah
            return max(0.0, limit_ah - used_ah) * 3600.0 / current_a
        case _:
            return None


def reached(stage: LowStage, settings: Settings, supplies: Sequence[Supply], gauge: Gauge, power_w: float) -> bool:
    """Return whether a stage's threshold is reached now: `reaches` gives 0, without the search for when."""
    threshold, quantity = stage.threshold.number, stage.quantity.word
    if quantity not in {"voltage", "compensated_voltage"} or threshold is None:
        return reaches(stage, settings, supplies, gauge, power_w) == 0.0
    if not supplies or gauge.voltage_v is None:
        return False
    ohm = _ohm(quantity, settings, supplies)
    off_v = _off_v(threshold, ohm, supplies, gauge, power_w)
    return bus_v(supplies, power_w, _NOW_S, ohm) + off_v <= threshold


def _ohm(quantity: str, settings: Settings, supplies: Sequence[Supply]) -> float:
    """Return the resistance by which a pack's voltage is compensated, as told or as learned."""
    if quantity == "voltage":
        return 0.0
    told = settings.pack_resistance_ohm.number
    return told if told is not None else supplies[0].state.cell_ohm * supplies[0].state.cells


def bus_v(supplies: Sequence[Supply], power_w: float, after_s: float, ohm: float = 0.0) -> float:
    """Return the voltage after flying on at a power, V, compensated by `ohm` for a pack's current.

    From the early side: cells of one label fall by 0.4 to 1.2 V over the same charge, so what a curve may bend on
    the way there lets a stage come in half or twice the time.
    """
    highest_v = 0.0
    for one in supplies:
        part_w = power_w * one.share
        charge, volt = one.state.drawn(one.state.charge, part_w, after_s)
        bus = (volt - EARLY * one.state.bend_v(charge)) * one.state.cells
        current_a = part_w / bus if bus > 0.0 else 0.0
        highest_v = max(highest_v, bus + ohm * current_a)
    return highest_v


def over_model_v(supplies: Sequence[Supply], gauge: Gauge, power_w: float, ohm: float = 0.0) -> float:
    """Return by how much the measured voltage lies over what the packs' model gives at the present power, V."""
    volt_v = gauge.voltage_v or 0.0
    power_now_w = power_w if gauge.current_a is None else volt_v * gauge.current_a
    return volt_v + ohm * (gauge.current_a or 0.0) * gauge.share - bus_v(supplies, power_now_w, 0.0, ohm)


def _voltage_in(
    threshold_v: float, ohm: float, supplies: Sequence[Supply], gauge: Gauge, power_w: float
) -> float | None:
    """Return in how many seconds the voltage falls to a threshold; what is measured now sets the curve right."""
    if not supplies or gauge.voltage_v is None:
        return None
    off_v = _off_v(threshold_v, ohm, supplies, gauge, power_w)
    if bus_v(supplies, power_w, _NOW_S, ohm) + off_v <= threshold_v:
        return 0.0
    low_s, high_s = _NOW_S, LONGEST_S
    if bus_v(supplies, power_w, high_s, ohm) + off_v > threshold_v:
        return math.inf
    for _ in range(_HALVINGS):
        middle_s = 0.5 * (low_s + high_s)
        if bus_v(supplies, power_w, middle_s, ohm) + off_v > threshold_v:
            low_s = middle_s
        else:
            high_s = middle_s
    return low_s


def _off_v(threshold_v: float, ohm: float, supplies: Sequence[Supply], gauge: Gauge, power_w: float) -> float:
    """Return by how much what is measured lies over the model, V, as far as a model may be off."""
    off_v = gauge.off_v if gauge.off_v is not None else over_model_v(supplies, gauge, power_w, ohm)
    most_v = max(0.5, 0.03 * threshold_v)
    return max(-most_v, min(most_v, off_v))


def past(stage: LowStage) -> LowStage:
    """Return a stage as one whose threshold lies further on, by more than a reading is rounded or noisy."""
    threshold = stage.threshold.number
    if threshold is None:
        return stage
    word = stage.quantity.word
    less = -0.01 * threshold if word == "charge_used" else 1.5 if word == "gauge" else 0.01 * threshold
    return replace(stage, threshold=replace(stage.threshold, value=threshold - less))
