"""The crew's low-battery threshold as a stage of the aircraft counts it.

Each stage looks at its own quantity: a voltage as this aircraft compensates it, the charge left of the capacity
that it reckons with. What cannot be put into that says why.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final, NamedTuple

from watchkeeper.aircraft.vocabulary import LowStage, Setting, Settings, Status
from watchkeeper.brief.asked import LowBattery, Trigger
from watchkeeper.brief.compare_judge import amount, over, shown, under

_CAPACITY_OFF: Final = 0.05
"""So far a capacity may be off from the right one (common practice: packs of one kind differ as much)."""
_LITTLE: Final = 0.7
"""With less of the drop compensated a voltage sags as the measured one does."""


class Scale(NamedTuple):
    """The crew's threshold as a stage counts, in its threshold's unit; `sign` 1: it falls in flight, -1: it rises.

    `needs`: the settings that decide it. `why`: it cannot be said, and why.
    """

    trigger: Trigger
    sign: int = 1
    needs: tuple[Setting, ...] = ()
    why: str = ""


def scale_of(stage: LowStage, settings: Settings, low: LowBattery) -> Scale:
    """Return the crew's threshold as a stage counts it."""
    nothing = Trigger(None)
    word, battery = stage.quantity.word, stage.battery
    if word is None:
        return Scale(nothing, why=stage.quantity.why or "what it looks at is not understood")
    if battery is not None and battery not in low.used_share and (battery or word.startswith("charge")):
        return Scale(nothing, why=f"it is not known what its battery {battery} measures")
    kind = "charge_used" if word == "charge_left" else word
    trigger = next((one for name, one in low.triggers.items() if name == kind), None)
    if trigger is None:
        return Scale(nothing, why="today's threshold in this quantity could not be worked out")
    if word == "compensated_voltage":
        return _compensated(trigger, settings.pack_resistance_ohm, low)
    capacity = settings.pack_capacity_mah
    if word == "gauge":
        return _gauge(trigger, capacity, low)
    if kind != "charge_used":
        return Scale(trigger)
    share = 1.0 if battery is None else low.used_share[battery]
    used = _each(trigger, lambda one: one * share)
    if word == "charge_used":
        return Scale(used, -1)
    if capacity.number is None:
        why = capacity.why or "it counts no capacity, so what is left of it means nothing"
        return Scale(nothing, needs=(capacity,), why=why)
    if battery:
        return Scale(nothing, needs=(capacity,), why=f"the capacity of its battery {battery} is not known")
    whole_mah = capacity.number
    return Scale(_each(used, lambda one: whole_mah - one), needs=(capacity,))


def _compensated(trigger: Trigger, own: Setting, low: LowBattery) -> Scale:
    """Put a compensated voltage into that of the aircraft's own resistance."""
    if own.word == "learned":
        return Scale(trigger, needs=(own,))
    if own.number is None:
        return Scale(trigger, needs=(own,), why=own.why or "by what it compensates is not understood")
    measured = low.triggers.get("voltage")
    if measured is None or not low.pack_ohm:
        return Scale(trigger, needs=(own,), why="whether its resistance for compensation is right is not known")
    part = own.number / low.pack_ohm

    def between(one: float | None, other: float | None) -> float | None:
        return None if one is None or other is None else one + (other - one) * part

    usable = trigger.usable if part >= _LITTLE else trigger.usable and measured.usable
    scaled = Trigger(
        between(measured.at, trigger.at),
        between(measured.planned, trigger.planned),
        between(measured.way_home, trigger.way_home),
        usable,
        trigger.why or measured.why,
    )
    return Scale(scaled, needs=(own,))


def _gauge(trigger: Trigger, capacity: Setting, low: LowBattery) -> Scale:
    """Take a gauge for right only if it counts from the right capacity, or cannot be set."""
    if capacity.status is not Status.UNDERSTOOD:
        return Scale(trigger, needs=(capacity,), why=capacity.why)
    if capacity.word == "none" and not capacity.names:
        return Scale(trigger, needs=(capacity,))
    if capacity.number is None:
        return Scale(
            trigger, needs=(capacity,), why="its gauge counts no charge, so what it will show is not known"
        )
    if low.capacity_mah is None:
        return Scale(trigger, needs=(capacity,), why="the capacity that its gauge should count from is not known")
    if abs(capacity.number - low.capacity_mah) > _CAPACITY_OFF * low.capacity_mah:
        right = amount(round(low.capacity_mah), "mAh")
        why = f"its gauge counts from {shown(capacity)} and not from {right}: its percentages mean nothing"
        return Scale(trigger, needs=(capacity,), why=why)
    return Scale(trigger, needs=(capacity,))


def later(number: float, than: float, scale: Scale) -> bool:
    """Whether what acts at a number acts later in a flight than at another."""
    return under(number, than) if scale.sign > 0 else over(number, than)


def _each(trigger: Trigger, of: Callable[[float], float]) -> Trigger:
    """Return a trigger with each of its values put into another measure."""
    at, planned, way_home = (
        None if one is None else of(one) for one in (trigger.at, trigger.planned, trigger.way_home)
    )
    return replace(trigger, at=at, planned=planned, way_home=way_home)
