"""Drawn, flown and judged flights for tests: small ones, made by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from simulators.campaign.borne_out import Moments
from simulators.campaign.distributions import SHIPPED, Distributions, read
from simulators.campaign.draw import Drawn
from simulators.campaign.judge import AtLevel, Judged
from simulators.campaign.knowledge import LEVELS
from simulators.campaign.record import Flown
from simulators.campaign.watch import Heard, Said
from simulators.flown.scenario_file import FlownFile
from simulators.flown.truth import Outcome

FULL, MEASURED, LEAST = LEVELS
GOOD: Final = SHIPPED.read_text(encoding="utf-8")
NEVER: Final = Moments(None, None)


def shipped() -> Distributions:
    """Return the shipped distributions."""
    return read(SHIPPED)


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    """Return the shipped file with texts changed, each of which must be there."""
    text = GOOD
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    path = folder / "drawn.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def flight_file(**keys: Any) -> FlownFile:
    """Return a flight out to 150 m at 10 m/s, staying there, with packs that soon run down."""
    usual: dict[str, Any] = {
        "scenario": "small", "about": "A test.", "start": "2026-05-12T08:00:00Z", "duration_s": 5400,
        "system": 143, "home": [1.25, -31.5], "weather": {"wind": [[0, 3, 200]], "temperature_degc": 15.0},
        "load": {"mass_kg": 14, "drag_m2": 0.28}, "packs": [{"charge_pct": 42}, {"charge_pct": 42}],
        "sky": {}, "links": [{"kind": "radio"}],
        "parameters": {"fly.speed_m_s": 10.0, "low1.action": 0.0, "low2.action": 0.0, "low3.action": 0.0},
        "crew": [{"when": {"at_s": 5}, "do": {"arm": True}}, {"when": {"at_s": 9}, "do": {"start_plan": True}}],
        "plan": [{"at": [1.25135, -31.5], "height_m": 30, "stay_s": 3600}],
    }  # fmt: skip
    return FlownFile.model_validate({**usual, **keys})


def drawn(kind: str | None = None, do: dict[str, Any] | None = None, at_s: float = 40.0, **keys: Any) -> Drawn:
    """Return such a flight as if it had been drawn, with a fault."""
    if do is not None:
        keys["faults"] = [{"fault": kind, "when": {"at_s": at_s}, "do": do}]
    return Drawn(0, 11, flight_file(**keys), kind, {} if do is None else {"at_s": at_s})


def outcome(charge_pct: float = 30.0, turned_s: float | None = 410.0, *, fell: bool = False) -> Outcome:
    """Return how a flight ended that took off at 10 s."""
    return Outcome(not fell, fell, charge_pct, 600.0, 10.0, turned_s)


def flown(**keys: Any) -> Flown:
    """Return the truth of a flight from 10 s to 610 s, which lands with 20 %."""
    usual = {"took_off_s": 10.0, "end_s": 610.0, "landed": True, "landing_charge_pct": 20.0}
    return Flown(**{**usual, **keys})


def judged(
    number: int,
    fault: str | None = None,
    full: AtLevel | None = None,
    *,
    left_out: str | None = None,
    last_good_s: float | None = 410.0,
    thumbs: dict[str, Outcome] | None = None,
    **truth: Any,
) -> Judged:
    """Return a judged flight; at the other levels of knowledge nothing was heard."""
    levels = {FULL: full or AtLevel(), MEASURED: AtLevel(), LEAST: AtLevel()}
    return Judged(number, fault, {}, flown(**truth), last_good_s, left_out, levels, thumbs or {})


def heard(*said: tuple[float, str, str, str], **readings: list[float | None]) -> Heard:
    """Return what a watch said: time, rule, level, change."""
    named = {name.replace("__", "."): column for name, column in readings.items()}
    return Heard(tuple(Said(*one) for one in said), named)
