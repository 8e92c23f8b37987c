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
    aged: bool = False
    """It tells by the absence of samples, so a delay must not wait for one."""

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

    return Number(entry.unit.kind, plain if factor == 1.0 else scaled, (index,), entry.rate != 0.0)


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
    return Number(kind, value, readings, left.timed or right.timed, aged=left.aged or right.aged)


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
    )


def _leaf(
    judge: Judge, readings: tuple[int, ...], *, timed: bool, sampled: tuple[int, ...] | None = None
) -> Truth:
    decided_by = readings if sampled is None else sampled

    def missing(view: View) -> tuple[int, ...]:
        if judge(view) in {MET, NOT_MET}:
            return ()
        lacking = tuple(i for i in readings if view.readings.read(i, view.now_us) in {BLIND, FAULT})
        return lacking or readings

    return Truth(judge, readings, timed, lambda _: decided_by, missing)


def compare(sign: str, left: Number, right: Number) -> Truth:
    """Return the verdict of left (< <= > >= == !=) right."""
    work = COMPARISONS[sign]
    a, b = left.value, right.value
    readings = joined([left.readings, right.readings])
    sampled = joined([left.sampled, right.sampled])
    if right.constant is not None:
        limit = right.constant

        def against_constant(view: View) -> Verdict:
            x = a(view)
            if x is BLIND:
                return V_BLIND
            if x is FAULT:
                return V_FAULT
            return MET if work(x, limit) else NOT_MET

        return _leaf(against_constant, readings, timed=left.timed, sampled=sampled)

    def judge(view: View) -> Verdict:
        x, y = a(view), b(view)
        if x is FAULT or y is FAULT:
            return V_FAULT
        if x is BLIND or y is BLIND:
            return V_BLIND
        return MET if work(x, y) else NOT_MET

    return _leaf(judge, readings, timed=left.timed or right.timed, sampled=sampled)


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

    return Truth(judge, of.readings, of.timed, of.deciding, of.missing, of.excused, of.guarded)


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

    return Truth(judge, joined([part.readings for part in parts]), timed, deciding, missing)
