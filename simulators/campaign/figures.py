"""The judged flights in figures, each rate with its 95 % interval."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from statistics import mean, median
from typing import Any

from simulators.campaign.crews import QUICK_S, THUMBS
from simulators.campaign.distributions import Distributions
from simulators.campaign.intervals import median_interval, per_10_min, per_hour, share, spread, spread_of_groups
from simulators.campaign.judge import AtLevel, Forecast, Judged
from simulators.campaign.knowledge import LEVELS
from simulators.flown.truth import Outcome

_DUE_S = 240.0
"""Before the last good moment: from here on it may be right to speak of the return, or of packs running low."""


def figures(
    judged: Sequence[Judged], distributions: Distributions, seed: int, levels: Sequence[str] = LEVELS
) -> dict[str, Any]:
    """Return the campaign's one object, at those levels of knowledge at which the flights were judged.

    Hours, by which false warnings and alerts are counted, are those of the recorded flights from take-off to
    landing or fall: all flights, those left out of the reserve as well, and with their way home, which is begun
    when landing is only just possible. The ordinary returns are not among them; they are counted by flights.
    """
    hours = sum(one.flown.end_s - one.flown.took_off_s for one in judged) / 3600.0
    fit = [one for one in judged if one.left_out is None]
    return {
        "flights": len(judged),
        "seed": seed,
        "hours": round(hours, 3),
        "left_out": dict(sorted(Counter(one.left_out for one in judged if one.left_out is not None).items())),
        "ordinary_returns": _ordinary(judged),
        "levels": {level: _level(level, judged, fit, distributions, hours) for level in levels},
        "fixed_rules": {
            rule: {**_crew(fit, lambda one, rule=rule: one.thumbs.get(rule)), "reaction_s": QUICK_S}  # type: ignore[misc]
            for rule in THUMBS
        },
    }


def _ordinary(judged: Iterable[Judged]) -> dict[str, Any]:
    """Count the ordinary returns that landed with the reserve, and in how many something was wrongly called."""
    found = [one.ordinary for one in judged if one.ordinary is not None]
    rules = Counter(rule for one in found for rule, _ in (*one.warnings, *one.cautions))
    return {
        "flights": len(found),
        "false_warning": share(sum(bool(one.warnings) for one in found), len(found)),
        "false_caution": share(sum(bool(one.cautions) for one in found), len(found)),
        "by_rule": dict(sorted(rules.items())),
    }


def _level(
    level: str, judged: Sequence[Judged], fit: Sequence[Judged], distributions: Distributions, hours: float
) -> dict[str, Any]:
    at = {one.number: one.levels[level] for one in judged}
    wrong = Counter(rule for one in at.values() for rule, _ in one.false_warnings)
    at_caution = [one.at_caution for one in at.values() if one.at_caution is not None]
    at_last_good = [one.at_last_good for one in at.values() if one.at_last_good is not None]
    return {
        "faults": {
            one.kind: _fault(one.kind, one.within_s, judged, at)
            for one in distributions.faults
            if any(flight.fault == one.kind for flight in judged)
        },
        "false_warnings": {**per_hour(wrong.total(), hours), "by_rule": dict(sorted(wrong.items()))},
        "told_by_rule": _told(at.values(), hours),
        "alerts_per_10_min": per_10_min(sum(one.alerts for one in at.values()), hours),
        "calm": _calm(judged, at),
        "chatter": sum(one.chatter for one in at.values()),
        "crews": {
            "5 to 45 s": _crew(fit, lambda one: at[one.number].drawn_reaction),
            "10 s": _crew(fit, lambda one: at[one.number].quick),
        },
        "charge_error_pct": spread_of_groups(one.charge_errors_pct for one in at.values()),
        "at_caution": _forecasts(at_caution),
        "at_last_good": _forecasts(at_last_good),
    }


def _calm(judged: Iterable[Judged], at: dict[int, AtLevel]) -> dict[str, Any]:
    """Count all alerts, advisories as well, of flights without a fault, until anything about the return is due."""
    told = hours = 0.0
    rules: Counter[str] = Counter()
    for one in judged:
        if one.fault is not None or one.last_good_s is None:
            continue
        begin_s, end_s = one.flown.took_off_s, min(one.last_good_s - _DUE_S, one.flown.end_s)
        if end_s <= begin_s:
            continue
        hours += (end_s - begin_s) / 3600.0
        lives = [life for life in at[one.number].lives if begin_s <= life.told_s < end_s]
        told += len(lives)
        rules.update(life.rule for life in lives)
    return {**per_10_min(int(told), hours), "hours": round(hours, 3), "by_rule": dict(rules.most_common())}


def _told(levels: Iterable[AtLevel], hours: float) -> dict[str, dict[str, Any]]:
    """Count by level and rule how often each was told, and how often that is in ten minutes."""
    counted = Counter((life.level, life.rule) for one in levels for life in one.lives)
    found: dict[str, dict[str, Any]] = {"warning": {}, "caution": {}, "advisory": {}}
    for (level, rule), count in sorted(counted.items()):
        found[level][rule] = {"count": count, "per_10_min": round(count / hours / 6.0, 4) if hours else None}
    return found


def _forecasts(found: Sequence[Forecast]) -> dict[str, Any]:
    """Count how well the charge at landing was foretold at one moment of each flight."""
    errors = sorted(abs(one.error_pct) for one in found)
    return {
        "bound_held": share(sum(one.held for one in found), len(found)),
        "error_pct": {
            "median": round(median(errors), 2) if errors else None,
            "median_ci": median_interval(errors),
            "mean_signed": round(mean(one.error_pct for one in found), 2) if found else None,
        },
    }


def _fault(kind: str, within_s: float, judged: Iterable[Judged], at: dict[int, AtLevel]) -> dict[str, Any]:
    """Count one kind of fault. A call before the floor is in time; its lead is against the latest time allowed.

    Left out of the rate is what tells nothing of the watch: `stood`, where an alert that calls the fault had been
    told before it began and no other was in time, and `cut_short`, where the flight landed before time was up.
    """
    began = [one for one in judged if one.fault == kind and one.flown.fault_began_s is not None]
    leads: list[float] = []
    detectable = called = late = stood = cut_short = missed = 0
    for one in began:
        called_s, floor_s = at[one.number].called_s, one.flown.floor_passed_s
        if floor_s is None:
            continue
        detectable += 1
        in_time = called_s is not None and called_s <= floor_s + within_s
        if at[one.number].stood and not in_time:
            stood += 1
        elif called_s is not None:
            leads.append(floor_s + within_s - called_s)
            called += in_time
            late += not in_time
        elif one.flown.landed and one.flown.end_s < floor_s + within_s:
            cut_short += 1
        else:
            missed += 1
    return {
        "injected": len(began),
        "detectable": detectable,
        "stood": stood,
        "cut_short": cut_short,
        "called": share(called, detectable - stood - cut_short),
        "late": late,
        "missed": missed,
        "lead_s": spread(leads),
    }


def _crew(fit: Sequence[Judged], outcome_of: Callable[[Judged], Outcome | None]) -> dict[str, Any]:
    """Count what became of the flights of a crew. Using half as much again as there was counts no further."""
    ended = [(one, outcome) for one in fit if (outcome := outcome_of(one)) is not None]
    turned = [(one, outcome) for one, outcome in ended if outcome.turned_back_s is not None]
    used = [
        (outcome.turned_back_s - outcome.took_off_s) / (one.last_good_s - outcome.took_off_s)
        for one, outcome in turned
        if outcome.turned_back_s is not None and one.last_good_s is not None
    ]
    return {
        "flights": len(ended),
        "turned_back": share(len(turned), len(ended)),
        "landed_with_reserve": share(sum(outcome.with_reserve() for _, outcome in ended), len(ended)),
        "ran_out": share(sum(outcome.fell for _, outcome in ended), len(ended)),
        "range_used": spread([min(1.5, part) for part in used]),
        "lowest_cell_v": spread([lowest for _, one in turned if (lowest := one.lowest_cell_v) is not None]),
    }
