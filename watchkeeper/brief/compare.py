"""What the aircraft is set to do beside what today asks, and how its parameters differ from a baseline's.

"fits" is said only of what is understood whole: see compare_judge.py.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from itertools import chain
from typing import Final

from watchkeeper.aircraft.autopilots import tables
from watchkeeper.aircraft.own_values import everything
from watchkeeper.aircraft.parameter_text import SeenParameters, names_in, settings_of
from watchkeeper.aircraft.vocabulary import Setting, Settings
from watchkeeper.brief.asked import Asked
from watchkeeper.brief.compare_battery import battery_rows
from watchkeeper.brief.compare_judge import label, row, shown
from watchkeeper.brief.compare_lost import lost_rows
from watchkeeper.brief.compare_return import return_rows
from watchkeeper.brief.findings import Difference, Remark, SettingsToday

_NOT_UNDERSTOOD: Final = "not understood"
_LOAD: Final = "let the ground station load all parameters while the watch records"


def compare(
    seen: SeenParameters, settings: Settings, asked: Asked, baseline: SeenParameters | None = None
) -> SettingsToday:
    """Return what was seen against what today asks; `settings` are those in `seen` (settings_of)."""
    given = chain(return_rows(asked), battery_rows(settings, asked), lost_rows(asked))
    remarks = _remarks(seen)
    if baseline is not None:
        remarks += _remarks_on(baseline, seen)
    return SettingsToday(
        seen.source,
        _autopilot(seen),
        len(seen.values),
        seen.complete,
        tuple(row(name, asked_for, judge, seen, settings) for name, asked_for, judge in given),
        None if baseline is None else differences(seen, baseline),
        tuple(remarks),
    )


def differences(seen: SeenParameters, baseline: SeenParameters) -> tuple[Difference, ...]:
    """Return the parameters that differ by more than float32 rounds, those of fail-safe settings first, by name.

    A name that only one of them has is "" at the other, though it may only not have been seen there. Values that
    neither side understands cannot be told apart and are left out.
    """
    here, there = everything(settings_of(seen)), everything(settings_of(baseline))
    tied = _tied(here, there)
    known = frozenset(
        name
        for autopilot, table in tables().items()
        if autopilot in {seen.autopilot, baseline.autopilot}
        for name in names_in(table)
    )
    found = [
        Difference(
            name,
            _number(seen.values, name),
            _number(baseline.values, name),
            _means(tied.get(name, ()), here, there) if name in known else "",
        )
        for name in seen.values.keys() | baseline.values.keys()
        if _differ(seen.values, baseline.values, name)
    ]
    return tuple(sorted(found, key=lambda one: (one.name not in known, one.name)))


def _tied(here: Mapping[str, Setting], there: Mapping[str, Setting]) -> dict[str, list[str]]:
    """Return by parameter the settings that it decides."""
    tied: dict[str, list[str]] = {}
    for settings in (here, there):
        for setting, one in settings.items():
            for name in one.names:
                if setting not in tied.setdefault(name, []):
                    tied[name].append(setting)
    return tied


def _means(tied: list[str] | tuple[()], here: Mapping[str, Setting], there: Mapping[str, Setting]) -> str:
    """Return in words what a difference changes."""
    told = [
        f"{label(name)}: {_state(here, name)}, baseline {_state(there, name)}"
        for name in tied
        if _state(here, name) != _state(there, name)
    ]
    if told:
        return "; ".join(told)
    return f"{', '.join(map(label, tied))}: the same for all that is known" if tied else "a fail-safe setting"


def _state(settings: Mapping[str, Setting], name: str) -> str:
    return shown(settings[name]) if name in settings else "none"


def _number(values: Mapping[str, float | None], name: str) -> str:
    if name not in values:
        return ""
    value = values[name]
    return _NOT_UNDERSTOOD if value is None else f"{float(f'{value:.7g}'):.10g}"


def _differ(here: Mapping[str, float | None], there: Mapping[str, float | None], name: str) -> bool:
    if name not in here or name not in there:
        return True
    one, other = here[name], there[name]
    if one is None or other is None:
        return one is not other
    return _single(one) != _single(other) and f"{one:.7g}" != f"{other:.7g}"


def _single(value: float) -> float:
    """Return the float32 next to a value."""
    try:
        return float(struct.unpack("<f", struct.pack("<f", value))[0])
    except OverflowError:
        return math.copysign(math.inf, value)


def _autopilot(seen: SeenParameters) -> str:
    """Return what kind of autopilot it is, by MAVLink's number, and its firmware."""
    if seen.autopilot is None:
        return "kind of autopilot not known"
    words = f"autopilot of kind {seen.autopilot} (MAV_AUTOPILOT)"
    if not seen.version:
        return f"{words}, firmware not told"
    return f"{words}, firmware {seen.version >> 24}.{seen.version >> 16 & 255}.{seen.version >> 8 & 255}"


def _remarks(seen: SeenParameters) -> list[Remark]:
    found = [Remark("advisory", "parameters", f"{seen.source}: {one}") for one in seen.remarks]
    if seen.autopilot is None:
        what = (
            "What kind of autopilot these parameters are of cannot be told from their names: nothing is compared"
        )
        found.append(
            Remark("caution", "parameters", what, "give a recording of the aircraft, or more of its parameters")
        )
    elif seen.autopilot not in tables():
        what = f"Nothing is known of the parameters of autopilots of kind {seen.autopilot}: nothing is compared"
        found.append(Remark("caution", "parameters", what, "set the fail-safes by hand"))
    if not seen.complete and seen.total:
        what = f"{len(seen.values)} of the aircraft's {seen.total} parameters were seen"
        found.append(Remark("advisory", "parameters", what, _LOAD))
    lost = sum(1 for value in seen.values.values() if value is None)
    if lost:
        what = f"The numbers of {lost} parameters were seen and not understood: how they are coded was not told"
        found.append(Remark("advisory", "parameters", what, "record from the aircraft's power-up on"))
    return found


def _remarks_on(baseline: SeenParameters, seen: SeenParameters) -> list[Remark]:
    """Return what is odd about a baseline."""
    found = []
    if None not in (baseline.autopilot, seen.autopilot) and baseline.autopilot != seen.autopilot:
        what = "The baseline is of another kind of autopilot"
        found.append(Remark("caution", "baseline", what, "give one of this aircraft"))
    if not seen.values.keys() & baseline.values.keys():
        what = "The baseline has none of the aircraft's parameters"
        found.append(Remark("caution", "baseline", what, "give one of this aircraft"))
    both = [name for name in seen.values.keys() & baseline.values.keys() if seen.values[name] is None]
    alike = sum(1 for name in both if baseline.values[name] is None)
    if alike:
        what = f"{alike} parameters are not understood on either side and were not compared"
        found.append(Remark("advisory", "baseline", what))
    return found
