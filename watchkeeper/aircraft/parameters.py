"""Parameters seen in the stream. PARAM_VALUE carries integers in one of two ways; which, the aircraft says.

Either the number is cast to float, or its bytes are laid into the float's place. AUTOPILOT_VERSION tells by
two bits of MAV_PROTOCOL_CAPABILITY; where it was not heard, the autopilot's kind does; else integers are refused.
"""

from __future__ import annotations

import math
import struct
from typing import Final

from pymavlink.dialects.v20 import all as dialect

CAST: Final = 131072
"""MAV_PROTOCOL_CAPABILITY_PARAM_ENCODE_C_CAST"""
BYTEWISE: Final = 16
"""MAV_PROTOCOL_CAPABILITY_PARAM_ENCODE_BYTEWISE"""
MOST: Final = 4000
_INTEGERS: Final = {1: "<B3x", 2: "<b3x", 3: "<H2x", 4: "<h2x", 5: "<I", 6: "<i"}  # MAV_PARAM_TYPE
_REAL32: Final = 9
_BY_AUTOPILOT: Final = {
    dialect.MAV_AUTOPILOT_ARDUPILOTMEGA: CAST,
    dialect.MAV_AUTOPILOT_PX4: BYTEWISE,
}


class Parameters:
    """Values by name; None: seen, and not understood."""

    __slots__ = ("_capabilities", "_raw", "changes", "total", "values", "version")

    def __init__(self) -> None:
        self.values: dict[str, float | None] = {}
        self.total: int | None = None
        """How many the aircraft says it has."""
        self.version: int | None = None
        """Of its firmware (AUTOPILOT_VERSION.flight_sw_version: a byte each for major, minor, patch, kind)."""
        self.changes = 0
        """Counts up whenever anything here changed."""
        self._capabilities: int | None = None
        self._raw: dict[str, tuple[bytes, int]] = {}

    def take(self, name: str, raw: bytes, kind: int, total: int, autopilot: int) -> None:
        """Take one PARAM_VALUE in; `raw` is its number as the four bytes of a float."""
        if not (name and name.isascii() and name.isprintable()):
            return
        if name not in self.values and len(self.values) >= MOST:
            return
        value = decode(raw, kind, self._encoding(autopilot))
        said = total or self.total
        if said != self.total or name not in self.values or value != self.values[name]:
            self.changes += 1
        self.total = said
        self._raw[name] = (raw, kind)
        self.values[name] = value

    @property
    def complete(self) -> bool:
        """Whether as many names were seen as the aircraft says it has."""
        return self.total is not None and len(self.values) >= self.total

    def capabilities(self, bits: int, autopilot: int, version: int = 0) -> None:
        """Take AUTOPILOT_VERSION in (version 0: not told); what came before is understood anew."""
        version = version or self.version or 0
        if (bits, version) == (self._capabilities, self.version or 0):
            return
        self.changes += 1
        self._capabilities = bits
        self.version = version or None
        encoding = self._encoding(autopilot)
        for name, (raw, kind) in self._raw.items():
            self.values[name] = decode(raw, kind, encoding)

    def adopt(self, early: Parameters, autopilot: int) -> None:
        """Take over what came before the autopilot's kind was known."""
        self.total = early.total
        self.version = early.version or self.version
        self.changes += 1
        self._capabilities = early._capabilities
        self._raw.update(early._raw)
        encoding = self._encoding(autopilot)
        for name, (raw, kind) in early._raw.items():
            self.values[name] = decode(raw, kind, encoding)

    def _encoding(self, autopilot: int) -> int:
        bits = self._capabilities
        if bits is not None and bool(bits & CAST) != bool(bits & BYTEWISE):
            return CAST if bits & CAST else BYTEWISE
        return _BY_AUTOPILOT.get(autopilot, 0)


def decode(raw: bytes, kind: int, encoding: int) -> float | None:
    """Return a parameter's value from the four bytes of its float, or None where it is not understood."""
    number = float(struct.unpack("<f", raw)[0])
    if kind == _REAL32:
        return number if math.isfinite(number) else None
    layout = _INTEGERS.get(kind)
    if layout is None or not encoding:
        return None
    if encoding == BYTEWISE:
        return float(struct.unpack(layout, raw)[0])
    return number if math.isfinite(number) and number == int(number) else None
