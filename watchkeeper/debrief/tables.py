"""The tables of a debrief, as the page shows them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from watchkeeper.brief.findings import Weight
from watchkeeper.brief.sheet import Cell, Column, Table, row, table
from watchkeeper.brief.wording import bearing, distance
from watchkeeper.debrief.findings import AircraftDebrief, Crossing, DrillScore, Fix, Flight, Said
from watchkeeper.debrief.svg import since
from watchkeeper.debrief.words import against_call, clock, cost_words, lasting, reachable, soon


def place_words(fix: Fix) -> str:
    """Return where something was: distance and bearing from home, and height."""
    far = math.hypot(fix.north_m, fix.east_m)
    up = f", {fix.height_m:.0f} m high" if fix.height_m is not None else ""
    if far < 1.0:
        return f"at home{up}"
    return f"{distance(far)} at {bearing(math.degrees(math.atan2(fix.east_m, fix.north_m)) % 360)} from home{up}"


def score_table(score: DrillScore) -> Table:
    """Return the faults of a drill and whether each was called in time."""
    rows = []
    for one in score.expected:
        weight: Weight | None = None
        if one.called_s is None:
            said, weight = ("not called", "caution") if one.reached else ("not reached", None)
        elif one.called_s <= one.by_s:
            said = f"called at {since(one.called_s)}, in time"
        else:
            said, weight = f"called at {since(one.called_s)}, late", "caution"
        rows.append(row(one.fault, one.rule, since(one.by_s), Cell(said, weight)))
    return table("Faults and calls (min:s of the scenario)", ["Fault", "Rule", "Due by", "Call"], rows)


def refused_table(said: Sequence[Said]) -> Table:
    """Return orders that were not carried out."""
    return table(
        "Orders not carried out", ["UTC", "What and why"], [row(clock(one.clock), one.words) for one in said]
    )


def crossings_table(met: Sequence[Crossing], flight: Flight) -> Table:
    """Return the thresholds that were met in a flight; without columns in which nothing could be said."""
    answered = any(one.then is not None and one.then.reserve_pct is not None for one in met)
    rows = []
    for one in sorted(met, key=lambda one: one.at_s or 0.0):
        held = f" (then under it for {soon(one.held_s)})" if one.held_s is not None and one.held_s < 60 else ""
        used = f"{one.used_after_wh:.1f} Wh" if one.used_after_wh is not None else "not known"
        cells: list[str | Cell] = [
            f"{one.name}: {one.does}",
            f"{clock(one.clock)}, {since(one.at_s or 0.0)}{held}",
            used,
            f"{one.limit}; {one.source}",
        ]
        if flight.first_call_s is not None:
            cells.insert(2, against_call(one))
        if answered:
            cells[-2:-2] = [cost_words(one.then), Cell(*reachable(one.then))]
        rows.append(row(*cells))
    heads = ["Threshold", "Would have said (UTC, min:s)", "Used until the end", "Set to; source"]
    if flight.first_call_s is not None:
        heads.insert(2, "Against the watch")
    if answered:
        heads[-2:-2] = ["Way home from there", "Home still in reach"]
    return table("Thresholds that would have spoken", heads, rows, _call_words(flight, answered=answered))


def _call_words(flight: Flight, *, answered: bool) -> str:
    if flight.first_call_s is None:
        words = "In this flight the watch called nothing about getting home."
    else:
        words = f"The watch's first call about getting home: {since(flight.first_call_s)}, {flight.first_call}"
        if flight.call is not None and flight.call.reserve_pct is not None:
            words += f" The way home then: {cost_words(flight.call)}; {reachable(flight.call)[0]}."
    if not answered:
        words += f" The way home could not be worked out: {flight.why_no_return or 'readings were missing'}."
    return words


def unseen_table(one: AircraftDebrief) -> Table:
    """Return how much of the time in flight each of what matters most was known."""
    rows = [
        row(seen.words, f"{seen.known_share * 100:.0f} %", lasting(seen.longest_s) if seen.longest_s else "-")
        for seen in one.unseen
    ]
    heads: list[str | Column] = ["What", Column("known", numbers=True), Column("longest unknown", numbers=True)]
    return table(f"Known in flight, aircraft {one.system}", heads, rows)


def silences_table(one: AircraftDebrief) -> Table:
    """Return when the aircraft was not heard in flight."""
    rows = [row(clock(at), since(at_s), lasting(for_s)) for at_s, at, for_s in one.silences]
    heads: list[str | Column] = ["UTC", Column("min:s", numbers=True), Column("for", numbers=True)]
    return table(f"Not heard in flight for more than 3 s, aircraft {one.system}", heads, rows)
