"""How urgent another in the air is: by when, how near and how high it passes, in the packs' own measures.

Rules decide by their settings; these decide only which of several the readings tell of.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Box(NamedTuple):
    """Time, horizontal distance and height within which the rules speak."""

    time_s: float
    distance_m: float
    height_m: float

    def share(self, time_s: float, distance_m: float, height_m: float) -> float:
        """Return the largest of the three as a share of its measure: at most 1 is inside."""
        return max(time_s / self.time_s, distance_m / self.distance_m, height_m / self.height_m)


class Boxes(NamedTuple):
    """Of one kind of others."""

    warning: Box
    caution: Box

    def urgency(self, time_s: float, distance_m: float, height_m: float) -> float:
        """Return how urgent it is, the less the more: to 1 within the warning's box, to 2 within the caution's."""
        warning = self.warning.share(time_s, distance_m, height_m)
        return warning if warning <= 1 else 1 + self.caution.share(time_s, distance_m, height_m)

    def near_now(self, time_s: float, now_m: float) -> bool:
        """Whether it is near already and comes closest so slowly that the present counts."""
        return any(time_s > box.time_s and now_m <= box.distance_m for box in self)


AIRCRAFT: Final = Boxes(Box(25, 150, 60), Box(60, 600, 150))
DRONE: Final = Boxes(Box(25, 60, 30), Box(60, 250, 60))
OWN: Final = Boxes(Box(8, 15, 8), Box(20, 30, 15))
"""The settings of rules/traffic.yaml."""
