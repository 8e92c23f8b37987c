"""Conditions as text to compiled conditions: grammar, names, units.

Nothing in a condition can run code: the grammar knows names, numbers and a closed list of functions, and each
becomes a closure over catalogue indexes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, cast

from lark import Lark, Token, Tree, UnexpectedInput

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.errors import did_you_mean
from watchkeeper.rules import nodes
from watchkeeper.rules.condition import Condition
from watchkeeper.rules.nodes import Number, Truth, Word
from watchkeeper.rules.window import Lasting, Window
from watchkeeper.units import UNITS, Kind, describe, divide, multiply, unit

MAX_CHARACTERS = 2000
MAX_PARENTHESES = 30
MAX_TOKENS = 300
LONGEST_WINDOW_S = 600.0
FUNCTIONS = ("average", "slope", "lasting", "age", "known", "abs", "min", "max")
_SECONDS = unit("s").kind
_SCALES = frozenset({"degC"})  # scales with a zero of their own: adding or multiplying two makes no sense


class ConditionError(Exception):
    """A condition cannot be used. `offset` is where in its text."""

    def __init__(self, offset: int, what: str, do: str = "") -> None:
        super().__init__(what)
        self.offset = offset
        self.what = what
        self.do = do


@dataclass(frozen=True, slots=True)
class Setting:
    """A named number of a pack, in the coherent unit of its kind."""

    kind: Kind
    value: float


def compile_condition(text: str, settings: Mapping[str, Setting]) -> Condition:
    """Compile one condition. Raises ConditionError, and nothing else, for any text."""
    if len(text) > MAX_CHARACTERS:
        raise ConditionError(0, f"condition longer than {MAX_CHARACTERS} characters", "split the rule")
    depth = deepest = 0
    for character in text:
        depth += (character == "(") - (character == ")")
        deepest = max(deepest, depth)
    if deepest > MAX_PARENTHESES:
        raise ConditionError(0, f"parentheses nested deeper than {MAX_PARENTHESES}", "make it simpler")
    if text.count("not") + text.count("-") > MAX_TOKENS or len(text.split()) > MAX_TOKENS:
        raise ConditionError(0, f"condition of more than {MAX_TOKENS} parts", "split the rule")
    try:
        tree = _parser().parse(text)
    except UnexpectedInput as error:
        raise _syntax_error(text, error) from None
    compiler = _Compiler(settings)
    truth = compiler.truth(tree)
    return Condition(
        text=text,
        evaluate=truth.judge,
        readings=truth.readings,
        timed=truth.timed,
        deciding=truth.deciding,
        missing=truth.missing,
        spans=tuple(compiler.spans),
    )


@cache
def _parser() -> Lark:
    grammar = files("watchkeeper.rules").joinpath("grammar.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", propagate_positions=True, maybe_placeholders=False)


def _syntax_error(text: str, error: UnexpectedInput) -> ConditionError:
    offset = error.pos_in_stream if error.pos_in_stream is not None else len(text)
    token = getattr(error, "token", None)
    if token is not None and token.type == "$END":
        return ConditionError(len(text.rstrip()), "the condition ends too early", "complete it")
    offset = max(0, min(offset, len(text)))
    rest = text[offset:].split()
    shown = rest[0] if rest else "the end"
    if shown in {"=", "&&", "||", "!"} or shown.startswith("="):
        return ConditionError(offset, f"unexpected '{shown}'", "use == for equal, and, or, not")
    return ConditionError(offset, f"unexpected '{shown}'", "see the README for how conditions are written")


@dataclass(slots=True)
class _Compiler:
    settings: Mapping[str, Setting]
    spans: list[tuple[type[Window] | type[Lasting], int]] = field(default_factory=list)

    def truth(self, node: Any) -> Truth:
        found = self._any(node)
        if isinstance(found, Truth):
            return found
        if isinstance(found, Word):
            raise ConditionError(
                _at(node),
                f"{CATALOGUE[found.index].name} is a word",
                "compare it with one, like flight.phase == landed",
            )
        raise ConditionError(
            _at(node), f"this is {describe(found.kind)}, not a condition", "compare it with something"
        )

    def number(self, node: Any) -> Number:
        found = self._any(node)
        if isinstance(found, Number):
            return found
        what = f"{CATALOGUE[found.index].name} is a word" if isinstance(found, Word) else "this is a condition"
        raise ConditionError(_at(node), f"{what}, not a number", "use a number here")

    def _any(self, node: Any) -> Number | Truth | Word:
        handler: Callable[[Any], Number | Truth | Word] = getattr(self, f"_on_{node.data}")
        return handler(node)

    def _on_either(self, node: Tree[Any]) -> Truth:
        return nodes.combine([self.truth(child) for child in node.children], every=False)

    def _on_both(self, node: Tree[Any]) -> Truth:
        return nodes.combine([self.truth(child) for child in node.children], every=True)

    def _on_negation(self, node: Tree[Any]) -> Truth:
        return nodes.negate(self.truth(node.children[0]))

    def _on_comparison(self, node: Tree[Any]) -> Truth:
        parts: list[Truth] = []
        children = node.children
        for i in range(0, len(children) - 2, 2):
            parts.append(self._compare(children[i], cast("Token", children[i + 1]), children[i + 2]))
        return parts[0] if len(parts) == 1 else nodes.combine(parts, every=True)

    def _compare(self, left: Any, sign: Token, right: Any) -> Truth:
        for word_side, other in ((left, right), (right, left)):
            index = _word_reading(word_side)
            if index is not None:
                return self._compare_word(index, str(sign), other, _at(sign))
        a, b = self.number(left), self.number(right)
        if a.kind != b.kind:
            raise ConditionError(
                _at(sign), f"{describe(a.kind)} compared with {describe(b.kind)}", "compare like with like"
            )
        return nodes.compare(str(sign), a, b)

    def _compare_word(self, index: int, sign: str, other: Any, at: int) -> Truth:
        entry = CATALOGUE[index]
        if sign not in {"==", "!="}:
            raise ConditionError(at, f"{entry.name} is a word", "compare words by == or !=")
        word = str(other.children[0]) if other.data == "name" else ""
        if word not in entry.words:
            hint = did_you_mean(word, entry.words, otherwise="one of " + ", ".join(entry.words))
            raise ConditionError(_at(other), f"'{word or 'this'}' is no word of {entry.name}", hint)
        return nodes.same_word(index, word, equal=sign == "==")

    def _on_sum(self, node: Tree[Any]) -> Number:
        return self._chain(node)

    def _on_product(self, node: Tree[Any]) -> Number:
        return self._chain(node)

    def _chain(self, node: Tree[Any]) -> Number:
        children = node.children
        result = self.number(children[0])
        for i in range(1, len(children) - 1, 2):
            sign, right = cast("Token", children[i]), self.number(children[i + 1])
            result = nodes.arithmetic(str(sign), result, right, self._kind_of(sign, result, right))
        return result

    @staticmethod
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
            raise ConditionError(
                _at(sign), f"{describe(first.kind)} {verb} {describe(second.kind)}", "use like units"
            )
        return left.kind

    def _on_minus(self, node: Tree[Any]) -> Number:
        of = self.number(node.children[0])
        return nodes.arithmetic("-", nodes.constant(of.kind, 0.0), of, of.kind)

    def _on_quantity(self, node: Tree[Any]) -> Number:
        text = str(node.children[0])
        digits = len(text)
        for i, character in enumerate(text):
            # an exponent belongs to the number only if digits follow it
            if character.isalpha() or character == "%":
                if character in "eE" and text[i + 1 : i + 2].strip("+-")[:1].isdigit():
                    continue
                if character in "eE" and text[i + 1 : i + 3].strip("+-").isdigit():
                    continue
                digits = i
                break
        symbol = text[digits:].strip()
        known = UNITS.get(symbol)
        if known is None:
            raise ConditionError(_at(node) + digits, f"unknown unit '{symbol}'", did_you_mean(symbol, UNITS))
        number = float(text[:digits])
        if number in {float("inf"), float("-inf")}:
            raise ConditionError(_at(node), "number too large", "write a smaller one")
        return nodes.constant(known.kind, number * known.factor)

    def _on_name(self, node: Tree[Any]) -> Number | Truth | Word:
        name = str(node.children[0])
        index = INDEX.get(name)
        if index is not None:
            entry = CATALOGUE[index]
            if entry.words:
                return Word(index)
            return nodes.boolean(index) if entry.boolean else nodes.reading(index)
        setting = self.settings.get(name)
        if setting is not None:
            return nodes.constant(setting.kind, setting.value)
        kind = "reading" if "." in name else "setting"
        hint = did_you_mean(name, [*INDEX, *self.settings], otherwise="see 'watchkeeper rules list'")
        raise ConditionError(_at(node), f"unknown {kind} '{name}'", hint)

    def _on_call(self, node: Tree[Any]) -> Number | Truth:
        name, *arguments = node.children
        if name not in FUNCTIONS:
            raise ConditionError(_at(node), f"unknown function '{name}'", did_you_mean(str(name), FUNCTIONS))
        wanted = {"average": 2, "slope": 2, "lasting": 2, "age": 1, "known": 1, "abs": 1}.get(str(name))
        if wanted is not None and len(arguments) != wanted:
            raise ConditionError(
                _at(node), f"{name} takes {wanted} arguments, not {len(arguments)}", "see the README"
            )
        if name in {"average", "slope"}:
            return self._windowed(str(name), arguments)
        if name == "lasting":
            of = self.truth(arguments[0])
            return nodes.lasting(self._slot(Lasting, arguments[1]), of)
        if name in {"age", "known"}:
            index = INDEX.get(str(arguments[0].children[0])) if arguments[0].data == "name" else None
            if index is None:
                raise ConditionError(_at(arguments[0]), f"{name} takes the name of a reading", "see 'rules list'")
            return nodes.known(index) if name == "known" else nodes.age(index, _SECONDS)
        numbers = [self.number(argument) for argument in arguments]
        for argument, number in zip(arguments, numbers, strict=True):
            if number.kind != numbers[0].kind:
                raise ConditionError(
                    _at(argument), f"{describe(number.kind)} beside {describe(numbers[0].kind)}", "use like units"
                )
        if name != "abs" and len(numbers) < 2:
            raise ConditionError(_at(node), f"{name} takes two or more arguments", "see the README")
        return nodes.function(str(name), numbers)

    def _windowed(self, name: str, arguments: list[Any]) -> Number:
        of = self.number(arguments[0])
        if not of.readings:
            raise ConditionError(_at(arguments[0]), f"{name} of something that never changes", "name a reading")
        slot = self._slot(Window, arguments[1])
        kind = of.kind if name == "average" else divide(of.kind, _SECONDS)
        return nodes.over_window(slot, of, kind, slope=name == "slope")

    def _slot(self, kind: type[Window] | type[Lasting], node: Any) -> int:
        span = self.number(node)
        if span.constant is None or span.kind != _SECONDS or not 0 < span.constant <= LONGEST_WINDOW_S:
            raise ConditionError(_at(node), f"a window is a time of up to {LONGEST_WINDOW_S:.0f} s", "like 10 s")
        self.spans.append((kind, round(span.constant * 1e6)))
        return len(self.spans) - 1


def _word_reading(node: Any) -> int | None:
    if getattr(node, "data", None) != "name":
        return None
    index = INDEX.get(str(node.children[0]))
    return index if index is not None and CATALOGUE[index].words else None


def _at(node: Any) -> int:
    """Return where in the text a node begins."""
    if isinstance(node, Token):
        return node.start_pos or 0
    return getattr(node.meta, "start_pos", 0)
