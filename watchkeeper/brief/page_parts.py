"""Pieces of the page: every text that goes in is escaped here, and nowhere else."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from watchkeeper.brief.sheet import Cell, Column, Table
from watchkeeper.brief.wording import plain

_LONG = 4
"""A table of more rows may be divided between two sheets of paper."""


def text(words: str) -> str:
    """Return words that can stand in the page, as text or in an attribute."""
    return escape(plain(words), quote=True)


def paragraph(words: str, css: str = "") -> str:
    """Return a paragraph."""
    return f"<p{_css(css)}>{text(words)}</p>"


def section(name: str, heading: str, parts: Iterable[str], *, css: str = "") -> str:
    """Return a section under its heading, which names it."""
    inside = "\n".join(filter(None, parts))
    head = f'<h2 id="{name}">{text(heading)}</h2>'
    return f'<section{_css(css)} aria-labelledby="{name}">\n{head}\n{inside}\n</section>'


def part(heading: str, inside: str, css: str = "") -> str:
    """Return a part of a section under its own heading; nothing for nothing."""
    return f"<div{_css(css)}><h3>{text(heading)}</h3>\n{inside}</div>" if inside else ""


def listed(items: Sequence[str]) -> str:
    """Return a list."""
    return f'<ul class="plainlist">{"".join(f"<li>{text(item)}</li>" for item in items)}</ul>' if items else ""


def ticked(items: Sequence[str]) -> str:
    """Return a list with boxes to tick."""
    rows = "".join(f'<li><label><input type="checkbox"><span>{text(item)}</span></label></li>' for item in items)
    return f'<ul class="ticks">{rows}</ul>' if items else ""


def facts(pairs: Iterable[tuple[str, str | Cell]], css: str = "facts") -> str:
    """Return names and what they are."""
    rows = []
    for name, what in pairs:
        cell = what if isinstance(what, Cell) else Cell(what)
        rows.append(f"<div><dt>{text(name)}</dt><dd{_weight(cell)}>{text(cell.text)}</dd></div>")
    inside = "".join(rows) if css == "line" else "".join(rows).replace("<div>", "").replace("</div>", "")
    return f"<dl{_css(css)}>{inside}</dl>" if rows else ""


def table(shown: Table | None, css: str = "") -> str:
    """Return a table; nothing for none.

    One of numbers scrolls by itself where it is too wide. One of words falls apart into its rows on a narrow
    screen, each cell behind its column's head; that takes a table's meaning away in some browsers, so the roles
    are said once more.
    """
    if shown is None:
        return ""
    words = "words long" if len(shown.rows) > _LONG else "words"
    scrolls = all(column.numbers for column in shown.columns[1:])
    body = "".join(
        f'<tr role="row"><th role="rowheader" scope="row"{_weight(cells[0])}>{text(cells[0].text)}</th>'
        + "".join(_cell(cell, column) for cell, column in zip(cells[1:], shown.columns[1:], strict=True))
        + "</tr>"
        for cells in shown.rows
    )
    note = paragraph(shown.note, "note") if shown.note else ""
    caption = text(shown.caption)
    box = f'class="wide" role="region" tabindex="0" aria-label="{caption}"' if scrolls else f'class="{words}"'
    return (
        f'<div {box}>\n<table role="table"{_css(css)}><caption>{caption}</caption>\n'
        f'<thead role="rowgroup">{_head(shown)}</thead>\n'
        f'<tbody role="rowgroup">{body}</tbody></table>\n</div>{note}'
    )


def _head(shown: Table) -> str:
    groups = shown.groups()
    if len(groups) == 1:
        return f'<tr role="row">{"".join(_column(column) for column in shown.columns)}</tr>'
    first, second, at = [], [], 0
    for name, span in groups:
        members = shown.columns[at : at + span]
        at += span
        if name:
            first.append(
                f'<th role="columnheader" scope="colgroup" class="over" colspan="{span}">{text(name)}</th>'
            )
            second += [_column(column) for column in members]
        else:
            first += [_column(column, ' rowspan="2"') for column in members]
    return f'<tr role="row">{"".join(first)}</tr><tr role="row">{"".join(second)}</tr>'


def _column(column: Column, more: str = "") -> str:
    if not column.head:
        return f'<td role="cell"{more}></td>'
    return (
        f'<th role="columnheader" scope="col"{more}{_css("n" if column.numbers else "")}>{text(column.head)}</th>'
    )


def _cell(cell: Cell, column: Column) -> str:
    css = " ".join(filter(None, ("n" if column.numbers else "", f"is-{cell.weight}" if cell.weight else "")))
    head = f' data-head="{text(column.head)}"' if column.head else ""
    return f'<td role="cell"{head}{_css(css)}>{text(cell.text)}</td>'


def _weight(cell: Cell) -> str:
    return _css(f"is-{cell.weight}" if cell.weight else "")


def _css(css: str) -> str:
    return f' class="{css}"' if css else ""
