"""What a drill showed: what was called and when, what the crew did about it, and what a timely crew had left."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from simulators.flown.scenario import Ending, FlownDrill, fly_again
from simulators.scenario_file import Expected
from simulators.scripted.flight import ScriptedFlight
from watchkeeper.alerts.events import AlertChange, Change
from watchkeeper.rules.levels import Level

SCORE = "score.json"
TIMELY_S = 10.0
"""A timely crew acts this long after the call."""


@dataclass(frozen=True, slots=True)
class Call:
    """One call at caution or above: when, and how long until it was acknowledged, acted on, over; s."""

    rule: str
    level: str
    callout: str
    at_s: float
    acknowledged_after_s: float | None
    acted_after_s: float | None
    action: str | None
    over_after_s: float | None


def calls(changes: Sequence[AlertChange], acted: Sequence[tuple[float, str]]) -> list[Call]:
    """Return the calls of a drill with what became of each."""
    found: list[Call] = []
    for i, change in enumerate(changes):
        if change.change is not Change.RAISED or change.level.urgency < Level.CAUTION.urgency or change.trial:
            continue
        at_s = change.elapsed_us / 1e6
        later = [one for one in changes[i + 1 :] if (one.rule, one.aircraft) == (change.rule, change.aircraft)]
        deed = next(((time_s, what) for time_s, what in acted if time_s >= at_s), None)
        found.append(
            Call(
                change.rule,
                change.level.value,
                change.callout or "",
                at_s,
                _after(later, Change.ACKNOWLEDGED, at_s),
                None if deed is None else deed[0] - at_s,
                None if deed is None else deed[1],
                _after(later, Change.CLEARED, at_s),
            )
        )
    return found


def _after(later: Sequence[AlertChange], wanted: Change, at_s: float) -> float | None:
    return next((one.elapsed_us / 1e6 - at_s for one in later if one.change is wanted), None)


def first_raised(changes: Sequence[AlertChange], expected: Expected) -> float | None:
    """Return when an expected rule was first raised, s, from when its fault began."""
    times = (c.elapsed_us / 1e6 for c in changes if c.rule == expected.rule and c.change is Change.RAISED)
    return next((t for t in times if t >= expected.begins), None)


@dataclass(frozen=True, slots=True)
class Score:
    """The score of a drill. `timely` is how it would have ended for a crew that turned back at the first call."""

    scenario: str
    elapsed_s: float
    expected: list[dict[str, Any]]
    calls: list[Call]
    ending: Ending | None
    timely: Ending | None


def score(
    flight: ScriptedFlight | FlownDrill,
    changes: Sequence[AlertChange],
    elapsed_s: float,
    acted: Sequence[tuple[float, str]] = (),
) -> Score:
    """Work out the score; a flown scenario is flown once more for what a timely crew would have had."""
    expected = [{**one.model_dump(), "called_s": first_raised(changes, one)} for one in flight.expect]
    made = calls(changes, acted)
    ending = timely = None
    if isinstance(flight, FlownDrill):
        ending = flight.ending
        if made:
            timely = fly_again(flight, made[0].at_s + TIMELY_S)
    return Score(flight.scenario.name, elapsed_s, expected, made, ending, timely)


def tell(scored: Score) -> None:
    """Write the score to standard error."""
    for one in scored.expected:
        called_s, by = one["called_s"], one["by"]
        if called_s is None:
            said = "not called" if scored.elapsed_s >= by else "not reached"
        else:
            said = f"called at {called_s:.1f} s, {'in time' if called_s <= by else 'late'}"
        print(f"{one['fault']}: {one['rule']} by {by:g} s, {said}", file=sys.stderr)
    for call in scored.calls:
        print(f"{call.at_s:7.1f} s  {call.callout} {_became(call)}", file=sys.stderr)
    if scored.ending is not None:
        print(f"at the end: {scored.ending.words}", file=sys.stderr)
    if scored.timely is not None:
        words = scored.timely.words
        print(f"turned back {TIMELY_S:g} s after the first call: {words}", file=sys.stderr)


def _became(call: Call) -> str:
    parts = []
    if call.acknowledged_after_s is not None:
        parts.append(f"acknowledged after {call.acknowledged_after_s:.0f} s")
    if call.acted_after_s is not None:
        parts.append(f"{call.action} after {call.acted_after_s:.0f} s")
    return f"({', '.join(parts) or 'neither acknowledged nor acted on'})"


def keep(scored: Score, folder: Path) -> None:
    """Write the score into the record folder; says so if that cannot be."""
    try:
        text = json.dumps({"exercise": True, **asdict(scored)}, indent=2)
        (folder / SCORE).write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        print(f"score not kept: {error.strerror}", file=sys.stderr)
