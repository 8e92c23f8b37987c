"""One flight of a campaign: drawn, flown, heard by the watch at each level of knowledge, and judged."""

from __future__ import annotations

import tempfile
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from simulators.campaign import crews, knowledge
from simulators.campaign.distributions import Distributions
from simulators.campaign.draw import ARM_S, LIMIT_S, Drawn, draw
from simulators.campaign.record import Flown, fly
from simulators.campaign.watch import Heard, Said, listen
from simulators.flown.truth import Outcome, latest_turn_back

OVERSTAY_S: Final = 120.0
"""The recorded flight goes home so long after the last good moment: a call has come by then or not at all."""
_FAULTY_STAY_S: Final = 150.0
_FIRST_S: Final = ARM_S + 20.0
_READINGS: Final = ("battery.charge_left", "return.reserve_low")
_TURN_BACK_RULE: Final = "return-reserve"
_EARLY_WARNING_S: Final = 90.0
"""A warning about the return is right from so long before the last good moment on."""
_UNFIT: Final = frozenset({"motors stop", "position pulled", "satellites jammed", "restart"})
"""Faults in which turning back in time is not what decides: such flights say nothing of the reserve."""
_CHATTER, _CHATTER_S = 3, 60.0


@dataclass(slots=True)
class AtLevel:
    """What the watch made of one flight at one level of knowledge."""

    called_s: float | None = None
    """The fault, from when it began."""
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
    """One flight, judged. `last_good_s` is the last moment at which turning back still lands with the reserve."""

    number: int
    fault: str | None
    values: dict[str, float]
    flown: Flown
    last_good_s: float | None
    levels: dict[str, AtLevel]
    thumbs: dict[str, Outcome]


def judge(distributions: Distributions, seed: int, number: int) -> Judged:
    """Draw, fly, listen, judge. Raises RuntimeError if the watch fails."""
    drawn = draw(distributions, seed, number)
    fit = drawn.fault not in _UNFIT
    last_good_s = latest_turn_back(drawn.file, drawn.seed, _FIRST_S, LIMIT_S) if fit else None
    if last_good_s is not None:
        home_s = last_good_s + OVERSTAY_S
    else:
        home_s = drawn.values.get("at_s", 150.0) + _FAULTY_STAY_S
    with tempfile.TemporaryDirectory(prefix="campaign-") as name:
        folder = Path(name)
        flown = fly(drawn, folder / "flight.tlog", home_s)
        levels = {
            level: _at_level(
                listen(folder / "flight.tlog", path, _READINGS), distributions, drawn, flown, last_good_s
            )
            for level, path in knowledge.write(drawn, folder).items()
        }
    thumbs: dict[str, Outcome] = {}
    if last_good_s is not None:
        for rule, at_s in crews.thumb_times(drawn).items():
            thumbs[rule] = crews.turned(drawn, at_s, crews.QUICK_S)
    return Judged(number, drawn.fault, drawn.values, flown, last_good_s, levels, thumbs)


def _at_level(
    heard: Heard, distributions: Distributions, drawn: Drawn, flown: Flown, last_good_s: float | None
) -> AtLevel:
    found = AtLevel()
    rules: Sequence[str] = ()
    if drawn.fault is not None and flown.fault_began_s is not None:
        rules = distributions.fault(drawn.fault).rules
        found.called_s = heard.first(rules, flown.fault_began_s)
    raised = [one for one in heard.said if one.change == "raised" and one.level in {"caution", "warning"}]
    found.alerts = len(raised)
    found.chatter = _chatter(raised)
    found.false_warnings = [
        (one.rule, one.at_s)
        for one in raised
        if one.level == "warning" and not _right(one, rules, flown, last_good_s)
    ]
    _charge(found, heard, flown)
    if last_good_s is not None:
        found.turn_back_call_s = heard.first([_TURN_BACK_RULE])
        found.drawn_reaction = crews.turned(drawn, found.turn_back_call_s, crews.reaction_s(drawn))
        found.quick = crews.turned(drawn, found.turn_back_call_s, crews.QUICK_S)
    return found


def _right(one: Said, rules: Sequence[str], flown: Flown, last_good_s: float | None) -> bool:
    """Tell whether a warning is borne out by the truth."""
    if one.rule in rules and flown.fault_began_s is not None and one.at_s >= flown.fault_began_s:
        return True
    if one.rule == "link-lost":
        return flown.silent_at(one.at_s)
    if one.rule == "position-lost":
        return flown.without_fix_at(one.at_s)
    if one.rule == "return-now":
        return last_good_s is not None and one.at_s >= last_good_s - _EARLY_WARNING_S
    if one.rule == "home-unreachable":
        return last_good_s is not None and one.at_s >= last_good_s
    if one.rule in {"disarmed-in-air", "falling"}:
        return flown.crashed
    return False


def _chatter(raised: Sequence[Said]) -> int:
    """Count rules that are raised three times or more within a minute (facts of alarm management: chattering)."""
    by_rule: defaultdict[str, list[float]] = defaultdict(list)
    for one in raised:
        by_rule[one.rule].append(one.at_s)
    return sum(
        any(later - first <= _CHATTER_S for first, later in zip(times, times[_CHATTER - 1 :], strict=False))
        for times in by_rule.values()
    )


def _charge(found: AtLevel, heard: Heard, flown: Flown) -> None:
    begin, end = int(flown.took_off_s) + 5, int(flown.end_s)
    for second in range(begin, min(end, len(flown.charge_pct))):
        estimate = heard.reading("battery.charge_left", second)
        if estimate is not None:
            found.charge_errors_pct.append(abs(estimate - flown.charge_pct[second]))
    if flown.turned_back_s is not None and not flown.crashed:
        bound = heard.reading("return.reserve_low", flown.turned_back_s)
        if bound is not None:
            found.bound_held = flown.landing_charge_pct >= bound
