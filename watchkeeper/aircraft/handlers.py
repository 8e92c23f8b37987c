"""The register of handlers: which message is folded by what, and which readings it may write."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable
from typing import Any, Final, NamedTuple, TypeAlias

from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.tables import MESSAGES

Handler: TypeAlias = Callable[[Aircraft, tuple[Any, ...], int], None]
"""Takes the aircraft, the values in wire order, and the time in microseconds."""


class Folding(NamedTuple):
    """How one message is folded: the handler, and what reads a payload of `length` bytes for it."""

    handle: Handler
    read: Callable[[bytes], tuple[Any, ...]]
    length: int


FOLDINGS: Final[dict[int, Folding]] = {}
TOUCHES: Final[dict[int, frozenset[int]]] = {}
"""Readings that a message may write. The phase, which many may change, is watched apart and not in it."""


def folds(
    message: int, *touched: int, also: Iterable[int] = (), layout: struct.Struct | None = None
) -> Callable[[Handler], Handler]:
    """Register a handler with the readings it may write; `layout` reads the payload in another way."""

    def register(handler: Handler) -> Handler:
        reader = layout if layout is not None else MESSAGES[message].struct
        FOLDINGS[message] = Folding(handler, reader.unpack, reader.size)
        TOUCHES[message] = frozenset((*touched, *also))
        return handler

    return register
