"""Lines for a terminal: wrapped to a width counted in columns, tables split where they are too wide."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Final

from watchkeeper.brief.findings import Weight
from watchkeeper.brief.sheet import Cell, Table
from watchkeeper.brief.wording import columns, plain

WIDTH: Final = 100
_GAP: Final = 2
_LEAST: Final = 14
"""No column of words is made narrower, however long the others are."""
Paint = Callable[[str, Weight | None], str]
"""Gives a piece of a line its colour; it adds no columns."""


def wrap(text: str, width: int) -> list[str]:
    """Return a text in lines of at most `width` columns; words that are longer are broken."""
    lines = [""]
    for word in plain(text).split():
        for piece in _pieces(word, width):
            room = width - columns(lines[-1]) - (1 if lines[-1] else 0)
            if columns(piece) <= room:
                lines[-1] += (" " if lines[-1] else "") + piece
            else:
                lines.append(piece)
    return lines


def _pieces(word: str, width: int) -> list[str]:
    if columns(word) <= width:
        return [word]
    pieces, taken = [""], 0
    for character in word:
        wide = columns(character)
        if taken + wide > width:
            pieces.append("")
            taken = 0
        pieces[-1] += character
        taken += wide
    return pieces


def hang(first: str, text: str, *, indent: int = 2) -> list[str]:
    """Return a text behind `first`, its further lines below its own beginning."""
    lead = " " * indent + first
    lines = wrap(text, WIDTH - columns(lead))
    return [lead + lines[0], *(" " * columns(lead) + line for line in lines[1:])]


def facts(pairs: Iterable[tuple[str, str | Cell]], paint: Paint) -> list[str]:
    """Return names and what they are, one below the other."""
    shown = [(plain(name), what if isinstance(what, Cell) else Cell(what)) for name, what in pairs]
    width = min(36, max((columns(name) for name, _ in shown), default=0))
    lines: list[str] = []
    for name, cell in shown:
        names, words = wrap(name, width), wrap(cell.text, WIDTH - width - 2 - _GAP)
        for k in range(max(len(names), len(words))):
            left = names[k] if k < len(names) else ""
            right = paint(words[k], cell.weight) if k < len(words) else ""
            lines.append(f"  {_filled(left, width)}{' ' * _GAP}{right}".rstrip())
    return lines


def table_lines(table: Table, paint: Paint) -> list[str]:
    """Return a table, split into several with the same first column where its numbers would not fit."""
    lines = wrap(table.caption, WIDTH)
    for part in _parts(table):
        lines += _part_lines(table, part, paint)
    return [*lines, *(hang("", table.note) if table.note else [])]


def _parts(table: Table) -> list[list[int]]:
    """Which columns stand side by side: all, or group by group."""
    every = list(range(len(table.columns)))
    if len(table.groups()) == 1 or sum(_wanted(table, k) + _GAP for k in every) <= WIDTH:
        return [every]
    parts: list[list[int]] = [[0]]
    for k in every[1:]:
        group, last = table.columns[k].group, table.columns[parts[-1][-1]].group
        wide = sum(_wanted(table, j) + _GAP for j in (*parts[-1], k))
        if group != last and wide + _group_width(table, group) > WIDTH and len(parts[-1]) > 1:
            parts.append([0])
        parts[-1].append(k)
    return parts


def _group_width(table: Table, group: str) -> int:
    members = [k for k, column in enumerate(table.columns) if column.group == group]
    return sum(_wanted(table, k) + _GAP for k in members[1:])


def _wanted(table: Table, k: int) -> int:
    """How many columns the cells of a column of numbers need; of words, what they are given at least."""
    column = table.columns[k]
    longest = max((columns(cells[k].text) for cells in table.rows), default=0)
    word = max((columns(part) for part in column.head.split()), default=0)
    return max(word, longest if column.numbers else min(longest, 24))


def _part_lines(table: Table, part: list[int], paint: Paint) -> list[str]:
    widths = _widths(table, part)
    lines = _group_line(table, part, widths)
    lines += _row_lines([Cell(table.columns[k].head) for k in part], table, part, widths, paint)
    lines.append("  " + (" " * _GAP).join("-" * widths[k] for k in part))
    for cells in table.rows:
        lines += _row_lines([cells[k] for k in part], table, part, widths, paint)
    return lines


def _widths(table: Table, part: list[int]) -> dict[int, int]:
    """Give each column what it needs; columns of words share what is left, the longest the most."""
    full = {k: max((columns(cells[k].text) for cells in table.rows), default=0) for k in part}
    heads = {k: max((columns(word) for word in table.columns[k].head.split()), default=1) for k in part}
    room = WIDTH - 2 - _GAP * (len(part) - 1)
    for least in (2 * _LEAST, _LEAST):
        widths = {k: max(1, heads[k], min(least, full[k])) for k in part}
        if sum(widths.values()) <= room:
            break
    order = sorted(part, key=lambda k: not table.columns[k].numbers)
    for k in (k for k in order if table.columns[k].numbers):
        widths[k] = max(widths[k], min(full[k], room // 2, 24))
    while sum(widths.values()) < room:
        short = [k for k in part if widths[k] < full[k]]
        if not short:
            break
        widths[max(short, key=lambda k: full[k] / widths[k])] += 1
    while sum(widths.values()) > room:
        widths[max(part, key=lambda k: widths[k])] -= 1
    return widths


def _group_line(table: Table, part: list[int], widths: dict[int, int]) -> list[str]:
    """Return the heads over several columns, each within what it spans."""
    spans: dict[str, tuple[int, int]] = {}
    at = 2
    for k in part:
        begin, wide = spans.get(table.columns[k].group, (at, -_GAP))
        spans[table.columns[k].group] = (begin, wide + _GAP + widths[k])
        at += widths[k] + _GAP
    heads = [(begin, wrap(group, wide)) for group, (begin, wide) in spans.items() if group]
    lines = ["" for _ in range(max((len(words) for _, words in heads), default=0))]
    for begin, words in heads:
        for n, word in enumerate(words):
            lines[n] = _filled(lines[n], begin) + word
    return lines


def _row_lines(
    cells: Sequence[Cell], table: Table, part: list[int], widths: dict[int, int], paint: Paint
) -> list[str]:
    wrapped = [wrap(cell.text, widths[k]) for cell, k in zip(cells, part, strict=True)]
    lines = []
    for n in range(max(map(len, wrapped))):
        pieces = []
        for cell, words, k in zip(cells, wrapped, part, strict=True):
            text = words[n] if n < len(words) else ""
            space = " " * (widths[k] - columns(text))
            shown = paint(text, cell.weight) if text else text
            pieces.append(space + shown if table.columns[k].numbers else shown + space)
        lines.append("  " + (" " * _GAP).join(pieces).rstrip())
    return lines


def _filled(text: str, width: int) -> str:
    return text + " " * (width - columns(text))
