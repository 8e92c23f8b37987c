"""`watchkeeper rules explain ID`: what a rule does, in words, and what it would have done on a recording."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE, PHASE_GROUPS, PHASES, ReadingType
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.alerts.events import SIGHTED
from watchkeeper.alerts.orders import MAX_SHELVE_MIN
from watchkeeper.alerts.ruling import CALM_US
from watchkeeper.cli.explain_on import tried_on
from watchkeeper.cli.inputs import find_kept, load_crew_files, load_rules
from watchkeeper.errors import bad_input, did_you_mean
from watchkeeper.rules.levels import Level
from watchkeeper.rules.load import RuleSet
from watchkeeper.rules.phrase import in_words
from watchkeeper.rules.schema import Rule

WIDTH: Final = 100
NO_RULES: Final = {
    SIGHTED: "What the observer or the post saw and pressed on the page; over when they say all clear, or after "
    "two minutes in which it is not pressed again.",
    "board-": "What a board at the command post says of itself, or of a station's watch that it does not hear.",
    "watch-": "What the watch says of itself: a part that does not work, or what it cannot see.",
}
"""By how they begin, alerts that no rule raises."""


def add(actions: Any) -> None:
    """Add the action to the parser of `rules`."""
    about = "what one rule does, in words; with --on also what it would have done on a recording"
    parser = actions.add_parser("explain", help=about, description=about.capitalize() + ".")
    parser.add_argument("id", metavar="ID", help="the rule, as 'rules list' names it")
    parser.add_argument(
        "paths", metavar="PATH", nargs="*", type=Path, help="packs or folders, beside the shipped packs"
    )
    parser.add_argument("--only-rules", action="store_true", help="leave the shipped packs out")
    parser.add_argument("--on", metavar="RECORDING", type=Path, help="telemetry log, or folder of --record")
    parser.add_argument("--aircraft", metavar="FILE", type=Path, action="append", default=[], help="aircraft file")
    parser.add_argument("--sortie", metavar="FILE", type=Path, help="sortie file: its settings are used")
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Explain a rule. Returns the exit status."""
    aircraft, sortie_path, packs = given.aircraft, given.sortie, given.paths
    if given.on is not None:
        kept_aircraft, kept_sortie, kept_packs = find_kept(given.on)
        if not aircraft and sortie_path is None:
            aircraft, sortie_path = kept_aircraft, kept_sortie
        packs = packs or kept_packs
    files, sortie = load_crew_files(aircraft, sortie_path)
    rules = load_rules(packs, only=given.only_rules, sortie=sortie, sortie_path=sortie_path)
    rule = rules.by_id.get(given.id)
    if rule is None and given.id.startswith(tuple(NO_RULES)):
        print(
            next(
                f"{given.id}: no rule. {what}" for begins, what in NO_RULES.items() if given.id.startswith(begins)
            )
        )
        return 0
    if rule is None:
        raise bad_input(f"no rule '{given.id}'", did_you_mean(given.id, rules.by_id, otherwise="see 'rules list'"))
    print("\n".join(explanation(rule, rules, sortie)))
    if given.on is not None:
        print()
        for line in tried_on(given.on, rule, rules, files, sortie):
            print(line)
    return 0


def wrapped(text: str, *, indent: int = 2) -> str:
    """Return a paragraph within WIDTH columns."""
    blanks = " " * indent
    return textwrap.fill(text, WIDTH, initial_indent=blanks, subsequent_indent=blanks, break_on_hyphens=False)


def explanation(rule: Rule, rules: RuleSet, sortie: SortieFile | None = None) -> list[str]:
    """Return the lines that explain a rule."""
    trial = ", on trial" if rule.trial else ""
    lines = [f"{rule.id}: {rule.level.value}{trial}, of the pack {rule.pack}"]
    for title, paragraphs in (
        ("WHEN IT SPEAKS", _when(rule)),
        ("WHEN IT IS OVER", _over(rule)),
        ("WHAT IT SAYS", _says(rule)),
        ("IN WHICH PHASES", [_phases(rule)]),
        ("WHAT KEEPS IT QUIET", _quiet(rule, rules)),
        ("WHAT IT KEEPS QUIET", _keeps_quiet(rule, rules)),
        ("SETTINGS THAT CHANGE IT", _settings(rule, sortie)),
        ("WHY", [rule.why]),
        ("WHAT IT NEEDS FROM THE AIRCRAFT", _needs(rule)),
        ("WHERE IT IS WRITTEN", [f"{rule.place.file}, near line {rule.place.line}"]),
    ):
        if paragraphs:
            lines += ["", title, *(wrapped(" ".join(text.split())) for text in paragraphs)]
    return lines


def _when(rule: Rule) -> Iterator[str]:
    yield f"When {in_words(rule.when)}."
    if rule.on_delay_us:
        yield (
            f"That has to hold for {_time(rule.on_delay_us)}, and for two samples of each reading that decides; "
            "a shorter spike says nothing."
        )
    else:
        yield "At once: the first message that makes it true is enough."
    if rule.level is Level.ROUTINE:
        yield "Once, when it becomes so; what was so when first seen is not said."


def _over(rule: Rule) -> Iterator[str]:
    if rule.level is Level.ROUTINE:
        return
    yield f"When {in_words(rule.clear)}." if rule.clear is not None else "When that is no longer so."
    if rule.off_delay_us:
        yield f"That has to hold for {_time(rule.off_delay_us)}."
    if rule.latch:
        yield "It latches: it stays until the pilot has acknowledged it and then reset it."
    elif rule.level is Level.WARNING:
        yield "One that nobody acknowledged stays on the list as over until somebody does."
    yield "While its readings cannot be seen it neither begins nor ends; one that stands is marked stale."


def _says(rule: Rule) -> Iterator[str]:
    level = "" if rule.level is Level.ROUTINE else f"{rule.level.value.capitalize()}. "
    yield f'"{level}{rule.say.text}"'
    if rule.level is Level.ROUTINE:
        return
    if rule.repeat_us is not None:
        yield f"Again every {_time(rule.repeat_us)} until the pilot acknowledges it or it is over."
    else:
        yield "Once."
    if rule.escalate is not None:
        yield (
            f"Unacknowledged for {_time(rule.escalate.after_us)} it becomes a {rule.escalate.to.value}, "
            "and is said anew."
        )


def _phases(rule: Rule) -> str:
    if rule.during == frozenset(PHASES):
        return "In every phase."
    for group, phases in PHASE_GROUPS.items():
        if rule.during == phases:
            return f"{_plain(group)}: {_listed(rule.during)}."
    return f"{_listed(rule.during)}.".capitalize()


def _listed(phases: frozenset[str]) -> str:
    return ", ".join(_plain(phase) for phase in PHASES if phase in phases)


def _plain(word: str) -> str:
    return word.replace("_", " ")


def _quiet(rule: Rule, rules: RuleSet) -> Iterator[str]:
    if rule.trial:
        yield "It is on trial: judged, logged and listed, and told to nobody."
    if rule.caused_by:
        yield f"While {_either(rule.caused_by)} stands: that is its cause, and one cause is called once."
    louder = [other.id for other in rules.rules if rule.id in other.mutes]
    if louder:
        yield f"While {_either(louder)} is heard: it says the same, more urgently. It stays on the list."
    speaks = rule.level is Level.WARNING if rule.sterile is None else rule.sterile
    if rules.sterile is not None and not speaks:
        until = "is said after it, if it still holds"
        yield f"In a sterile phase it waits, and {until}. That is when {in_words(rules.sterile)}."
    if rule.level is Level.ROUTINE:
        return
    if rule.level is Level.ADVISORY:
        yield "In a flood (ten alerts in ten minutes) it waits until fewer than five are left in ten minutes."
    elif rule.level is Level.CAUTION:
        yield "In a flood (ten alerts in ten minutes) it is said, and not repeated."
    yield f"The pilot's acknowledgement; a shelf, for up to {MAX_SHELVE_MIN:.0f} minutes."
    if rule.level is not Level.WARNING:
        yield (
            f"Told three times within a minute it then has to be over for {_time(CALM_US)} before it is, for the "
            "rest of the flight."
        )


def _keeps_quiet(rule: Rule, rules: RuleSet) -> Iterator[str]:
    effects = [other.id for other in rules.rules if rule.id in other.caused_by]
    if effects and not rule.trial:
        yield f"Suppresses while it stands: {', '.join(effects)}."
    if rule.mutes and not rule.trial:
        yield f"Keeps off the voice: {', '.join(rule.mutes)}."


def _settings(rule: Rule, sortie: SortieFile | None) -> Iterator[str]:
    ours = {} if sortie is None else sortie.settings
    for name, setting in rule.settings:
        whose = "as the sortie file has it" if name in ours else "as the pack has it"
        yield f"{name}: {setting.number:g} {setting.unit.symbol}".rstrip() + f", {whose}"


def _needs(rule: Rule) -> Iterator[str]:
    indexes = (*rule.when.readings, *(rule.clear.readings if rule.clear is not None else ()), *rule.say.readings)
    for index in dict.fromkeys(indexes):
        yield reading_in_words(CATALOGUE[index])


def reading_in_words(reading: ReadingType) -> str:
    """Return what a reading is, whence it comes, and when it is too old."""
    unit = f", in {reading.unit_symbol}" if reading.unit_symbol else ""
    age = (
        "holds until it changes"
        if reading.held
        else f"too old after {reading.max_age_s:g} s (on a slow link up to {reading.age_bound_s:g} s)"
    )
    return f"{reading.name}: {reading.meaning}{unit}; from {reading.sources}; {age}"


def _either(names: tuple[str, ...] | list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


def _time(us: int) -> str:
    return f"{us / 1e6:g} s"
