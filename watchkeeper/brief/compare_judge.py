"""How one setting is held against what is asked: judged, and what to change so that it fits.

A judgement is a list of checks. Each names the settings it hangs on, and counts only where all of them are
understood: then it says what is wrong, or nothing. What is wrong goes before what is not understood, for it is
sure; "fits" is left only when every check was made and found nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from watchkeeper.aircraft.own_values import (
    OwnChange,
    Safe,
    Written,
    everything,
    with_changes,
    write_setting,
    write_stage,
)
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.vocabulary import VOCABULARY, Setting, Settings, Status, Value
from watchkeeper.brief.findings import WEIGHTS, SettingRow, Verdict, Weight

_SAME: Final = 1e-5
"""Of a number: a float32 holds seven digits."""
_ROUNDS: Final = 6
"""So many things may be wrong with one setting, one after the other."""


class Wish(NamedTuple):
    """A setting, or with `stage` a part of a low-battery stage, that is to become `wanted`."""

    name: str
    wanted: Value
    safe: Safe | None = None
    stage: str = ""


class Wrong(NamedTuple):
    """What is wrong, and in `ways` how it may be put right, the best first."""

    why: str
    weight: Weight
    ways: tuple[tuple[Wish, ...], ...] = ()


class Check(NamedTuple):
    """A check, the settings that it hangs on, and what they are in words, where their own "why" would not tell."""

    needs: tuple[Setting, ...]
    wrong: Callable[[], Wrong | None]
    what: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """A setting as it is: what it has in words, and its checks, the one on the setting itself first.

    `note` is what there is to know though it fits.
    """

    has: str
    checks: tuple[Check, ...]
    note: str = ""

    @property
    def own(self) -> tuple[str, ...]:
        """The aircraft's names that decide it."""
        return tuple(dict.fromkeys(name for check in self.checks for one in check.needs for name in one.names))

    def found(self) -> tuple[Verdict, list[Wrong], list[str]]:
        """Return the verdict, what is wrong, the weightiest first, and what is not understood."""
        wrong: list[Wrong] = []
        blind: list[str] = []
        for check in self.checks:
            lacking = [one for one in check.needs if one.status is not Status.UNDERSTOOD]
            if lacking:
                told = [f"{check.what}: {one.why}" if check.what else one.why for one in lacking]
                blind += [why for why in told if why not in blind]
            elif (said := check.wrong()) is not None:
                wrong.append(said)
        wrong.sort(key=lambda one: WEIGHTS.index(one.weight))
        return "differs" if wrong else "not understood" if blind else "fits", wrong, blind


Judge = Callable[[Settings], Judged]
Row = tuple[str, str, Judge]
"""A row's name, what is asked in words, and its judgement."""


def row(name: str, asked: str, judge: Judge, seen: SeenParameters, settings: Settings) -> SettingRow:
    """Return the row of one setting."""
    judged = judge(settings)
    verdict, wrong, blind = judged.found()
    if verdict != "differs":
        why = "; ".join(blind) if verdict == "not understood" else judged.note
        return SettingRow(name, judged.own, judged.has, asked, verdict, why)
    changes, hint = _put_right(judge, seen, wrong)
    said = [*dict.fromkeys(one.why for one in wrong), *blind, *([judged.note] if judged.note else [])]
    said += [hint] if hint else []
    words = tuple(str(change) for change in changes)
    return SettingRow(name, judged.own, judged.has, asked, verdict, "; ".join(said), words, wrong[0].weight)


def _put_right(judge: Judge, seen: SeenParameters, wrong: Sequence[Wrong]) -> tuple[list[OwnChange], str]:
    """Return changes after which nothing is wrong any more, or none, and what there is to say of them.

    Any of what is wrong may have to be first: some autopilots take a time only once there is an action.
    """
    made: dict[str, OwnChange] = {}
    also: dict[str, None] = {}
    why = ""
    for _ in range(_ROUNDS):
        step = None
        for way in (way for one in wrong for way in one.ways):
            written, after, said = _write(seen, way)
            why = why or said
            left = judge(after).found()[1] if written else list(wrong)
            if [one.why for one in left] != [one.why for one in wrong] and len(left) <= len(wrong):
                step = written, after, left
                break
        if step is None:
            return [], why
        written, after, wrong = step
        for one in written:
            also |= dict.fromkeys(one.also)
            for change in one.changes or ():
                was = made[change.name].was if change.name in made else change.was
                made[change.name] = OwnChange(change.name, was, change.number, change.unit)
        seen = with_changes(seen, list(made.values()))
        if not wrong:
            also_words = _beside(also, judge(after).checks, after)
            return [*made.values()], f"this changes as well: {', '.join(also_words)}" if also_words else ""
    return [], why


def _beside(also: Iterable[str], checks: Iterable[Check], settings: Settings) -> list[str]:
    """Return in words what changes beside that which the checks look at."""
    looked_at = [one for check in checks for one in check.needs]
    now = everything(settings)
    return [label(name) for name in also if name not in now or now[name] not in looked_at]


def _write(seen: SeenParameters, way: Iterable[Wish]) -> tuple[list[Written], Settings, str]:
    """Return what a way writes (nothing: it cannot be gone, and why), and the settings after it."""
    written: list[Written] = []
    for wish in way:
        one = (
            write_stage(seen, wish.stage, wish.name, wish.wanted, wish.safe)
            if wish.stage
            else write_setting(seen, wish.name, wish.wanted, wish.safe)
        )
        if one.changes is None:
            return [], settings_of(seen), one.why
        written.append(one)
        seen = with_changes(seen, one.changes)
    return written, settings_of(seen), ""


def label(name: str) -> str:
    """Return a setting's name in words, without its unit; "stage: part" stays as it is."""
    kind = VOCABULARY.get(name)
    if kind is not None and kind.unit:
        name = name.removesuffix("_" + kind.unit.replace("/", "_").lower())
    return name.removesuffix("delay_s") + "delay" if name.endswith(": delay_s") else name.replace("_", " ")


def shown(setting: Setting) -> str:
    """Return what a setting is, in words with its unit."""
    value = setting.value
    if value is None:
        return setting.status.value
    if isinstance(value, tuple):
        return ", ".join(value).replace("_", " ") or "none"
    return value.replace("_", " ") if isinstance(value, str) else amount(value, setting.unit)


def amount(value: float, unit: str) -> str:
    """Return a number with its unit."""
    return f"{round(value, 3):.10g} {unit}".rstrip()


def under(number: float, least: float) -> bool:
    """Whether a number is less, by more than float32 rounds."""
    return number < least - _SAME * abs(least)


def over(number: float, most: float) -> bool:
    """Whether a number is more, by more than float32 rounds."""
    return number > most + _SAME * abs(most)
