"""The simulators share nothing with the watch but encoding, units, and how files and their faults are read."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

SIMULATORS = Path(__file__).resolve().parents[2] / "simulators"
ALLOWED = ("watchkeeper.link", "watchkeeper.units", "watchkeeper.errors", "watchkeeper.documents")


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


@pytest.mark.parametrize(
    "path", sorted(SIMULATORS.rglob("*.py")), ids=lambda path: str(path.relative_to(SIMULATORS))
)
def test_only_the_base_of_the_watch_is_imported(path: Path) -> None:
    of_watch = {name for name in imported(path) if name.split(".")[0] == "watchkeeper"}
    assert {name for name in of_watch if not name.startswith(tuple(f"{one}." for one in ALLOWED))} == set()


def test_the_walk_sees_imports() -> None:
    assert "watchkeeper.link.encode.Encoder" in imported(SIMULATORS / "scripted" / "flight.py")
