"""Sentences and number formats of a debrief."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Final

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.alerts.events import Level
from watchkeeper.brief.findings import Weight
from watchkeeper.brief.wording import bearing, distance, height, number, sentence, speed
from watchkeeper.debrief.findings import Crossing, Entry, Flight, Forecast, Said, Told, Value, WayHome

PLURALS: Final = {Level.WARNING: "warnings", Level.CAUTION: "cautions", Level.ADVISORY: "advisories"}
MOST_EVIDENCE: Final = 6
UNDELIVERED: Final = "As the watch decided it then. No delivery to anybody is in its log."
AFTERWARDS: Final = "Worked out afterwards from the recording: nobody was told this in flight."


def lasting(value_s: float | None) -> str:
    """Return a time that passed, to the nearest second: "8 s", "5 min 8 s", "2 h 3 min"."""
    if value_s is None:
        return "not known"
    whole = round(abs(value_s))
    if whole >= 7200:
        return f"{whole // 3600} h {whole // 60 % 60} min"
    parts = (f"{whole // 60} min" if whole >= 60 else "", f"{whole % 60} s" if whole % 60 or whole < 60 else "")
    return " ".join(filter(None, parts))


def soon(value_s: float) -> str:
    """Return a reaction time: with a tenth below ten seconds."""
    return f"{value_s:.1f} s" if value_s < 9.95 else lasting(value_s)


def clock(text: str | None) -> str:
    """Return the time of day of a UTC text."""
    return text[11:19] if text else "not known"


def day(text: str) -> str:
    """Return the date of a UTC text."""
    return text[:10]


def said_words(said: Said, *, several: bool) -> str:
    """Return a routine call with its time."""
    who = f"Aircraft {said.aircraft}: " if several and said.aircraft is not None else ""
    return f"{clock(said.clock)} {who}{said.words}"


def tally(found: Sequence[Entry]) -> str:
    """Return how many alerts there were of each level that were to be spoken."""
    counts = Counter(one.level for one in found if not one.silent)
    told = [
        f"{counts[level]} {level.value if counts[level] == 1 else PLURALS[level]}"
        for level in PLURALS
        if counts[level]
    ]
    return ", ".join(told)


def flight_words(flight: Flight, entries: Sequence[Entry], units: CrewUnits, *, lived: bool) -> str:
    """Return a flight in a paragraph."""
    parts = [
        f"{day(flight.begins)}, {clock(flight.begins)} to {clock(flight.ends)} UTC, "
        f"{lasting(flight.ends_s - flight.begins_s)}"
        + (" (in the air already when first heard)" if flight.cut_in else "")
    ]
    parts.append(_how_far(flight, units))
    parts.append(_wind(flight, units))
    parts.append(_ending(flight))
    if flight.lowest_cell_v is not None:
        parts.append(f"The lowest voltage a cell was {flight.lowest_cell_v:.2f} V under load")
    parts.append(_said(flight, entries, lived=lived))
    return " ".join(sentence(part) for part in parts if part)


def _how_far(flight: Flight, units: CrewUnits) -> str:
    if not flight.track and flight.farthest_m is None:
        return "How far it flew is not known: no position was told"
    parts = [f"It flew {distance(flight.way_m)} over ground"]
    if flight.farthest_m is not None:
        parts.append(f"at most {distance(flight.farthest_m)} from home")
    elif flight.home is None:
        parts.append("from where is not known, for it told no home")
    if flight.highest_m is not None:
        parts.append(f"at most {height(flight.highest_m, units)} above home")
    return ", ".join(parts)


def _wind(flight: Flight, units: CrewUnits) -> str:
    if flight.wind_m_s is None:
        return "The wind is not known"
    gusts = f", gusts {speed(flight.gust_m_s, units)}" if flight.gust_m_s is not None else ""
    comes = f" from {bearing(flight.wind_from_deg)}" if flight.wind_from_deg is not None else ""
    return f"The mean wind was {speed(flight.wind_m_s, units)}{comes}{gusts}"


def _ending(flight: Flight) -> str:
    left = [
        f"{number(flight.left_pct, '%')} of usable charge left" if flight.left_pct is not None else "",
        f"{number(flight.left_gauge_pct, '%')} on its own gauge" if flight.left_gauge_pct is not None else "",
        f"{flight.left_cell_v:.2f} V a cell at rest" if flight.left_cell_v is not None else "",
    ]
    known = ", ".join(filter(None, left))
    used = f", after {flight.used_wh:.1f} Wh" if flight.used_wh is not None else ""
    used += f" ({flight.used_ah * 1000:.0f} mAh by its counter)" if used and flight.used_ah else ""
    told = f" with {known}" if known else "; what was left in the packs is not known"
    return f"{flight.ending}{told}{used}"


def _said(flight: Flight, entries: Sequence[Entry], *, lived: bool) -> str:
    own = [one for one in entries if one.flight == flight.number]
    told = tally(own)
    verb = "called" if lived else "would have called"
    if not told:
        return f"The watch {verb} nothing"
    words = f"The watch {verb} {told}"
    if flight.first_call_s is not None:
        after = lasting(flight.first_call_s - flight.begins_s)
        words += f"; about getting home first {after} after take-off: {flight.first_call}"
    return words


def evidence_words(evidence: Mapping[str, Value]) -> str:
    """Return what an alert rested on, in the catalogue's words."""
    shown = []
    for name, value in [*evidence.items()][:MOST_EVIDENCE]:
        reading = CATALOGUE[INDEX[name]] if name in INDEX else None
        unit = reading.unit_symbol if reading is not None else ""
        meaning = reading.meaning if reading is not None else name
        shown.append(f"{meaning}: {value_words(value, '' if unit == 'count' else unit)}")
    more = len(evidence) - MOST_EVIDENCE
    return "; ".join(shown) + (f"; and {more} more" if more > 0 else "")


def value_words(value: Value, unit: str) -> str:
    """Return a value with its unit."""
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.replace("_", " ")
    decimals = (
        0
        if abs(value) >= 100 or value == round(value)
        else 1
        if abs(value) >= 10
        else 2
        if abs(value) >= 0.1
        else 4
    )
    return number(value, unit, decimals)


def told_words(told: Sequence[Told]) -> str:
    """Return who was told and when, an outlet each."""
    found = sorted(told, key=lambda one: one.outlet)
    parts = []
    for outlet, some in groupby(found, key=lambda one: one.outlet):
        steps = ", ".join(
            f"{one.outcome}{f' after {one.after_s:.1f} s' if one.after_s is not None else ''}"
            + (f" ({one.detail})" if one.detail else "")
            for one in [*some][:4]
        )
        parts.append(f"{outlet}: {steps}")
    return "; ".join(parts)


def became(entry: Entry) -> str:
    """Return what became of an alert: acknowledged, acted on, over."""
    parts = []
    for who, after_s in entry.acknowledged[:4]:
        parts.append(f"acknowledged by {who} after {soon(after_s)}")
    if not entry.acknowledged and not entry.silent and entry.level.urgency >= Level.CAUTION.urgency:
        parts.append("not acknowledged")
    if entry.acted_after_s is not None:
        parts.append(f"{entry.acted} after {soon(entry.acted_after_s)}")
    if entry.escalated:
        parts.append(entry.escalated)
    if entry.repeats:
        parts.append(f"repeated {entry.repeats} time{'s' if entry.repeats > 1 else ''}")
    if entry.stale:
        parts.append("went stale: what it rests on was missing for a time")
    if entry.over_after_s is not None:
        reason = entry.over_reason
        if reason.startswith("phase is "):
            reason = reason.replace("_", " ")
        why = f" ({reason})" if reason and reason != "condition over" else ""
        parts.append(f"over after {soon(entry.over_after_s)}{why}")
    else:
        parts.append("stood to the end")
    return sentence(", ".join(parts))


def reachable(then: Forecast | None) -> tuple[str, Weight | None]:
    """Return whether home could still be reached from a moment on, by the estimate then; and how weighty it is."""
    if then is None or then.reserve_pct is None:
        return "not known: the way home could not be worked out then", None
    low = "" if then.reserve_low_pct is None else f", at least {_charge(then.reserve_low_pct)}"
    if then.reserve_pct <= 0.0:
        return "no: the charge would not have lasted", "warning"
    if then.reserve_low_pct is not None and then.reserve_low_pct <= 0.0:
        return f"not surely: {then.reserve_pct:.0f} % expected at landing, but it might not have lasted", "caution"
    return f"yes: {then.reserve_pct:.0f} % expected at landing{low}", None


def _charge(value: float) -> str:
    return f"{value:.0f} %"


def cost_words(then: Forecast | None) -> str:
    """Return what the way home would have cost from a moment on."""
    if then is None or then.energy_wh is None:
        return "not known"
    far = f" over {distance(then.distance_m)}" if then.distance_m is not None else ""
    return f"{then.energy_wh:.1f} Wh, {lasting(then.time_s)}{far}"


def against_call(crossing: Crossing) -> str:
    """Return how a threshold stands to the watch's first call about the return."""
    if crossing.after_call_s is None:
        return "the watch made no call about getting home"
    after = crossing.after_call_s
    return f"{lasting(after)} {'after' if after >= 0 else 'before'} the watch's call"


def way_words(way: WayHome) -> str:
    """Return how a forecast of the way home stands to what it took."""
    began = "When it turned back" if way.begun == "return" else "At its farthest place"
    then = way.forecast
    if then.energy_wh is None:
        return f"{began}, at {clock(then.clock)}, the way home could not be forecast."
    low = f", at least {_charge(then.reserve_low_pct)}" if then.reserve_low_pct is not None else ""
    left = f" and {_charge(then.reserve_pct)} of charge at landing{low}" if then.reserve_pct is not None else ""
    words = f"{began}, at {clock(then.clock)}, the forecast was {cost_words(then)}{left}."
    if way.used_wh is None or way.took_s is None:
        return f"{words} What it took is not in the recording."
    off = (way.used_wh / then.energy_wh - 1.0) * 100.0 if then.energy_wh > 0.05 else None
    more = "" if off is None else f" ({abs(off):.0f} % {'more' if off >= 0 else 'less'} than forecast)"
    rest = f", and {_charge(way.left_pct)} were left" if way.left_pct is not None else ""
    detour = "" if way.begun == "return" else " No return was seen: it was flown otherwise than forecast."
    return f"{words} It took {way.used_wh:.1f} Wh{more} and {lasting(way.took_s)}{rest}.{detour}"
