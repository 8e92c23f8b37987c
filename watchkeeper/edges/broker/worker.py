"""The process of the embedded broker: `python -m watchkeeper.edges.broker.worker`.

In: one JSON line (host, port, user, password; so no secret stands in the list of processes), then nothing until
the end of input, which ends the broker. Out: a JSON line when it listens or why it cannot, then one a second.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import json
import os
import signal
import sys
import threading
from typing import Any

from watchkeeper.edges.broker.access import Access
from watchkeeper.edges.broker.core import Gate

BEAT_S = 1.0
LAST_WORDS_S = 0.5
"""For the wills of clients that go with the watch."""
NICE = 5
_IN_USE = frozenset({errno.EADDRINUSE, 10048})
"""The second is Windows' own number (WSAEADDRINUSE)."""


def _say(**words: Any) -> None:
    with contextlib.suppress(OSError):  # nobody listens any more: the end of input comes as well
        sys.stdout.write(json.dumps(words) + "\n")
        sys.stdout.flush()


async def serve(host: str, port: int, access: Access, end: asyncio.Event) -> None:
    """Run the broker until `end` is set, or for no time at all if the address cannot be had."""
    gate = Gate(access)
    faults = 0

    def fault(_loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        nonlocal faults
        faults += 1
        if faults == 1:  # one is enough to know of
            _say(fault=f"{context.get('message')}: {context.get('exception')!r}"[:300])

    asyncio.get_running_loop().set_exception_handler(fault)
    try:
        await gate.start(host, port)
    except OSError as error:
        number = error.errno or 0
        why = os.strerror(number) if number > 0 else error.strerror or str(error)
        _say(error="in use" if number in _IN_USE else why.lower())
        return
    _say(ready=True)
    while not end.is_set():
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(BEAT_S):
                await end.wait()
        _say(clients=gate.clients, dropped=gate.core.dropped)
    await gate.stop(LAST_WORDS_S)


async def _run(host: str, port: int, access: Access) -> None:
    loop, end = asyncio.get_running_loop(), asyncio.Event()

    def wait_for_the_end() -> None:
        while sys.stdin.buffer.read(4096):
            pass
        with contextlib.suppress(RuntimeError):  # the loop has ended by itself
            loop.call_soon_threadsafe(end.set)

    threading.Thread(target=wait_for_the_end, name="end of input", daemon=True).start()
    await serve(host, port, access, end)


def main() -> None:
    """Run the broker that the first line of input asks for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the watch, which then ends this process
    if hasattr(os, "nice"):
        os.nice(NICE)
    asked = json.loads(sys.stdin.buffer.readline())
    access = Access(asked["user"], asked["password"])
    loop = asyncio.SelectorEventLoop
    with asyncio.Runner(loop_factory=loop) as runner:
        runner.run(_run(str(asked["host"]), int(asked["port"]), access))


if __name__ == "__main__":
    main()
