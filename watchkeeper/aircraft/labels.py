"""Which of the crew's packs are in an aircraft, and for how long that can be taken to hold."""

from __future__ import annotations

from collections.abc import Sequence

from watchkeeper.aircraft.ledger import Ledger


class Labels:
    """The packs that the sortie file names, for as long as it can be taken that they are the ones in the aircraft.

    Packs are changed while an aircraft stands without power: powered up anew after a flight, nobody has said which
    are in it.
    """

    def __init__(self, ledger: Ledger | None, fitted: Sequence[str]) -> None:
        self.ledger = ledger
        self.fitted = tuple(fitted) if len({*fitted}) == len(fitted) else ()  # which is which is not known
        """Pack 1 first; empty when it is not known any more."""
        self.flown = False
        """Has flown with them."""
        self.lost = False
        """Named once, and not known any more."""

    def powered_anew(self) -> None:
        """Take it that the aircraft was without power on the ground."""
        if self.flown:
            self.fitted, self.lost = (), True
