"""The order of the house: imports go one way, and only the edges touch the world."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.conftest import ROOT

LAYERS = (
    ("units", "errors", "documents", "resources"),
    ("link",),
    ("aircraft",),
    ("estimate",),
    ("rules",),
    ("alerts",),
    ("watched",),
    ("engine",),
    ("casebook",),
    ("brief",),
    ("picture",),
    ("debrief",),
    ("edges",),
    ("page",),
    ("daemon",),
    ("cli",),
)
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names}
WORLD = {"asyncio", "socket", "time", "threading", "subprocess", "random", "select", "signal", "ssl", "selectors"}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "watchkeeper", "rules", "tests", "simulators"}


def modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names.add(node.module or "")
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def layer(dotted: str) -> str | None:
    parts = dotted.split(".")
    return parts[1] if parts[0] == "watchkeeper" and len(parts) > 1 and parts[1] in RANK else None


@pytest.mark.parametrize("path", modules("watchkeeper"), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_one_way(path: Path) -> None:
    own = layer("watchkeeper." + ".".join(path.relative_to(ROOT / "watchkeeper").with_suffix("").parts))
    if own is None:
        assert path.name == "__init__.py"
        return
    for name in imported(path):
        other = layer(name)
        if other is not None:
            assert RANK[other] <= RANK[own], f"{own} imports {name}"


@pytest.mark.parametrize("path", modules("watchkeeper"), ids=lambda p: str(p.relative_to(ROOT)))
def test_only_the_edges_touch_the_world(path: Path) -> None:
    inside = path.relative_to(ROOT / "watchkeeper").parts[0]
    if inside in {"edges", "page", "cli", "daemon.py"}:
        return
    roots = {name.split(".")[0] for name in imported(path)}
    assert not roots & WORLD


@pytest.mark.parametrize("path", modules("simulators"), ids=lambda p: str(p.relative_to(ROOT)))
def test_simulators_share_nothing_with_the_estimates(path: Path) -> None:
    for name in imported(path):
        if name.startswith("watchkeeper"):
            assert name.split(".")[1] in {"link", "units", "errors", "documents"}, name


def test_the_watch_imports_nothing_that_only_training_needs() -> None:
    for path in modules("watchkeeper"):
        assert not {name.split(".")[0] for name in imported(path)} & {"numpy", "scipy", "pandas"}, path


def test_no_module_has_grown_beyond_one_idea() -> None:
    for path in (*modules("watchkeeper"), *modules("simulators")):
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 400, path


def test_the_top_level_holds_what_it_should() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    built = {"build", "dist", "watchkeeper.egg-info"}
    assert found >= TOP
    assert found - TOP - built == set()
