"""A condition in words that a crew can read, with the numbers its settings have today."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, cast

from lark import Token, Tree

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.rules.compiler import Compiler, shown_unit
from watchkeeper.rules.condition import Condition, Setting
from watchkeeper.rules.expression import parse_condition
from watchkeeper.units import Unit

_SIGNS: Final = {
    "<": "is below",
    "<=": "is at most",
    ">": "is above",
    ">=": "is at least",
    "==": "is",
    "!=": "is not",
}
_OPPOSITE: Final = {"is known": "is not known", "is true": "is false"}


def in_words(condition: Condition) -> str:
    """Return a condition in words."""
    phrases = _Phrases(condition.text, dict(condition.settings))
    return phrases.of(parse_condition(condition.text))


def comparisons_in_words(condition: Condition) -> list[str]:
    """Return each comparison of numbers in words, in the order of `condition.comparisons`."""
    phrases = _Phrases(condition.text, dict(condition.settings))
    phrases.of(parse_condition(condition.text))
    return [phrases.compared[comparison.at] for comparison in condition.comparisons]


def amount(value: float, unit: Unit) -> str:
    """Return a value given in the coherent unit as people read it in `unit`, to four digits."""
    return f"{value / unit.factor:.4g} {unit.symbol}".rstrip()


class _Phrases:
    def __init__(self, text: str, settings: Mapping[str, Setting]) -> None:
        self._text = text
        self._settings = settings
        self.compared: dict[int, str] = {}
        """By where the sign of a comparison stands."""

    def of(self, node: Tree[Any], *, inside: bool = False) -> str:
        """Return a part that gives a verdict; what is joined of several in brackets where it stands `inside`."""
        kind, children = node.data, node.children
        if kind in {"either", "both"}:
            joined = (", or " if kind == "either" else " and ").join(self.of(c, inside=True) for c in children)
            return f"({joined})" if inside else joined
        if kind == "negation":
            return self._negated(children[0])
        if kind == "comparison":
            return " and ".join(
                self._compared(children[i], cast("Token", children[i + 1]), children[i + 2])
                for i in range(0, len(children) - 2, 2)
            )
        if kind == "call":
            name, first = str(children[0]), children[1]
            if name == "known":
                return f"{self._source(first)} is known"
            if name == "lasting":
                return f"{self.of(first, inside=True)}, for {self._source(children[2])} without a break"
        return f"{self._source(node)} is true"

    def _negated(self, node: Tree[Any]) -> str:
        said = self.of(node)
        simple = node.data in {"name", "call"}
        for ending, opposite in _OPPOSITE.items():
            if simple and said.endswith(ending):
                return said.removesuffix(ending) + opposite
        return f"it is not so that ({said})"

    def _compared(self, left: Tree[Any], sign: Token, right: Tree[Any]) -> str:
        unit = None
        if not any(self._is_word(side) for side in (left, right)):
            compiler = Compiler(self._settings)
            unit = shown_unit(compiler.number(left), compiler.number(right))
        said = f"{self._side(left, unit)} {_SIGNS[sign]} {self._side(right, unit)}"
        self.compared[sign.start_pos or 0] = said
        return said

    def _is_word(self, node: Tree[Any]) -> bool:
        index = INDEX.get(str(node.children[0])) if node.data == "name" else None
        return index is not None and bool(CATALOGUE[index].words)

    def _side(self, node: Tree[Any], unit: Unit | None) -> str:
        source = self._source(node)
        if unit is None:
            return source.replace("_", " ") if "." not in source else source
        if node.data == "quantity":
            return source
        constant = Compiler(self._settings).number(node).constant
        if constant is not None:
            return f"{amount(constant, unit)} ({source})"
        if node.data != "call":
            return source
        name, of = str(node.children[0]), self._source(node.children[1])
        if name == "age":
            return f"the time since {of} last came"
        if name in {"average", "slope"}:
            return f"the {name} of {of} over {self._source(node.children[2])}"
        return source

    def _source(self, node: Tree[Any]) -> str:
        return " ".join(self._text[node.meta.start_pos : node.meta.end_pos].split())
