"""The brief as a card for the terminal: plain text that reads without colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief import sheet_battery, sheet_place, sheet_settings
from watchkeeper.brief.card_lines import WIDTH, Paint, facts, hang, table_lines, wrap
from watchkeeper.brief.findings import Brief, Weight
from watchkeeper.brief.sheet import Table
from watchkeeper.brief.wording import (
    CUSTOMARY,
    NO_BATTERY,
    NO_CHANGES,
    NO_REACH,
    NO_SETTINGS,
    NO_THRESHOLD,
    STANDING,
    all_remarks,
    moment,
    no_remarks,
    plain,
    sentence,
    tally,
)

_ANSI: Final[dict[Weight, str]] = {"warning": "1;31", "caution": "33"}
"""Red and amber (14 CFR 25.1322); nothing else has a colour."""


def card(brief: Brief, *, colour: bool, units: CrewUnits) -> str:
    """Return the card: lines of at most 100 columns, with an end of line after each."""
    paint = _coloured if colour else _uncoloured
    lines = [
        *_head(brief, paint),
        *_remarks(brief, paint),
        *_numbers(brief, units, paint),
        *_reach(brief, paint),
        *_settings(brief, paint),
        *_packs_radio_light(brief, paint),
        *_crew(brief, paint),
        *wrap(STANDING, WIDTH),
    ]
    return "".join(f"{line.rstrip()}\n" for line in lines)


def _coloured(text: str, weight: Weight | None) -> str:
    code = _ANSI.get(weight) if weight is not None else None
    return f"\x1b[{code}m{text}\x1b[0m" if code else text


def _uncoloured(text: str, weight: Weight | None) -> str:  # noqa: ARG001 - the shape of a Paint
    return text


def _section(title: str, *parts: Sequence[str]) -> list[str]:
    """Return a section, a blank line between its parts and after it."""
    lines = [f"== {title} ".ljust(WIDTH, "=")]
    for part in parts:
        if part:
            lines += [*part, ""]
    return lines


def _tables(tables: Sequence[Table | None], paint: Paint) -> list[list[str]]:
    return [table_lines(table, paint) for table in tables if table is not None]


def _head(brief: Brief, paint: Paint) -> list[str]:
    sortie, aircraft = plain(brief.sortie) or "unnamed sortie", plain(brief.aircraft) or "unnamed aircraft"
    return [
        *wrap(f"Brief: {sortie}", WIDTH),
        *wrap(f"Aircraft {aircraft}. Made {moment(brief.made_at)}. The crew decides; this only advises.", WIDTH),
        *facts(((name, plain(value)) for name, value in brief.conditions), paint),
        "",
    ]


def _remarks(brief: Brief, paint: Paint) -> list[str]:
    remarks = all_remarks(brief)
    lines: list[str] = []
    for remark in remarks:
        word = f"{remark.weight.upper():<10}"
        text = hang(word, f"{sentence(remark.about).rstrip('.')}: {plain(remark.what)}".rstrip(": "))
        lines += [text[0].replace(word, paint(word, remark.weight), 1), *text[1:]]
        if remark.do:
            lines += hang("Do: ", sentence(remark.do), indent=12)
    title = f"Against flying ({tally(remarks)})" if remarks else "Against flying"
    return _section(title, lines or hang("", no_remarks(brief)))


def _numbers(brief: Brief, units: CrewUnits, paint: Paint) -> list[str]:
    height = table_lines(sheet_place.height_table(brief.height, units), paint)
    if brief.battery is None:
        return _section("Today's numbers", hang("", NO_BATTERY), height)
    battery = brief.battery
    threshold = sheet_battery.threshold_table(battery)
    return _section(
        "Today's numbers",
        table_lines(threshold, paint) if threshold else hang("", NO_THRESHOLD),
        facts(sheet_place.station_facts(battery), paint),
        height,
        *_tables((sheet_battery.legs_table(battery, units), sheet_battery.stages_table(battery)), paint),
    )


def _reach(brief: Brief, paint: Paint) -> list[str]:
    if brief.reach is None:
        return _section("Reach", hang("", NO_REACH))
    return _section(
        "Reach: how far it can go and still come home with the reserve",
        facts(sheet_place.bearing_reaches(brief.reach), paint) or hang("", NO_REACH),
        *_tables((sheet_place.points_table(brief.reach),), paint),
    )


def _settings(brief: Brief, paint: Paint) -> list[str]:
    if brief.settings is None:
        return _section("Settings", hang("", NO_SETTINGS))
    settings = brief.settings
    changes = sheet_settings.changes_table(settings)
    fitting = "; ".join(f"{name} ({has})" for name, has in sheet_settings.fitting(settings))
    return _section(
        "Settings",
        hang("", sheet_settings.seen_words(settings)),
        table_lines(changes, paint) if changes else hang("", NO_CHANGES),
        hang("Fit: ", fitting) if fitting else [],
        *_tables((sheet_settings.unread_table(settings), sheet_settings.differences_table(settings)), paint),
    )


def _packs_radio_light(brief: Brief, paint: Paint) -> list[str]:
    lines: list[str] = []
    packs = sheet_battery.packs_table(brief.battery) if brief.battery is not None else None
    if packs is not None:
        lines += _section("Packs", table_lines(packs, paint))
    if brief.reach is not None and brief.reach.radio is not None:
        lines += _section("Telemetry radio", facts(sheet_place.radio_facts(brief.reach.radio), paint))
    if brief.reach is not None and brief.reach.dusk is not None:
        lines += _section("Daylight", facts(sheet_place.dusk_facts(brief.reach.dusk, brief.made_at), paint))
    return lines


def _crew(brief: Brief, paint: Paint) -> list[str]:
    crew = brief.crew
    ticks = [line for item in crew.checklist for line in hang("[ ] ", item)]
    emergencies = sheet_settings.emergencies_table(crew)
    return [
        *(_section("Roles", facts(crew.roles, paint)) if crew.roles else []),
        *(_section("Checklist", ticks) if ticks else []),
        *(_section("Emergency card", table_lines(emergencies, paint)) if emergencies else []),
        *(_section("Customary cautions", hang("", CUSTOMARY), _listed(crew.cautions)) if crew.cautions else []),
        *(_section("The watch will be blind to", _listed(crew.blind)) if crew.blind else []),
    ]


def _listed(items: Sequence[str]) -> list[str]:
    return [line for item in items for line in hang("- ", item)]
