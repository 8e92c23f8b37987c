"""Conditions as text to compiled conditions.

Nothing in a condition can run code: the grammar knows names, numbers and a closed list of functions, and each
becomes a closure over catalogue indexes.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from lark import Lark, Token, Tree, UnexpectedInput

from watchkeeper.rules.compiler import Compiler
from watchkeeper.rules.condition import Condition, ConditionError, Setting

MAX_CHARACTERS = 2000
LONGEST_SHOWN = 40
_OTHER_SIGNS = {
    "=": "write == for equal",
    "&": "write and",
    "|": "write or",
    "!": "write not",
    "≤": "write <=",
    "≥": "write >=",
    "≠": "write !=",
    "°": "write deg or degC",
}


def compile_condition(text: str, settings: Mapping[str, Setting]) -> Condition:
    """Compile one condition. Raises ConditionError, and nothing else, for any text."""
    if len(text) > MAX_CHARACTERS:
        raise ConditionError(0, f"condition longer than {MAX_CHARACTERS} characters", "split the rule")
    tree = parse_condition(text)
    compiler = Compiler(settings)
    truth = compiler.truth(tree)
    if not truth.readings:
        raise ConditionError(0, "the condition looks at no reading", "name one")
    return Condition(
        text=text,
        evaluate=truth.judge,
        readings=truth.readings,
        timed=truth.timed,
        due=truth.due,
        deciding=truth.deciding,
        missing=truth.missing,
        spans=tuple(compiler.spans),
        settings=tuple(sorted(compiler.used.items())),
        comparisons=tuple(compiler.comparisons),
    )


def parse_condition(text: str) -> Tree[Token]:
    """Return the tree of a condition. Raises ConditionError."""
    try:
        return _parser().parse(text)
    except UnexpectedInput as error:
        raise _syntax_error(text, error) from None


@cache
def _parser() -> Lark:
    grammar = files("watchkeeper.rules").joinpath("grammar.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", propagate_positions=True, maybe_placeholders=False)


def _syntax_error(text: str, error: UnexpectedInput) -> ConditionError:
    token = getattr(error, "token", None)
    if token is not None and token.type == "$END":
        return ConditionError(len(text.rstrip()), "the condition ends too early", "complete it")
    offset = error.pos_in_stream or 0
    shown = (text[offset:].split(maxsplit=1) or [""])[0][:LONGEST_SHOWN]
    if not shown or not shown.isprintable() or text[offset].isspace():
        return ConditionError(offset, "unexpected character that cannot be printed", "use plain text")
    do = _OTHER_SIGNS.get(shown[0], "join conditions by and, or, not; see the README")
    return ConditionError(offset, f"unexpected '{shown}'", do)
