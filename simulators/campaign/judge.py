"""One flight of a campaign: drawn, flown, heard by the watch at each level of knowledge, and judged."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from simulators.campaign import crews, knowledge
from simulators.campaign.borne_out import LANDING_FLOOR_PCT, Moments, is_borne_out
from simulators.campaign.distributions import Distributions
from simulators.campaign.draw import ARM_S, Drawn, draw
from simulators.campaign.record import Flown, fly
from simulators.campaign.watch import Heard, Life, listen
from simulators.flown.truth import Futures, Outcome

_FAULTY_STAY_S: Final = 150.0
_FIRST_S: Final = ARM_S + 20.0
_READINGS: Final = ("battery.charge_left", "return.reserve_low")
_TURN_BACK_RULES: Final = frozenset({"return-reserve", "return-now"})
"""The caution; and the warning, for whoever is told that first turns back as well."""
_UNFIT: Final = frozenset({"motors stop", "position pulled", "satellites jammed", "restart"})
"""Faults in which turning back in time is not what decides: such flights say nothing of the reserve."""
_CHATTER, _CHATTER_S = 3, 60.0


@dataclass(slots=True)
class AtLevel:
    """What the watch made of one flight at one level of knowledge."""

    called_s: float | None = None
    """The fault, from when it began."""
    stood: bool = False
    """Whether an alert that calls the fault stood already when it began: it tells nothing of the watch."""
    false_warnings: list[tuple[str, float]] = field(default_factory=list)
    alerts: int = 0
    chatter: int = 0
    turn_back_call_s: float | None = None
    drawn_reaction: Outcome | None = None
    quick: Outcome | None = None
    charge_errors_pct: list[float] = field(default_factory=list)
    bound_held: bool | None = None


@dataclass(slots=True)
class Judged:
    """One flight, judged. `last_good_s` is the last moment at which turning back still lands with the reserve.

    `left_out` says why the flight tells nothing of the reserve; None if it does.
    """

    number: int
    fault: str | None
    values: dict[str, float]
    flown: Flown
    last_good_s: float | None
    left_out: str | None
    levels: dict[str, AtLevel]
    thumbs: dict[str, Outcome]


def judge(distributions: Distributions, seed: int, number: int) -> Judged:
    """Draw, fly, listen, judge. Raises RuntimeError if the watch fails."""
    drawn = draw(distributions, seed, number)
    thumbs = crews.Thumbs()
    file = drawn.file.model_copy(update={"faults": []}) if drawn.fault == "motors stop" else drawn.file
    futures = Futures(file, drawn.seed, each_step=thumbs.look)
    last_good_s = futures.latest(_FIRST_S)
    from_s = _FIRST_S if last_good_s is None else last_good_s
    moments = Moments(last_good_s, futures.latest(from_s, LANDING_FLOOR_PCT))
    # the recorded flight overstays: who is not told until it can only just land is told too late or not at all
    home_s = math.inf if moments.last_landing_s is None else moments.last_landing_s
    if drawn.fault in _UNFIT or last_good_s is None:
        home_s = min(home_s, drawn.values.get("at_s", 0.0) + _FAULTY_STAY_S)
    with tempfile.TemporaryDirectory(prefix="campaign-") as name:
        folder = Path(name)
        flown = fly(drawn, folder / "flight.tlog", home_s)
        rules: Sequence[str] = () if drawn.fault is None else distributions.fault(drawn.fault).rules
        levels: dict[str, AtLevel] = {}
        heard: dict[str, Heard] = {}
        for level, path in knowledge.write(drawn, folder).items():
            heard[level] = listen(folder / "flight.tlog", path, _READINGS)
            levels[level] = at_level(heard[level], rules, flown, moments)
    left_out = why_left_out(drawn.fault, flown, last_good_s)
    outcomes: dict[str, Outcome] = {}
    if left_out is None:
        for level, found in levels.items():
            _crews(found, heard[level], drawn, flown, futures)
            found.bound_held = _bound_held(heard[level], flown, futures, last_good_s)
        outcomes = {rule: crews.turned(futures, at_s, crews.QUICK_S) for rule, at_s in thumbs.times_s.items()}
    return Judged(number, drawn.fault, drawn.values, flown, last_good_s, left_out, levels, outcomes)


def why_left_out(fault: str | None, flown: Flown, last_good_s: float | None) -> str | None:
    """Return why a flight tells nothing of the reserve, or None if it does."""
    if fault in _UNFIT:
        return "another matter decides"
    if last_good_s is None:
        return "never a good moment"
    if not math.isfinite(last_good_s):
        return "lands by itself"
    if flown.fault_began_s is not None and flown.fault_began_s > last_good_s:
        return "nobody could know"
    if flown.silent_at(last_good_s):
        return "no telemetry"
    return None


def at_level(heard: Heard, rules: Collection[str], flown: Flown, moments: Moments) -> AtLevel:
    """Judge what was heard of one flight; `rules` are those that call its fault."""
    found = AtLevel()
    lives = heard.lives()
    if flown.fault_began_s is not None:
        found.called_s = heard.first(rules, flown.fault_began_s)
        found.stood = heard.stands(rules, flown.fault_began_s)
    found.alerts = sum(one.level in {"caution", "warning"} for one in lives)
    found.chatter = _chatter(lives)
    found.false_warnings = [
        (one.rule, one.told_s)
        for one in lives
        if one.level == "warning" and not is_borne_out(one, rules, flown, moments)
    ]
    _charge(found, heard, flown)
    return found


def _crews(found: AtLevel, heard: Heard, drawn: Drawn, flown: Flown, futures: Futures) -> None:
    """Let crews act on what the watch said until the recorded flight turned back."""
    turned_s = flown.turned_back_s
    call_s = heard.first(_TURN_BACK_RULES, to_s=math.inf if turned_s is None else turned_s)
    found.turn_back_call_s = call_s
    found.drawn_reaction = crews.turned(futures, call_s, crews.reaction_s(drawn))
    found.quick = crews.turned(futures, call_s, crews.QUICK_S)


def _bound_held(heard: Heard, flown: Flown, futures: Futures, last_good_s: float | None) -> bool | None:
    """Tell whether the lower bound at the last good moment is one: a return begun then lands with as much."""
    if last_good_s is None or flown.silent_at(last_good_s):
        return None
    bound_pct = heard.reading("return.reserve_low", last_good_s)
    return None if bound_pct is None else bound_pct <= futures.outcome(last_good_s).charge_pct


def _chatter(lives: Sequence[Life]) -> int:
    """Count rules that chatter: three changes into alarm and out of it, or more, within a minute (ISA-18.2)."""
    by_rule: dict[str, list[float]] = {}
    for one in lives:
        by_rule.setdefault(one.rule, []).extend(t for t in (one.told_s, one.cleared_s) if math.isfinite(t))
    return sum(
        any(later - first <= _CHATTER_S for first, later in zip(times, times[_CHATTER - 1 :], strict=False))
        for times in map(sorted, by_rule.values())
    )


def _charge(found: AtLevel, heard: Heard, flown: Flown) -> None:
    """Take the errors of the charge, second by second, while telemetry arrives."""
    begin, end = int(flown.took_off_s) + 5, int(flown.end_s)
    for second in range(begin, min(end, len(flown.charge_pct))):
        estimate = heard.reading("battery.charge_left", second)
        if estimate is not None and not flown.silent_at(second):
            found.charge_errors_pct.append(abs(estimate - flown.charge_pct[second]))
