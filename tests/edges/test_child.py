"""A process that answers in lines, on the event loop that Windows has no subprocesses on as well."""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import Awaitable, Callable

import pytest

from watchkeeper.edges.child import LONGEST, Child

ECHO = "import sys\nfor line in sys.stdin: print(line.upper(), end='', flush=True)"


def on_a_plain_loop(work: Callable[[], Awaitable[None]]) -> None:
    """Run on a selector loop whose means to watch children are taken away."""

    async def run() -> None:
        await work()

    class Plain(asyncio.SelectorEventLoop):
        async def subprocess_exec(self, *_: object, **__: object) -> None:  # type: ignore[override]
            raise NotImplementedError

    with asyncio.Runner(loop_factory=Plain) as runner:
        runner.run(run())


def test_lines_go_in_and_come_out_and_it_ends_when_killed() -> None:
    async def work() -> None:
        child = Child([sys.executable, "-c", ECHO], os.environ)
        for word in (b"one\n", b"two\n"):
            child.write(word)
            assert await child.line(20.0) == word.upper()
        with pytest.raises(TimeoutError):
            await child.line(0.01)
        runs = [child.running]
        await child.kill(20.0)
        assert [*runs, child.running] == [True, False]
        with pytest.raises(ProcessLookupError):
            os.kill(child.pid, 0)

    on_a_plain_loop(work)


def test_the_end_is_a_line_without_its_feed() -> None:
    async def work() -> None:
        child = Child([sys.executable, "-c", "print('whole'); print('cut', end='')"], os.environ)
        assert [await child.line(20.0), await child.line(20.0)] == [b"whole\n", b"cut"]
        await child.kill(20.0)

    on_a_plain_loop(work)


def test_a_line_without_end_is_cut_off() -> None:
    async def work() -> None:
        child = Child([sys.executable, "-c", "while True: print('x' * 1000, end='')"], os.environ)
        line = await child.line(20.0)
        assert LONGEST < len(line) <= 2 * LONGEST + 1
        assert not line.endswith(b"\n")
        await child.kill(20.0)
        assert not child.running

    on_a_plain_loop(work)


async def test_what_cannot_be_started_is_an_error() -> None:
    with pytest.raises(OSError, match="No such file"):
        Child(["/nowhere/to/be/found"], os.environ)
