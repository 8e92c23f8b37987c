"""An aircraft restarted or disarmed in the air: in flight until a landing is really seen.

After either, its own word that it is on the ground is not enough: an autopilot that starts anew begins on the
ground as far as it knows, disarmed, with a height counted from where it is. So the height has to say so too,
by the old take-off place, and for longer than it takes to tell a start from a late message.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.seen import ON_GROUND, Seen

SURE_US: Final = 3_500_000
"""Still, or on the ground by its own word, for so long: a start shows within three seconds."""
HIGH_M: Final = 3.0
"""Disarmed higher than this over the take-off place it is in the air, if it does not stand still."""
DRIFT_M: Final = 6.0
"""So far off a barometer may be at the end of a flight: standing still below it is a landing."""
LOW_M: Final = 1.0
SUNK_M: Final = 3.0
"""Come down by this in flight and lying still, it has come down on higher ground."""
POWERED_PCT: Final = 10
"""On more throttle than this it does not stand, however still it is."""


class Upset:
    """Whether an aircraft was restarted or disarmed in flight, and whether it has come down since."""

    __slots__ = ("_altitude_m", "_ground_m", "_grounded_us", "_peak_m", "_still_us", "disarmed", "restarted")

    def __init__(self) -> None:
        self.disarmed = False
        self.restarted = False
        self._ground_m = 0.0
        self._altitude_m: float | None = None
        self._peak_m: float | None = None
        self._still_us: int | None = None
        self._grounded_us: int | None = None

    @property
    def stands(self) -> bool:
        """Whether either happened and no landing was seen since."""
        return self.disarmed or self.restarted

    def begin(self, ground_m: float, altitude_m: float | None) -> None:
        """Begin to look for a landing: the take-off place by its height and its altitude above the sea."""
        self._ground_m = ground_m
        self._altitude_m = altitude_m
        self._peak_m = self._still_us = self._grounded_us = None

    def carry(self, before: Upset) -> None:
        """Take over what was known of the take-off place before a start in flight."""
        self.begin(before._ground_m, before._altitude_m)
        self.disarmed = before.disarmed
        self.restarted = True

    def end(self) -> None:
        """Note that it has come down."""
        self.disarmed = self.restarted = False

    def above_m(self, seen: Seen) -> float | None:
        """Height over the take-off place; by altitude too, as a start may have set the height to zero."""
        height_m = seen.height_m
        if height_m is None:
            return None
        above_m = height_m - self._ground_m
        base_m = seen.base_m
        # altitude is left at zero where it is not known
        if self._altitude_m is None or base_m is None or abs(base_m + height_m) < 1e-6:
            return above_m
        return max(above_m, base_m + height_m - self._altitude_m)

    def look(self, seen: Seen, *, still: bool) -> None:
        """Take one look at it in: still or not, on the ground by its own word or not, how high."""
        now_us = seen.motion_us
        above_m = self.above_m(seen)
        if above_m is None:
            self._still_us = self._grounded_us = None
            return
        self._peak_m = above_m if self._peak_m is None else max(self._peak_m, above_m)
        self._still_us = (self._still_us or now_us) if still else None
        self._grounded_us = (
            (self._grounded_us or now_us) if seen.landed == ON_GROUND and above_m < HIGH_M else None
        )

    def has_landed(self, seen: Seen) -> bool:
        """Whether a landing was really seen."""
        above_m, peak_m = self.above_m(seen), self._peak_m
        powered = seen.throttle_pct is not None and seen.throttle_pct >= POWERED_PCT and seen.armed
        if above_m is None or peak_m is None or powered:
            return False
        if self._held(self._grounded_us, seen):
            return True
        stands = seen.armed is False or seen.landed == ON_GROUND
        low = above_m < (HIGH_M if stands or seen.throttle_pct is not None else LOW_M)
        sunk = peak_m - above_m > SUNK_M and stands
        return (low or sunk) and self._held(self._still_us, seen)

    @staticmethod
    def _held(since_us: int | None, seen: Seen) -> bool:
        return since_us is not None and seen.motion_us - since_us >= SURE_US
