"""What the parts of this room share: they look in flight, once a position, and know nothing on the ground."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.readings import Stream
from watchkeeper.estimate.surroundings.site import Look, Site

Row = Sequence[float | bool | None]
_UNSEEN: Final = -1


class Looking(ABC):
    """A part that asks `_see` at each new position of a flight."""

    indexes: tuple[int, ...] = ()

    def __init__(self, site: Site) -> None:
        self._site = site
        self._count = _UNSEEN
        self.stream = Stream()

    def run(self, now_us: int) -> Row | None:
        """Return the answers for `indexes`; None without a new position."""
        look = self._site.look(now_us)
        if look is None:
            if self._count == _UNSEEN:
                return None
            self._count = _UNSEEN
            return [None] * len(self.indexes)
        if look.seen == self._count:
            return None
        self._count = look.seen
        return self._see(look, now_us)

    @abstractmethod
    def _see(self, look: Look, now_us: int) -> Row | None:
        """Return the answers for a look."""
