"""`watchkeeper rules check|test|list|explain`: what crews who write rules need."""

from __future__ import annotations

import argparse
import sys
import textwrap
from pathlib import Path
from typing import Any

from watchkeeper.aircraft.catalogue import CATALOGUE, PHASE_GROUPS, ReadingType
from watchkeeper.casebook import run_case
from watchkeeper.cli import explain
from watchkeeper.cli.inputs import load_rules, pack_paths, read_text
from watchkeeper.cli.languages import is_language, language_faults
from watchkeeper.errors import BadInputError
from watchkeeper.rules.load import RuleSet, load_packs
from watchkeeper.rules.wording import callout_faults


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "rules",
        help="check, test, list or explain rule packs",
        description="Checks, tests, lists or explains rule packs.",
        epilog=caution,
    )
    actions = parser.add_subparsers(dest="action", metavar="check|test|list|explain", required=True)
    for name, run, about in (
        ("check", check, "names, units, wording, language files: every fault with file, line and column"),
        ("test", test, "run the cases of every rule"),
        ("list", show, "list readings, phases and rules"),
    ):
        action = actions.add_parser(name, help=about, description=about.capitalize() + ".")
        action.add_argument(
            "paths", metavar="PATH", nargs="*", type=Path, help="packs or folders, beside the shipped packs"
        )
        action.add_argument("--only-rules", action="store_true", help="leave the shipped packs out")
        action.set_defaults(run=run)
    explain.add(actions)


def check(given: argparse.Namespace) -> int:
    """Load every pack and check its wording, and that of language files. Returns 1 if anything is at fault."""
    paths = pack_paths(given.paths, only=given.only_rules)
    texts = [(str(path), read_text(path, "rule pack")) for path in paths]
    packs = [(name, text) for name, text in texts if not is_language(text)]
    try:
        rules = load_packs(packs)
    except BadInputError as error:
        return _tell_faults(error)
    faults = [fault for rule in rules.rules for fault in callout_faults(rule)]
    languages = [(name, text) for name, text in texts if is_language(text)]
    faults += [fault for name, text in languages for fault in language_faults(text, name, rules)]
    if faults:
        return _tell_faults(BadInputError(faults))
    also = f" and {len(languages)} language file{'s' if len(languages) > 1 else ''}" if languages else ""
    print(f"{len(rules.rules)} rules in {len(packs)} packs{also}: nothing at fault")
    return 0


def _tell_faults(error: BadInputError) -> int:
    for fault in error.faults:
        print(fault.with_caret(), file=sys.stderr)
    count = len(error.faults)
    print(f"{count} fault{'s' if count > 1 else ''}", file=sys.stderr)
    return 1


def test(given: argparse.Namespace) -> int:
    """Run every case. Returns 1 if any fails."""
    rules = load_rules(given.paths, only=given.only_rules)
    cases = failures = 0
    for rule in rules.rules:
        for number, case in enumerate(rule.cases, 1):
            cases += 1
            for failure in run_case(rule, case):
                failures += 1
                print(f"{case.place}: {rule.id}, case {number}: {failure}", file=sys.stderr)
    print(f"{cases} cases of {len(rules.rules)} rules: {failures or 'none'} failed")
    return 1 if failures else 0


def show(given: argparse.Namespace) -> int:
    """List the catalogue of readings and the rules."""
    rules = load_rules(given.paths, only=given.only_rules)
    print("READINGS\n")
    for reading in CATALOGUE:
        if not reading.name.split(".")[1].isdigit():
            print(_reading_line(reading))
    print("  battery.1.… to battery.8.…   the battery readings of one pack\n")
    print("PHASES\n")
    for group, phases in PHASE_GROUPS.items():
        print(f"  {group:<12} {', '.join(sorted(phases))}")
    print("\nRULES")
    _rule_list(rules)
    return 0


def _reading_line(reading: ReadingType) -> str:
    kind = "yes/no" if reading.boolean else "word" if reading.words else "text" if reading.text else "number"
    unit = reading.unit_symbol or kind
    age = "held" if reading.held else f"{reading.max_age_s:g} to {reading.age_bound_s:g} s"
    line = f"  {reading.name:<28} {unit:<8} {reading.meaning}; from {reading.sources}; maximum age {age}"
    if reading.words:
        line += f"; one of {', '.join(reading.words)}"
    return textwrap.fill(line, 118, subsequent_indent=" " * 40)


def _rule_list(rules: RuleSet) -> None:
    pack = ""
    for rule in rules.rules:
        if rule.pack != pack:
            pack = rule.pack
            print(f"\n  {pack}")
        trial = " (trial)" if rule.trial else ""
        print(f"    {rule.id:<22} {rule.level:<9}{trial} when {' '.join(rule.when.text.split())}")
