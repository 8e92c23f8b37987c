"""The brief as one self-contained page that fetches and runs nothing; on A4 the crew's sheet stands apart."""

from __future__ import annotations

from collections.abc import Sequence

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief import sheet_battery, sheet_place, sheet_settings
from watchkeeper.brief.findings import Brief, Remark
from watchkeeper.brief.page_parts import facts, listed, paragraph, part, section, table, text, ticked
from watchkeeper.brief.page_style import style_sheet
from watchkeeper.brief.plot_words import beyond
from watchkeeper.brief.reach_plot import reach_plot, reach_shows, view_m
from watchkeeper.brief.wording import (
    CUSTOMARY,
    NO_BATTERY,
    NO_CHANGES,
    NO_REACH,
    NO_SETTINGS,
    NO_THRESHOLD,
    STANDING,
    all_remarks,
    height_as_set,
    moment,
    no_remarks,
    sentence,
    tally,
)

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
"""The page says by itself that nothing may be fetched or run."""
_STAGES_BESIDE = 3
"""As many low-battery stages find room beside the plot."""


def page(brief: Brief, units: CrewUnits) -> str:
    """Return the whole HTML document."""
    sortie, aircraft = brief.sortie or "unnamed sortie", brief.aircraft or "unnamed aircraft"
    head = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<title>Brief: {text(sortie)}</title>\n<style>\n{style_sheet()}</style>\n</head>\n"
    )
    body = (
        f"<header>\n<h1>Brief: {text(sortie)}</h1>",
        paragraph(f"Aircraft {aircraft}. Made {moment(brief.made_at)}.", "made"),
        facts(brief.conditions, "line"),
        paragraph(STANDING, "standing"),
        "</header>\n<main>",
        _remarks(all_remarks(brief), no_remarks(brief)),
        _numbers(brief, units),
        _settings(brief),
        _crew(brief, f"Crew sheet: {sortie}, aircraft {aircraft}"),
        "</main>\n<footer>",
        paragraph(STANDING),
        "</footer>",
    )
    inside = "\n".join(filter(None, body))
    return f'{head}<body>\n<div class="sheet">\n{inside}\n</div>\n</body>\n</html>\n'


def _remarks(remarks: Sequence[Remark], none: str) -> str:
    rows = [
        f'<li><span class="tag {remark.weight}">{remark.weight.upper()}</span>'
        f"<span><strong>{text(sentence(remark.about).rstrip('.'))}:</strong> {text(sentence(remark.what))}"
        + (f' <span class="do"><strong>Do:</strong> {text(sentence(remark.do))}</span>' if remark.do else "")
        + "</span></li>"
        for remark in remarks
    ]
    shown = f'<ul class="remarks">{"".join(rows)}</ul>' if rows else paragraph(none)
    return section("against", f"Against flying: {tally(remarks)}" if rows else "Against flying", (shown,))


def _numbers(brief: Brief, units: CrewUnits) -> str:
    battery = brief.battery
    threshold = sheet_battery.threshold_table(battery) if battery is not None else None
    legs = sheet_battery.legs_table(battery, units) if battery is not None else None
    stages = sheet_battery.stages_table(battery) if battery is not None else None
    points = sheet_place.points_table(brief.reach) if brief.reach is not None else None
    many = stages is not None and len(stages.rows) > _STAGES_BESIDE
    left = (
        facts(sheet_place.station_facts(battery)) if battery is not None else "",
        table(sheet_place.height_table(brief.height, units)),
        table(points),
        "" if many else table(stages),
    )
    return section(
        "numbers",
        "Today's numbers",
        (
            paragraph(NO_BATTERY) if battery is None else table(threshold, "set") or paragraph(NO_THRESHOLD),
            f'<div class="pair"><div>{"".join(left)}</div>\n{_figure(brief, units)}</div>',
            table(legs),
            table(stages) if many else "",
        ),
    )


def _figure(brief: Brief, units: CrewUnits) -> str:
    found, view = brief.reach, view_m(brief)
    if found is None or not found.bearings:
        caption = NO_REACH
    else:
        reaches = ", ".join(f"{name} {far}" for name, far in sheet_place.bearing_reaches(found))
        beyond_it = "" if reach_shows(brief, view) else " All round it lies beyond the plot."
        caption = f"Reach at {height_as_set(found.height_m, units)}: {reaches}.{beyond_it}"
    outside = beyond(brief, view)
    words = f"{caption} {outside}".strip()
    return f'<figure>\n{reach_plot(brief, units)}\n<figcaption class="note">{text(words)}</figcaption></figure>'


def _settings(brief: Brief) -> str:
    settings = brief.settings
    if settings is None:
        return section("settings", "Settings", (paragraph(NO_SETTINGS),))
    fitting = "; ".join(
        f'{text(name)}<span class="screen"> ({text(has)})</span>' for name, has in sheet_settings.fitting(settings)
    )
    parts = (
        paragraph(sheet_settings.seen_words(settings), "note"),
        table(sheet_settings.changes_table(settings), "changes") or paragraph(NO_CHANGES),
        f"<p><strong>Fit:</strong> {fitting}.</p>" if fitting else "",
        table(sheet_settings.unread_table(settings)),
        table(sheet_settings.differences_table(settings)),
    )
    return section("settings", "Settings", parts)


def _crew(brief: Brief, heading: str) -> str:
    crew, reach = brief.crew, brief.reach
    packs = sheet_battery.packs_table(brief.battery) if brief.battery is not None else None
    radio = facts(sheet_place.radio_facts(reach.radio)) if reach is not None and reach.radio is not None else ""
    dusk = (
        facts(sheet_place.dusk_facts(reach.dusk, brief.made_at))
        if reach is not None and reach.dusk is not None
        else ""
    )
    beside = part("Telemetry radio", radio) + part("Daylight", dusk)
    cautions = paragraph(CUSTOMARY) + listed(crew.cautions) if crew.cautions else ""
    last = part("Customary cautions", cautions) + part("The watch will be blind to", listed(crew.blind))
    first = (
        part("Packs", table(packs)),
        f'<div class="beside">{beside}</div>' if beside else "",
        part("Roles", facts(crew.roles)),
    )
    second = (
        part("Checklist", ticked(crew.checklist)),
        part("Emergency card", table(sheet_settings.emergencies_table(crew)), "card"),
        f'<div class="beside">{last}</div>' if last else "",
    )
    blocks = (f'<div class="sheetpart">{"".join(block)}</div>' for block in (first, second) if any(block))
    return section("crew", heading, blocks, css="crew")
