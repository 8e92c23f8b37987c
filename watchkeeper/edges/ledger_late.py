"""Books flights of a recording in the crew's pack ledger afterwards, once; says in words what was done."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from watchkeeper.edges.ledger_file import update
from watchkeeper.errors import BadInputError
from watchkeeper.estimate.packs.packseen import Flown

EXERCISE = "Not written: an exercise never is."
UNNAMED = "Nothing written: no sortie file names a pack ledger."
ELSEWHERE = (
    "Nothing written: the recording keeps a copy of the ledger only. Name the sortie file to have it booked."
)


def book(path: Path, flights: Sequence[tuple[Flown, str]]) -> list[str]:
    """Book flights, each with its end as UTC text to the second; return in words what was done, a line each."""
    said = []
    for flown, when in flights:
        if flown.unlabelled:
            said.append(f"Flight that ended {when}: nobody said which packs were in it; not booked.")
        if not flown.packs:
            continue
        try:
            done = update(path, flown.packs, when)
        except BadInputError as error:
            return [*said, f"Not written: {error.faults[0]}"]
        except OSError as error:
            return [*said, f"Not written: {path}: {error.strerror or error}."]
        parts = [
            f"booked {_labels(done.done)}" if done.done else "",
            f"{_labels(done.before)} had been booked before" if done.before else "",
            f"{_labels(done.unknown)} not in the ledger" if done.unknown else "",
        ]
        said.append(f"Flight that ended {when}: {', '.join(filter(None, parts))}.")
    return said or ["Nothing written: no flight of labelled packs came to its end in the recording."]


def _labels(labels: Sequence[str]) -> str:
    return f"pack{'s' if len(labels) > 1 else ''} {', '.join(labels)}"
