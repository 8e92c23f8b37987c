"""Compiles the tree of a condition: checks names, words and units, and builds the closures that judge."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any, Final, TypeAlias, cast

from lark import Token, Tree

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.errors import did_you_mean
from watchkeeper.rules import nodes, overtime
from watchkeeper.rules.condition import Comparison, ConditionError, Setting
from watchkeeper.rules.nodes import Number, Truth, Word
from watchkeeper.rules.window import Lasting, Window
from watchkeeper.units import UNITS, Kind, Unit, describe, divide, multiply, unit

MAX_PARTS = 200
MAX_DEPTH = 30
MAX_WINDOWS = 8
LONGEST_WINDOW_S = 600.0
ARGUMENTS: Final = {"average": 2, "slope": 2, "lasting": 2, "age": 1, "known": 1, "abs": 1, "min": 0, "max": 0}
"""The functions, and how many arguments each takes; 0 means two or more."""
_SECONDS = unit("s").kind
_NUMBER = re.compile(r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_LIST = "see 'watchkeeper rules list'"

Part: TypeAlias = Number | Truth | Word


class Compiler:
    """Compiles one condition. Every method raises ConditionError.

    `spans` then says what history it needs, `used` which settings it names, `comparisons` what it compares.
    """

    def __init__(self, settings: Mapping[str, Setting]) -> None:
        self.spans: list[tuple[type[Window | Lasting], int]] = []
        self.used: dict[str, Setting] = {}
        self.comparisons: list[Comparison] = []
        self._settings = settings
        self._parts = 0
        self._depth = 0
        self._handlers: dict[str, Callable[[Tree[Any]], Part]] = {
            "either": lambda node: nodes.combine([self.truth(child) for child in node.children], every=False),
            "both": lambda node: nodes.combine([self.truth(child) for child in node.children], every=True),
            "negation": lambda node: nodes.negate(self.truth(node.children[0])),
            "comparison": self._comparison,
            "sum": self._chain,
            "product": self._chain,
            "minus": self._minus,
            "quantity": self._quantity,
            "name": self._name,
            "call": self._call,
        }

    def truth(self, node: Any) -> Truth:
        """Compile a part that must give a verdict."""
        found = self._part(node)
        if isinstance(found, Truth):
            return found
        if isinstance(found, Word):
            reading = CATALOGUE[found.index]
            do = f"compare it with one, like {reading.name} == {reading.words[0]}"
            raise ConditionError(_at(node), f"{reading.name} is a word", do)
        raise ConditionError(
            _at(node), f"this is {describe(found.kind)}, not a condition", "compare it with something"
        )

    def number(self, node: Any) -> Number:
        """Compile a part that must give a number."""
        found = self._part(node)
        if isinstance(found, Number):
            return found
        if isinstance(found, Word):
            raise ConditionError(_at(node), f"{CATALOGUE[found.index].name} is a word", "use a number here")
        if node.data == "name":
            name = str(node.children[0])
            do = f"let it stand alone: {name}, or not {name}"
            raise ConditionError(_at(node), f"{name} is true or false, not a number", do)
        raise ConditionError(_at(node), "this is a condition, not a number", "use a number here")

    def _part(self, node: Any) -> Part:
        self._parts += 1
        if self._parts > MAX_PARTS:
            raise ConditionError(_at(node), f"condition of more than {MAX_PARTS} parts", "split the rule")
        if self._depth >= MAX_DEPTH:
            raise ConditionError(_at(node), f"nested deeper than {MAX_DEPTH}", "make it simpler")
        self._depth += 1
        found = self._handlers[node.data](node)
        self._depth -= 1
        return found

    def _comparison(self, node: Tree[Any]) -> Truth:
        children = node.children
        parts = [
            self._compare(children[i], cast("Token", children[i + 1]), children[i + 2])
            for i in range(0, len(children) - 2, 2)
        ]
        return parts[0] if len(parts) == 1 else nodes.combine(parts, every=True)

    def _compare(self, left: Any, sign: Token, right: Any) -> Truth:
        for side, other in ((left, right), (right, left)):
            index = _word_reading(side)
            if index is not None:
                return _compare_word(index, sign, other)
        a, b = self.number(left), self.number(right)
        if a.kind != b.kind:
            raise ConditionError(
                _at(sign), f"{describe(a.kind)} compared with {describe(b.kind)}", "compare like with like"
            )
        self.comparisons.append(Comparison(str(sign), a.value, b.value, shown_unit(a, b), _at(sign)))
        return nodes.compare(str(sign), a, b)

    def _chain(self, node: Tree[Any]) -> Number:
        children = node.children
        result = self.number(children[0])
        for i in range(1, len(children) - 1, 2):
            sign, right = cast("Token", children[i]), self.number(children[i + 1])
            result = nodes.arithmetic(str(sign), result, right, _kind_of(sign, result, right))
            if result.constant is not None and not math.isfinite(result.constant):
                raise ConditionError(_at(sign), "the result is too large", "write smaller numbers")
        return result

    def _minus(self, node: Tree[Any]) -> Number:
        of = self.number(node.children[0])
        return nodes.arithmetic("-", nodes.constant(of.kind, 0.0), of, of.kind)

    def _quantity(self, node: Tree[Any]) -> Number:
        text = str(node.children[0])
        written = _NUMBER.match(text)
        assert written is not None  # the grammar gives nothing else
        symbol = text[written.end() :].strip()
        known = UNITS.get(symbol)
        if known is None:
            place = _at(node) + len(text) - len(symbol)
            raise ConditionError(place, f"unknown unit '{symbol}'", did_you_mean(symbol, UNITS, otherwise=_LIST))
        value = float(written[0]) * known.factor
        if not math.isfinite(value):
            raise ConditionError(_at(node), "the number is too large", "write a smaller one")
        return nodes.constant(known.kind, value)

    def _name(self, node: Tree[Any]) -> Part:
        name = str(node.children[0])
        index = INDEX.get(name)
        if index is not None:
            entry = CATALOGUE[index]
            if entry.words:
                return Word(index)
            if entry.text:
                do = f"say it, or ask known({name}) or age({name})"
                raise ConditionError(_at(node), f"{name} holds words from outside", do)
            return nodes.boolean(index) if entry.boolean else nodes.reading(index)
        setting = self._settings.get(name)
        if setting is not None:
            self.used[name] = setting
            return nodes.constant(setting.kind, setting.value)
        if name in {"true", "false"}:
            raise ConditionError(
                _at(node), f"'{name}' is not needed", "write the reading alone, or not in front of it"
            )
        what = "reading" if "." in name else "setting"
        hint = did_you_mean(name, [*INDEX, *self._settings], otherwise=_LIST)
        raise ConditionError(_at(node), f"unknown {what} '{name}'", hint)

    def _call(self, node: Tree[Any]) -> Part:
        name, arguments = str(node.children[0]), node.children[1:]
        wanted = ARGUMENTS.get(name)
        if wanted is None:
            hint = did_you_mean(name, ARGUMENTS, otherwise=f"there are {', '.join(ARGUMENTS)}")
            raise ConditionError(_at(node), f"unknown function '{name}'", hint)
        if len(arguments) != wanted if wanted else len(arguments) < 2:
            takes = {0: "two or more arguments", 1: "one argument", 2: "two arguments"}[wanted]
            raise ConditionError(_at(node), f"{name} takes {takes}, not {len(arguments)}", "see the README")
        if name == "lasting":
            return overtime.lasting(self._slot(Lasting, arguments[1]), self.truth(arguments[0]))
        if name in {"average", "slope"}:
            return self._windowed(name, arguments[0], arguments[1])
        if name in {"age", "known"}:
            return self._of_reading(name, arguments[0])
        numbers = [self.number(argument) for argument in arguments]
        for argument, number in zip(arguments, numbers, strict=True):
            if number.kind != numbers[0].kind:
                what = f"{describe(number.kind)} beside {describe(numbers[0].kind)}"
                raise ConditionError(_at(argument), what, "use like units")
        return nodes.function(name, numbers)

    def _windowed(self, name: str, argument: Any, span: Any) -> Number:
        of = self.number(argument)
        if not of.readings:
            raise ConditionError(_at(argument), f"{name} of something that never changes", "name a reading")
        kind = of.kind if name == "average" else divide(of.kind, _SECONDS)
        return overtime.over_window(self._slot(Window, span), of, kind, slope=name == "slope")

    @staticmethod
    def _of_reading(name: str, argument: Any) -> Part:
        written = str(argument.children[0]) if argument.data == "name" else ""
        index = INDEX.get(written)
        if index is None:
            what = f"unknown reading '{written}'" if written else f"{name} takes the name of a reading"
            raise ConditionError(_at(argument), what, did_you_mean(written, INDEX, otherwise=_LIST))
        return nodes.known(index) if name == "known" else overtime.age(index, _SECONDS)

    def _slot(self, kind: type[Window | Lasting], node: Any) -> int:
        span = self.number(node)
        if span.constant is None or span.kind != _SECONDS or not 1e-3 <= span.constant <= LONGEST_WINDOW_S:
            what = f"a span is a fixed time of at most {LONGEST_WINDOW_S:.0f} s"
            raise ConditionError(_at(node), what, "write it like 10 s")
        if len(self.spans) >= MAX_WINDOWS:
            raise ConditionError(_at(node), f"more than {MAX_WINDOWS} functions over time", "split the rule")
        self.spans.append((kind, round(span.constant * 1e6)))
        return len(self.spans) - 1


def shown_unit(left: Number, right: Number) -> Unit:
    """Return the unit in which people read the two: that of a reading, else the coherent one of their kind."""
    for i in (*left.readings, *right.readings):
        if CATALOGUE[i].unit.kind == left.kind:
            return CATALOGUE[i].unit
    return next((u for u in UNITS.values() if u.kind == left.kind and u.factor == 1.0), Unit("", left.kind))


def _kind_of(sign: Token, left: Number, right: Number) -> Kind:
    if sign == "*":
        return multiply(left.kind, right.kind)
    if sign == "/":
        if right.constant == 0:
            raise ConditionError(_at(sign), "division by zero", "divide by something else")
        return divide(left.kind, right.kind)
    if left.kind != right.kind:
        verb = "added to" if sign == "+" else "taken from"
        first, second = (left, right) if sign == "+" else (right, left)
        raise ConditionError(_at(sign), f"{describe(first.kind)} {verb} {describe(second.kind)}", "use like units")
    return left.kind


def _compare_word(index: int, sign: Token, other: Any) -> Truth:
    entry = CATALOGUE[index]
    if sign not in {"==", "!="}:
        raise ConditionError(_at(sign), f"{entry.name} is a word", "compare words by == or !=")
    word = str(other.children[0]) if other.data == "name" else ""
    if word not in entry.words:
        what = f"'{word}' is no word of {entry.name}" if word else f"this is no word of {entry.name}"
        raise ConditionError(
            _at(other), what, did_you_mean(word, entry.words, otherwise="one of " + ", ".join(entry.words))
        )
    return nodes.same_word(index, word, equal=sign == "==")


def _word_reading(node: Any) -> int | None:
    if node.data != "name":
        return None
    index = INDEX.get(str(node.children[0]))
    return index if index is not None and CATALOGUE[index].words else None


def _at(node: Any) -> int:
    """Return where in the text a node begins."""
    position = node.start_pos if isinstance(node, Token) else node.meta.start_pos
    return position or 0
