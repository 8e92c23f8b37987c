"""What all tests share: where the recordings are, and what to do when a real part is missing."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import NoReturn

import pytest

ROOT = Path(__file__).resolve().parent.parent


def _missing(reason: str) -> NoReturn:
    """Skip at home; in CI a missing part is a failure."""
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(reason)
    pytest.skip(reason)


def _data_folder() -> Path:
    return Path(os.environ.get("WATCHKEEPER_DATA", ROOT.parent / "shared" / "data"))


class RequireData:
    """`require_data("flights/x.tlog")` gives the path of a recording that the project does not carry."""

    def __call__(self, name: str) -> Path:
        path = _data_folder() / name
        if not path.exists():
            _missing(f"recording {name} not found; set WATCHKEEPER_DATA to its folder")
        return path


class RequireProgram:
    """`require_program("mosquitto")` gives the path of a program."""

    def __call__(self, name: str) -> str:
        found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
        if found is None:
            _missing(f"program {name} is not installed")
        return found


@pytest.fixture(scope="session")
def require_data() -> RequireData:
    return RequireData()


@pytest.fixture(scope="session")
def require_program() -> RequireProgram:
    return RequireProgram()
