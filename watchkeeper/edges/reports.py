"""The callbacks between the edges and the watch: bytes that came, and parts that work or do not."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import TypeAlias

Report: TypeAlias = Callable[[str, bool, str], None]
"""report(part, ok, text): a part works or does not; `text` is fit to be spoken. Called on the event loop."""
Received: TypeAlias = Callable[[str, bytes, float], None]
"""received(source, data, now_s): bytes have come."""


def from_any_thread(report: Report) -> Report:
    """Return `report` for other threads to call: carried to the loop running now; without one, called at once."""
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        return report

    def carried(part: str, ok: bool, text: str) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended: nobody is left to tell
            loop.call_soon_threadsafe(report, part, ok, text)

    return carried
