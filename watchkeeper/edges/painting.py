"""What happens, and time, given to the one who paints the watch: for all that show it, once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeAlias

from watchkeeper.alerts.events import Happening
from watchkeeper.picture.live import Painter, State
from watchkeeper.picture.models import StationPicture

EVERY_S: Final = 0.2
"""The painter samples once a second of engine time, which in a drill may run faster."""

Hearing: TypeAlias = Callable[[], Mapping[str, bool | None]]


class Painting:
    """An outlet of the hub, before all that show what it paints."""

    name = "picture"

    def __init__(self, painter: Painter, clock: Callable[[], int], hearing: Hearing = dict) -> None:
        """`clock` is the watch's, microseconds since 1970; `hearing` tells who hears the watch now."""
        self._painter = painter
        self._clock = clock
        self._hearing = hearing
        self._stopped = False

    def put(self, item: Happening) -> None:
        """Take what happened."""
        self._painter.take([item])

    async def run(self) -> None:
        """Have samples taken until cancelled: then the watch has stopped."""
        try:
            while True:
                self._painter.sample(self._clock())
                await asyncio.sleep(EVERY_S)
        except asyncio.CancelledError:
            self._stopped = True
            raise

    def picture(self) -> StationPicture:
        """Return the picture of now."""
        state: State = "stopped" if self._stopped else "watching"
        return self._painter.picture(self._clock(), self._hearing(), state=state)

    def pictures(self) -> Sequence[StationPicture]:
        """Return the pictures of now: of this watch alone."""
        return [self.picture()]
