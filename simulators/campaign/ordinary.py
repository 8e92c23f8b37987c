"""An ordinary return: turned back long before anything presses. Nothing that is then said of the return is right.

The recorded flight that is judged elsewhere overstays, so that on its way home no call of the return can be false.
This one is flown beside it, from the same draw.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from simulators.campaign.record import Flown
from simulators.campaign.watch import Heard
from simulators.flown.truth import RESERVE_PCT

PART: Final = 0.6
"""Of the time from take-off to the last good moment."""
RULES: Final = frozenset({
    "return-reserve", "return-now", "home-unreachable", "return-worsens", "return-not-closing", "sag-ahead",
    "cell-low", "battery-low", "voltage-sag",
})  # fmt: skip
"""What speaks of a return that goes wrong, or of packs that will not last."""


@dataclass(frozen=True, slots=True)
class Ordinary:
    """An ordinary return that landed with the reserve: which rules called it all the same, each with its time."""

    warnings: tuple[tuple[str, float], ...] = ()
    cautions: tuple[tuple[str, float], ...] = ()


def turn_back_s(took_off_s: float, last_good_s: float) -> float:
    """Return when an ordinary return begins."""
    return took_off_s + PART * (last_good_s - took_off_s)


def ordinary(heard: Heard, rules: Collection[str], flown: Flown) -> Ordinary | None:
    """Return what was wrongly said from the turn on; None where it did not land with the reserve, or never turned.

    `rules` are those that call the flight's fault: from when that began they are right.
    """
    turned_s = flown.turned_back_s
    if turned_s is None or not flown.landed or flown.landing_charge_pct < RESERVE_PCT:
        return None
    began_s = flown.fault_began_s
    wrong = [
        one
        for one in heard.lives()
        if one.rule in RULES
        and turned_s <= one.told_s <= flown.end_s
        and not (one.rule in rules and began_s is not None and one.told_s >= began_s)
    ]

    def of(level: str) -> tuple[tuple[str, float], ...]:
        return tuple((one.rule, one.told_s) for one in wrong if one.level == level)

    return Ordinary(of("warning"), of("caution"))
