"""The lock against sleep: real processes in the lock's place, and logind's own program where it can be had."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from watchkeeper.edges.host.staying_awake import MAY_SLEEP, PART, StayingAwake, command, may_sleep

REFUSED = [sys.executable, "-c", "raise SystemExit(1)"]


class News:
    """Reports, to be waited for."""

    def __init__(self) -> None:
        self.reports: list[tuple[str, bool, str]] = []
        self._came = asyncio.Event()

    def report(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self._came.set()

    async def until(self, ready: Callable[[], bool]) -> None:
        async with asyncio.timeout(20):
            while not ready():
                self._came.clear()
                await self._came.wait()


def states(folder: Path, text: str) -> Path:
    path = folder / "state"
    path.write_text(text)
    return path


async def test_a_refused_lock_is_told_before_a_flight_where_the_computer_can_sleep(tmp_path: Path) -> None:
    news = News()
    awake = StayingAwake(news.report, holding=REFUSED, states=states(tmp_path, "freeze mem disk\n"))
    task = asyncio.create_task(awake.run())
    await news.until(lambda: bool(news.reports))
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    assert news.reports == [(PART, False, MAY_SLEEP)]


async def test_a_lock_that_is_had_later_ends_it(tmp_path: Path) -> None:
    marker = tmp_path / "asked"
    script = f"""
import pathlib, sys
marker = pathlib.Path({str(marker)!r})
if not marker.exists():
    marker.touch()
    raise SystemExit(1)
sys.stdin.read()
"""
    news = News()
    awake = StayingAwake(
        news.report, holding=[sys.executable, "-c", script], states=states(tmp_path, "mem"),
        held_after_s=2.0, again_after_s=0.01,
    )  # fmt: skip
    task = asyncio.create_task(awake.run())
    await news.until(lambda: len(news.reports) == 2)
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    assert news.reports == [(PART, False, MAY_SLEEP), (PART, True, "the computer stays awake")]


async def test_the_lock_goes_with_its_standard_input(tmp_path: Path) -> None:
    """So that a watch that is killed leaves no lock behind: `cat` under systemd-inhibit ends by that."""
    done = tmp_path / "done"
    script = f"import pathlib, sys; sys.stdin.read(); pathlib.Path({str(done)!r}).touch()"
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", script, stdin=asyncio.subprocess.PIPE, start_new_session=True
    )
    assert process.stdin is not None
    process.stdin.close()
    async with asyncio.timeout(20):
        assert await process.wait() == 0
    assert done.exists()


@pytest.mark.parametrize(
    ("text", "sleeps"), [("freeze mem disk", True), ("mem", True), ("", False), ("nonsense", False)]
)
def test_whether_the_system_can_sleep(tmp_path: Path, text: str, sleeps: bool) -> None:
    """Linux, Documentation/admin-guide/pm/sleep-states: the words in /sys/power/state."""
    assert may_sleep(states(tmp_path, text)) is sleeps
    assert may_sleep(tmp_path / "nothing") is False


def test_the_command_of_each_system(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda name: f"/bin/{name}")
    linux = command("linux")
    assert linux is not None
    assert linux[:3] == ["/bin/systemd-inhibit", "--what=sleep:idle", "--mode=block"]
    assert command("darwin") == ["/bin/caffeinate", "-i", "cat"]
    assert command("win32") is None
    monkeypatch.setattr("shutil.which", lambda _: None)
    assert command("linux") is None
