"""Rule packs: text to rules, all or nothing, with every fault of every pack at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS, PHASES
from watchkeeper.aircraft.filetypes import check_model
from watchkeeper.documents import Document, Path, parse_document
from watchkeeper.errors import BadInputError, Fault, did_you_mean
from watchkeeper.rules.cases import Case, CaseError, build_case
from watchkeeper.rules.condition import Condition
from watchkeeper.rules.expression import ConditionError, Setting, compile_condition
from watchkeeper.rules.levels import Level
from watchkeeper.rules.schema import Rule, WrittenPack, WrittenRule
from watchkeeper.rules.template import Template, parse_template
from watchkeeper.units import UNITS, describe, parse_quantity

MAX_RULES = 500
FEWEST_CASES = 2
_CASES = "show one in which it is met and one in which it is not"
_HINTS = {"rule": "did you mean 'rules'?"}
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The rules of all packs, in the order of packs and rules."""

    rules: tuple[Rule, ...]
    packs: tuple[str, ...] = ()

    @property
    def by_id(self) -> dict[str, Rule]:
        """The rules by their id."""
        return {rule.id: rule for rule in self.rules}


@dataclass(slots=True)
class _Loading:
    overrides: Mapping[str, str]
    faults: list[Fault] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    kinds: dict[str, tuple[Any, str]] = field(default_factory=dict)
    written: list[tuple[WrittenRule, Rule, Document, Path]] = field(default_factory=list)


def load_packs(
    texts: Sequence[tuple[str, str]],
    settings: Mapping[str, str] | None = None,
    *,
    settings_from: str = "sortie file",
) -> RuleSet:
    """Load packs given as (name, text). `settings` override theirs by name; `settings_from` names where they stand.

    Raises BadInputError with every fault found.
    """
    loading = _Loading(settings or {})
    packs: list[str] = []
    for name, text in texts:
        try:
            document = parse_document(text, name)
            pack = check_model(document, WrittenPack, _HINTS)
        except BadInputError as error:
            loading.faults.extend(error.faults)
            continue
        packs.append(pack.pack)
        _load_pack(loading, document, pack)
    for unused in loading.overrides.keys() - loading.used:
        hint = did_you_mean(unused, loading.kinds, otherwise="see 'watchkeeper rules list'")
        loading.faults.append(Fault(settings_from, 0, 0, f"no rule pack has a setting '{unused}'", hint))
    rules = _replace(loading)
    _check_references(loading, rules)
    if len(rules) > MAX_RULES:
        loading.faults.append(Fault(texts[0][0], 0, 0, f"more than {MAX_RULES} rules", "load fewer packs"))
    if loading.faults:
        raise BadInputError(loading.faults)
    return RuleSet(tuple(rules.values()), tuple(packs))


def _load_pack(loading: _Loading, document: Document, pack: WrittenPack) -> None:
    settings: dict[str, Setting] = {}
    for name, text in pack.settings.items():
        setting = _setting(loading, document, name, text)
        if setting is not None:
            settings[name] = setting
    for i, written in enumerate(pack.rules):
        rule = _build(loading, document, ("rules", i), written, pack, settings)
        if rule is not None:
            loading.written.append((written, rule, document, ("rules", i)))


def _setting(loading: _Loading, document: Document, name: str, text: str) -> Setting | None:
    path = ("settings", name)
    if name in INDEX or not name.isidentifier() or name != name.lower():
        loading.faults.append(
            document.fault(path, f"'{name}' is no name for a setting", "use one like cell_floor", key=True)
        )
        return None
    parts = text.split()
    symbol = parts[-1] if len(parts) > 1 else text.lstrip("+-.0123456789eE")
    known = UNITS.get(symbol)
    if known is None:
        loading.faults.append(
            document.fault(
                path, f"unknown unit '{symbol}'", did_you_mean(symbol, UNITS, otherwise="give a number")
            )
        )
        return None
    earlier = loading.kinds.setdefault(name, (known.kind, document.name))
    if earlier[0] != known.kind:
        what = f"'{name}' is {describe(known.kind)} here and {describe(earlier[0])} in {earlier[1]}"
        loading.faults.append(document.fault(path, what, "use another name"))
        return None
    override = loading.overrides.get(name)
    if override is not None:
        loading.used.add(name)
    try:
        number = parse_quantity(text if override is None else override, known.symbol)
    except BadInputError as error:
        fault = error.faults[0]
        what = fault.what if override is None else f"setting '{name}': {fault.what}"
        loading.faults.append(document.fault(path, what, fault.do))
        return None
    return Setting(known.kind, number * known.factor)


def _build(
    loading: _Loading,
    document: Document,
    path: Path,
    written: WrittenRule,
    pack: WrittenPack,
    settings: Mapping[str, Setting],
) -> Rule | None:
    before = len(loading.faults)
    level = Level(written.level)

    def attempt(key: str, build: Callable[[str], T], text: str) -> T | None:
        try:
            return build(text)
        except ConditionError as error:
            loading.faults.append(_inside(document, (*path, key), text, error))
            return None

    def condition(text: str) -> Condition:
        return compile_condition(text, settings)

    when = attempt("when", condition, written.when)
    clear = None if written.clear is None else attempt("clear", condition, written.clear)
    say: Template | None = attempt("say", parse_template, written.say)
    if written.clear is not None and " ".join(written.clear.split()) == " ".join(written.when.split()):
        loading.faults.append(
            document.fault((*path, "clear"), "clear is the same as when", "clear when it is over")
        )
    if level is Level.ROUTINE:
        for key in ("clear", "repeat", "latch", "mutes", "caused_by"):
            if getattr(written, key):
                loading.faults.append(
                    document.fault((*path, key), f"a routine call has no '{key}'", "leave it out", key=True)
                )
    during = _during(loading, document, path, written.during)
    if len(written.cases) < FEWEST_CASES:
        loading.faults.append(
            document.fault(
                (*path, "cases"), f"'{written.id}' has fewer than {FEWEST_CASES} cases", _CASES, key=True
            )
        )
    cases: list[Case] = []
    for i, case in enumerate(written.cases):
        here = (*path, "cases", i)
        place = document.fault(here, "")
        try:
            built = build_case(
                case.given, case.expect, case.sample, case.until, f"{place.file}:{place.line}:{place.column}"
            )
        except CaseError as error:
            loading.faults.append(document.fault((*here, *error.path), error.what, error.do))
        else:
            cases.append(built)
    if len(loading.faults) > before or when is None or say is None:
        return None
    return Rule(
        id=written.id,
        pack=pack.pack,
        subject=say.text.split(".")[0].strip(),
        level=level,
        when=when,
        clear=clear,
        on_delay_us=round(written.on_delay * 1e6),
        off_delay_us=round(written.off_delay * 1e6),
        during=during,
        say=say,
        repeat_us=None if written.repeat is None else round(written.repeat * 1e6),
        latch=written.latch,
        mutes=written.mutes,
        caused_by=written.caused_by,
        trial=written.trial,
        replaces=written.replaces,
        why=written.why,
        cases=tuple(cases),
        place=document.fault((*path, "say"), ""),
    )


def _inside(document: Document, path: Path, text: str, error: ConditionError) -> Fault:
    """Return a fault at its column, where the text stands on one line as it is; else at the text's beginning."""
    fault = document.fault(path, error.what, error.do)
    line = fault.source_line
    column = line.find(text, fault.column - 1) if text else -1
    offset = column - (fault.column - 1) + error.offset if column >= 0 else 0
    return document.fault(path, error.what, error.do, offset=offset)


def _during(loading: _Loading, document: Document, path: Path, words: Sequence[str]) -> frozenset[str]:
    phases: set[str] = set()
    for i, word in enumerate(words):
        if word in PHASE_GROUPS:
            phases |= PHASE_GROUPS[word]
        elif word in PHASES:
            phases.add(word)
        else:
            hint = did_you_mean(
                word, [*PHASES, *PHASE_GROUPS], otherwise="one of " + ", ".join([*PHASE_GROUPS, *PHASES])
            )
            loading.faults.append(document.fault((*path, "during", i), f"unknown phase '{word}'", hint))
    return frozenset(phases)


def _replace(loading: _Loading) -> dict[str, Rule]:
    """Return the rules by id, those replaced left out; a second rule of one id is a fault."""
    rules: dict[str, Rule] = {}
    for written, rule, document, path in loading.written:
        if written.replaces is not None:
            if written.replaces not in rules:
                hint = did_you_mean(written.replaces, rules, otherwise="name a rule of an earlier pack")
                loading.faults.append(
                    document.fault((*path, "replaces"), f"there is no rule '{written.replaces}' to replace", hint)
                )
            rules.pop(written.replaces, None)
        if rule.id in rules:
            what = f"rule '{rule.id}' exists already in {rules[rule.id].place.file}"
            loading.faults.append(document.fault((*path, "id"), what, f"add 'replaces: {rule.id}' or rename it"))
            continue
        rules[rule.id] = rule
    return rules


def _check_references(loading: _Loading, rules: Mapping[str, Rule]) -> None:
    broken = bool(loading.faults)
    for written, rule, document, path in loading.written:
        for key in ("mutes", "caused_by"):
            for i, other in enumerate(getattr(written, key)):
                # with faults elsewhere the named rule may be among the broken ones
                if other not in rules and not broken:
                    hint = did_you_mean(other, rules, otherwise="name a rule that is loaded")
                    loading.faults.append(document.fault((*path, key, i), f"unknown rule '{other}'", hint))
        if _causes_itself(rule, rules):
            loading.faults.append(
                document.fault(
                    (*path, "caused_by"), f"'{rule.id}' is caused by itself in a circle", "break it", key=True
                )
            )


def _causes_itself(rule: Rule, rules: Mapping[str, Rule]) -> bool:
    seen: set[str] = set()
    waiting = list(rule.caused_by)
    while waiting:
        name = waiting.pop()
        if name == rule.id:
            return True
        if name not in seen and name in rules:
            seen.add(name)
            waiting.extend(rules[name].caused_by)
    return False
