"""What to change in an aircraft's own parameters, so that a setting becomes what is wanted.

The inverse of settings.py: by the same table, changes are tried, and only what `read_settings` then reads as the
wanted value is an answer. A name that was not seen is never written; no number is made up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final, Literal

from watchkeeper.aircraft.autopilots import Outcome, Reader, Readings, tables
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.vocabulary import VOCABULARY, Kind, Setting, Settings, Value

Safe = Literal["up", "down"]
"""To which side of the wanted number a rounded one is safe."""
PARTS: Final = ("quantity", "threshold", "delay_s", "action", "latched")
_STEPS: Final = {"%": 1.0, "mAh": 10.0, "ohm": 0.001, "s": 1.0}
_STEP: Final = 0.1
"""Numbers are rounded to these, in the setting's unit."""
_SHORT_S: Final = 2.0
"""Times from here on are whole seconds: some autopilots keep no others."""
_NEAR: Final = 1e-5
"""Of a number: a float32 holds seven digits."""
_TRIES: Final = 200


@dataclass(frozen=True, slots=True)
class OwnChange:
    """A parameter that becomes another number, in its own unit ("": it has none). `was` None: not understood."""

    name: str
    was: float | None
    number: float
    unit: str

    def __str__(self) -> str:
        """Return it as a crew reads it."""
        was = "?" if self.was is None else _shown(self.was)
        return f"{self.name}: {was} -> {_shown(self.number)} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Written:
    """How a setting becomes `value` (as it is then read). `changes` None: it cannot be said, and `why`.

    `also` names what else becomes another value by it: settings, or stages as "stage: part".
    """

    changes: tuple[OwnChange, ...] | None
    value: Value | None = None
    why: str = ""
    also: tuple[str, ...] = ()


def write_setting(seen: SeenParameters, name: str, wanted: Value, safe: Safe | None = None) -> Written:
    """Return what to change so that a setting is `wanted`, a number in its unit, a word or words.

    With `safe` a number is rounded to that side. KeyError for a name that VOCABULARY does not have.
    """
    kind = VOCABULARY[name]
    table = tables().get(-1 if seen.autopilot is None else seen.autopilot)
    if table is None:
        return Written(None, why="nothing is known of the parameters of this kind of autopilot")
    return _Writer(seen, name, kind, table.settings.get(name, ())).write(wanted, safe)


def write_stage(seen: SeenParameters, stage: str, part: str, wanted: Value, safe: Safe | None = None) -> Written:
    """Return what to change so that a part of a low-battery stage is `wanted`, as for a setting.

    KeyError for a part that no stage has.
    """
    if part not in PARTS:
        raise KeyError(part)
    table = tables().get(-1 if seen.autopilot is None else seen.autopilot)
    found = next((one for one in table.stages if one.name == stage), None) if table is not None else None
    if found is None:
        return Written(None, why=f"nothing is known of a stage '{stage}' for this kind of autopilot")
    kind, readings = found.parts[part]
    return _Writer(seen, f"{stage}: {part}", kind, readings).write(wanted, safe)


def with_changes(seen: SeenParameters, changes: Sequence[OwnChange]) -> SeenParameters:
    """Return the parameters as they are after changes."""
    return replace(seen, values={**seen.values, **{change.name: change.number for change in changes}})


def everything(settings: Settings) -> dict[str, Setting]:
    """Return all settings, those of stages as "stage: part"."""
    found = {name: settings[name] for name in VOCABULARY}
    for stage in settings.low_battery or ():
        found |= {f"{stage.name}: {part}": getattr(stage, part) for part in PARTS}
    return found


class _Writer:
    """Finds what to change for one setting, called `key`."""

    def __init__(self, seen: SeenParameters, key: str, kind: Kind, readings: Readings) -> None:
        self._seen = seen
        self._key = key
        self._kind = kind
        self._readings = readings
        self._before = everything(settings_of(seen))
        self._why = ""

    def write(self, wanted: Value, safe: Safe | None) -> Written:
        value = _rounded(wanted, self._kind.unit, safe) if isinstance(wanted, float | int) else wanted
        if not self._kind.allows(value):
            return Written(None, why=self._not_allowed(value))
        now = self._before.get(self._key)
        if now is None:
            return Written(None, why="the aircraft does not have this")
        if _same(now.value, value):
            return Written((), now.value)
        found = [
            made
            for changed in islice(self._candidates(value), _TRIES)
            if (made := self._proved(changed, value)) is not None
        ]
        if found:
            return min(found, key=lambda made: (len(made.changes or ()), len(made.also)))
        return Written(None, why=self._reason(now))

    def _not_allowed(self, value: Value) -> str:
        kind = self._kind
        if isinstance(value, float):
            if kind.least > kind.most:
                return "this setting is no number"
            return f"{value:g} {kind.unit} is outside {kind.least:g} to {kind.most:g}"
        return f"'{value if isinstance(value, str) else ', '.join(value)}' is nothing that this setting can be"

    def _reason(self, now: Setting) -> str:
        if self._why:
            return self._why
        seen = [name for name in now.names if name in self._seen.values]
        if not seen:
            return now.why or "no parameter of the aircraft sets it"
        named = [{step.name for cell in reading for step in cell.steps} for reading in self._readings]
        if sum(1 for names in named if names & self._seen.values.keys()) > 1:
            return f"{' and '.join(seen)} say it together: change them by hand so that they agree"
        return f"no number of {' and '.join(seen)} is known to mean that"

    def _proved(self, changed: Mapping[str, float], wanted: Value) -> Written | None:
        """Return the answer, if with the changes the setting is read as wanted."""
        seen = self._seen
        after = everything(settings_of(replace(seen, values={**seen.values, **changed})))
        now = after.get(self._key)
        if now is None or now.value is None or not _same(now.value, wanted):
            return None
        also = tuple(
            name
            for name, one in self._before.items()
            if name != self._key
            and one.value is not None
            and (name not in after or one.value != after[name].value)
        )
        changes = tuple(
            OwnChange(name, seen.values[name], number, self._unit(name)) for name, number in changed.items()
        )
        return Written(changes, now.value, also=also)

    def _unit(self, name: str) -> str:
        """Return the unit of a parameter's own number, where this setting reads it by one that has a symbol."""
        for reading in self._readings:
            for cell in reading:
                for step in cell.steps:
                    if step.name == name and step.numeric:
                        return _own_unit(step.factor, self._kind.unit)
        return ""

    def _candidates(self, wanted: Value) -> Iterator[dict[str, float]]:
        for reading in self._readings:
            for cell in reading:
                yield from self._walk(cell.steps, wanted, {})

    def _walk(
        self, steps: Sequence[Reader], wanted: Value, changed: dict[str, float]
    ) -> Iterator[dict[str, float]]:
        """Yield what may make these steps, from the first on, result in what is wanted."""
        if not steps:
            return
        step, *others = steps
        if not step.name:
            if step.constant is not None and step.constant.value == wanted and changed:
                yield changed
            return
        if step.name not in self._seen.values:
            if step.optional:
                yield from self._walk(others, wanted, changed)
            return
        for number in self._numbers(step, wanted):
            yield {**changed, step.name: number}
        # it goes on as it is, or with a number that lets it go on
        yield from self._walk(others, wanted, changed)
        for number in self._going_on(step):
            yield from self._walk(others, wanted, {**changed, step.name: number})

    def _numbers(self, step: Reader, wanted: Value) -> Iterator[float]:
        """Yield numbers of a parameter that may stand for what is wanted."""
        yield from (number for number, outcome in step.means.items() if _is(outcome, wanted))
        if step.by_bit is not None:
            yield from self._bit(step, 0, _is(step.by_bit[0], wanted))
            yield from self._bit(step, step.bit, _is(step.by_bit[1], wanted))
        if step.negative is not None and _is(step.negative, wanted):
            yield -1.0
        if isinstance(wanted, float) and step.numeric:
            if step.plus:
                self._why = f"it is the sum of {step.name} and {step.plus}: which to change is the crew's"
            elif step.cotangent:
                self._why = f"{step.name} says it by an angle: see the autopilot's own description"
            else:
                number = float(f"{wanted / step.factor:.7g}")
                if step.least <= number <= step.most:
                    yield number
                else:
                    self._why = f"{step.name} = {number:g} would be outside {step.least:g} to {step.most:g}"
        if isinstance(wanted, tuple):
            yield from self._lists(step, wanted)

    def _bit(self, step: Reader, bit: int, wanted: bool) -> Iterator[float]:
        now = _whole(self._seen.values[step.name])
        if wanted and now is not None:
            yield float(now & ~step.bit | bit)

    def _going_on(self, step: Reader) -> Iterator[float]:
        yield from (number for number, outcome in step.means.items() if outcome.next)
        if step.by_bit is not None:
            yield from self._bit(step, 0, step.by_bit[0].next)
            yield from self._bit(step, step.bit, step.by_bit[1].next)

    def _lists(self, step: Reader, wanted: tuple[str, ...]) -> Iterator[float]:
        now = _whole(self._seen.values[step.name])
        if step.bits is not None and now is not None and now >= 0:
            unnamed = sum(bit for bit, word in step.bits.items() if word is None)
            named = {word: bit for bit, word in step.bits.items() if word is not None}
            if all(word in named for word in wanted):
                yield float(now & unnamed | sum(named[word] for word in wanted))
        if step.digits is not None:
            digits = {word: digit for digit, word in step.digits.items() if word is not None}
            silent = [digit for digit, word in step.digits.items() if word is None]
            if all(word in digits for word in wanted):
                yield from self._ordered([digits[word] for word in wanted], silent, str(now or 0))

    def _ordered(self, said: Sequence[str], silent: Sequence[str], now: str) -> Iterator[float]:
        """Yield the digits in their order; a silent one stays before the digit that it stood before, else ends."""
        result = [*said]
        for digit in silent:
            if digit in now:
                behind = [one for one in now[now.index(digit) + 1 :] if one in result]
                result.insert(result.index(behind[0]) if behind else len(result), digit)
        if result:
            yield float("".join(result))


def _is(outcome: Outcome, wanted: Value) -> bool:
    return outcome.value is not None and outcome.value == wanted


def _same(one: Value | None, other: Value) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=_NEAR, abs_tol=1e-9)
    return one == other


def _rounded(wanted: float, unit: str, safe: Safe | None) -> float:
    """Return a number rounded to the safe side; as it is where none is."""
    if safe is None or not math.isfinite(wanted):
        return float(wanted)
    step = _STEP if unit == "s" and wanted < _SHORT_S else _STEPS.get(unit, _STEP)
    steps = float(f"{wanted / step:.9g}")  # 0.3 / 0.1 is just under three
    return float(f"{(math.ceil(steps) if safe == 'up' else math.floor(steps)) * step:.9g}")


def _whole(value: float | None) -> int | None:
    return int(value) if value is not None and math.isfinite(value) and value == int(value) else None


def _shown(number: float) -> str:
    return f"{float(f'{number:.7g}'):.10g}"


_OWN_UNITS: Final[dict[tuple[str, float], str]] = {
    ("m", 0.01): "cm",
    ("m", 1000.0): "km",
    ("s", 0.001): "ms",
    ("m/s", 0.01): "cm/s",
    ("m/s2", 0.01): "cm/s2",
    ("deg", 0.01): "hundredths of a degree",
    ("%", 100.0): "",
}


def _own_unit(factor: float, unit: str) -> str:
    if math.isclose(factor, 1.0):
        return unit
    return next(
        (own for (of, by), own in _OWN_UNITS.items() if of == unit and math.isclose(by, factor)),
        f"times {factor:g} {unit}",
    )
