"""Linting, formatting and types are part of the tests, so that one command runs every check."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.conftest import ROOT


@pytest.mark.parametrize(
    "command",
    [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",)],
    ids=["ruff check", "ruff format", "mypy"],
)
def test_the_code_passes(command: tuple[str, ...]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, timeout=280, check=False
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
