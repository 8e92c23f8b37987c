"""What the page's server shows of a board."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from watchkeeper.page.board.board import Board
from watchkeeper.picture.models import StationPicture


class BoardScene:
    """Pictures of now, and word of what is to be seen at once."""

    def __init__(self, board: Board, clock: Callable[[], int]) -> None:
        self._board = board
        self.clock = clock
        self.name = board.name
        self.look: Callable[[], None] = lambda: None
        """Whom to tell of changes."""

    def pictures(self) -> Sequence[StationPicture]:
        """Return the pictures of now."""
        return self._board.pictures(self.clock())

    def changed(self) -> None:
        """Take note that something is to be seen at once."""
        self.look()
