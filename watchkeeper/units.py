"""Units and kinds of quantity, one closed table.

A kind is a tuple of exponents over BASES. Angle, ratio, level (dB) and count are kinds of their own, so
that a percentage is never compared with a bare number nor an angle with a length. A unit's factor turns a
value in it into the coherent unit of its kind (metre, second, volt, ampere, kilogram, degree Celsius as
written, degree of arc, percent, decibel, one). Factors by the SI brochure (9th edition) and the
international foot and knot.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from watchkeeper.errors import bad_input, did_you_mean

BASES = ("m", "s", "V", "A", "kg", "degC", "deg", "%", "dB", "count")
Kind = tuple[int, int, int, int, int, int, int, int, int, int]
NUMBER: Kind = (0, 0, 0, 0, 0, 0, 0, 0, 0, 0)


def _kind(**exponents: int) -> Kind:
    names = ("m", "s", "volt", "amp", "kg", "temp", "angle", "ratio", "level", "n")  # as in BASES
    kind = [0] * len(BASES)
    for name, exponent in exponents.items():
        kind[names.index(name)] = exponent
    return tuple(kind)  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: its symbol, its kind, and what one of it is in the coherent unit of that kind."""

    symbol: str
    kind: Kind
    factor: float = 1.0


_POWER = _kind(volt=1, amp=1)
UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("", NUMBER),
        Unit("m", _kind(m=1)),
        Unit("cm", _kind(m=1), 0.01),
        Unit("km", _kind(m=1), 1000.0),
        Unit("ft", _kind(m=1), 0.3048),
        Unit("m2", _kind(m=2)),
        Unit("m/s", _kind(m=1, s=-1)),
        Unit("km/h", _kind(m=1, s=-1), 1 / 3.6),
        Unit("kt", _kind(m=1, s=-1), 1852 / 3600),
        Unit("m/s2", _kind(m=1, s=-2)),
        Unit("s", _kind(s=1)),
        Unit("ms", _kind(s=1), 0.001),
        Unit("min", _kind(s=1), 60.0),
        Unit("h", _kind(s=1), 3600.0),
        Unit("Hz", _kind(s=-1)),
        Unit("kHz", _kind(s=-1), 1e3),
        Unit("MHz", _kind(s=-1), 1e6),
        Unit("GHz", _kind(s=-1), 1e9),
        Unit("deg", _kind(angle=1)),
        Unit("rad", _kind(angle=1), 180 / math.pi),
        Unit("deg/s", _kind(angle=1, s=-1)),
        Unit("V", _kind(volt=1)),
        Unit("mV", _kind(volt=1), 0.001),
        Unit("A", _kind(amp=1)),
        Unit("mA", _kind(amp=1), 0.001),
        Unit("Ah", _kind(amp=1, s=1), 3600.0),
        Unit("mAh", _kind(amp=1, s=1), 3.6),
        Unit("W", _POWER),
        Unit("kW", _POWER, 1000.0),
        Unit("Wh", _kind(volt=1, amp=1, s=1), 3600.0),
        Unit("J", _kind(volt=1, amp=1, s=1)),
        Unit("ohm", _kind(volt=1, amp=-1)),
        Unit("mohm", _kind(volt=1, amp=-1), 0.001),
        Unit("kg", _kind(kg=1)),
        Unit("g", _kind(kg=1), 0.001),
        Unit("degC", _kind(temp=1)),
        Unit("degC/min", _kind(temp=1, s=-1), 1 / 60),
        Unit("%", _kind(ratio=1)),
        Unit("dB", _kind(level=1)),
        Unit("dB/min", _kind(level=1, s=-1), 1 / 60),
        Unit("dB/s", _kind(level=1, s=-1)),
        Unit("count", _kind(n=1)),
        Unit("cycles", _kind(n=1)),
    )
}


def unit(symbol: str) -> Unit:
    """Return the unit of that symbol. KeyError if the table has none (a fault in the program)."""
    return UNITS[symbol]


def multiply(left: Kind, right: Kind) -> Kind:
    """Return the kind of a product."""
    return tuple(a + b for a, b in zip(left, right, strict=True))  # type: ignore[return-value]


def divide(left: Kind, right: Kind) -> Kind:
    """Return the kind of a quotient."""
    return tuple(a - b for a, b in zip(left, right, strict=True))  # type: ignore[return-value]


def describe(kind: Kind) -> str:
    """Return a kind in words a person can read: a unit of it where the table has one, else its exponents."""
    if kind == NUMBER:
        return "a plain number"
    for known in UNITS.values():
        if known.kind == kind and known.factor == 1.0:
            return known.symbol
    for known in UNITS.values():
        if known.kind == kind:
            return known.symbol
    parts = [f"{b}^{e}" if e != 1 else b for b, e in zip(BASES, kind, strict=True) if e]
    return " ".join(parts)


_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z%][A-Za-z0-9/%]*)?\s*\Z")


def parse_quantity(text: str, wanted: str) -> float:
    """Return the value of e.g. "22 Ah" in the unit `wanted` (a symbol of the table).

    Raises BadInputError (without a place; the caller knows it) for an unknown unit, another kind of
    quantity, a missing unit or a number that is not finite.
    """
    match = _QUANTITY.match(text)
    target = UNITS[wanted]
    if match is None:
        raise bad_input(f"'{text}' is not a number with a unit", f"write it like '5 {wanted}'")
    number, symbol = float(match[1]), match[2] or ""
    if not math.isfinite(number):
        raise bad_input(f"'{text}' is too large", f"write a number in {wanted}")
    given = UNITS.get(symbol)
    if given is None:
        raise bad_input(f"unknown unit '{symbol}'", did_you_mean(symbol, UNITS, otherwise=f"use {wanted}"))
    if given.kind != target.kind:
        shown = f"in {symbol}" if symbol else "without a unit"
        raise bad_input(f"'{text}' is {shown}", f"give it in {wanted}")
    return number * given.factor / target.factor
