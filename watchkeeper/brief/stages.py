"""The aircraft's own low-battery stages on today's flight: when each acts, and what it then lands with.

Each is tried twice: on the plan as it stands, and left alone at the farthest point, where nothing but the
aircraft's own action brings it home. The packs are taken to keep their heat: cold ones would act earlier and land
with more, which in the cold is the rosy side by far.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.vocabulary import LowStage, Settings
from watchkeeper.brief.battery import aloft_m, farthest, plan_parts
from watchkeeper.brief.day import Today
from watchkeeper.brief.findings import StageToday
from watchkeeper.brief.monitors import measured, measured_a, measured_ah, measured_ohm, measured_v
from watchkeeper.brief.route import Part, Point, back
from watchkeeper.brief.timeline import Moment, home_parts, moments
from watchkeeper.estimate.home.forecast import fly
from watchkeeper.estimate.home.homeway import Leg
from watchkeeper.estimate.home.lowstages import ACTIVE
from watchkeeper.estimate.packs.packtoday import rated_ah

LEFT_ALONE_S: Final = 7200.0
COMES_HOME: Final = frozenset({"return", "retrace", "return_or_land"})
_LANDS: Final = frozenset({"land"})


class _Reckoned(NamedTuple):
    """What a stage reckons with: the packs that its monitor measures (from 0), its resistance and its capacity.

    `sensed`: of which packs the current is that goes with that resistance.
    """

    packs: tuple[int, ...]
    sensed: tuple[int, ...]
    ohm: float
    capacity_ah: float


def stages_today(
    today: Today, way: Sequence[Point], settings: Settings, file: AircraftFile, turn_back_s: float | None
) -> list[StageToday]:
    """Return every stage that is known, in the order in which they act when it is left alone.

    `turn_back_s` is when the plan turns for home.
    """
    far = farthest(today, way)
    if far is None or settings.low_battery is None:
        return []
    at = way.index(far)
    parts, until = plan_parts(today, way), plan_parts(today, [*way[:at], far._replace(stay_s=0.0)])
    legs = back(today.plan, way[-1], today.wind_at(aloft_m(today, way[-1])))
    if parts is None or until is None or legs is None:
        return []
    planned = moments(today, [*parts, *home_parts(legs, way[-1])], warming=True)
    air = today.wind_at(far.height_m)
    stay = Leg(
        f"left alone at {far.name}", LEFT_ALONE_S, math.hypot(air.north_m_s, air.east_m_s), 0.0, far.height_m
    )
    alone = moments(today, [*until, Part(stay, far)], warming=True)
    rows: list[tuple[float, StageToday]] = []
    for stage in settings.low_battery:
        reckoned = _reckoned(stage, settings, today, file)
        acts = _acts(stage, reckoned, today, planned)
        alone_at = _acts(stage, reckoned, today, alone)
        rows.append((
            alone_at.time_s if alone_at is not None else math.inf,
            StageToday(
                name=stage.name,
                threshold=_threshold_words(stage),
                action=stage.action.word or "not understood",
                acts_s=acts.time_s if acts is not None else None,
                leg=acts.leg if acts is not None else "",
                before_turn_back=acts is not None and turn_back_s is not None and acts.time_s < turn_back_s,
                lands_with_pct=_lands_with(today, stage, alone_at),
                note=_note(stage, reckoned, alone_at),
            ),
        ))  # fmt: skip
    return [row for _, row in sorted(rows, key=lambda pair: pair[0])]


def _threshold_words(stage: LowStage) -> str:
    threshold, quantity = stage.threshold, stage.quantity.word
    if threshold.number is None:
        return threshold.word or "not understood"
    words = {
        "voltage": "as measured",
        "compensated_voltage": "compensated",
        "gauge": "of the gauge",
        "charge_used": "used",
        "charge_left": "left",
    }
    return f"{threshold.number:g} {threshold.unit} {words.get(quantity or '', 'of what is not understood')}"


def _note(stage: LowStage, reckoned: _Reckoned | None, alone: Moment | None) -> str:
    if stage.threshold.word == "off":
        return "off"
    lacking = [one for one in (stage.threshold, stage.quantity, stage.action) if one.value is None]
    if lacking:
        return f"not understood: {lacking[0].why}"
    if stage.action.word not in ACTIVE:
        return "only reports"
    if reckoned is None:
        return f"it is not known what its battery {stage.battery} measures"
    return "" if alone is not None else "never reached, even left alone"


def _acts(stage: LowStage, reckoned: _Reckoned | None, today: Today, seen: Sequence[Moment]) -> Moment | None:
    """Return the moment at which a stage acts; None if it does not, or it is not known.

    Power is constant within a leg, so that what dips does so at its beginning, which is a moment: when a quantity
    got to the threshold between two of them is told by a straight line.
    """
    threshold, quantity = stage.threshold.number, stage.quantity.word
    if threshold is None or quantity is None or stage.action.word not in ACTIVE or reckoned is None:
        return None
    since_s: float | None = None
    delay_s = stage.delay_s.number or 0.0
    before: tuple[float, float] | None = None
    for one in seen:
        over = _over(quantity, threshold, one, today, reckoned)
        if over > 0.0:
            since_s = None
        elif since_s is None:
            since_s = one.time_s
            if before is not None and before[1] > 0.0:
                since_s = before[0] + (one.time_s - before[0]) * before[1] / (before[1] - over)
        before = one.time_s, over
        if since_s is not None and one.time_s - since_s >= delay_s:
            return one._replace(time_s=since_s + delay_s)
    return None


def _reckoned(stage: LowStage, settings: Settings, today: Today, file: AircraftFile) -> _Reckoned | None:
    """Return what a stage reckons with; None where it is not known what its battery measures."""
    known = measured(file, today)
    packs = known.get(stage.battery) if stage.battery is not None else tuple(range(len(today.packs)))
    if packs is None:
        return None
    ohm, told_mah = settings.pack_resistance_ohm.number, settings.pack_capacity_mah.number
    own_ah = today.whole_ah([rated_ah(today.packs[i]) for i in packs])
    firsts = not stage.battery  # the capacity that is told is its first battery's
    sensed = packs if stage.battery is not None else next(iter(known.values()))
    return _Reckoned(
        packs,
        sensed,
        ohm if ohm is not None else measured_ohm(today, sensed),
        told_mah / 1000.0 if told_mah and firsts else own_ah,
    )


def _over(quantity: str, threshold: float, one: Moment, today: Today, reckoned: _Reckoned) -> float:
    """Return by how much a quantity is still short of its threshold; 0 or less where it is there."""
    packs, sensed, ohm, capacity_ah = reckoned
    used_ah = measured_ah(today, one, packs)
    match quantity:
        case "voltage":
            return measured_v(today, one, packs) - threshold
        case "compensated_voltage":
            return measured_v(today, one, packs) + ohm * measured_a(today, one, sensed) - threshold
        case "gauge":
            return 100.0 * (1.0 - used_ah / capacity_ah) - threshold
        case "charge_used":
            return threshold - 1000.0 * used_ah
        case _:
            return 1000.0 * (capacity_ah - used_ah) - threshold


def _lands_with(today: Today, stage: LowStage, at: Moment | None) -> float | None:
    """Return the usable charge after the landing that a stage brings about, %; None if it brings none about."""
    action = stage.action.word
    if at is None or action is None:
        return None
    plan = today.plan
    if action in _LANDS:
        plan = plan._replace(order=("land",), hold_s=0.0)
    elif action not in COMES_HOME or not plan.lands:
        return None
    legs = back(plan, at.at, today.wind_at(aloft_m(today, at.at)))
    if legs is None:
        return 0.0
    left = [
        fly(legs, one.state._replace(charge=charge), one, today.model).left_pct
        for one, charge in zip(today.supplies, at.charges, strict=True)
    ]
    return max(0.0, min(left))
