"""Which motors there are, and which outputs drive them.

The aircraft file says so, else MAV_TYPE how many, and the outputs are the first ones if all of them rise at
take-off and are alike in the air. What is not alike is something else (a gimbal, a release), and then nobody
knows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median
from typing import Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.files import AircraftFile

BY_TYPE: Final[Mapping[int, int]] = {
    dialect.MAV_TYPE_QUADROTOR: 4,
    dialect.MAV_TYPE_HEXAROTOR: 6,
    dialect.MAV_TYPE_OCTOROTOR: 8,
    dialect.MAV_TYPE_DODECAROTOR: 12,
    dialect.MAV_TYPE_DECAROTOR: 10,
}
"""Number of rotors by MAV_TYPE, where all of them only lift."""
PULSE_LEAST: Final = 700.0
PULSE_MOST: Final = 2300.0
PULSE_ZERO: Final = 1000.0
PULSE_SPAN: Final = 1000.0
"""Microseconds of the pulses that outputs are told in: 1000 is stop, 2000 full (common practice)."""
PART_MOST: Final = 1.3
"""No part of a range is above this; what is, counts in something else."""
RISEN: Final = 0.05
"""Of the range: motors that lift turn faster than they idled by more."""
ALIKE: Final = 1.6
"""Outputs of motors in a hover differ by trim, not by more than this from the least to the most."""

ENOUGH: Final = 3
"""Samples in a row."""


def how_many(file: AircraftFile | None, vehicle: int) -> int | None:
    """Return the number of motors; None where nobody says."""
    if file is not None:
        if file.rotors.outputs:
            return len(file.rotors.outputs)
        if file.rotors.count is not None:
            return file.rotors.count
    return BY_TYPE.get(vehicle)


def in_pulses(values: Sequence[float]) -> bool:
    """Whether outputs are told in microseconds of a pulse."""
    return all(PULSE_LEAST <= value <= PULSE_MOST for value in values)


def parts_of_range(values: Sequence[float]) -> list[float]:
    """Return outputs as parts of their range where they are pulses, else as they are, from zero."""
    if in_pulses(values):
        return [max(0.0, (value - PULSE_ZERO) / PULSE_SPAN) for value in values]
    return [max(0.0, value) for value in values]


class Guess:
    """Whether the first outputs are the motors: all risen since the ground, and alike, for some samples."""

    __slots__ = ("_ground", "_seen", "sure")

    def __init__(self) -> None:
        self._ground: list[float] | None = None
        self._seen = 0
        self.sure = False

    def on_ground(self, values: Sequence[float]) -> None:
        """Take outputs on the ground: parts of their range, or counts of whatever kind."""
        before = self._ground
        same = before is not None and len(before) == len(values)
        # the least of what was there: as it takes off, outputs rise before anybody says that it flies
        self._ground = [*map(min, before, values)] if before is not None and same else list(values)

    def in_air(self, values: Sequence[float]) -> None:
        """Take outputs in the air."""
        if self.sure:
            return
        middle, most = median(values), max(values)
        scale = 1.0 if most <= PART_MOST else most
        ground = self._ground or [0.0] * len(values)
        risen = all(now - before > RISEN * scale for now, before in zip(values, ground, strict=False))
        alike = most <= ALIKE * middle and middle <= ALIKE * min(values)
        self._seen = self._seen + 1 if risen and alike else 0
        self.sure = self._seen >= ENOUGH
