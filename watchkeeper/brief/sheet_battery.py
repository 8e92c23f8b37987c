"""The tables of what the packs allow today: threshold, legs, the aircraft's own stages, the packs."""

from __future__ import annotations

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.findings import NOT_HOME_PCT, BatteryToday, Deepest, StageToday, Threshold, Weight
from watchkeeper.brief.sheet import Cell, Column, Table, row, table
from watchkeeper.brief.wording import (
    NONE,
    NOT_KNOWN,
    charge_mah,
    distance,
    down,
    height_as_set,
    known,
    left_at_home,
    minutes,
    number,
    plain,
    sentence,
    up,
)


def threshold_table(battery: BatteryToday) -> Table | None:
    """Return what to set as low-battery threshold, by what an aircraft can watch, and which of it will do."""
    threshold = battery.threshold
    if threshold is None:
        return None
    rows = (
        row("Bus voltage, as measured", up(threshold.volt_v, "V", 1), _as_measured(battery.deepest)),
        row(
            "Bus voltage, load compensated",
            up(threshold.compensated_v, "V", 1),
            "If the aircraft adds the load's drop back, with the packs' true resistance.",
        ),
        row(
            "Gauge",
            up(threshold.gauge_pct, "%"),
            "If it counts from full, with the capacity stated for the packs.",
        ),
        row(
            "Charge used", charge_mah(threshold.used_mah), "If all packs go in full and the count begins at zero."
        ),
    )
    return table(
        f"Low-battery threshold for today: when the return from {plain(threshold.place)} has to begin",
        ("What the aircraft watches", Column("Act at", numbers=True), "Can it be used?"),
        rows,
        f"That is {up(threshold.usable_pct, '%')} usable charge, of which {up(battery.required_pct, '%')} "
        "must be left after landing. Usable is 0 % where hover power can no longer be held above the cell floor.",
    )


def _as_measured(deepest: tuple[Deepest, ...]) -> Cell:
    usual = [case for case in deepest if case.case != "one pack out" and known(case.volt_v)]
    if not usual:
        return Cell("Not worked out: load or gusts may pull the voltage below it early.")
    lowest = min(usual, key=lambda case: case.volt_v)
    where = f"{lowest.case}, {minutes(lowest.at_s)} min into the flight, {plain(lowest.leg)}"
    if all(case.stays_above for case in usual):
        words = f"Yes: before the way home the bus stays at {down(lowest.volt_v, 'V', 1)} or more ({where})."
        weight: Weight | None = None
    else:
        words = f"No, it would act too early: the bus falls to {down(lowest.volt_v, 'V', 1)} {where}."
        weight = "caution"
    for case in deepest:
        if case.case == "one pack out" and known(case.volt_v):
            acts = "would not act by itself" if case.stays_above else "would act"
            words += f" With one pack out it falls to {down(case.volt_v, 'V', 1)} and {acts}."
    return Cell(words, weight)


def legs_table(battery: BatteryToday, units: CrewUnits) -> Table | None:
    """Return the legs: what they take, what the packs show at their end, and when to turn back there."""
    if not battery.legs:
        return None
    end, left, back = "At its end", "Left at home", "Turn back at"
    columns = (
        Column("Leg"),
        Column("Takes min:s", numbers=True),
        Column("Takes Wh", numbers=True),
        Column("Ends min:s", end, numbers=True),
        Column("From home", end, numbers=True),
        Column("Height", end, numbers=True),
        Column("Bus V", end, numbers=True),
        Column("Gauge %", end, numbers=True),
        Column("Likely %", left, numbers=True),
        Column("Least %", left, numbers=True),
        Column("Bus V", back, numbers=True),
        Column("Gauge %", back, numbers=True),
        Column("Used mAh", back, numbers=True),
    )
    rows = []
    for leg in battery.legs:
        short = known(leg.home_low_pct) and (leg.home_low_pct or 0.0) < battery.required_pct
        least = left_at_home(leg.home_low_pct)
        if short and (leg.home_low_pct or 0.0) > NOT_HOME_PCT:
            least += " too little"
        rows.append(
            row(
                plain(leg.name),
                minutes(leg.time_s),
                up(leg.energy_wh),
                minutes(leg.end_s),
                distance(leg.distance_m),
                height_as_set(leg.height_m, units),
                number(leg.volt_v, decimals=1),
                number(leg.gauge_pct),
                down(leg.home_pct),
                Cell(least, "warning" if short else None),
                *_turn_back(leg.turn_back),
            )
        )
    note = (
        "Left at home: usable charge after a return begun at the leg's end, least by the lower bound of 95 %. "
        "Turn back: shown in a hover when that return has to begin."
    )
    return table("The plan, leg by leg", columns, rows, note)


def _turn_back(threshold: Threshold | None) -> tuple[str, str, str]:
    if threshold is None:
        return (NONE, NONE, NONE)
    return (
        up(threshold.volt_v, decimals=1),
        up(threshold.gauge_pct),
        charge_mah(threshold.used_mah).removesuffix(" mAh"),
    )


def stages_table(battery: BatteryToday) -> Table | None:
    """Return the aircraft's own low-battery stages and when they would act on today's plan.

    Those that do nothing (off, not understood) are named below, unless there are no others.
    """
    if not battery.stages:
        return None
    acting = [stage for stage in battery.stages if not _idle(stage)] or list(battery.stages)
    idle: dict[str, list[str]] = {}
    for stage in battery.stages:
        if stage not in acting:
            idle.setdefault(plain(stage.note).partition(":")[0], []).append(plain(stage.name))
    rows = [
        row(plain(s.name), f"{plain(s.threshold)}: {plain(s.action)}", _acts(s), _lands(s, battery.required_pct))
        for s in acting
    ]
    return table(
        "The aircraft's own low-battery stages, as set now",
        ("Stage", "Set to", "On this plan", "Left alone, lands with"),
        rows,
        " ".join(sentence(f"{why}: {', '.join(names)}") for why, names in idle.items()),
    )


def _idle(stage: StageToday) -> bool:
    return stage.acts_s is None and stage.lands_with_pct is None and bool(stage.note)


def _acts(stage: StageToday) -> str:
    if stage.acts_s is None:
        return sentence(stage.note) or "Does not act."
    note = f". {sentence(stage.note)}" if stage.note else ""
    when = "before" if stage.before_turn_back else "after"
    leg = f" ({plain(stage.leg)})" if stage.leg else ""
    return f"Acts at {minutes(stage.acts_s)} min{leg}, {when} the turn-back{note}"


def _lands(stage: StageToday, required_pct: float) -> Cell:
    if stage.lands_with_pct is None:
        return Cell(NONE if stage.acts_s is None else NOT_KNOWN)
    if stage.lands_with_pct < required_pct:
        return Cell(f"{down(stage.lands_with_pct, '%')}, below the {up(required_pct, '%')} required", "warning")
    return Cell(down(stage.lands_with_pct, "%"))


def packs_table(battery: BatteryToday) -> Table | None:
    """Return the packs: what they should show before they are joined, and what they are reckoned with."""
    if not battery.packs:
        return None
    rows = [
        row(
            f"{pack.number}" + (f" ({plain(pack.label)})" if pack.label else ""),
            number(pack.rest_v, decimals=2),
            f"{number(pack.usable_ah, decimals=1)} of {number(pack.capacity_ah, decimals=1)}",
            number(pack.resistance_mohm, decimals=1),
            NONE if pack.cycles is None else number(pack.cycles),
            NONE if pack.temperature_degc is None else number(pack.temperature_degc),
            plain(pack.source),
        )
        for pack in battery.packs
    ]
    why = sentence(battery.rest_difference_why)
    if battery.rest_difference_v is None:
        note = f"Allowed difference at rest: {NOT_KNOWN}. {why}"
    else:
        note = (
            f"At rest, packs may differ by {down(battery.rest_difference_v, 'V', 2)} before they are joined. {why}"
        )
    return table(
        "Before they are joined, full and at rest",
        (
            "Pack",
            Column("Rest V", numbers=True),
            Column("Usable Ah", numbers=True),
            Column("mohm", numbers=True),
            Column("Cycles", numbers=True),
            Column("°C", numbers=True),
            "Numbers from",
        ),
        rows,
        note.strip(),
    )
