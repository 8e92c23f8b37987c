"""Where in a file a character of a YAML text stands, so that a caret points into a condition."""

from __future__ import annotations

from collections.abc import Iterator, Sequence


def place_in(lines: Sequence[str], start: tuple[int, int], text: str, offset: int) -> tuple[int, int]:
    """Return line and column (from 1) of `text[offset]`, for a scalar that starts at `start`.

    YAML folds and indents, but keeps what is not blank, so the characters that are not blank are counted off
    in the source. Where the source differs (escapes in double quotes) the start of the scalar is returned.
    """
    printed = [(i, character) for i, character in enumerate(text) if not character.isspace()]
    source = _characters(lines, start)
    last: tuple[int, int] | None = None
    for i, character in printed:
        found = next(source, None)
        if found is None or found[2] != character:
            return start
        if i >= offset:
            return found[0], found[1]
        last = found[0], found[1]
    return start if last is None else (last[0], last[1] + 1)


def _characters(lines: Sequence[str], start: tuple[int, int]) -> Iterator[tuple[int, int, str]]:
    """Yield line, column and character of all that is not blank, from where the scalar's text begins."""
    line, column = start
    first = lines[line - 1][column - 1 :] if line <= len(lines) else ""
    quote = first[:1] if first[:1] in {"'", '"'} else ""
    if quote:
        column += 1
    elif first[:1] in {"|", ">"}:
        line, column = line + 1, 1
    waiting = False
    for number in range(line, len(lines) + 1):
        for i, character in enumerate(lines[number - 1], 1):
            if number == line and i < column:
                continue
            if quote == "'" and character == "'" and not waiting:
                waiting = True  # a quote inside single quotes is written twice
                continue
            waiting = False
            if not character.isspace():
                yield number, i, character
