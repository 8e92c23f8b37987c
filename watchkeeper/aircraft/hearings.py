"""The register of what is taken from components that are no aircraft's autopilot: stations, receivers, radios.

What an autopilot itself sends is folded by `handlers.py`; a message that both may send stands in both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from watchkeeper.aircraft.handlers import TOUCHES
from watchkeeper.aircraft.others import Others
from watchkeeper.aircraft.state import Aircraft


@dataclass(frozen=True, slots=True)
class Heard:
    """A message, who sent it over which source, and all there is to fold it into."""

    source: str
    system: int
    component: int
    vehicle: int | None
    """MAV_TYPE of its heartbeat, if one was heard."""
    values: tuple[Any, ...]
    """In wire order."""
    now_us: int
    aircraft: Mapping[int, Aircraft]
    """By system id."""
    others: Others


Hearing: TypeAlias = Callable[[Heard], Sequence[Aircraft]]
"""Returns the aircraft whose readings it touched."""
HEARINGS: Final[dict[int, Hearing]] = {}


def hears(message: int, *touched: int) -> Callable[[Hearing], Hearing]:
    """Register what takes a message of others, with the readings of aircraft that it may write.

    A message of which several subjects want to know has several; each of them takes it, in the order of import.
    """

    def register(hearing: Hearing) -> Hearing:
        before = HEARINGS.get(message)
        HEARINGS[message] = hearing if before is None else _both(before, hearing)
        TOUCHES[message] = TOUCHES.get(message, frozenset()) | frozenset(touched)
        return hearing

    return register


def _both(first: Hearing, second: Hearing) -> Hearing:
    def hearing(heard: Heard) -> Sequence[Aircraft]:
        touched = (*first(heard), *second(heard))
        return tuple({aircraft.system: aircraft for aircraft in touched}.values())

    return hearing
