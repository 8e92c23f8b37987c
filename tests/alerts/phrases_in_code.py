"""Finds in the code what the watch may say: sentences, and words handed to a language."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.conftest import ROOT

SPEAKING = (
    "alerts",
    "edges",
    "daemon.py",
    "engine.py",
    "watched.py",
    "picture",
    "cli/outfit.py",
    "cli/health.py",
    "cli/messaging.py",
    "cli/drill.py",
    "page/hearing.py",
    "page/phone.py",
)
"""Where callouts, reports of parts and reasons come from."""
_SENTENCES = re.compile(r"[A-Z{][^\n]*[\w}\]]\.")
_FOR_READERS = {"help", "description", "epilog", "about"}
_NOT_SPOKEN = {"phrases.py", "asyncapi.py", "ledger_late.py"}
"""The list itself, a description for people who write programs, and what only a debrief reports."""
_REPORTING = {"report", "_report"}


def speaking_files() -> list[Path]:
    """Return the files that may hold words for a crew."""
    folder = ROOT / "watchkeeper"
    found: list[Path] = []
    for name in SPEAKING:
        found += sorted((folder / name).rglob("*.py")) if not name.endswith(".py") else [folder / name]
    return [path for path in found if path.name not in _NOT_SPOKEN]


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Yield (line, text) of everything written as whole sentences, {} for what is filled in."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in _walk(tree):
        text = text_of(node)
        if text is not None and _SENTENCES.fullmatch(text):
            yield node.lineno, text


def handed_over(path: Path) -> Iterator[tuple[int, str]]:
    """Yield (line, text) of what is handed to a language, and of what a part reports of itself."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and node.args:
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            wanted = node.args[:1] if called in {"phrase", "say", "_reason"} else []
            if called == "_clear":
                wanted = node.args[1:2]
            if called == "LoginError":
                wanted = node.args[:2]
            if called in _REPORTING and len(node.args) == 3:
                wanted = node.args[2:]
            for arg in wanted:
                for part in _literals(arg):
                    yield part.lineno, text_of(part) or ""


def text_of(node: ast.AST) -> str | None:
    """Return a literal, or an f-string with {} for its places."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return None


def _literals(node: ast.expr) -> Iterator[ast.expr]:
    """Yield the literals that an expression may turn out to be."""
    if isinstance(node, ast.IfExp):
        yield from _literals(node.body)
        yield from _literals(node.orelse)
    elif isinstance(node, ast.BoolOp):
        for value in node.values:
            yield from _literals(value)
    elif text_of(node):
        yield node


def _walk(node: ast.AST) -> Iterator[ast.expr]:
    """Yield expressions, without docstrings and without what is for readers of help."""
    for field, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or (
                isinstance(child, ast.Expr) and text_of(child.value) is not None
            ):
                continue
            if isinstance(child, ast.keyword) and child.arg in _FOR_READERS:
                continue
            if isinstance(child, ast.expr):
                yield child
            if not isinstance(child, ast.JoinedStr) and field != "annotation":
                yield from _walk(child)
