"""The event loop that a command runs on."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

import pytest

from watchkeeper.cli.outfit import loop_factory, run


def test_windows_gets_the_loop_that_watches_sockets_and_others_their_own() -> None:
    """Names as sys.platform gives them; aiomqtt's own documentation asks for this loop on Windows."""
    assert loop_factory("win32") is asyncio.SelectorEventLoop
    for name in ("linux", "darwin", "freebsd14"):
        assert loop_factory(name) is None


def test_a_command_runs_on_the_loop_of_its_platform(monkeypatch: pytest.MonkeyPatch) -> None:
    class Marked(asyncio.SelectorEventLoop):
        """Told apart from the usual one."""

    monkeypatch.setattr(
        "watchkeeper.cli.outfit.loop_factory", lambda name: Marked if name == sys.platform else None
    )

    async def look() -> Path | None:
        return Path(type(asyncio.get_running_loop()).__name__)

    assert run(look()) == Path("Marked")
