"""Tables as card and page both show them: heads, rows of words, and which words stand out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from watchkeeper.brief.findings import Weight


@dataclass(frozen=True, slots=True)
class Cell:
    """Words in a table; what `weight` makes stand out says so by itself, without colour."""

    text: str
    weight: Weight | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its head, the head over several columns, whether it holds numbers."""

    head: str
    group: str = ""
    numbers: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table. The first cell of a row names it. `note` stands below."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""

    def groups(self) -> list[tuple[str, int]]:
        """Return the heads over the columns, each with the number of columns it spans."""
        found: list[tuple[str, int]] = []
        for column in self.columns:
            if found and found[-1][0] == column.group:
                found[-1] = (column.group, found[-1][1] + 1)
            else:
                found.append((column.group, 1))
        return found


def row(*cells: str | Cell) -> tuple[Cell, ...]:
    """Return a row of cells."""
    return tuple(cell if isinstance(cell, Cell) else Cell(cell) for cell in cells)


def table(
    caption: str, columns: Sequence[str | Column], rows: Sequence[tuple[Cell, ...]], note: str = ""
) -> Table:
    """Return a table of them."""
    heads = tuple(column if isinstance(column, Column) else Column(column) for column in columns)
    assert all(len(cells) == len(heads) for cells in rows), caption
    return Table(caption, heads, tuple(rows), note)
