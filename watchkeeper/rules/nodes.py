"""The parts of compiled conditions: closures that give numbers or verdicts, nothing else.

Verdicts combine by one table: `and` gives not met if any operand is not met, else fault, else blind; `or`
gives met if any operand is met, else fault, blind, not met. In arithmetic and comparison fault goes before
blind; division by zero and overflow are faults.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.rules.condition import Find, Judge, Value, View
from watchkeeper.rules.verdict import Verdict
from watchkeeper.units import Kind

MET, NOT_MET, V_BLIND, V_FAULT = Verdict.MET, Verdict.NOT_MET, Verdict.BLIND, Verdict.FAULT
COMPARISONS: Final[dict[str, Callable[[Any, Any], bool]]] = {
    "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge, "==": operator.eq, "!=": operator.ne,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Number:
    """An expression with a value. `constant` is set when it is one."""

    kind: Kind
    value: Value
    readings: tuple[int, ...] = ()
    timed: bool = False
    constant: float | None = None


@dataclass(frozen=True, slots=True)
class Word:
    """A reading whose values are words of the catalogue."""

    index: int


@dataclass(frozen=True, slots=True)
class Truth:
    """An expression with a verdict."""

    judge: Judge
    readings: tuple[int, ...]
    timed: bool
    deciding: Find
    missing: Find


def joined(groups: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """Return all indexes once, in order."""
    return tuple(dict.fromkeys(i for group in groups for i in group))


def constant(kind: Kind, number: float) -> Number:
    """Return a number that never changes."""
    return Number(kind, lambda _: number, constant=number)


def reading(index: int) -> Number:
    """Return the value of a reading in the coherent unit of its kind."""
    entry = CATALOGUE[index]
    factor = entry.unit.factor

    def plain(view: View) -> Any:
        return view.readings.read(index, view.now_us)

    def scaled(view: View) -> Any:
        value = view.readings.read(index, view.now_us)
        return value if value is BLIND or value is FAULT else value * factor

    return Number(entry.unit.kind, plain if factor == 1.0 else scaled, (index,), entry.rate != 0.0)


def arithmetic(sign: str, left: Number, right: Number, kind: Kind) -> Number:
    """Return left (+ - * /) right."""
    work = {"+": operator.add, "-": operator.sub, "*": operator.mul, "/": operator.truediv}[sign]
    if left.constant is not None and right.constant is not None and not (sign == "/" and right.constant == 0):
        return constant(kind, work(left.constant, right.constant))
    a, b = left.value, right.value

    def value(view: View) -> Any:
        x, y = a(view), b(view)
        if x is FAULT or y is FAULT:
            return FAULT
        if x is BLIND or y is BLIND:
            return BLIND
        try:
            result = work(x, y)
        except (ZeroDivisionError, OverflowError):
            return FAULT
        return result if math.isfinite(result) else FAULT

    return Number(kind, value, joined([left.readings, right.readings]), left.timed or right.timed)


def function(name: str, arguments: Sequence[Number]) -> Number:
    """Return abs, min or max."""
    table: dict[str, Callable[..., float]] = {"abs": abs, "min": min, "max": max}
    work = table[name]
    parts = [argument.value for argument in arguments]

    def value(view: View) -> Any:
        values = [part(view) for part in parts]
        if FAULT in values:
            return FAULT
        return BLIND if BLIND in values else work(*values)

    return Number(
        arguments[0].kind,
        value,
        joined([argument.readings for argument in arguments]),
        any(argument.timed for argument in arguments),
    )


def age(index: int, kind: Kind) -> Number:
    """Return the seconds since the reading last came; blind if it never came."""

    def value(view: View) -> Any:
        stream = view.readings.streams[index]
        return BLIND if stream is None else (view.now_us - stream.time_us) / 1e6

    return Number(kind, value, (index,), timed=True)


def over_window(slot: int, of: Number, kind: Kind, *, slope: bool) -> Number:
    """Return the average or slope of an expression over its window."""
    inner, sources = of.value, of.readings

    def value(view: View) -> Any:
        window = view.windows[slot]
        got = inner(view)
        if got is FAULT:
            return FAULT
        if got is not BLIND:
            streams = view.readings.streams
            key = sum(stream.count for i in sources if (stream := streams[i]) is not None)
            window.add(key, view.now_us, got)
        if not window.ready(view.now_us):
            return BLIND
        return window.slope() if slope else window.average()

    return Number(kind, value, of.readings, of.timed)


def _leaf(judge: Judge, readings: tuple[int, ...], *, timed: bool) -> Truth:
    def missing(view: View) -> tuple[int, ...]:
        if judge(view) in {MET, NOT_MET}:
            return ()
        lacking = tuple(i for i in readings if view.readings.read(i, view.now_us) in {BLIND, FAULT})
        return lacking or readings

    return Truth(judge, readings, timed, lambda _: readings, missing)


def compare(sign: str, left: Number, right: Number) -> Truth:
    """Return the verdict of left (< <= > >= == !=) right."""
    work = COMPARISONS[sign]
    a, b = left.value, right.value
    readings = joined([left.readings, right.readings])
    if right.constant is not None:
        limit = right.constant

        def against_constant(view: View) -> Verdict:
            x = a(view)
            if x is BLIND:
                return V_BLIND
            if x is FAULT:
                return V_FAULT
            return MET if work(x, limit) else NOT_MET

        return _leaf(against_constant, readings, timed=left.timed)

    def judge(view: View) -> Verdict:
        x, y = a(view), b(view)
        if x is FAULT or y is FAULT:
            return V_FAULT
        if x is BLIND or y is BLIND:
            return V_BLIND
        return MET if work(x, y) else NOT_MET

    return _leaf(judge, readings, timed=left.timed or right.timed)


def same_word(index: int, word: str, *, equal: bool) -> Truth:
    """Return whether a reading is (or is not) a word."""

    def judge(view: View) -> Verdict:
        value = view.readings.read(index, view.now_us)
        if value is BLIND:
            return V_BLIND
        if value is FAULT:
            return V_FAULT
        return MET if (value == word) is equal else NOT_MET

    return _leaf(judge, (index,), timed=False)


def boolean(index: int) -> Truth:
    """Return whether a yes/no reading is yes."""

    def judge(view: View) -> Verdict:
        value = view.readings.read(index, view.now_us)
        if value is BLIND:
            return V_BLIND
        if value is FAULT:
            return V_FAULT
        return MET if value else NOT_MET

    return _leaf(judge, (index,), timed=False)


def known(index: int) -> Truth:
    """Return whether a reading can be used; never blind itself."""

    def judge(view: View) -> Verdict:
        value = view.readings.read(index, view.now_us)
        return NOT_MET if value is BLIND or value is FAULT else MET

    return Truth(judge, (index,), timed=False, deciding=lambda _: (index,), missing=lambda _: ())


def lasting(slot: int, of: Truth) -> Truth:
    """Return whether a condition has been met without interruption for its span."""
    inner = of.judge

    def judge(view: View) -> Verdict:
        verdict = inner(view)
        state = view.windows[slot]
        if verdict is not MET:
            state.since_us = None
            return verdict
        if state.since_us is None:
            state.since_us = view.now_us
        return MET if view.now_us - state.since_us >= state.span_us else NOT_MET

    return Truth(judge, of.readings, timed=True, deciding=of.deciding, missing=of.missing)


def negate(of: Truth) -> Truth:
    """Return met for not met and the other way round."""
    inner = of.judge

    def judge(view: View) -> Verdict:
        verdict = inner(view)
        if verdict is MET:
            return NOT_MET
        return MET if verdict is NOT_MET else verdict

    return Truth(judge, of.readings, of.timed, of.deciding, of.missing)


def combine(parts: Sequence[Truth], *, every: bool) -> Truth:
    """Return `and` (every) or `or` of the parts, by the table at the head of this module."""
    judges = tuple(part.judge for part in parts)
    strong, weak = (NOT_MET, MET) if every else (MET, NOT_MET)

    def judge(view: View) -> Verdict:
        # every part is judged each time: those with history must see every sample
        result = weak
        for one in judges:
            verdict = one(view)
            if verdict is strong:
                result = strong
            elif result is not strong and verdict is not weak and result is not V_FAULT:
                result = verdict
        return result

    def deciding(view: View) -> tuple[int, ...]:
        if judge(view) is strong:
            return next(part.deciding(view) for part in parts if part.judge(view) is strong)
        return joined([part.deciding(view) for part in parts])

    return Truth(
        judge,
        joined([part.readings for part in parts]),
        any(part.timed for part in parts),
        deciding,
        lambda view: joined([part.missing(view) for part in parts]),
    )
