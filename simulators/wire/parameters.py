"""Parameters of the simulated aircraft, and the protocol that reads and sets them.

https://mavlink.io/en/services/parameter.html, integers as C casts. A list is answered at a pace that a slow radio
carries; what is refused is answered with the value that stands.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from simulators.wire.packing import Sender, kind
from simulators.wire.received import Handler, Received, text

LONGEST_NAME: Final = 16
REAL32: Final = 9
INT32: Final = 6
"""MAV_PARAM_TYPE."""
DEFAULT_RATE_HZ: Final = 20.0
_EXACT: Final = 2**24
"""Up to here a float32 holds every integer."""
_VALUE: Final = kind("PARAM_VALUE")
_FLOAT: Final = struct.Struct("<f")


def single(value: float) -> float:
    """Return the float32 next to a value; infinite beyond its range."""
    try:
        return float(_FLOAT.unpack(_FLOAT.pack(value))[0])
    except OverflowError:
        return math.copysign(math.inf, value)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: its value at the beginning, its bounds (both allowed), and what it is."""

    name: str
    value: float
    minimum: float
    maximum: float
    integer: bool = False
    unit: str = ""
    about: str = ""
    read_only: bool = False

    def allows(self, value: float) -> bool:
        """Tell whether a float32 is within the bounds (as float32), and whole where it has to be."""
        if not single(self.minimum) <= value <= single(self.maximum):  # also refuses not-a-number
            return False
        return not self.integer or value.is_integer()


class ParameterSet:
    """Parameters in a fixed order; values are float32 and always within their bounds.

    `get` is a plain lookup (KeyError for a name that there is not). `on_change(name, value)` is called after a
    value became another.
    """

    def __init__(
        self, parameters: Iterable[Parameter], on_change: Callable[[str, float], None] | None = None
    ) -> None:
        """ValueError for a name that cannot be sent or comes twice, or a value out of its bounds."""
        self.definitions: Final = tuple(parameters)
        self.on_change = on_change
        self.index: Final = {one.name: at for at, one in enumerate(self.definitions)}
        self._values: Final = {one.name: single(one.value) for one in self.definitions}
        self.get: Final[Callable[[str], float]] = self._values.__getitem__
        if len(self.index) < len(self.definitions):
            raise ValueError("a parameter name comes twice")
        for one in self.definitions:
            if not one.name.isascii() or not one.name.isprintable() or not 0 < len(one.name) <= LONGEST_NAME:
                raise ValueError(f"{one.name!r} cannot be sent as a parameter's name")
            if not one.allows(self._values[one.name]):
                raise ValueError(f"{one.name} begins out of its bounds")
            if one.integer and max(abs(one.minimum), abs(one.maximum)) > _EXACT:
                raise ValueError(f"{one.name} is wider than a float32 can count")

    def __getitem__(self, name: str) -> float:
        return self._values[name]

    def __contains__(self, name: object) -> bool:
        return name in self._values

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def set(self, name: str, value: float) -> bool:
        """Set a value by the aircraft itself, read-only ones too. False if it is out of bounds. KeyError."""
        value = single(value)
        if not self.definitions[self.index[name]].allows(value):
            return False
        if value != self._values[name]:
            self._values[name] = value
            if self.on_change is not None:
                self.on_change(name, value)
        return True


class ParameterProtocol:
    """Answers PARAM_REQUEST_LIST, PARAM_REQUEST_READ and PARAM_SET. Names unknown are counted in `unknown`."""

    def __init__(self, sender: Sender, parameters: ParameterSet, rate_hz: float = DEFAULT_RATE_HZ) -> None:
        self.parameters: Final = parameters
        self.rate_hz = rate_hz
        """Values of a list a second; no more than one second's worth comes of one call."""
        self.unknown = 0
        self.handlers: Final[Mapping[int, Handler]] = {20: self._read, 21: self._list, 23: self._set}
        self._sender = sender
        self._next = len(parameters)
        self._due_s = -math.inf

    @property
    def listing(self) -> bool:
        """Whether a list is being answered."""
        return self._next < len(self.parameters)

    def value(self, name: str) -> bytes:
        """Return PARAM_VALUE. KeyError."""
        return self._value(self.parameters.index[name])

    def pending(self, now_s: float) -> list[bytes]:
        """Return the values of a list that are due."""
        if self._next >= len(self.parameters.definitions) or now_s < self._due_s:
            return []
        due = min(1 + int((now_s - self._due_s) * self.rate_hz), max(1, int(self.rate_hz)))
        first = self._next
        self._next = min(first + due, len(self.parameters))
        self._due_s += due / self.rate_hz
        if self._due_s <= now_s:  # the rest of a long gap is not made up for
            self._due_s = now_s + 1 / self.rate_hz
        return [self._value(at) for at in range(first, self._next)]

    def _list(self, message: Received) -> list[bytes]:
        if not self.listing:
            self._due_s = max(self._due_s, message.now_s)
        self._next = 0  # asking again and again does not raise the pace
        return []

    def _read(self, message: Received) -> list[bytes]:
        index, _, _, name = message.values
        at = self.parameters.index.get(text(name)) if index == -1 else index
        if at is None or not 0 <= at < len(self.parameters):
            self.unknown += 1
            return []
        return [self._value(at)]

    def _set(self, message: Received) -> list[bytes]:
        value, _, _, name, _ = message.values
        at = self.parameters.index.get(text(name))
        if at is None:
            self.unknown += 1
            return []
        definition = self.parameters.definitions[at]
        if not definition.read_only:
            self.parameters.set(definition.name, value)
        return [self._value(at)]

    def _value(self, at: int) -> bytes:
        definition = self.parameters.definitions[at]
        return self._sender.frame(
            _VALUE,
            self.parameters[definition.name],
            len(self.parameters),
            at,
            definition.name.encode(),
            INT32 if definition.integer else REAL32,
        )
