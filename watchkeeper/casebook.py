"""Runs the cases of a rule pack through the same alert book and grid that the engine drives."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.events import AlertChange, Happening, Refusal
from watchkeeper.alerts.teller import Teller
from watchkeeper.engine import GRID_US, SWEEP_EVERY
from watchkeeper.rules.cases import SPOKEN, Case
from watchkeeper.rules.condition import View
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.verdict import Verdict

_SYSTEM = 1
_TOLERANCE_S = GRID_US / 1e6


def run_case(rule: Rule, case: Case) -> list[str]:
    """Run one case of a rule, alone. Returns what went otherwise than expected, in words."""
    readings = Readings()
    teller = Teller()
    teller.first_us = 0
    book = AlertBook(_SYSTEM, readings, [rule], {}, teller)
    view = View(readings, 0, rule.when.new_windows())
    happened: list[Happening] = []
    verdict = Verdict.BLIND
    last_us = round(case.until_s * 1e6)
    arrivals = _arrivals(case)
    waiting = next(arrivals, None)
    for step in range(last_us // GRID_US + 1):
        now_us = step * GRID_US
        if step:
            (book.sweep if step % SWEEP_EVERY == 0 else book.grid)(now_us)
        while waiting is not None and waiting[0] <= now_us:
            at_us, index, value, stream = waiting
            stream.mark(at_us)
            readings.put(index, value, stream)
            book.judge_readings([index], at_us)
            view.now_us = at_us
            verdict = rule.when.evaluate(view)
            waiting = next(arrivals, None)
        view.now_us = now_us
        verdict = rule.when.evaluate(view)
        happened += teller.take()
    if case.verdict is not None:
        if verdict is case.verdict:
            return []
        return [
            f"expected {case.verdict.name.lower().replace('_', ' ')}, was {verdict.name.lower().replace('_', ' ')}"
        ]
    seen = [(h.elapsed_us / 1e6, _word(h)) for h in happened if not isinstance(h, Refusal)]
    return list(_differences(list(case.changes), seen))


def _word(happening: Happening) -> str:
    return happening.change.value if isinstance(happening, AlertChange) else SPOKEN


def _arrivals(case: Case) -> Iterator[tuple[int, int, Any, Stream]]:
    """Yield (time, index, value, stream): each value when it is given, and again every sample until the next.

    A held reading is sent once: it needs no repetition, and a running one then runs.
    """
    found: list[tuple[int, int, Any, Stream]] = []
    for index, points in case.given.items():
        stream = Stream()
        for i, (time_s, value) in enumerate(points):
            end_s = points[i + 1][0] if i + 1 < len(points) else case.until_s + _TOLERANCE_S
            found.append((round(time_s * 1e6), index, value, stream))
            if CATALOGUE[index].held or value is None:
                continue
            again_s = time_s + case.sample_s
            while again_s < end_s - 1e-9:
                found.append((round(again_s * 1e6), index, value, stream))
                again_s += case.sample_s
    return iter(sorted(found, key=lambda arrival: (arrival[0], arrival[1])))


def _differences(expected: list[tuple[float, str]], seen: list[tuple[float, str]]) -> Iterator[str]:
    for i in range(max(len(expected), len(seen))):
        if i >= len(seen):
            yield f"expected {expected[i][1]} at {expected[i][0]:g} s, nothing came"
        elif i >= len(expected):
            yield f"unexpected {seen[i][1]} at {seen[i][0]:g} s"
        elif expected[i][1] != seen[i][1] or abs(expected[i][0] - seen[i][0]) > _TOLERANCE_S + 1e-6:
            yield f"expected {expected[i][1]} at {expected[i][0]:g} s, was {seen[i][1]} at {seen[i][0]:g} s"
