"""Finds the files that ship with the program, in an install and in a checkout alike."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def shipped_rules() -> Path:
    """Return the folder of the shipped rule packs."""
    installed = _PACKAGE / "shipped_rules"
    return installed if installed.is_dir() else _PACKAGE.parent / "rules"


def shipped_schemas() -> Path:
    """Return the folder of the JSON schemas of all messages and of the AsyncAPI document."""
    return _PACKAGE / "schemas"


def shipped_languages() -> dict[str, Path]:
    """Return the language files by the names by which a crew asks for them. English needs none."""
    return {path.stem: path for path in sorted((_PACKAGE / "languages").glob("*.yaml"))}
