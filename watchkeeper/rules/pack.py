"""One rule pack: document to rules. What one part has wrong does not hide what another has."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

from watchkeeper.aircraft.catalogue import PHASE_GROUPS, PHASES
from watchkeeper.aircraft.filetypes import check_model
from watchkeeper.documents import Document, Path
from watchkeeper.errors import BadInputError, Fault, did_you_mean
from watchkeeper.rules.cases import Case, build_case
from watchkeeper.rules.condition import Condition, ConditionError, Setting
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.levels import Level
from watchkeeper.rules.places import place_in
from watchkeeper.rules.schema import SHORTEST_REPEAT_S, SPEAKS, Escalation, Rule, WrittenPack, WrittenRule
from watchkeeper.rules.settings import Overrides, read_settings
from watchkeeper.rules.template import Template, parse_template
from watchkeeper.units import UNITS

_HINTS = {"rule": "did you mean 'rules'?"}
_NOT_ROUTINE = ("clear", "off_delay", "repeat", "latch", "mutes", "caused_by", "escalate")
_BOTH = "show one in which the rule is met and one in which it is not"
LONGEST_EVERY_S = 3600.0
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Header:
    """What other rules see of a written rule; `rule` is None if something in its pack is at fault."""

    id: str
    replaces: str | None
    document: Document
    path: Path
    rule: Rule | None


@dataclass(frozen=True, slots=True)
class _Parts:
    """What of a rule is text with a meaning of its own; None where that is missing or at fault."""

    when: Condition | None
    clear: Condition | None
    say: Template | None
    during: frozenset[str]
    cases: tuple[Case, ...]
    every_us: int | None


class ReadPack(NamedTuple):
    """A pack's name, its rules, when a phase is sterile (if it says so), and all that is wrong, by its lines."""

    name: str
    headers: list[Header]
    sterile: Condition | None
    faults: list[Fault]


def read_pack(document: Document, overrides: Overrides) -> ReadPack:
    """Read one pack."""
    faults: list[Fault] = []
    written: WrittenPack | None = None
    try:
        written = check_model(document, WrittenPack, _HINTS)
    except BadInputError as error:
        faults.extend(error.faults)
    reader = _Reader(document, read_settings(document, overrides, faults), faults)
    raw_rules = document.data.get("rules") if isinstance(document.data, dict) else None
    found: list[tuple[Path, dict[str, Any], _Parts]] = []
    for i, raw in enumerate(raw_rules if isinstance(raw_rules, list) else ()):
        if isinstance(raw, dict):
            path: Path = ("rules", i)
            found.append((path, raw, reader.parts(path, raw, written.rules[i] if written else None)))
    sterile = reader.sterile(document.data) if isinstance(document.data, dict) else None
    sound = not faults
    headers: list[Header] = []
    for i, (path, raw, parts) in enumerate(found):
        if not isinstance(raw.get("id"), str):
            continue
        rule = _assemble(reader, path, written.pack, written.rules[i], parts) if written and sound else None
        replaces = raw.get("replaces")
        name = replaces if isinstance(replaces, str) else None
        headers.append(Header(raw["id"], name, document, path, rule))
    ordered = sorted(faults, key=lambda f: (f.line, f.column))
    return ReadPack(written.pack if written else "", headers, sterile, ordered)


def place_inside(document: Document, path: Path, text: str, error: ConditionError) -> Fault:
    """Return a fault with the place of the character of `text` at which the error is."""
    start = document.fault(path, error.what, error.do)
    line, column = place_in(document.lines, (start.line, start.column), text, error.offset)
    return Fault(start.file, line, column, error.what, error.do, document.lines[line - 1])


@dataclass(frozen=True, slots=True)
class _Reader:
    document: Document
    settings: Mapping[str, Setting]
    faults: list[Fault]

    def parts(self, path: Path, raw: dict[str, Any], written: WrittenRule | None) -> _Parts:
        """Compile what a rule says in texts of its own; the schema has refused what is not even text."""
        routine = raw.get("level") == Level.ROUTINE
        for key in _NOT_ROUTINE if routine else ():
            if raw.get(key):
                self._fault((*path, key), f"a routine call has no '{key}'", "leave it out", key=True)
        when, clear = _one_line(raw.get("when")), _one_line(raw.get("clear"))
        if when and when == clear:
            self._fault((*path, "clear"), "'clear' is the same as 'when'", "say when it is over")
        if written is not None and written.escalate is not None and not routine:
            to, level = Level(written.escalate.to), Level(written.level)
            if to.urgency <= level.urgency:
                what = f"escalates from {level.value} to {to.value}"
                self._fault((*path, "escalate", "to"), what, "name a higher level, or leave 'escalate' out")
        return _Parts(
            when=self._text(path, raw, "when", compile_condition),
            clear=self._text(path, raw, "clear", compile_condition),
            say=self._text(path, raw, "say", parse_template),
            during=self._during((*path, "during"), raw.get("during", ["powered"])),
            cases=self._cases((*path, "cases"), raw.get("cases"), written),
            every_us=self._every((*path, "every"), raw.get("every"), routine=routine),
        )

    def _every(self, path: Path, name: Any, *, routine: bool) -> int | None:
        """Return how often a routine call is said, by the setting that it names."""
        if not isinstance(name, str):
            return None
        setting = self.settings.get(name)
        if not routine:
            self._fault(path, "only a routine call has 'every'", "an alert has 'repeat'", key=True)
        elif setting is None:
            hint = did_you_mean(name, self.settings, otherwise="name a setting of this pack, in seconds")
            self._fault(path, f"unknown setting '{name}'", hint)
        elif setting.kind != UNITS["s"].kind:
            self._fault(path, f"'{name}' is no time", "give the setting in seconds; 0 s is never")
        elif setting.value and not SHORTEST_REPEAT_S <= setting.value <= LONGEST_EVERY_S:
            what = f"'{name}' is {setting.value:g} s"
            self._fault(path, what, f"give {SHORTEST_REPEAT_S:g} to {LONGEST_EVERY_S:g} s, or 0 s for never")
        else:
            return round(setting.value * 1e6)
        return None

    def sterile(self, raw: dict[str, Any]) -> Condition | None:
        """Compile the pack's own condition for a sterile phase, which is looked at without a history."""
        condition = self._text((), raw, "sterile", compile_condition)
        if condition is not None and condition.windows:
            self._fault(("sterile",), "a sterile phase is told without functions over time", "leave them out")
        return condition

    def _fault(self, path: Path, what: str, do: str, *, key: bool = False) -> None:
        self.faults.append(self.document.fault(path, what, do, key=key))

    def _text(
        self, path: Path, raw: dict[str, Any], key: str, build: Callable[[str, Mapping[str, Setting]], T]
    ) -> T | None:
        text = raw.get(key)
        if not isinstance(text, str) or not text.strip():
            return None
        try:
            return build(text, self.settings)
        except ConditionError as error:
            self.faults.append(place_inside(self.document, (*path, key), text, error))
            return None

    def _during(self, path: Path, words: Any) -> frozenset[str]:
        phases: set[str] = set()
        for i, word in enumerate(words if isinstance(words, list) else ()):
            if not isinstance(word, str):
                continue
            if word not in PHASE_GROUPS and word not in PHASES:
                known = [*PHASE_GROUPS, *PHASES]
                hint = did_you_mean(word, known, otherwise="one of " + ", ".join(known))
                self._fault((*path, i), f"unknown phase '{word}'", hint)
            phases |= PHASE_GROUPS.get(word, {word})
        if words == []:
            self._fault(path, "'during' is empty: the rule would never apply", "name phases or leave it out")
        return frozenset(phases)

    def _cases(self, path: Path, raw_cases: Any, written: WrittenRule | None) -> tuple[Case, ...]:
        if not isinstance(raw_cases, list):
            return ()
        cases: list[Case] = []
        sound = True
        for i, raw in enumerate(raw_cases):
            if not isinstance(raw, dict) or not isinstance(raw.get("given"), dict):
                sound = False
                continue
            sample_s, until_s = (written.cases[i].sample, written.cases[i].until) if written else (1.0, None)
            at = self.document.fault((*path, i), "")
            place = f"{at.file}:{at.line}:{at.column}"
            case, errors = build_case(raw["given"], raw.get("expect"), sample_s, until_s, place)
            for error in errors:
                self._fault((*path, i, *error.path), error.what, error.do, key=error.key)
            sound = sound and not errors
            cases.append(case)
        if sound:
            shown = (any(case.shows_met for case in cases), any(case.shows_not_met for case in cases))
            if not all(shown):
                what = "no case shows it met" if shown[1] else "no case shows it not met"
                self._fault(path, what if cases else "there are no cases", _BOTH, key=True)
        return tuple(cases)


def _one_line(text: Any) -> str:
    return " ".join(text.split()) if isinstance(text, str) else ""


def _assemble(reader: _Reader, path: Path, pack: str, written: WrittenRule, parts: _Parts) -> Rule:
    assert parts.when is not None
    assert parts.say is not None
    used = dict((*parts.when.settings, *(parts.clear.settings if parts.clear else ())))
    used |= {name: reader.settings[name] for name in parts.say.settings}
    if written.every is not None:
        used[written.every] = reader.settings[written.every]
    to = written.escalate
    return Rule(
        id=written.id,
        pack=pack,
        subject=parts.say.text.split(".")[0].strip(),
        level=Level(written.level),
        when=parts.when,
        clear=parts.clear,
        on_delay_us=round(written.on_delay * 1e6),
        off_delay_us=round(written.off_delay * 1e6),
        during=parts.during,
        say=parts.say,
        repeat_us=None if written.repeat is None else round(written.repeat * 1e6),
        every_us=parts.every_us,
        latch=written.latch,
        mutes=written.mutes,
        caused_by=written.caused_by,
        trial=written.trial,
        escalate=None if to is None else Escalation(round(to.after * 1e6), Level(to.to)),
        sterile=None if written.sterile is None else written.sterile == SPEAKS,
        eyes=written.eyes,
        settings=tuple(sorted(used.items())),
        replaces=written.replaces,
        why=written.why,
        cases=parts.cases,
        place=reader.document.fault((*path, "say"), ""),
    )
