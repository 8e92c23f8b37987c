"""Calls that may hang (names looked up, devices opened), each in a thread that the program's end waits for not."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable
from typing import TypeVar

Result = TypeVar("Result")


def aside(call: Callable[[], Result], name: str) -> asyncio.Future[Result]:
    """Begin `call` in a thread of its own, called `name`; the future gets its result or its exception.

    A pool would not do: Python waits for the threads of a pool at the end, for ever if one hangs.
    """
    loop = asyncio.get_running_loop()
    future: asyncio.Future[Result] = loop.create_future()

    def settle(result: list[Result], error: Exception | None) -> None:
        if future.done():
            return
        if error is None:
            future.set_result(result[0])
        else:
            future.set_exception(error)
            future.exception()  # seen, though nobody may wait for it any more

    def work() -> None:
        result: list[Result] = []
        error: Exception | None = None
        try:
            result.append(call())
        except Exception as caught:  # noqa: BLE001  (whatever it is, it belongs to who waits)
            error = caught
        with contextlib.suppress(RuntimeError):  # the loop has ended: nobody waits
            loop.call_soon_threadsafe(settle, result, error)

    threading.Thread(target=work, name=name, daemon=True).start()
    return future
