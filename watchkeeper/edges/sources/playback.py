"""A recording played as if it came now."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import structlog

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.records.folder import Event, Recording, open_recording
from watchkeeper.edges.reports import Received, Report
from watchkeeper.errors import BadInputError

_LONGEST_WAIT_US: Final = 120_000_000
"""A longer gap in a recording is cut to this: the engine steps over it as well."""
_BATCH: Final = 200


class FileSource:
    """Plays a recording as if it came now, at the pace of its own stamps. Orders in it are not carried out."""

    def __init__(
        self, name: str, path: Path, clock: Clock, received: Received, report: Report, part: str = "source"
    ) -> None:
        self.name = name
        self.part = part
        self._path = path
        self._clock = clock
        self._received = received
        self._report = report
        self._recording: Recording | None = None

    async def open(self) -> None:
        """Look at the file. Raises BadInputError if it is no recording."""
        self._recording = open_recording(self._path)

    async def run(self) -> None:
        """Play to the end, then say that it has ended."""
        if self._recording is None:
            await self.open()
        assert self._recording is not None
        names = {
            name: f"{self.name}#{i}" if i > 1 else self.name for i, name in enumerate(self._recording.sources, 1)
        }
        events = self._recording.events()
        loop = asyncio.get_running_loop()
        due_s = 0.0
        last_us: int | None = None
        try:
            while batch := await asyncio.to_thread(_next_events, events):
                for event in batch:
                    if last_us is None:
                        due_s = loop.time()
                    else:
                        due_s += min(max(event.time_us - last_us, 0), _LONGEST_WAIT_US) / 1e6
                    last_us = event.time_us
                    if (wait_s := due_s - loop.time()) > 0:
                        await asyncio.sleep(wait_s)
                    if event.source is not None:
                        self._received(names[event.source], event.data, self._clock.now_s())
        except BadInputError as error:
            structlog.get_logger().warning("recording cannot be read on", source=self.name, error=str(error))
            self._report(self.part, False, "Recording cannot be read on.")
        else:
            self._report(self.part, False, "Recording has ended.")


def _next_events(events: Iterator[Event]) -> list[Event]:
    return [*itertools.islice(events, _BATCH)]
