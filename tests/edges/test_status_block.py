"""The live status on a real pseudo-terminal, seen by an emulator."""

from __future__ import annotations

import asyncio
import fcntl
import os
import pty
import select
import struct
import termios
import time
from collections.abc import Callable, Iterator, Sequence

import pytest

from tests.edges.status_parts import Shown, aircraft, alert, station
from watchkeeper.alerts.events import RoutineCall
from watchkeeper.edges import live
from watchkeeper.edges.live import LiveStatus
from watchkeeper.edges.terminal import MAX_LINES, LineWriter, Terminal
from watchkeeper.picture.models import StationPicture

CALL = RoutineCall(0, 0, 42, "x", "Taking off.")


class Screen:
    """A pseudo-terminal of some size and what would be seen on it."""

    def __init__(self, width: int = 80, height: int = 24) -> None:
        self.outer, self.inner = pty.openpty()
        self.shown = Shown(width, height)
        self.raw = b""
        self.resize(width, height)

    def resize(self, width: int, height: int) -> None:
        fcntl.ioctl(self.outer, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))
        self.shown.screen.resize(height, width)

    def read(self, within_s: float) -> bool:
        """Take what is written next; False when nothing comes."""
        if not select.select([self.outer], [], [], within_s)[0]:
            return False
        data = os.read(self.outer, 65_536)
        self.raw += data
        self.shown.feed(data)
        return True

    def until(self, holds: Callable[[Screen], bool]) -> None:
        while not holds(self):
            assert self.read(30), f"nothing more came:\n{self.shown}"

    def rest(self) -> None:
        """Take all that has been written."""
        while self.read(0):
            pass

    def has(self, text: str) -> bool:
        return any(text in row for row in self.shown.rows)

    def at(self, text: str) -> int:
        return [n for n, row in enumerate(self.shown.rows) if text in row][-1]

    def close(self) -> None:
        for fd in (self.outer, self.inner):
            os.close(fd)


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[Screen]:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    made = Screen()
    yield made
    made.close()


def test_lines_scroll_above_a_block_that_stays(screen: Screen) -> None:
    writer = LineWriter()
    writer.block(screen.inner, ["first row", "second row"])
    for n in range(60):
        writer.put(screen.inner, f"line {n} {'x' * (n * 3)}")  # later ones are longer than a row
        if n % 5 == 0:
            wanted = f"line {n}"
            screen.until(lambda it, wanted=wanted: it.has(wanted) and it.has("second row"))  # type: ignore[misc]
            screen.rest()
            assert screen.shown.screen.cursor.y == screen.at("first row") - 1
    screen.until(lambda it: it.has("line 59") and it.has("second row"))
    assert screen.at("second row") == screen.at("first row") + 1
    assert screen.at("line 59") < screen.at("first row") - 1  # with an empty row between
    writer.block(screen.inner, ["other row"])
    screen.until(lambda it: it.has("other row"))
    assert not screen.has("first row")
    assert not screen.has("second row")
    writer.put(screen.inner, "line 60")
    writer.close(10)
    screen.until(lambda it: it.has("line 60") and not it.has("other row"))
    screen.rest()
    seen = [
        *("".join(row[n].data for n in range(80)) for row in screen.shown.screen.history.top),
        *screen.shown.rows,
    ]
    numbers = [int(row.split()[1]) for row in seen if row.startswith("line ")]
    assert numbers == [*range(61)]  # no line was lost or written over
    assert not any("row" in row for row in seen)  # and no block was left among them
    assert screen.shown.screen.cursor.x == 0


def test_a_line_that_somebody_else_writes_costs_no_line(screen: Screen) -> None:
    writer = LineWriter()
    writer.put(screen.inner, "ours before")
    writer.block(screen.inner, ["status", "more"])
    screen.until(lambda it: it.has("more"))
    os.write(screen.inner, b"a library complains\n")
    writer.put(screen.inner, "ours after")
    screen.until(lambda it: it.has("ours after") and it.has("more"))
    assert [row for row in screen.shown.rows if row] == [
        "ours before", "a library complains", "ours after", "status", "more"
    ]  # fmt: skip
    writer.close()


def test_a_narrower_terminal_shows_no_torn_rows(screen: Screen) -> None:
    writer = LineWriter()
    writer.block(screen.inner, ["a" * 80, "b" * 80])
    screen.until(lambda it: it.has("b"))
    screen.resize(40, 24)
    writer.block(screen.inner, ["a" * 80, "b" * 80])  # drawn before anybody has noticed
    writer.put(screen.inner, "line")
    screen.until(lambda it: it.has("line") and it.has("b"))
    screen.rest()
    assert [row for row in screen.shown.rows if row] == ["line", "a" * 40, "b" * 40]
    writer.put(screen.inner, "c" * 50)  # lines are wrapped all the same
    screen.until(lambda it: it.has("c" * 10) and it.has("b"))
    screen.rest()
    assert [row for row in screen.shown.rows if row][:3] == ["line", "c" * 40, "c" * 10]
    writer.close()


def test_a_terminal_that_takes_nothing_holds_nobody_up_and_gets_the_newest_block(screen: Screen) -> None:
    writer = LineWriter()
    began_s = time.monotonic()
    for n in range(MAX_LINES * 2):
        writer.put(screen.inner, f"line {n} {'x' * 60}")
        writer.block(screen.inner, [f"status {n}"])
    assert time.monotonic() - began_s < 10.0
    assert writer.dropped > 0
    screen.until(lambda it: it.has(f"line {MAX_LINES * 2 - 1} ") and it.has(f"status {MAX_LINES * 2 - 1}"))
    assert screen.raw.count(b"status") < MAX_LINES / 2  # blocks do not wait, only the newest is drawn
    writer.close(10)


class Scene:
    """A picture that can be changed, and the outlet that shows it."""

    def __init__(self, screen: Screen) -> None:
        self.picture: StationPicture = station(aircraft())
        self.asked = 0
        self.often = asyncio.Event()
        """Asked for fifty times."""
        self.terminal = Terminal(screen.inner, screen.inner)
        self.live = LiveStatus(self.terminal, self.paint, heard=lambda: "udp://a: aircraft 42")

    def paint(self) -> StationPicture:
        self.asked += 1
        if self.asked == 50:
            self.often.set()
        return self.picture


async def seen(screen: Screen, holds: Callable[[Screen], bool]) -> None:
    await asyncio.to_thread(screen.until, holds)


async def test_it_is_drawn_at_once_at_alerts_and_taken_away_at_the_end(
    screen: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "EVERY_S", 60.0)
    scene = Scene(screen)
    scene.terminal.print("a line")
    running = asyncio.create_task(scene.live.run())
    await seen(screen, lambda it: it.has("Can get home."))
    assert screen.at("aircraft 42  airborne") == screen.at("watching since") + 1
    scene.picture = station(aircraft(alerts=[alert("Warning. Link lost.")]))
    scene.live.put(CALL)
    await seen(screen, lambda it: it.has("WARNING  Link lost."))
    assert b"\x1b[31m" in screen.raw
    running.cancel()
    await seen(screen, lambda it: not it.has("watching since"))
    assert [row for row in screen.shown.rows if row] == ["a line"]
    scene.terminal.close()


async def test_nothing_is_written_while_nothing_changes(screen: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "EVERY_S", 0.01)
    monkeypatch.setattr(live, "LEAST_S", 0.005)
    scene = Scene(screen)
    running = asyncio.create_task(scene.live.run())
    await seen(screen, lambda it: it.has("Can get home."))
    await scene.often.wait()
    assert screen.raw.count(b"watching since") == 1
    assert not screen.read(0)
    running.cancel()
    scene.terminal.close()


@pytest.mark.parametrize("size", [(40, 24), (120, 30), (80, 6), (20, 12)])
async def test_another_size_is_drawn_whole(size: tuple[int, int], screen: Screen) -> None:
    scene = Scene(screen)
    scene.picture = station(*(aircraft(n, name=f"A{n}") for n in range(1, 12)))
    running = asyncio.create_task(scene.live.run())
    await seen(screen, lambda it: it.has("Can get home."))
    screen.resize(*size)
    os.kill(os.getpid(), live._SIGNALS[0])  # as the kernel tells programs of the terminal
    mark = len(screen.raw)
    await seen(screen, lambda it: b"watching" in it.raw[mark:] and it.has("A1"))
    await asyncio.to_thread(screen.rest)
    rows = [row for row in screen.shown.rows if row]
    assert len(rows) <= size[1] - live.FREE_ROWS - 1
    assert sum("watching" in row for row in rows) == 1
    running.cancel()
    scene.terminal.close()


@pytest.mark.parametrize("variable", ["dumb", ""])
def test_no_status_on_a_terminal_that_cannot(
    variable: str, screen: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert Terminal(screen.inner, screen.inner).room() == (80, 24)
    monkeypatch.setenv("TERM", variable)
    assert Terminal(screen.inner, screen.inner).room() is None


def test_no_status_where_there_is_no_terminal() -> None:
    reader, writer = os.pipe()
    assert Terminal(writer, writer).room() is None
    os.close(reader)
    os.close(writer)


async def test_a_picture_that_fails_takes_the_status_away_and_is_raised(screen: Screen) -> None:
    scene = Scene(screen)
    running = asyncio.create_task(scene.live.run())
    await seen(screen, lambda it: it.has("Can get home."))
    scene.picture = None  # type: ignore[assignment]
    scene.live.put(CALL)
    with pytest.raises(AttributeError):
        await running
    await seen(screen, lambda it: not it.has("Can get home."))  # a picture that is not true any more is not left
    scene.terminal.close()


async def test_a_terminal_that_hung_up_ends_the_drawing_only(
    screen: Screen, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = Scene(screen)
    ended, gone = asyncio.Event(), asyncio.Event()
    draw, loop = scene.terminal.block, asyncio.get_running_loop()

    def block(rows: Sequence[str]) -> None:
        draw(rows)
        if not rows:
            ended.set()

    monkeypatch.setattr(scene.terminal, "block", block)
    running = asyncio.create_task(scene.live.run())
    await seen(screen, lambda it: it.has("Can get home."))
    os.close(screen.outer)
    screen.outer = os.open(os.devnull, os.O_RDONLY)

    def written(_: bool) -> None:
        loop.call_soon_threadsafe(gone.set)

    scene.terminal.print("a line", written)
    async with asyncio.timeout(30):
        await gone.wait()
        scene.live.put(CALL)
        await ended.wait()
    assert not running.done()
    running.cancel()
    scene.terminal.close()
