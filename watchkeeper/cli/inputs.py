"""Reads the files that people name on the command line."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from watchkeeper.aircraft.files import AircraftFile, SortieFile, load_aircraft_file, load_sortie_file
from watchkeeper.aircraft.ledger import Ledger, fitted_faults
from watchkeeper.documents import parse_document
from watchkeeper.edges.ledger_file import read_ledger_file
from watchkeeper.edges.pack_files import PackFiles
from watchkeeper.errors import BadInputError, Fault, bad_input
from watchkeeper.estimate.packs.owncurve import unlikely
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import RuleSet, load_packs

MAX_FILE_BYTES = 4_000_000
LEDGER = "ledger.yaml"
"""The pack ledger in a recording."""
CREW = "crew"
"""Folder in a recording with the crew's files of that watch."""


def read_text(path: Path, what: str) -> str:
    """Return the text of a file. Raises BadInputError with what to do."""
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise bad_input(f"{what} is larger than {MAX_FILE_BYTES} bytes", "name the right file", file=str(path))
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise bad_input(f"no such {what}", "check the name", file=str(path)) from None
    except UnicodeDecodeError:
        raise bad_input(f"{what} is not UTF-8 text", "save it as UTF-8", file=str(path)) from None
    except OSError as error:
        raise bad_input(f"cannot read {what}: {error.strerror}", "check the file", file=str(path)) from None


def pack_paths(paths: Sequence[Path], *, only: bool = False) -> list[Path]:
    """Return the pack files: the shipped ones (unless `only`), then those named; a folder means its *.yaml."""
    if only and not paths:
        raise bad_input("--only-rules without --rules leaves no rules", "name packs too")
    found: list[Path] = []
    for path in [*([] if only else [shipped_rules()]), *paths]:
        if path.is_dir():
            inside = sorted((*path.glob("*.yaml"), *path.glob("*.yml")))
            if not inside:
                raise bad_input("holds no rule packs (*.yaml)", "name a pack or its folder", file=str(path))
            found += inside
        else:
            found.append(path)
    return found


def load_rules(
    paths: Sequence[Path], *, only: bool = False, sortie: SortieFile | None = None, sortie_path: Path | None = None
) -> RuleSet:
    """Return the rules of the shipped packs and the named ones, with the sortie's settings.

    Raises BadInputError with every fault.
    """
    packs = pack_paths(paths, only=only)
    texts = [(str(path), read_text(path, "rule pack")) for path in packs]
    if sortie is None:
        return load_packs(texts)
    return load_packs(texts, sortie.settings, settings_from=str(sortie_path or "sortie file"))


def pack_files(paths: Sequence[Path], *, only: bool = False) -> PackFiles:
    """Return the packs that `load_rules` would read, to be read again while a watch runs."""
    return PackFiles(lambda: pack_paths(paths, only=only), lambda path: read_text(path, "rule pack"))


def load_crew_files(aircraft: Sequence[Path], sortie: Path | None) -> tuple[list[AircraftFile], SortieFile | None]:
    """Return the aircraft files and the sortie file; a sortie brings the aircraft file that it names."""
    files = [_aircraft_file(path) for path in aircraft]
    if sortie is None:
        return files, None
    flight = load_sortie_file(read_text(sortie, "sortie file"), str(sortie))
    if flight.aircraft is not None and not files:
        named = sortie.parent / flight.aircraft
        files = [_aircraft_file(named)]
    return files, flight


def _aircraft_file(path: Path) -> AircraftFile:
    text = read_text(path, "aircraft file")
    file = load_aircraft_file(text, str(path))
    document = parse_document(text, str(path))
    faults = [
        document.fault(
            ("packs", "charged", i),
            f"no {file.packs.chemistry} cell rests at {one.cell_v:g} V, {one.ah:g} Ah below full",
            "check voltage, Ah of one pack charged full, 'capacity' and 'age'",
        )
        for i in unlikely(file.packs)
        for one in (file.packs.charged[i],)
    ]
    if faults:
        raise BadInputError(faults)
    return file


class FoundLedger(NamedTuple):
    """The pack ledger that a sortie file names, and where it is; what is wrong with it, if anything."""

    path: Path | None = None
    ledger: Ledger | None = None
    text: str = ""
    faults: tuple[Fault, ...] = ()


def find_ledger(
    sortie: SortieFile | None,
    sortie_path: Path | None,
    aircraft: Sequence[AircraftFile],
    *,
    kept: Path | None = None,
) -> FoundLedger:
    """Return the ledger that a sortie names, or the one `kept` of it; a watch goes on without one that is broken.

    A label that it does not have is a fault and leaves the ledger usable.
    """
    if sortie is None or sortie_path is None or sortie.ledger is None:
        return FoundLedger()
    path = kept if kept is not None else sortie_path.parent / sortie.ledger
    try:
        ledger, text = read_ledger_file(path)
    except BadInputError as error:
        return FoundLedger(path, faults=error.faults)
    document = parse_document(read_text(sortie_path, "sortie file"), str(sortie_path))
    count = aircraft[0].packs.count if aircraft else None
    return FoundLedger(path, ledger, text, tuple(fitted_faults(document, sortie.fitted, ledger, count)))


def kept_files(
    aircraft: Sequence[Path], sortie: Path | None, rules: Sequence[Path], ledger: str = ""
) -> dict[str, str]:
    """Return the files that a recording keeps beside it, by the names they get there.

    An aircraft file that the sortie file names is kept too; `ledger` is the pack ledger's text as it was read.
    """
    kept = {f"aircraft-{i}.yaml": read_text(path, "aircraft file") for i, path in enumerate(aircraft, 1)}
    if sortie is not None:
        text = read_text(sortie, "sortie file")
        kept["sortie.yaml"] = text
        named = load_sortie_file(text, str(sortie)).aircraft
        if named is not None and not aircraft:
            kept["aircraft-1.yaml"] = read_text(sortie.parent / named, "aircraft file")
    if ledger:
        kept[LEDGER] = ledger
    packs = pack_paths(rules, only=True) if rules else []
    kept |= {f"rules-{i}.yaml": read_text(path, "rule pack") for i, path in enumerate(packs, 1)}
    return kept


def keep_files(folder: Path, kept: Mapping[str, str]) -> None:
    """Write what a recording keeps beside it. OSError if it cannot be."""
    if kept:
        (folder / CREW).mkdir()
        for name, text in kept.items():
            (folder / CREW / name).write_text(text, encoding="utf-8")


def find_kept(recording: Path) -> tuple[list[Path], Path | None, list[Path]]:
    """Return the aircraft files, the sortie file and the added packs that a recording keeps."""
    crew = recording / CREW
    if not crew.is_dir():
        return [], None, []
    sortie = crew / "sortie.yaml"
    return (
        sorted(crew.glob("aircraft-*.yaml")),
        sortie if sortie.is_file() else None,
        sorted(crew.glob("rules-*.yaml")),
    )


def find_kept_ledger(recording: Path) -> Path:
    """Return where a recording keeps the pack ledger that its watch began with, if it had one."""
    return recording / CREW / LEDGER


def add_crew_files(parser: argparse.ArgumentParser, *, several: bool = False) -> None:
    """Add --aircraft, --sortie, --rules and --only-rules."""
    parser.add_argument(
        "--aircraft",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="aircraft file: masses, rotors, packs, limits"
        + (" (repeat for several aircraft)" if several else ""),
    )
    parser.add_argument("--sortie", metavar="FILE", type=Path, help="sortie file: today's flight")
    parser.add_argument(
        "--rules",
        metavar="PATH",
        type=Path,
        action="append",
        default=[],
        help="rule pack, or a folder of packs, to add",
    )
    parser.add_argument("--only-rules", action="store_true", help="use only the packs named with --rules")
