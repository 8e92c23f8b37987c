"""`watchkeeper brief`: today's settings and limits, and what the aircraft has."""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path
from typing import Any

from watchkeeper.aircraft.parameter_text import SeenParameters
from watchkeeper.brief.as_json import as_json
from watchkeeper.brief.card import card
from watchkeeper.brief.make import Given, make
from watchkeeper.brief.page import page
from watchkeeper.cli.inputs import load_crew_files
from watchkeeper.cli.packs_fitted import packs_fitted
from watchkeeper.edges.records.parameters_of import parameters_of
from watchkeeper.errors import bad_input


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "brief",
        help="work out today's settings and limits before a flight",
        description="Works out today's settings and limits, and holds the aircraft's against them. It advises; "
        "the crew decides.",
        epilog=caution,
    )
    parser.add_argument("sortie", metavar="SORTIE", type=Path, help="sortie file: today's flight")
    parser.add_argument(
        "--aircraft", metavar="FILE", type=Path, help="aircraft file (default: the one that the sortie file names)"
    )
    parser.add_argument(
        "--parameters",
        metavar="FILE|RECORDING",
        type=Path,
        help="the aircraft's parameters: a text of names and numbers, a log, or a folder of watch --record",
    )
    parser.add_argument(
        "--baseline", metavar="FILE", type=Path, help="parameters that it ought to have, to show what differs"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, nothing else")
    parser.add_argument("--html", metavar="OUT", type=Path, help="write a page that prints on A4")
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Brief. Returns the exit status."""
    files, sortie = load_crew_files([given.aircraft] if given.aircraft else [], given.sortie)
    assert sortie is not None
    file = files[0] if files else None
    packs, said = packs_fitted(sortie, given.sortie, file)
    system = file.system if file is not None else None
    seen = _parameters(given.parameters, system)
    baseline = _parameters(given.baseline, None)
    if baseline is not None and seen is None:
        raise bad_input("--baseline needs --parameters to compare with", "give both")
    brief = make(Given(sortie, file, packs, seen, baseline, time.time()))
    for line in said:
        print(line, file=sys.stderr)
    units = sortie.crew.units
    if given.html is not None:
        _write(given.html, page(brief, units))
    if given.json:
        sys.stdout.write(as_json(brief) + "\n")
    elif given.html is None:
        colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
        sys.stdout.write(card(brief, colour=colour, units=units))
    else:
        print(f"written: {given.html}")
    return 0


def _parameters(path: Path | None, system: int | None) -> SeenParameters | None:
    return parameters_of(path, system=system) if path is not None else None


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise bad_input(f"cannot write the page: {error.strerror}", "name another file", file=str(path)) from None
