"""The packs that are fitted today, with what the crew's ledger knows of them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from watchkeeper.aircraft.files import AircraftFile, Packs, SortieFile
from watchkeeper.aircraft.ledger import begin, fitted_faults
from watchkeeper.cli.inputs import find_ledger, read_text
from watchkeeper.documents import parse_document
from watchkeeper.errors import BadInputError, bad_input
from watchkeeper.estimate.packs.packtoday import packs_today


def packs_fitted(
    sortie: SortieFile, sortie_path: Path, file: AircraftFile | None
) -> tuple[Sequence[Packs], list[str]]:
    """Return one `Packs` for each pack, and what the crew is to be told of it.

    A ledger that is named and not there yet is begun with the labels. Raises BadInputError for a ledger that
    cannot be used and for labels that do not fit.
    """
    packs = file.packs if file is not None else Packs()
    said: list[str] = []
    if sortie.ledger is not None and sortie.fitted and not (path := sortie_path.parent / sortie.ledger).exists():
        _begin(path, sortie.fitted)
        labels = ", ".join(sortie.fitted)
        said.append(f"{path}: begun, with the packs {labels}; write their cycles into it (a new pack has 0)")
    found = find_ledger(sortie, sortie_path, [file] if file is not None else [])
    faults = list(found.faults)
    if found.ledger is None and not faults:
        document = parse_document(read_text(sortie_path, "sortie file"), str(sortie_path))
        faults = fitted_faults(document, sortie.fitted, None, packs.count if file is not None else None)
    if faults:
        raise BadInputError(faults)
    return packs_today(packs, found.ledger, sortie.fitted), said


def _begin(path: Path, labels: Sequence[str]) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(begin(labels))
    except OSError as error:
        what = f"cannot begin the pack ledger: {error.strerror}"
        raise bad_input(what, "make the folder writable, or leave 'ledger' out", file=str(path)) from None
