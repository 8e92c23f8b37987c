"""What one rule would have done on a recording: its changes, when it was blind, how near it came."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.alerts.events import AlertChange, Evidence, Happening, RoutineCall
from watchkeeper.cli.replay import play
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.engine import Engine
from watchkeeper.rules.condition import Comparison, View
from watchkeeper.rules.load import RuleSet
from watchkeeper.rules.phrase import amount, comparisons_in_words
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.verdict import Verdict

_WIDTH: Final = 100
_UNJUDGED_US: Final = 1_500_000
"""Every rule of a phase is judged each second; after a longer time it did not apply in between."""
_MOST_SPANS: Final = 20


@dataclass(slots=True)
class _Near:
    """The closest that one comparison came to being true."""

    gap: float
    left: float
    right: float
    at_us: int


@dataclass(slots=True)
class _Track:
    """What was seen of the rule on one aircraft."""

    judged_us: int = 0
    last_us: int | None = None
    met: bool = False
    blind_since_us: int | None = None
    blind: list[tuple[int, int, tuple[str, ...]]] = field(default_factory=list)
    lacking: tuple[str, ...] = ()
    near: dict[int, _Near] = field(default_factory=dict)

    def end_blind(self, at_us: int) -> None:
        if self.blind_since_us is not None:
            self.blind.append((self.blind_since_us, at_us, self.lacking))
            self.blind_since_us = None


class Probe:
    """Looks over the shoulder of a rule's condition whenever it is judged; changes nothing that it decides."""

    def __init__(self, rule: Rule) -> None:
        self._rule = rule
        self._tracks: dict[int, tuple[Any, _Track]] = {}
        self._systems: dict[int, int] = {}
        self.rule = replace(rule, when=replace(rule.when, evaluate=self._evaluate))

    def row(self, engine: Engine, _elapsed_s: float) -> None:
        """Note which readings are whose."""
        for system in engine.systems():
            self._systems[id(engine.aircraft(system).readings)] = system

    def tracks(self) -> dict[int, _Track]:
        """Return what was seen, by aircraft."""
        found: dict[int, _Track] = {}
        for key, (_, track) in self._tracks.items():
            if key in self._systems:
                track.end_blind(track.last_us or 0)
                found[self._systems[key]] = track
        return found

    def _evaluate(self, view: View) -> Verdict:
        verdict = self._rule.when.evaluate(view)
        key = id(view.readings)
        if key not in self._tracks:
            self._tracks[key] = view.readings, _Track()  # kept, so that no other gets the same id
        self._see(self._tracks[key][1], view, verdict)
        return verdict

    def _see(self, track: _Track, view: View, verdict: Verdict) -> None:
        now_us, last_us = view.now_us, track.last_us
        if last_us is not None:
            if now_us - last_us <= _UNJUDGED_US:
                track.judged_us += now_us - last_us
            else:
                track.end_blind(last_us)
        track.last_us = now_us
        track.met = track.met or verdict is Verdict.MET
        if verdict is Verdict.MET or verdict is Verdict.NOT_MET:
            track.end_blind(now_us)
        elif track.blind_since_us is None:
            track.blind_since_us = now_us
            track.lacking = tuple(CATALOGUE[i].name for i in self._rule.when.missing(view))
        for number, comparison in enumerate(self._rule.when.comparisons):
            left, right = comparison.left(view), comparison.right(view)
            if isinstance(left, int | float) and isinstance(right, int | float):
                gap = _gap(comparison, left, right)
                best = track.near.get(number)
                if best is None or gap < best.gap:
                    track.near[number] = _Near(gap, left, right, now_us)


def _gap(comparison: Comparison, left: float, right: float) -> float:
    """Return by how much it missed being true; negative: by how much it was."""
    if comparison.sign.startswith("<"):
        return left - right
    if comparison.sign.startswith(">"):
        return right - left
    away = abs(left - right)
    return away if comparison.sign == "==" else -away


def tried_on(
    path: Path, rule: Rule, rules: RuleSet, files: Sequence[AircraftFile], sortie: SortieFile | None
) -> Iterator[str]:
    """Yield the lines about a recording. All rules run, for others may suppress this one."""
    recording = open_recording(path)
    probe = Probe(rule)
    engine = Engine(
        replace(rules, rules=tuple(probe.rule if other is rule else other for other in rules.rules)), files, sortie
    )
    happened: list[AlertChange | RoutineCall] = []
    for happenings in play(engine, recording, table=probe, reloads=False):
        happened += [own for one in happenings if (own := _own(one, rule)) is not None]
    probe.row(engine, 0.0)
    yield f"ON {path}, {engine.elapsed_s:.1f} s"
    tracks = probe.tracks()
    systems = sorted({*tracks, *(h.aircraft for h in happened if h.aircraft is not None)})
    if not systems:
        yield "  It was never judged: no aircraft was in a phase in which it applies."
    for system in systems:
        mine = [h for h in happened if h.aircraft == system]
        yield f"  Aircraft {system}"
        yield from _about(tracks.get(system, _Track()), mine, rule, engine)


def _own(happening: Happening, rule: Rule) -> AlertChange | RoutineCall | None:
    if isinstance(happening, AlertChange | RoutineCall) and happening.rule == rule.id:
        return happening
    return None


def _about(
    track: _Track, happened: Sequence[AlertChange | RoutineCall], rule: Rule, engine: Engine
) -> Iterator[str]:
    yield f"    It was judged for {track.judged_us / 1e6:.0f} s."
    for one in happened:
        yield from _change_lines(one)
    if not happened:
        yield "    It did nothing."
    if track.blind:
        total_s = sum(end_us - begin_us for begin_us, end_us, _ in track.blind) / 1e6
        yield f"    It could not judge for {total_s:.1f} s:"
        for begin_us, end_us, names in track.blind[:_MOST_SPANS]:
            span = f"{engine.since_first_s(begin_us):.1f} to {engine.since_first_s(end_us):.1f} s"
            yield _folded(f"{span} for want of {', '.join(names)}", 6)
        if len(track.blind) > _MOST_SPANS:
            yield f"      and {len(track.blind) - _MOST_SPANS} times more"
    if not track.met:
        yield from _closest(track, rule, engine)


def _change_lines(one: AlertChange | RoutineCall) -> Iterator[str]:
    at = f"{one.elapsed_us / 1e6:9.1f} s  "
    if isinstance(one, RoutineCall):
        yield f'{at}said "{one.callout}"'
    else:
        spoken = f', said "{one.callout}"' if one.spoken else ", not spoken"
        reason = "" if one.change.value == "raised" and "(" not in one.reason else f" ({one.reason})"
        yield _folded(f"{one.change.value}{reason}, {one.state.value}{spoken}", 13, first=at)
    shown = _evidence(one.evidence)
    if shown:
        yield _folded(shown, 13)


def _evidence(evidence: Evidence) -> str:
    parts = []
    for name, value in evidence.items():
        if isinstance(value, float | int) and not isinstance(value, bool):
            unit = CATALOGUE[INDEX[name]].unit_symbol
            parts.append(f"{name} {value:.4g} {unit}".rstrip())
        else:
            parts.append(f"{name} {'unknown' if value is None else str(value).lower()}")
    return ", ".join(parts)


def _closest(track: _Track, rule: Rule, engine: Engine) -> Iterator[str]:
    yield "    It was never met." + (" The closest that each part came:" if track.near else "")
    said = comparisons_in_words(rule.when)
    for number, near in sorted(track.near.items()):
        unit = rule.when.comparisons[number].shown
        values = f"{amount(near.left, unit)} against {amount(near.right, unit)}"
        met = ", which by itself is so" if near.gap < 0 else ""
        yield _folded(f"{said[number]}: {values} at {engine.since_first_s(near.at_us):.1f} s{met}", 6)


def _folded(text: str, indent: int, *, first: str | None = None) -> str:
    blanks = " " * indent
    head = blanks if first is None else first
    return textwrap.fill(text, _WIDTH, initial_indent=head, subsequent_indent=blanks, break_on_hyphens=False)
