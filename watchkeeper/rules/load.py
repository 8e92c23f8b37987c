"""Rule packs: texts to rules, all or nothing, with every fault of every pack at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from watchkeeper.documents import parse_document
from watchkeeper.errors import BadInputError, Fault, did_you_mean
from watchkeeper.rules.condition import Condition
from watchkeeper.rules.pack import Header, read_pack
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.settings import Overrides

MAX_RULES = 500
LONGEST_SHOWN = 300
_CIRCLES = {"mutes": "mutes itself", "caused_by": "is caused by itself"}


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The rules of all packs, in the order of packs and rules."""

    rules: tuple[Rule, ...]
    packs: tuple[str, ...] = ()
    sterile: Condition | None = None
    """When only what is most urgent speaks; of several packs that say so, the last one's."""

    @property
    def by_id(self) -> dict[str, Rule]:
        """The rules by their id."""
        return {rule.id: rule for rule in self.rules}


def load_packs(
    texts: Sequence[tuple[str, str]],
    settings: Mapping[str, str] | None = None,
    *,
    settings_from: str = "sortie file",
) -> RuleSet:
    """Load packs given as (name, text).

    `settings` override theirs by name; `settings_from` is what messages call the file that holds them. A rule
    that replaces another takes its place, also where other rules name it. Raises BadInputError with every
    fault found.
    """
    overrides = Overrides(settings or {}, settings_from)
    faults: list[Fault] = []
    packs: list[str] = []
    headers: list[Header] = []
    sterile: Condition | None = None
    all_read = True
    for name, text in texts:
        try:
            document = parse_document(text, name)
        except BadInputError as error:
            faults.extend(error.faults)
            all_read = False
            continue
        pack = read_pack(document, overrides)
        packs.append(pack.name)
        headers += pack.headers
        faults += pack.faults
        sterile = pack.sterile or sterile
        if len(headers) > MAX_RULES:
            faults.append(Fault(name, 0, 0, f"more than {MAX_RULES} rules", "load fewer packs"))
            raise BadInputError(_printable(faults))
    if all_read:  # else the pack that could not be read may have what is missing
        faults += overrides.unknown()
    rules, replaced = _by_id(headers, faults, all_read=all_read)
    links = {key: {id_: _names(header, key, replaced) for id_, header in rules.items()} for key in _CIRCLES}
    faults += _unknown_names(rules, replaced, all_read=all_read)
    faults += _circles(rules, links)
    if faults:
        raise BadInputError(_printable(faults))
    made = (
        replace(header.rule, mutes=links["mutes"][id_], caused_by=links["caused_by"][id_])
        for id_, header in rules.items()
        if header.rule is not None
    )
    return RuleSet(tuple(made), tuple(packs), sterile)


def _printable(faults: Iterable[Fault]) -> Iterator[Fault]:
    """Yield the faults fit for a terminal: what they quote of a pack may hold anything, at any length."""

    def plain(text: str, most: int) -> str:
        shown = text if text.isprintable() else "".join(c if c.isprintable() else "\ufffd" for c in text)
        return shown if len(shown) <= most else shown[:most] + "…"

    for fault in faults:
        line = plain(fault.source_line.replace("\t", " "), LONGEST_SHOWN)
        yield replace(
            fault,
            what=plain(fault.what, LONGEST_SHOWN),
            do=plain(fault.do, LONGEST_SHOWN),
            source_line=line if fault.column <= LONGEST_SHOWN else "",
        )


def _by_id(
    headers: Iterable[Header], faults: list[Fault], *, all_read: bool
) -> tuple[dict[str, Header], dict[str, str]]:
    """Return the rules by id, those replaced left out, and who replaced whom."""
    rules: dict[str, Header] = {}
    replaced: dict[str, str] = {}
    for header in headers:
        old = header.replaces
        if old is not None:
            if old in rules:
                del rules[old]
                if old != header.id:
                    replaced[old] = header.id
            elif all_read:
                hint = did_you_mean(old, rules, otherwise="name a rule of an earlier pack")
                if old in replaced:
                    hint = f"'{replaced[old]}' has replaced it"
                what = f"there is no rule '{old}' to replace"
                faults.append(header.document.fault((*header.path, "replaces"), what, hint))
        if header.id in rules:
            what = f"rule '{header.id}' exists already in {rules[header.id].document.name}"
            do = f"add 'replaces: {header.id}' or rename it"
            faults.append(header.document.fault((*header.path, "id"), what, do))
            continue
        rules[header.id] = header
        replaced.pop(header.id, None)
    return rules, replaced


def _written_names(header: Header, key: str) -> list[Any]:
    raw = header.document.data["rules"][header.path[1]].get(key)
    return raw if isinstance(raw, list) else []


def _names(header: Header, key: str, replaced: Mapping[str, str]) -> tuple[str, ...]:
    """Return the rules that a rule names, by their present ids."""
    names = (name for name in _written_names(header, key) if isinstance(name, str))
    return tuple(dict.fromkeys(_present(name, replaced) for name in names))


def _present(name: str, replaced: Mapping[str, str]) -> str:
    for _ in range(MAX_RULES):
        if name not in replaced:
            break
        name = replaced[name]
    return name


def _unknown_names(rules: Mapping[str, Header], replaced: Mapping[str, str], *, all_read: bool) -> Iterator[Fault]:
    for header in rules.values() if all_read else ():
        for key in _CIRCLES:
            for i, name in enumerate(_written_names(header, key)):
                if isinstance(name, str) and _present(name, replaced) not in rules:
                    hint = did_you_mean(name, rules, otherwise="name a rule that is loaded")
                    yield header.document.fault((*header.path, key, i), f"unknown rule '{name}'", hint)


def _circles(rules: Mapping[str, Header], links: Mapping[str, Mapping[str, tuple[str, ...]]]) -> Iterator[Fault]:
    """Yield a fault for each rule that reaches itself: in a circle of mutes or causes nobody would be heard."""
    for key, graph in links.items():
        for id_, header in rules.items():
            seen: set[str] = set()
            waiting = list(graph[id_])
            while waiting:
                name = waiting.pop()
                if name not in seen:
                    seen.add(name)
                    waiting.extend(graph.get(name, ()))
            if id_ in seen:
                what = f"'{id_}' {_CIRCLES[key]}" + ("" if id_ in graph[id_] else " in a circle")
                yield header.document.fault((*header.path, key), what, "break it", key=True)
