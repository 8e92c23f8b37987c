"""The judged flights in figures, each rate with its 95 % interval."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from simulators.campaign.crews import THUMBS
from simulators.campaign.distributions import Distributions
from simulators.campaign.intervals import per_hour, share, spread
from simulators.campaign.judge import AtLevel, Judged
from simulators.campaign.knowledge import LEVELS
from simulators.flown.truth import Outcome


def figures(judged: Sequence[Judged], distributions: Distributions, seed: int) -> dict[str, Any]:
    """Return the campaign's one object."""
    hours = sum(one.flown.end_s - one.flown.took_off_s for one in judged) / 3600.0
    fit = [one for one in judged if one.last_good_s is not None]
    return {
        "flights": len(judged),
        "seed": seed,
        "hours": round(hours, 3),
        "levels": {level: _level(level, judged, fit, distributions, hours) for level in LEVELS},
        "fixed_rules": {
            rule: {**_crew(fit, lambda one, rule=rule: one.thumbs.get(rule)), "reaction_s": 10}  # type: ignore[misc]
            for rule in THUMBS
        },
    }


def _level(
    level: str, judged: Sequence[Judged], fit: Sequence[Judged], distributions: Distributions, hours: float
) -> dict[str, Any]:
    at = {one.number: one.levels[level] for one in judged}
    wrong = [warning for one in at.values() for warning in one.false_warnings]
    by_rule: dict[str, int] = {}
    for rule, _ in wrong:
        by_rule[rule] = by_rule.get(rule, 0) + 1
    errors = [error for one in at.values() for error in one.charge_errors_pct]
    bounds = [one.bound_held for one in at.values() if one.bound_held is not None]
    return {
        "faults": {
            one.kind: _fault(one.kind, one.within_s, judged, at)
            for one in distributions.faults
            if any(flight.fault == one.kind for flight in judged)
        },
        "false_warnings": {**per_hour(len(wrong), hours), "by_rule": by_rule},
        "alerts_per_10_min": round(sum(one.alerts for one in at.values()) / (6 * hours), 3) if hours else None,
        "chatter": sum(one.chatter for one in at.values()),
        "crews": {
            "5 to 45 s": _crew(fit, lambda one: at[one.number].drawn_reaction),
            "10 s": _crew(fit, lambda one: at[one.number].quick),
        },
        "charge_error_pct": spread(errors),
        "bound_held": share(sum(bounds), len(bounds)),
    }


def _fault(kind: str, within_s: float, judged: Iterable[Judged], at: dict[int, AtLevel]) -> dict[str, Any]:
    """Count one kind of fault. A call before the floor is in time; its lead is against the latest time allowed."""
    flights = [one for one in judged if one.fault == kind]
    began = [one for one in flights if one.flown.fault_began_s is not None]
    detectable = [one for one in began if one.flown.floor_passed_s is not None]
    leads: list[float] = []
    called = late = 0
    for one in detectable:
        called_s, floor_s = at[one.number].called_s, one.flown.floor_passed_s
        if called_s is None or floor_s is None:
            continue
        lead_s = floor_s + within_s - called_s
        leads.append(lead_s)
        called += lead_s >= 0
        late += lead_s < 0
    return {
        "injected": len(began),
        "detectable": len(detectable),
        "called": share(called, len(detectable)),
        "late": late,
        "missed": len(detectable) - called - late,
        "lead_s": spread(leads),
    }


def _crew(fit: Sequence[Judged], outcome_of: Callable[[Judged], Outcome | None]) -> dict[str, Any]:
    """Count what became of the flights of a crew."""
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
        "landed_with_reserve": share(sum(outcome.with_reserve for _, outcome in ended), len(ended)),
        "ran_out": share(sum(not outcome.landed for _, outcome in ended), len(ended)),
        "range_used": spread([min(1.5, part) for part in used]),
    }
