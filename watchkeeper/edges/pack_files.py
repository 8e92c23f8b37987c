"""The files of the rule packs of a watch, to be read again while it runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from watchkeeper.errors import BadInputError, bad_input

MAX_BYTES: Final = 2_000_000
"""All packs together: twenty times what a crew would write, and a line of a recording that can still be read."""


class PackFiles:
    """Finds and reads packs. `find` gives their paths, `read_one` the text of one; both raise BadInputError."""

    def __init__(self, find: Callable[[], Sequence[Path]], read_one: Callable[[Path], str]) -> None:
        self._find = find
        self._read_one = read_one

    def read(self) -> tuple[tuple[str, str], ...]:
        """Return (name, text) of every pack. Raises BadInputError. From any thread."""
        texts = tuple((str(path), self._read_one(path)) for path in self._find())
        if sum(len(text) for _, text in texts) > MAX_BYTES:
            raise bad_input(f"rule packs of more than {MAX_BYTES} characters", "load fewer packs")
        return texts

    def times(self) -> tuple[tuple[str, int, int], ...]:
        """Return name, time of change and length of every pack; what cannot be looked at is left out."""
        found: list[tuple[str, int, int]] = []
        try:
            paths = self._find()
        except (BadInputError, OSError):
            return ()
        for path in paths:
            try:
                status = path.stat()
            except OSError:
                continue
            found.append((str(path), status.st_mtime_ns, status.st_size))
        return tuple(found)
