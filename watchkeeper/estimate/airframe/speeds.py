"""How fast each motor turns: by its controller's telemetry where that is sent, else by the output driving it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.motors import Motors
from watchkeeper.aircraft.readings import US, Readings
from watchkeeper.estimate.airframe.hover import Flown
from watchkeeper.estimate.airframe.whichmotors import PART_MOST, Guess, how_many, in_pulses, parts_of_range

LEAST_MOTORS: Final = 3
LIFT_PART: Final = 0.15
LIFT_RPM: Final = 300.0
"""Above this (part of the range, else turns a minute or whatever outputs count in) a motor gives lift."""
STILL_PART: Final = 0.10
"""At this part of the fastest a motor gives a hundredth of its thrust (which goes with speed squared)."""
_OLD_US: Final = 5 * US


class MotorSpeeds:
    """Looks at outputs and controllers once a run, for all parts that judge by them."""

    def __init__(
        self, readings: Readings, motors: Motors, file: AircraftFile | None, vehicle: Callable[[], int]
    ) -> None:
        self.flown = Flown(readings)
        self.flies = False
        self.count: int | None = None
        """Motors there are."""
        self.values: Sequence[float] | None = None
        """Of each motor; None: not told, or nobody knows which outputs drive them."""
        self.peak: float | None = None
        """The highest output as a part of its range."""
        self.source = 0
        """Changes with whatever makes values not to be compared with earlier ones: flight, source."""
        self.samples = 0
        self._motors = motors
        self._file = file
        self._vehicle = vehicle
        self._outputs = tuple(number - 1 for number in file.rotors.outputs) if file is not None else ()
        self._guess = Guess()
        self._guess.sure = bool(self._outputs)
        self._seen = (0, 0)
        self._of = (0, False)

    def look(self, now_us: int) -> None:
        """Take in what is new."""
        motors = self._motors
        seen = (motors.outputs.stream.count, motors.rpm.stream.count)
        if seen == self._seen:
            return
        self._seen = seen
        self.samples += 1
        self.flies = self.flown.look(now_us)
        self.count = count = how_many(self._file, self._vehicle())
        self.values = self.peak = None
        if count is None or count < LEAST_MOTORS:
            return
        outputs = motors.outputs.latest(self._outputs or range(count), now_us, _OLD_US)
        parts = None
        if outputs is not None and max(outputs) > 0:
            parts = parts_of_range(outputs)
            if self.flies:
                self._guess.in_air(parts)
            else:
                self._guess.on_ground(parts)
            if not self._guess.sure:
                parts = None
            elif in_pulses(outputs):
                self.peak = max(parts)
        speeds = motors.rpm.latest(range(count), now_us, _OLD_US)
        by_speed = speeds is not None and (max(speeds) > 0 or not self.flies)
        self.values = speeds if by_speed else parts
        of = (self.flown.number, by_speed)
        if of != self._of:
            self._of = of
            self.source += 1

    @property
    def lifts(self) -> bool:
        """Whether the fastest motor turns fast enough to lift."""
        if not self.values:
            return False
        top = max(self.values)
        return top > (LIFT_PART if top <= PART_MOST else LIFT_RPM)

    @property
    def still(self) -> int:
        """How many stand still while others lift."""
        if not self.values or not self.lifts:
            return 0
        top = max(self.values)
        return sum(value <= STILL_PART * top for value in self.values)
