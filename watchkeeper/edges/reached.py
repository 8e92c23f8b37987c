"""Whom a test call really reached: an outlet's word, told to the engine as an order like any other.

A role is reached by one way: pilot and observer by the voice, the post by message; an observer who listens by
phone by that. Only what that way's outlet says counts: a line on a terminal nobody looks at is not the voice.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Final

from watchkeeper.alerts.audience import OBSERVER, PILOT, called_role
from watchkeeper.alerts.events import Happening, Order

_DONE: Final = frozenset({"spoken", "published", "shown"})
"""What the outlets say of something that they gave."""
PHONE: Final = "phone"
"""The outlet that speaks to the observer's phone."""


def ways(*, mute: bool, quiet: bool, role: str = PILOT) -> Mapping[str, str]:
    """Return the outlet by which each role is reached: by the voice, unless the watch is mute.

    A voice that speaks for the observer (`role`) calls the observer only. The pilot of a mute watch reads the
    terminal at which it runs, if anything is shown there; else all by message.
    """
    spoken = (OBSERVER,) if role == OBSERVER else (PILOT, OBSERVER)
    found = dict.fromkeys(("pilot", "observer", "post"), "mqtt")
    if not mute:
        found |= dict.fromkeys(spoken, "voice")
    elif not quiet:
        found[PILOT] = "console"
    return found


class Reached:
    """Listens to what outlets delivered."""

    def __init__(
        self,
        order: Callable[[Order], object],
        way_to: Mapping[str, str],
        *,
        by_phone: Callable[[], bool] = lambda: False,
    ) -> None:
        """Ask `by_phone` whether the observer has begun to listen by phone."""
        self._order = order
        self._way_to = way_to
        self._by_phone = by_phone

    def delivered(self, outlet: str, item: Happening, outcome: str, detail: str) -> None:
        """Take one delivery. On the event loop; the order is given after the outlet has returned."""
        role = called_role(item)
        if role is None or outlet != (PHONE if role == OBSERVER and self._by_phone() else self._way_to.get(role)):
            return
        ok = outcome in _DONE
        text = "" if ok else detail or outcome
        told = Order("given", aircraft=item.aircraft, role=role, by=outlet, ok=ok, text=text)
        asyncio.get_running_loop().call_soon(self._order, told)
