"""What the pilot can do with single keys at the terminal: acknowledge, have the roles called, confirm."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Final, Protocol

from watchkeeper.alerts.events import Happening, Order
from watchkeeper.edges.keys import Keys

CREW_KEYS_HELP: Final = "a acknowledge, t test calls, c confirm as pilot"


class _Engine(Protocol):
    def systems(self) -> list[int]:
        """Return the aircraft that are known."""


class _Watch(Protocol):
    @property
    def engine(self) -> _Engine:
        """Return the engine."""

    def order(self, order: Order) -> Sequence[Happening]:
        """Carry out an order."""


def crew_keys(watch: _Watch, tell: Callable[[str], None]) -> Mapping[str, Callable[[], None]]:
    """Return what each key does. An order that cannot be carried out is told by the watch like any other.

    `tell` writes a line to the terminal.
    """

    def of_each_aircraft(action: str) -> Callable[[], None]:
        def press() -> None:
            systems = watch.engine.systems()
            if not systems:
                tell("no aircraft heard yet")
            for system in systems:
                watch.order(Order(action, aircraft=system, role="pilot", by="key"))

        return press

    def acknowledge() -> None:
        watch.order(Order("acknowledge", role="pilot", by="key"))

    return {"a": acknowledge, "t": of_each_aircraft("test"), "c": of_each_aircraft("confirm")}


def keys_feed(
    watch: _Watch, tell: Callable[[str], None], tell_keys: Callable[[str], None]
) -> Callable[[], Awaitable[None]]:
    """Return a feed that takes the keys of the terminal while the watch runs; does nothing without a terminal.

    `tell_keys` is told what the keys do.
    """

    async def take() -> None:
        with Keys(crew_keys(watch, tell)).listening() as listening:
            if listening:
                tell_keys(f"keys: {CREW_KEYS_HELP}")
            await asyncio.Event().wait()

    return take
