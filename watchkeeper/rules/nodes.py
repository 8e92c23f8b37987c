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
from watchkeeper.rules.condition import NEVER_US, Due, Find, Judge, Value, View, always, never
from watchkeeper.rules.verdict import Verdict
from watchkeeper.units import Kind

MET, NOT_MET, V_BLIND, V_FAULT = Verdict.MET, Verdict.NOT_MET, Verdict.BLIND, Verdict.FAULT
_FAR_S: Final = 1e9
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
    aged: bool = False
    """It tells by the absence of samples, so a delay must not wait for one."""
    rate: float | None = 0.0
    """By how much it changes in a second without a sample, in its coherent unit; None: nobody can say."""
    index: int | None = None
    """The reading whose very value it is."""

    @property
    def sampled(self) -> tuple[int, ...]:
        """Readings of which a delay wants new samples."""
        return () if self.aged else self.readings


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
    due: Due = never
    guarded: tuple[int, ...] = ()
    """Readings that it asks for with `known`: what is joined to it by `and` may do without them."""
    excused: tuple[int, ...] = ()
    """Readings that it asks for with `not known`: what is joined to it by `or` may do without them."""


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
        if value is BLIND or value is FAULT:
            return value
        value *= factor
        return value if math.isfinite(value) else FAULT

    return Number(
        entry.unit.kind,
        plain if factor == 1.0 else scaled,
        (index,),
        entry.rate != 0.0,
        rate=entry.rate * factor,
        index=index if factor == 1.0 else None,
    )


def arithmetic(sign: str, left: Number, right: Number, kind: Kind) -> Number:
    """Return left (+ - * /) right."""
    work = {"+": operator.add, "-": operator.sub, "*": operator.mul, "/": operator.truediv}[sign]
    if left.constant is not None and right.constant is not None:
        # the caller refuses division by a constant zero, and a result that is not finite
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
            return result if math.isfinite(result) else FAULT
        except (ZeroDivisionError, OverflowError):
            return FAULT

    readings = joined([left.readings, right.readings])
    rate: float | None = None
    if left.rate is not None and right.rate is not None:
        if sign in "+-":
            rate = work(left.rate, right.rate)
        elif left.rate == right.rate == 0.0:
            rate = 0.0
    return Number(kind, value, readings, left.timed or right.timed, aged=left.aged or right.aged, rate=rate)


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

    if all(argument.constant is not None for argument in arguments):
        return constant(arguments[0].kind, work(*(argument.constant for argument in arguments)))
    return Number(
        arguments[0].kind,
        value,
        joined([argument.readings for argument in arguments]),
        any(argument.timed for argument in arguments),
        aged=any(argument.aged for argument in arguments),
        rate=0.0 if all(argument.rate == 0.0 for argument in arguments) else None,
    )


def _leaf(
    judge: Judge,
    readings: tuple[int, ...],
    *,
    timed: bool,
    sampled: tuple[int, ...] | None = None,
    due: Due = never,
) -> Truth:
    decided_by = readings if sampled is None else sampled

    def missing(view: View) -> tuple[int, ...]:
        if judge(view) in {MET, NOT_MET}:
            return ()
        lacking = tuple(i for i in readings if view.readings.read(i, view.now_us) in {BLIND, FAULT})
        return lacking or readings

    return Truth(judge, readings, timed, lambda _: decided_by, missing, due)


def _crossing(left: Number, right: Number) -> Due:
    """Return when the two will be equal if nothing comes: the first moment at which a comparison may turn."""
    if left.rate is None or right.rate is None:
        return always
    closing = left.rate - right.rate
    if closing == 0.0:
        return never
    a, b = left.value, right.value

    def due(view: View) -> int:
        x, y = a(view), b(view)
        if x is BLIND or x is FAULT or y is BLIND or y is FAULT:
            return NEVER_US
        in_s = (y - x) / closing
        # a microsecond early, so that rounding never makes it late
        return view.now_us + int(in_s * 1e6) - 1 if 0.0 <= in_s < _FAR_S else NEVER_US

    return due


def compare(sign: str, left: Number, right: Number) -> Truth:
    """Return the verdict of left (< <= > >= == !=) right."""
    work = COMPARISONS[sign]
    a, b = left.value, right.value
    readings = joined([left.readings, right.readings])
    sampled = joined([left.sampled, right.sampled])
    due = _crossing(left, right)
    if right.constant is not None:
        limit = right.constant
        index = left.index

        def reading_against_constant(view: View) -> Verdict:
            x = view.readings.read(index, view.now_us)  # type: ignore[arg-type]  # there is one where this is used
            if x is BLIND:
                return V_BLIND
            if x is FAULT:
                return V_FAULT
            return MET if work(x, limit) else NOT_MET

        def against_constant(view: View) -> Verdict:
            x = a(view)
            if x is BLIND:
                return V_BLIND
            if x is FAULT:
                return V_FAULT
            return MET if work(x, limit) else NOT_MET

        chosen = against_constant if index is None else reading_against_constant
        return _leaf(chosen, readings, timed=left.timed, sampled=sampled, due=due)

    def judge(view: View) -> Verdict:
        x, y = a(view), b(view)
        if x is FAULT or y is FAULT:
            return V_FAULT
        if x is BLIND or y is BLIND:
            return V_BLIND
        return MET if work(x, y) else NOT_MET

    return _leaf(judge, readings, timed=left.timed or right.timed, sampled=sampled, due=due)


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

    return Truth(judge, (index,), timed=False, deciding=lambda _: (), missing=lambda _: (), guarded=(index,))


def negate(of: Truth) -> Truth:
    """Return met for not met and the other way round."""
    inner = of.judge

    def judge(view: View) -> Verdict:
        verdict = inner(view)
        if verdict is MET:
            return NOT_MET
        return MET if verdict is NOT_MET else verdict

    return Truth(judge, of.readings, of.timed, of.deciding, of.missing, of.due, of.excused, of.guarded)


def combine(parts: Sequence[Truth], *, every: bool) -> Truth:
    """Return `and` (every) or `or` of the parts, by the table at the head of this module."""
    judges = tuple(part.judge for part in parts)
    strong, weak = (NOT_MET, MET) if every else (MET, NOT_MET)

    timed = any(part.timed for part in parts)

    def judge(view: View) -> Verdict:
        result = weak
        for one in judges:
            verdict = one(view)
            if verdict is strong:
                if not timed:
                    return strong
                result = strong  # parts with a history must see every sample, so all are judged
            elif result is not strong and verdict is not weak and result is not V_FAULT:
                result = verdict
        return result

    def deciding(view: View) -> tuple[int, ...]:
        verdict = judge(view)
        agreed = [part for part in parts if part.judge(view) is verdict]
        # one operand is enough for the strong verdict; any other stands by all that share it
        return joined([part.deciding(view) for part in (agreed[:1] if verdict is strong else agreed)])

    guarded = frozenset(joined([part.guarded if every else part.excused for part in parts]))

    def missing(view: View) -> tuple[int, ...]:
        # a reading that the same words ask for with `known` is one that may be missing; and where that is not so,
        # what stands beside it is not asked for
        if every and any(part.guarded and part.judge(view) is NOT_MET for part in parts):
            return ()
        return tuple(i for i in joined([part.missing(view) for part in parts]) if i not in guarded)

    dues = tuple(part.due for part in parts if part.due is not never)

    def due(view: View) -> int:
        return min([one(view) for one in dues])

    readings = joined([part.readings for part in parts])
    return Truth(judge, readings, timed, deciding, missing, due if dues else never)
