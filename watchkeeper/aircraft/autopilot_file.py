"""The form of autopilots.yaml: what stands in it, as it stands there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictFloat, StrictInt, StrictStr

EVER: Final = 1 << 32
"""Above every version."""
Number = StrictInt | StrictFloat


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class Told(_Part):
    """A result with more to say: a value and a note, or why there is none."""

    is_: StrictStr | Number | None = Field(default=None, alias="is")
    note: StrictStr = ""
    refuse: StrictStr = Field(default="", alias="not")


Result = Told | tuple[StrictStr, ...] | StrictStr | Number


class Version(_Part):
    """A range of versions, its end not in it."""

    from_: Annotated[StrictStr, Field(pattern=r"^\d{1,3}\.\d{1,3}$")] = Field(default="0.0", alias="from")
    below: Annotated[StrictStr, Field(pattern=r"^\d{1,3}\.\d{1,3}$")] | None = None

    @property
    def span(self) -> tuple[int, int]:
        """Its bounds as a version without the byte for its kind."""
        return _version(self.from_), EVER if self.below is None else _version(self.below)


class Step(Version):
    """One step of a reading. `value` makes it a constant; else `name` is read."""

    name: StrictStr = ""
    value: Result | None = None
    unit: StrictStr | None = None
    scale: Number = 1
    as_: Literal["cot"] | None = Field(default=None, alias="as")
    plus: StrictStr = ""
    least: Number = -math.inf
    most: Number = math.inf
    means: Mapping[StrictStr, Result] = {}
    else_: Result | None = Field(default=None, alias="else")
    bit: StrictInt | None = None
    set_: Result | None = Field(default=None, alias="set")
    clear: Result | None = None
    bits: Mapping[StrictStr, StrictStr | None] | None = None
    digits: Mapping[StrictStr, StrictStr | None] | None = None
    patterns: Mapping[StrictStr, Result] | None = None
    note: StrictStr = ""

    def results(self) -> Iterator[Result]:
        """Yield all that it may result in, numbers that are read aside."""
        yield from (one for one in (self.value, self.else_, self.set_, self.clear) if one is not None)
        yield from self.means.values()
        yield from (self.patterns or {}).values()
        if self.bits is not None:
            yield tuple(word for word in self.bits.values() if word is not None)
        if self.digits is not None:
            yield tuple(word for word in self.digits.values() if word is not None)


class Stage(_Part):
    """A stage of low battery, or one for `each` of some prefixes, with its battery id."""

    stage: StrictStr
    each: Mapping[StrictStr, StrictInt | None] | None = None
    battery: StrictInt | None = None
    unit: Literal["V", "%", "mAh"]
    quantity: tuple[tuple[Step, ...], ...]
    threshold: tuple[tuple[Step, ...], ...]
    delay_s: tuple[tuple[Step, ...], ...] = ()
    action: tuple[tuple[Step, ...], ...] = ()
    latched: tuple[tuple[Step, ...], ...] = ()


class Channels(_Part):
    """By which parameters a channel of the radio control gets a function. {n} stands for its number, * for any."""

    own: tuple[StrictStr, ...] = ()
    """The channel's own: a function unless 0."""
    numbers: Mapping[StrictStr, tuple[StrictInt, ...]] = {}
    """Hold the number of a channel, plus one of these."""
    equal: Mapping[StrictStr, StrictInt] = {}
    """The channel's own: a function if it is this number."""
    bits: tuple[StrictStr, ...] = ()
    """A bit for each channel, the lowest for channel 1."""
    fixed: Mapping[StrictStr, StrictInt] = {}
    """Unless 0, this channel has a function."""


class Autopilot(_Part):
    """One autopilot."""

    autopilot: StrictStr
    vehicles: tuple[StrictStr, ...]
    known_by: tuple[StrictStr, ...]
    lifetimes: Mapping[StrictStr, Version] = {}
    settings: Mapping[StrictStr, tuple[tuple[Step, ...], ...]]
    stages: tuple[Stage, ...] = ()
    channels: Channels | None = None


class File(_Part):
    """The whole file."""

    autopilots: tuple[Autopilot, ...]


def _version(text: str) -> int:
    major, minor = text.split(".")
    return int(major) << 16 | int(minor) << 8
