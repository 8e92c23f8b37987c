"""Plays recordings through the engine. Shared by the tests over recordings."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

from watchkeeper.alerts.events import AlertChange, Happening
from watchkeeper.cli.inputs import load_rules
from watchkeeper.edges.records.jsonlines import decision_line
from watchkeeper.engine import Engine
from watchkeeper.link.recording import RecordingReader
from watchkeeper.rules.load import RuleSet

Keep = Callable[[float, bytes], bool]


def shipped() -> RuleSet:
    """Return the shipped rules."""
    return load_rules([])


def records(path: Path) -> list[tuple[int, bytes]]:
    """Return (time_us, raw) of a telemetry log."""
    return RecordingReader().feed(path.read_bytes())


def replay(path: Path, rules: RuleSet, keep: Keep | None = None) -> tuple[Engine, list[Happening]]:
    """Replay a log; `keep(seconds, raw)` may leave frames out."""
    engine = Engine(rules)
    happened: list[Happening] = []
    found = records(path)
    first_us = found[0][0]
    for time_us, raw in found:
        if keep is None or keep((time_us - first_us) / 1e6, raw):
            happened += engine.receive("recording", raw, time_us / 1e6)
    return engine, happened


def chunked(path: Path, rules: RuleSet, seed: int) -> list[Happening]:
    """Replay a log with each record's bytes cut at random places, ticks thrown in."""
    chance = random.Random(seed)
    engine = Engine(rules)
    happened: list[Happening] = []
    for time_us, raw in records(path):
        at = 0
        while at < len(raw):
            size = chance.randint(1, len(raw)) if chance.random() < 0.3 else len(raw)
            happened += engine.receive("recording", raw[at : at + size], time_us / 1e6)
            at += size
        if chance.random() < 0.05:
            happened += engine.tick(time_us / 1e6)
    return happened


def lines(happened: list[Happening]) -> list[str]:
    """Return decisions as lines."""
    return [decision_line(h, exercise=True) for h in happened]


def alerts(happened: list[Happening]) -> list[tuple[float, str, str, str]]:
    """Return (seconds, rule, level, change) of every change of an alert."""
    return [
        (round(h.elapsed_us / 1e6, 2), h.rule, h.level.value, h.change.value)
        for h in happened
        if isinstance(h, AlertChange)
    ]
