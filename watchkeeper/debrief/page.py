"""The debrief as one self-contained page that fetches and runs nothing, of bounded size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.page_parts import listed, paragraph, part, section, table, text
from watchkeeper.brief.plot_marks import HATCHES
from watchkeeper.brief.wording import STANDING, moment, sentence
from watchkeeper.debrief import tables
from watchkeeper.debrief.findings import AircraftDebrief, Debrief, Entry, Flight
from watchkeeper.debrief.look import page_style
from watchkeeper.debrief.plan import draw_plan
from watchkeeper.debrief.plots import Setting, draw, missing, span_of
from watchkeeper.debrief.svg import Drawn, in_page, save_link, since
from watchkeeper.debrief.words import (
    AFTERWARDS,
    UNDELIVERED,
    became,
    clock,
    evidence_words,
    flight_words,
    said_words,
    told_words,
    way_words,
)

MOST_BYTES: Final = 2_900_000


class _Detail(NamedTuple):
    """How much a page shows: points a curve, plans of one aircraft, whether plots can be saved."""

    points: int
    plans: int
    saves: bool


DETAILS: Final = (
    _Detail(1400, 12, saves=True),
    _Detail(500, 6, saves=True),
    _Detail(160, 2, saves=True),
    _Detail(60, 0, saves=False),
)
"""The next where the page would be too large."""
_POINT_BYTES: Final = 26
"""A point of a curve, drawn and in the file to save."""
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def page(debrief: Debrief, units: CrewUnits) -> str:
    """Return the whole HTML document, under MOST_BYTES."""
    html = ""
    for detail in DETAILS:
        if detail is not DETAILS[-1] and _expected_bytes(debrief, detail) > MOST_BYTES:
            continue
        html = _Page(debrief, units, detail).html()
        if len(html.encode()) <= MOST_BYTES:
            break
    return html


def _expected_bytes(debrief: Debrief, detail: _Detail) -> int:
    """Return about how large the plots become."""
    points = sum(
        min(len(some), detail.points)
        for one in debrief.aircraft
        for figure in one.figures
        for panel in figure.panels
        for curve in panel.curves
        for some in (curve.points, curve.low)
    )
    tracks = sum(min(len(f.track), detail.points) for one in debrief.aircraft for f in one.flights[: detail.plans])
    return _POINT_BYTES * (points + tracks)


class _Page:
    def __init__(self, debrief: Debrief, units: CrewUnits, detail: _Detail) -> None:
        self._debrief, self._units, self._detail = debrief, units, detail
        self._plots = 0
        self._several = len(debrief.aircraft) > 1
        self._delivers = any(one.told for one in debrief.timeline)

    def html(self) -> str:
        found = self._debrief
        heading = f"{'Exercise debrief' if found.exercise else 'Debrief'}: {found.title}"
        head = (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            '<meta name="color-scheme" content="light dark">\n'
            f"<title>{text(heading)}</title>\n<style>\n{page_style(found.exercise)}</style>\n</head>\n"
        )
        body = (
            f"<header>\n<h1>{text(heading)}</h1>",
            paragraph(f"Made {moment(found.made)} of {found.source.name}.", "made"),
            paragraph("EXERCISE", "exercise") if found.exercise else "",
            paragraph(STANDING, "standing"),
            "</header>\n<main>",
            self._short(),
            self._score(),
            self._timeline(),
            *(self._aircraft(one) for one in found.aircraft),
            self._thresholds(),
            self._unseen(),
            self._made_of(),
            "</main>\n<footer>",
            paragraph("EXERCISE", "exercise") if found.exercise else "",
            paragraph(STANDING),
            "</footer>",
        )
        inside = "\n".join(filter(None, body))
        defs = f'<svg class="defs" aria-hidden="true" focusable="false"><defs>{HATCHES}</defs></svg>'
        return f'{head}<body>\n{defs}\n<div class="sheet">\n{inside}\n</div>\n</body>\n</html>\n'

    def _name(self, one: AircraftDebrief) -> str:
        return f"Aircraft {one.system}" + (f", {one.name}" if one.name else "")

    def _entries(self, system: int) -> list[Entry]:
        return [one for one in self._debrief.timeline if one.aircraft == system]

    def _short(self) -> str:
        parts = []
        lived = self._debrief.source.lived
        for one in self._debrief.aircraft:
            entries = self._entries(one.system)
            for flight in one.flights:
                who = [self._name(one)] if self._several else []
                who += [f"Flight {flight.number}"] if len(one.flights) > 1 else []
                lead = f"<strong>{text(', '.join(who))}.</strong> " if who else ""
                words = flight_words(flight, entries, self._units, lived=lived)
                parts.append(f'<p class="flown">{lead}{text(words)}</p>')
            if not one.flights:
                lasts = f"heard from {since(one.first_s)} to {since(one.last_s)} (min:s)"
                parts.append(paragraph(f"{self._name(one)} was {lasts} and was not seen to fly.", "flown"))
            if one.passed_over:
                parts.append(
                    paragraph(f"{one.passed_over} more flights are in the recording and not shown.", "note")
                )
        if not self._debrief.aircraft:
            none = "No aircraft is in this recording: no heartbeat of an autopilot was heard."
            parts.append(paragraph(none, "flown"))
        if not lived:
            parts.append(paragraph(AFTERWARDS, "note"))
        return section("short", "In short", parts)

    def _score(self) -> str:
        score = self._debrief.score
        if score is None:
            return ""
        endings = []
        if score.ending:
            endings.append(f"At the end: {score.ending}.")
        if score.timely:
            endings.append(f"A crew that turned back 10 s after the first call: {score.timely}.")
        parts = (table(tables.score_table(score)), listed(endings))
        return section("score", f"Score of the drill {score.scenario}", parts)

    def _timeline(self) -> str:
        found = self._debrief
        rows = "".join(self._entry(one) for one in found.timeline)
        shown = f'<ol class="timeline">{rows}</ol>' if rows else paragraph("No alert was raised.")
        more = ""
        if found.passed_over:
            more = paragraph(f"{found.passed_over} more, less urgent, are not shown.", "note")
        how = AFTERWARDS
        if found.source.lived:
            how = "As the watch decided it then, and told it." if self._delivers else UNDELIVERED
        calls = listed([said_words(one, several=self._several) for one in found.said])
        refused = table(tables.refused_table(found.refusals)) if found.refusals else ""
        routine = part("Calls without an alert", calls, "called") if calls else ""
        inside = (paragraph(how, "note") if rows else "", shown, more, routine, refused)
        return section("timeline", "Timeline of alerts", inside)

    def _entry(self, one: Entry) -> str:
        who = f"Aircraft {one.aircraft}. " if self._several and one.aircraft is not None else ""
        level = one.level.value
        words = one.words or one.rule
        lines = [f"<strong>{text(who + words)}</strong>"]
        shown = "" if one.rule.startswith("watch-") else evidence_words(one.evidence)
        if shown or one.reason:
            lines.append(f"<p>{text(sentence(shown or one.reason))}</p>")
        if one.silent:
            lines.append(f"<p>{text(one.silent[0].upper() + one.silent[1:])}.</p>")
        elif one.told:
            lines.append(f"<p>Told by {text(told_words(one.told))}.</p>")
        elif self._delivers:
            lines.append("<p>To nobody: no delivery of it is in the log.</p>")
        lines.append(f"<p>{text(became(one))}</p>")
        where = ""
        if one.place is not None:
            where = text(tables.place_words(one.place)) + " · "
        lines.append(f"<small>{where}rule {text(one.rule)}</small>")
        return (
            f'<li><span class="no">{one.number}</span><span class="when">{text(clock(one.clock))}'
            f"<small>{text(since(one.at_s))}</small></span>"
            f'<span class="tag {level}">{level.upper()}</span><div class="what">{"".join(lines)}</div></li>'
        )

    def _aircraft(self, one: AircraftDebrief) -> str:
        heading = f"{self._name(one)}: over time"
        span = span_of(one.flights, one.first_s, one.last_s)
        of = self._name(one)
        begins = self._debrief.source.begins
        setting = Setting(
            span, one.flights, self._entries(one.system), begins, self._debrief.exercise, of, self._detail.points
        )
        figures, without = [], []
        for figure in one.figures:
            drawn = draw(figure, setting)
            without += missing(figure, span)
            if drawn is not None:
                figures.append(self._figure(drawn, f"aircraft-{one.system}", figure.note))
        plans = self._plans(one)
        parts = (
            listed([way_words(way) for flight in one.flights for way in flight.ways_home]),
            f'<div class="plots">{"".join(plans + figures)}</div>' if plans or figures else "",
            part("Not drawn", listed(list(dict.fromkeys(without + self._undrawn(one))))),
        )
        return section(f"aircraft-{one.system}", heading, parts)

    def _plans(self, one: AircraftDebrief) -> list[str]:
        shown = []
        for flight in one.flights[: self._detail.plans]:
            drawn = draw_plan(
                flight,
                [e for e in self._entries(one.system) if e.flight == flight.number],
                self._debrief.around,
                of=self._name(one),
                exercise=self._debrief.exercise,
                most=self._detail.points,
            )
            if drawn is None:
                continue
            shown.append(self._figure(drawn, f"aircraft-{one.system}", self._plan_note(flight), HATCHES))
        return shown

    def _undrawn(self, one: AircraftDebrief) -> list[str]:
        more = len(one.flights) - self._detail.plans
        return [f"Plans of the last {more} flights: the page would be too large."] if more > 0 else []

    def _plan_note(self, flight: Flight) -> str:
        if flight.home is None:
            return "Around its first place: home is not known."
        return ""

    def _figure(self, drawn: Drawn, prefix: str, note: str, defs: str = "") -> str:
        self._plots += 1
        caption = f"<strong>{text(drawn.title)}.</strong> {text(note)}"
        if self._debrief.exercise:
            prefix = f"exercise-{prefix}"
        saved = save_link(drawn, prefix, f"<defs>{defs}</defs>" if defs else "") if self._detail.saves else ""
        shown = in_page(drawn, self._plots)
        return f'<figure>\n{shown}\n<figcaption class="note">{caption} {saved}</figcaption></figure>'

    def _thresholds(self) -> str:
        parts = []
        for one in self._debrief.aircraft:
            for flight in one.flights:
                who = self._name(one) + (f", flight {flight.number}" if len(one.flights) > 1 else "")
                parts.append(part(who, self._crossed(flight)))
        if not parts:
            return ""
        intro = paragraph(
            "These are not the watch's calls. A threshold knows neither the distance nor the wind. What the way "
            "home would have cost from then on is the watch's estimate of that moment.",
            "note",
        )
        return section("thresholds", "What fixed thresholds would have said", (intro, *parts))

    def _crossed(self, flight: Flight) -> str:
        met = [one for one in flight.crossings if one.at_s is not None]
        silent = [f"{one.name} ({one.limit})" for one in flight.crossings if one.at_s is None and not one.blind]
        blind = [f"{one.name}: {one.blind}" for one in flight.crossings if one.blind]
        parts = [table(tables.crossings_table(met, flight))] if met else []
        if silent:
            parts.append(paragraph(f"Would have said nothing: {'; '.join(silent)}."))
        if blind:
            parts.append(paragraph(f"Could not have said anything: {'; '.join(blind)}."))
        if not any(one.source != "common practice" for one in flight.crossings):
            parts.append(
                paragraph("The aircraft's own low-battery stages are not in the recording, or are off.", "note")
            )
        return "".join(parts)

    def _unseen(self) -> str:
        parts = []
        for one in self._debrief.aircraft:
            inside = table(tables.unseen_table(one), "narrow") if one.unseen else ""
            silences = table(tables.silences_table(one), "narrow") if one.silences else ""
            parts.append(part(self._name(one), inside + silences) if inside or silences else "")
        blind = [one for one in self._debrief.timeline if one.rule.startswith("watch-")]
        told = [f"{clock(one.clock)}: {one.words} {one.reason}. {became(one)}" for one in blind]
        parts.append(part("Told of the watch itself", listed(told[:30])) if told else "")
        parts.append(part("Heard in the recording", listed(self._debrief.source.heard)))
        return section("unseen", "What the watch could not see", parts)

    def _made_of(self) -> str:
        source = self._debrief.source
        rows = [f"Recording {source.name}, from {moment(source.begins)}, {since(source.lasts_s)} (min:s) long."]
        rows += source.files
        if source.lived:
            rows.append(
                "The log of the watch that made it is in it: alerts, deliveries and times stand as they were."
            )
            rows.append(
                f"Replayed now, this version decides otherwise: {source.difference}."
                if source.difference
                else "Replayed now, the same is decided."
            )
        else:
            rows.append("No watch log is in it: alerts are what the watch decides about the recording.")
        return section("made", "What this was made of", (listed([*rows, *source.remarks]), _ledger(source.ledger)))


def _ledger(lines: Sequence[str]) -> str:
    return part("Pack ledger", listed(list(lines))) if lines else ""
