"""The aircraft's own settings out of the parameters seen in the stream, by the table of autopilots.

Nothing is guessed: what does not match the table, is out of its bounds, or hangs on a firmware version that was
not told is "not understood" and says why; what hangs on a name not seen yet is "not seen". No default stands in.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from watchkeeper.aircraft.autopilot_file import EVER
from watchkeeper.aircraft.autopilots import Cell, Outcome, Reader, Readings, StageTable, Table, tables
from watchkeeper.aircraft.vocabulary import VOCABULARY, Kind, LowStage, Setting, Settings, Status, Value

_SAME: Final = 1e-4
"""Two names agree within this share: float32 holds seven digits, and centimetres are often whole."""
_UNDERSTOOD, _NOT_SEEN, _NOT = Status.UNDERSTOOD, Status.NOT_SEEN, Status.NOT_UNDERSTOOD
_NOTHING_KNOWN: Final = "nothing is known of this for this autopilot and firmware"
_NONE_THERE: Final = "the aircraft has no parameter of a name that is known for this"
_STRANGER: Final = "nothing was seen yet that shows this to be an aircraft of the kind known"
_HANGS: Final = "hangs on the firmware version, which was not told"


class _Found(NamedTuple):
    """What one reading gives. `status` None: the aircraft cannot have these names."""

    status: Status | None
    names: tuple[str, ...]
    value: Value | None = None
    why: str = ""
    note: str = ""
    hangs: bool = False
    """Only for the want of the firmware version it is not understood."""


class _Seen(NamedTuple):
    """What is known of the parameters: values, whether those are all, versions it may have, names it cannot have.

    `stranger`: nothing shows that the table's constants are this aircraft's.
    """

    values: Mapping[str, float | None]
    complete: bool
    start: int
    end: int
    lacking: frozenset[str]
    stranger: bool


def read_settings(
    autopilot: int,
    version: int | None,
    values: Mapping[str, float | None],
    *,
    vehicle: int | None = None,
    complete: bool = False,
) -> Settings:
    """Return the settings in an aircraft's parameters.

    `autopilot` is MAV_AUTOPILOT, `version` AUTOPILOT_VERSION.flight_sw_version (None or 0: not told), a value of
    None was seen and is not understood. `vehicle` is MAV_TYPE (None: the caller knows that it is a multirotor).
    `complete`: these are all the parameters it has. The first call loads the table, which takes a quarter of a
    second; `tables` does so ahead of time.
    """
    table = tables().get(autopilot)
    if table is None:
        return _nothing("nothing is known of the parameters of this kind of autopilot")
    if vehicle is not None and vehicle not in table.vehicles:
        return _nothing("with this autopilot, parameters are known of multirotors only")
    seen = _seen(table, version, values, complete=complete)
    found = {
        name: _setting(table.settings.get(name, ()), kind, kind.unit, seen) for name, kind in VOCABULARY.items()
    }
    stages = tuple(stage for one in table.stages if (stage := _stage(one, seen)) is not None)
    return Settings(low_battery=stages or None, **found)


def _nothing(why: str) -> Settings:
    found = {name: Setting(None, kind.unit, (), _NOT, why) for name, kind in VOCABULARY.items()}
    return Settings(low_battery=None, **found)


def _seen(table: Table, version: int | None, values: Mapping[str, float | None], *, complete: bool) -> _Seen:
    """Narrow the version down by the names that are there, unless it was told or they contradict each other."""
    if version is not None and version >> 8:
        start = version >> 8
        end = start + 1
    else:
        spans = [span for name, span in table.lifetimes.items() if name in values]
        start = max((span[0] for span in spans), default=0)
        end = min((span[1] for span in spans), default=EVER)
        if start >= end:
            start, end = 0, EVER
    lacking = frozenset(
        name
        for name, span in table.lifetimes.items()
        if name not in values and (span[1] <= start or span[0] >= end)
    )
    return _Seen(values, complete, start, end, lacking, table.known_by.isdisjoint(values))


def _stage(table: StageTable, seen: _Seen) -> LowStage | None:
    """Return a stage of low battery; None if the aircraft cannot have it."""
    parts = table.parts
    kind, readings = parts["threshold"]
    threshold = _merged([_read(reading, kind, seen) for reading in readings])
    if threshold.status is None:
        return None
    unit = kind.unit
    made = {
        name: _setting(readings, kind, kind.unit, seen)
        for name, (kind, readings) in parts.items()
        if name != "threshold"
    }
    return LowStage(table.name, table.battery, threshold=_made(threshold, unit), **made)


def _setting(readings: Readings, kind: Kind, unit: str, seen: _Seen) -> Setting:
    found = _merged([_read(reading, kind, seen) for reading in readings])
    if found.status is None:
        return Setting(None, unit, (), _NOT, found.why or _NOTHING_KNOWN)
    return _made(found, unit)


def _made(found: _Found, unit: str) -> Setting:
    return Setting(found.value, unit, found.names, found.status or _NOT, found.why, found.note)


def _merged(given: list[_Found]) -> _Found:
    """Return what several names for one thing say together."""
    found = [one for one in given if one.status is not None]
    if not found:
        return _absent(given)
    if len(found) > 1:
        found = [one for one in found if not one.hangs] or found
    if len(found) == 1:
        return found[0]
    for status in (_NOT, _UNDERSTOOD):
        told = [one for one in found if one.status is status]
        names = _all(one.names for one in told)
        if told and not _agree(told):
            return _Found(_NOT, names, why=f"{' and '.join(names)} disagree")
        if told:
            return told[0]._replace(names=names, note=_shared(told))
    names = _all(one.names for one in found)
    return _Found(_NOT_SEEN, names, why=f"not seen yet: {' or '.join(names)}")


def _absent(given: list[_Found]) -> _Found:
    return _Found(None, (), why=_NONE_THERE if any(one.why for one in given) else "")


def _all(names: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for some in names for name in some))


def _shared(found: list[_Found]) -> str:
    """Return the note that all have."""
    return found[0].note if all(one.note == found[0].note for one in found) else ""


def _agree(found: list[_Found]) -> bool:
    first = found[0].value
    for one in found[1:]:
        if isinstance(first, float) and isinstance(one.value, float):
            if not math.isclose(first, one.value, rel_tol=_SAME, abs_tol=1e-9):
                return False
        elif first != one.value:
            return False
    return True


def _read(reading: tuple[Cell, ...], kind: Kind, seen: _Seen) -> _Found:
    """Return what a reading gives in every version that the aircraft may have, if it is the same in all."""
    held = [cell for cell in reading if cell.start < seen.end and seen.start < cell.end]
    given = [_walk(cell, kind, seen) for cell in held]
    if len(held) == 1 and held[0].start <= seen.start and seen.end <= held[0].end:
        return given[0]
    found = [one for one in given if one.status is not None]
    if not found:
        return _absent(given)
    missing = [one for one in found if one.status is _NOT_SEEN]
    if missing:
        return missing[0]
    covered = sum(min(cell.end, seen.end) - max(cell.start, seen.start) for cell in held)
    if {one.status for one in found} != {found[0].status} or not _agree(found) or covered < seen.end - seen.start:
        names = _all(one.names for one in found)
        return _Found(_NOT, names, why=f"{' and '.join(names) or 'it'} {_HANGS}", hangs=True)
    return found[0]._replace(note=_shared(found))


def _walk(cell: Cell, kind: Kind, seen: _Seen) -> _Found:
    """Take the steps one by one."""
    if seen.lacking and not seen.lacking.isdisjoint(cell.needed):
        return _Found(None, ())
    names: list[str] = []
    for step in cell.steps:
        name = step.name
        if not name:
            if seen.stranger:
                return _Found(_NOT_SEEN, (), why=_STRANGER)
            outcome = step.constant or Outcome()
        elif name not in seen.values:
            if seen.complete or name in seen.lacking:
                if step.optional:
                    continue
                return _Found(None, (), why=_NONE_THERE)
            return _Found(_NOT_SEEN, (*names, name), why=f"{name} is not seen yet")
        else:
            if name not in names:
                names.append(name)
            outcome = _take(step, kind, seen)
            if step.plus and step.plus not in seen.values:
                return _Found(_NOT_SEEN, (*names, step.plus), why=f"{step.plus} is not seen yet")
            if step.plus:
                names.append(step.plus)
        if outcome.value is not None:
            return _Found(_UNDERSTOOD, tuple(names), outcome.value, note=outcome.note or step.note)
        if not outcome.next:
            return _Found(_NOT, tuple(names), why=outcome.why)
    return _Found(None, ())


def _take(step: Reader, kind: Kind, seen: _Seen) -> Outcome:
    """Return what a parameter's value stands for."""
    name, number = step.name, _plain(seen.values[step.name])
    if number is None:
        return Outcome(why=f"{name} was seen, but its number was not understood")
    said = step.means.get(number)
    if said is not None:
        return said
    if not step.least <= number <= step.most:
        return Outcome(why=f"{name} = {number:g} is outside {step.least:g} to {step.most:g}")
    if number < 0 and step.negative is not None:
        return step.negative
    if step.otherwise is not None:
        return step.otherwise
    if step.numeric:
        return _measure(step, number, kind, seen)
    unknown = Outcome(why=f"{name} = {number:g}: it is not known what that stands for")
    if number < 0 or number != int(number):
        return unknown
    whole = int(number)
    if step.by_bit is not None:
        return step.by_bit[bool(whole & step.bit)]
    if step.bits is not None:
        if whole & ~sum(step.bits):
            return unknown
        return Outcome(tuple(word for bit, word in step.bits.items() if word is not None and whole & bit))
    digits = str(whole)
    if step.digits is not None:
        if len({*digits}) < len(digits) or not {*digits} <= step.digits.keys():
            return unknown
        return Outcome(tuple(word for digit in digits if (word := step.digits[digit]) is not None))
    return next((said for pattern, said in step.patterns or () if pattern.fullmatch(digits)), unknown)


def _measure(step: Reader, number: float, kind: Kind, seen: _Seen) -> Outcome:
    value = number * step.factor
    shown = f"{step.name} = {number:g}"
    if step.plus and step.plus in seen.values:
        more = _plain(seen.values[step.plus])
        if more is None or more < 0:
            return Outcome(why=f"{step.plus} was seen, but its number was not understood")
        value += more * step.factor
        shown += f" and {step.plus} = {more:g}"
    if step.cotangent:
        value = 1 / math.tan(math.radians(value))
    value = float(f"{value:.7g}")
    if not kind.allows(value):
        return Outcome(why=f"{shown} would be {value:g} {kind.unit}, outside {kind.least:g} to {kind.most:g}")
    return Outcome(value)


def _plain(value: float | None) -> float | None:
    """Return a float32 as it was meant: 0.8 for 0.800000012; None for what is no number."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.7g}")
