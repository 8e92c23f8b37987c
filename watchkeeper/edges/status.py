"""The live status of a watch in a few rows of text: pure, out of its picture.

Colours by 14 CFR 25.1322: red for warnings only, amber (the terminal's yellow) for cautions only, never without
the level's word. Everything that comes from outside loses what could steer a terminal.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import StringIO
from typing import Final, NamedTuple, TypeAlias

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from watchkeeper.alerts.events import Level, State
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.edges.terminal import plain
from watchkeeper.picture.models import AircraftPicture, Answer, ShownAlert, StationPicture

LEAST_WIDTH: Final = 12
HEARD_NOW_S: Final = 3.0
"""A heartbeat comes once a second: two may be missed before its age is told."""
MOST_ROWS_A_LINE: Final = 3
MOST_TEXT: Final = 300
_STYLES: Final = {Level.WARNING: "red", Level.CAUTION: "yellow"}
_QUIET: Final = (State.NORMAL, State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE)
Say: TypeAlias = Callable[..., str]
_INDENT: Final = "  "
_GAP: Final = "  "


class Line(NamedTuple):
    """One line before it is broken into rows."""

    rank: int
    """What is shown first where there is too little room: lowest."""
    text: Text


class Section(NamedTuple):
    """What is shown of one aircraft, or of the watch itself."""

    lines: list[Line]
    short: Text
    """All of it in one row."""


def status_lines(
    picture: StationPicture,
    width: int,
    height: int,
    *,
    language: Language = ENGLISH,
    heard: str = "",
    keys: str = "",
) -> list[Text]:
    """Return at most `height` rows, none wider than `width`.

    `heard` is who is heard on each source, `keys` what keys do, each in one line.
    """
    if width < LEAST_WIDTH or height < 1:
        return []
    head = _broken(_header(picture, language, heard), width, 2 if height >= 8 else 1)
    foot = _broken(Text(_safe(keys), "dim"), width, 2 if height >= 10 else 1) if keys and height >= 5 else []
    own = [_watch(picture, language)] if _wrong(picture.alerts) else []
    others = [_aircraft(one, language) for one in picture.aircraft]
    return [*head, *_fitted(own, others, width, height - len(head) - len(foot), language.phrase), *foot][:height]


def rendered(rows: Sequence[Text], width: int, *, colour: bool) -> list[str]:
    """Return rows as they are written to a terminal. Without colour they keep bold and reversed."""
    out = StringIO()
    console = Console(
        file=out, width=width, force_terminal=True, color_system="standard", no_color=not colour,
        legacy_windows=False, markup=False, emoji=False, highlight=False, _environ={},
    )  # fmt: skip
    for row in rows:
        console.print(row, no_wrap=True, overflow="ellipsis", crop=True)
    return out.getvalue().split("\n")[:-1]


def _fitted(own: Sequence[Section], others: Sequence[Section], width: int, room: int, say: Say) -> list[Text]:
    """Return the rows of the sections: each has one; the rest goes to those in most need, the watch's own last."""
    if room < 1:
        return []
    more: list[Text] = []
    fit = max(room - 1, 1) - len(own)
    if len(own) + len(others) > room:
        more = [Text(say("+ {} more", len(others) - max(fit, 0)))] if room > 1 else []
        own, others = (own, others[:fit]) if fit > 0 else ([], others[:1]) if others else (own[:1], [])
        room -= len(more)
    left = room - len(own) - len(others)
    shown: list[list[Text]] = []
    for section in (*others, *own):
        rows = _most_urgent(section, width, left + 1)
        left -= len(rows) - 1
        shown.append(rows)
    shown = [*shown[len(others) :], *shown[: len(others)]]
    return [*(row for rows in shown for row in rows), *more]


def _most_urgent(section: Section, width: int, room: int) -> list[Text]:
    """Return the rows of the lines of lowest rank for which there is room, in the order of the lines."""
    if room == 1:
        return _broken(section.short, width, 1)
    kept: dict[int, list[Text]] = {}
    for n in sorted(range(len(section.lines)), key=lambda n: section.lines[n].rank):
        if room > 0:
            most = room if kept else max(1, room - 2)  # a long name is not to push out what is wrong
            kept[n] = _broken(section.lines[n].text, width, min(MOST_ROWS_A_LINE, most))
            room -= len(kept[n])
    return [row for n in sorted(kept) for row in kept[n]]


def _broken(text: Text, width: int, most: int) -> list[Text]:
    """Return a line as rows, later ones set in; what does not fit into `most` is cut off with a mark."""
    rows: list[Text] = []
    inset = " " * (len(text.plain) - len(text.plain.lstrip())) + _INDENT
    text = text.copy()
    while text.cell_len > width and len(rows) < most - 1:
        row, rest = text.divide([_fits(text.plain, width, len(inset) if rows else 0)])
        row.rstrip()
        rows.append(row)
        blanks = len(rest.plain) - len(rest.plain.lstrip())
        text = Text(inset).append_text(rest[blanks:] if blanks else rest)
    text.truncate(width, overflow="ellipsis")
    return [*rows, text]


def _fits(plain_text: str, width: int, inset: int) -> int:
    """Return how many characters fit into a row: up to a blank, if there is one behind the inset."""
    cells = 0
    for n, character in enumerate(plain_text):
        cells += cell_len(character)
        if cells > width:
            blank = plain_text.rfind(" ", 0, n + 1)
            return blank if blank > inset else n
    return len(plain_text)


def _header(picture: StationPicture, language: Language, heard: str) -> Text:
    say = language.phrase
    line = Text()
    if picture.exercise:
        line.append(say("exercise").upper(), "bold reverse").append(_GAP)
    fields = [
        say("the {} does not hear the watch", language.tell(role))
        for role, hears in picture.hearing.items()
        if hears is False
    ]
    if picture.state == "watching":
        fields.append(say("watching since {}", picture.since[11:16]))
    else:
        fields.append(say("watch stopped") if picture.state == "stopped" else say("watch lost"))
    fields.append(f"{picture.time[11:16]} UTC")
    fields += [
        say("the {} hears the watch", language.tell(role)) for role, hears in picture.hearing.items() if hears
    ]
    fields += [picture.station, heard]
    return line.append(_GAP.join(_safe(one) for one in fields if one))


def _watch(picture: StationPicture, language: Language) -> Section:
    wrong = _wrong(picture.alerts)
    lines = [Line(n, _alert(one, language)) for n, one in enumerate(wrong)]
    return Section(lines, _alert(wrong[0], language))


def _aircraft(one: AircraftPicture, language: Language) -> Section:
    say = language.phrase
    number = say("aircraft {}", one.system)
    name = _safe(one.name)
    head = Text(name if name == number else f"{name} ({number})", "bold")
    heard, silent = _heard(one.heard_s, language)
    phase = language.tell(one.phase.replace("_", " ")) if one.phase else ""
    fields = [phase, say("mode {}", one.mode.replace("_", " ")) if one.mode else ""]
    fields.insert(0 if silent else 2, heard)
    for field in fields:
        if field:
            head.append(_GAP + _safe(field), "not bold")
    wrong = _wrong(one.alerts)
    lines = [Line(0, head)]
    alerts = [Line(1 if n == 0 else 3 + n, _set_in(_alert(alert, language))) for n, alert in enumerate(wrong)]
    lines += [*alerts, Line(2, _set_in(_answer(one.answer, language)))]
    if one.blind:
        text = say("not seen: {}", one.blind[0])
        if len(one.blind) > 1:
            text = say("not seen, {} in all: {}", len(one.blind), one.blind[0])
        lines.append(Line(1000, Text(_INDENT + _safe(text))))
    short = Text().append(name, "bold").append(_GAP)
    short.append_text(_alert(wrong[0], language) if wrong else _answer(one.answer, language))
    return Section(lines, short)


def _heard(heard_s: float | None, language: Language) -> tuple[str, bool]:
    """Return how long ago it was heard, and whether that is too long."""
    if heard_s is None:
        return language.phrase("not heard yet"), True
    if heard_s < HEARD_NOW_S:
        return language.phrase("heard now"), False
    return language.phrase("not heard for {}", _duration(heard_s, language)), True


def _answer(answer: Answer, language: Language) -> Text:
    say = language.phrase
    line = Text(_safe(answer.words), "bold" if answer.standing in ("soon", "now", "no") else "")
    fields = []
    if answer.reserve_pct is not None:
        fields.append(say("{} % left at landing", round(answer.reserve_pct)))
        if answer.reserve_low_pct is not None:
            fields[-1] += f", {say('at least {} %', int(answer.reserve_low_pct // 1))}"
    if answer.turn_back_in_s is not None:
        duration = _duration(abs(answer.turn_back_in_s), language)
        late = answer.turn_back_in_s < 0
        fields.append(say("turning back is {} late", duration) if late else say("turn back in {}", duration))
        if answer.turn_back_before:
            fields[-1] += f" ({answer.turn_back_before})"
    if answer.standing == "no" and answer.nearest:
        fields.append(answer.nearest)
    for field in fields:
        line.append(_GAP + _safe(field), "not bold")
    return line


def _duration(length_s: float, language: Language) -> str:
    """Return a time rounded down, over a minute to ten seconds: a countdown that seldom changes is calm."""
    if length_s < 60:
        return language.phrase("{} s", int(length_s))
    if length_s < 600:
        return language.phrase("{} min {} s", int(length_s // 60), f"{int(length_s % 60) // 10 * 10:02d}")
    return language.phrase("{} min", int(length_s // 60))


def _alert(alert: ShownAlert, language: Language) -> Text:
    say = language.phrase
    level = say(alert.level.value.capitalize())
    words = alert.callout
    for said in (say("Aircraft {}.", alert.aircraft), level + "."):  # what stands beside it already
        words = words.removeprefix(said).lstrip() or words
    words = f"{level.upper()}{_GAP}{_safe(words)}"
    line = Text(words, "" if alert.over else _STYLES.get(alert.level, ""))
    marks = [say(word) for word, holds in _marks(alert) if holds]
    return line.append(f"{_GAP}[{', '.join(marks)}]") if marks else line


def _marks(alert: ShownAlert) -> list[tuple[str, bool]]:
    return [("over", alert.over), ("stale", alert.stale), ("acknowledged", bool(alert.acknowledged_by))]


def _wrong(alerts: Sequence[ShownAlert]) -> list[ShownAlert]:
    """Return what is to be seen of a list, most urgent first; what is over comes after all that is not."""
    return sorted(
        (one for one in alerts if one.state not in _QUIET), key=lambda one: (one.over, -one.level.urgency)
    )


def _set_in(text: Text) -> Text:
    return Text(_INDENT).append_text(text)


def _safe(text: str) -> str:
    return plain(text[:MOST_TEXT])
