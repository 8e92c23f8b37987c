"""The switch on the pilot's transmitter by which alerts are acknowledged, as RC_CHANNELS tells of it.

Seen only, never sent. It counts as pressed when it has gone to another third of its travel and stayed there for a
while, with the control link alive before and after: contacts bounce, and a receiver that loses its transmitter may
jump to values that nobody set. A change that is undone within two seconds was one press (of a button that springs
back). Where a switch is found when it is first seen, or when control comes back, is where it is, and no press.

What a ground station overrides (RC_CHANNELS_OVERRIDE) appears in RC_CHANNELS too, and is not the pilot's switch.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.channeluse import FREE, Known, Use, use_of
from watchkeeper.aircraft.control import Control
from watchkeeper.aircraft.intended import LOWEST_PULSE_US, SWITCH_US
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.readings import US

HIGHEST_PULSE_US: Final = 2200
"""Receivers do not send longer pulses (common practice: 800 to 2200)."""
LOWER_US: Final = 1000 + 1000 / 3
UPPER_US: Final = 1000 + 2000 / 3
"""Between the thirds of the travel, 1000 to 2000 microseconds: positions of two and three are told apart."""
HELD_US: Final = 300_000
"""Told twice at least, so long apart: contacts bounce for some 20 ms (common practice)."""
UNDONE_US: Final = 2 * US
"""A change back within this belongs to the same press: longer than a finger stays on a button, as a rule."""
GAP_US: Final = 4 * US
"""Nothing heard for so long, and it could have been moved at any time: found anew."""
OVERRIDDEN_US: Final = 3 * US
"""A station that overrides sends again at least once a second (common practice); one that stopped has let go."""
_GIVEN_BACK: Final = frozenset({0, 65534, 65535})
"""RC_CHANNELS_OVERRIDE: values that leave a channel to the receiver, or give it back."""


def third(width_us: int) -> int | None:
    """Return in which third of its travel a channel is, 0 to 2; None where that is no pulse."""
    if not LOWEST_PULSE_US <= width_us <= HIGHEST_PULSE_US:
        return None
    return (width_us >= LOWER_US) + (width_us >= UPPER_US)


class Presses:
    """Tells presses from widths. Pure: what it is told is all it knows."""

    __slots__ = ("_began_us", "_changed_us", "_from", "_last_us", "_moving", "_settled", "_width_us")

    def __init__(self) -> None:
        self._last_us = 0
        self._changed_us = 0
        self._from: int | None = None
        """Where it was before the last press."""
        self.lose()

    def lose(self) -> None:
        """Forget where it is: it has to be found anew."""
        self._settled: int | None = None
        self._width_us = 0
        self._stop()

    def _stop(self) -> None:
        self._moving: int | None = None
        self._began_us = 0

    def take(self, width_us: int, sure_us: int, now_us: int) -> int | None:
        """Take one width; returns since when it is where a press has put it, else None.

        `sure_us`: by then control was alive by the word of all who tell of it.
        """
        if now_us - self._last_us > GAP_US:
            self.lose()
        self._last_us = now_us
        place = third(width_us)
        if place is None:
            self.lose()
            return None
        if place == self._settled or (self._settled is not None and abs(width_us - self._width_us) <= SWITCH_US):
            self._stop()
            return None
        if place != self._moving:
            self._moving, self._began_us = place, now_us
        if min(now_us, sure_us) < self._began_us + HELD_US:
            return None
        began_us, before = self._began_us, self._settled
        self._settled, self._width_us = place, width_us
        self._stop()
        if before is None:
            return None
        if place == self._from and began_us - self._changed_us <= UNDONE_US:
            self._from = None
            return None
        self._from, self._changed_us = before, now_us
        return began_us


class AckSwitch:
    """The switch of one aircraft, of one power-up. `channel` None: the crew named none."""

    __slots__ = ("_overridden_us", "_presses", "_seen", "_taken_us", "_use", "_use_of", "channel", "pressed_us")

    def __init__(self, channel: int | None) -> None:
        self.channel = channel
        self.pressed_us: int | None = None
        """Since when it is where a press has put it, until somebody takes note and sets it to None."""
        self._presses = Presses()
        self._taken_us = 0
        self._overridden_us: int | None = None
        self._seen = False
        self._use = FREE
        self._use_of: tuple[int, ...] | None = None

    def take(self, widths_us: Sequence[int], count: int, control: Control, now_us: int) -> bool:
        """Take the 18 widths and the number of channels of RC_CHANNELS; returns whether that makes a press."""
        if self.channel is None:
            return False
        before_us, self._taken_us = self._taken_us, now_us
        overridden = self._overridden_us is not None and now_us - self._overridden_us <= OVERRIDDEN_US
        if self.channel > count or overridden or not control.alive(now_us):
            self._presses.lose()
            return False
        if control.lost_us >= before_us:  # lost and back since: it may have been moved meanwhile
            self._presses.lose()
        width_us = widths_us[self.channel - 1]
        self._seen |= third(width_us) is not None
        began_us = self._presses.take(width_us, control.sure_us(now_us), now_us)
        if began_us is None:
            return False
        self.pressed_us = began_us
        return True

    def overridden(self, values: Sequence[int], now_us: int) -> None:
        """Take the 18 values of RC_CHANNELS_OVERRIDE."""
        if self.channel is not None and values[self.channel - 1] not in _GIVEN_BACK:
            self._overridden_us = now_us

    def use(self, autopilot: int, vehicle: int, parameters: Parameters) -> Use:
        """Return whether its channel is free of any function of the aircraft's own."""
        assert self.channel is not None
        of = autopilot, vehicle, parameters.changes
        if of != self._use_of:
            self._use_of = of
            self._use = use_of(self.channel, autopilot, vehicle, parameters)
        return self._use

    def why_off(self, autopilot: int, vehicle: int, parameters: Parameters) -> str:
        """Return in plain words why it acknowledges nothing; empty if it does, or if the crew named no switch."""
        if self.channel is None:
            return ""
        use = self.use(autopilot, vehicle, parameters)
        if use.known is not Known.FREE:
            return use.why
        return "" if self._seen else f"channel {self.channel} is not seen in RC_CHANNELS with control alive"
