"""Motor controllers: current and temperature of one against the others, and failures they report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.motors import Motors
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.airframe.balance import level_lean
from watchkeeper.estimate.airframe.hover import Baseline
from watchkeeper.estimate.airframe.speeds import MotorSpeeds
from watchkeeper.estimate.airframe.standout import over_others, shares
from watchkeeper.estimate.airframe.trim import TrimFilter

CUBE: Final = 3.0
"""Small changes of speed are three times as large in power, which goes with its cube."""
LEAST_A: Final = 1.0
"""Mean current under which shares say nothing."""
_OLD_US: Final = 10 * US


class MotorControllers:
    """`motors.current_over`, `motors.hottest`, `motors.heat_over`, `motors.heat_limit`, `motors.esc_fault`."""

    indexes = tuple(
        INDEX[f"motors.{name}"] for name in ("current_over", "hottest", "heat_over", "heat_limit", "esc_fault")
    )

    def __init__(self, speeds: MotorSpeeds, motors: Motors, motion: Motion, limit_degc: float | None) -> None:
        self.stream = Stream()
        self._motion = motion
        self._speeds = speeds
        self._motors = motors
        self._limit_degc = limit_degc
        self._seen = (0, 0, 0)
        self._flight = 0
        self._heat = Baseline()
        self._trim: TrimFilter | None = None

    def run(self, now_us: int) -> Sequence[float | None] | None:
        """Return current over (%), hottest and heat over (degC), limit, and who reports a failure (0: none)."""
        motors, speeds = self._motors, self._speeds
        seen = (motors.amps.stream.count, motors.celsius.stream.count, motors.failures.stream.count)
        if seen == self._seen or speeds.count is None:
            return None
        self._seen = seen
        if speeds.flown.number != self._flight:
            self._flight = speeds.flown.number
            self._heat, self._trim = Baseline(), None
        which = range(speeds.count)
        amps = motors.amps.latest(which, now_us, _OLD_US)
        celsius = motors.celsius.latest(which, now_us, _OLD_US)
        # one that does not tell hides neither the heat nor the failure of another
        flags = motors.failures.fresh(which, now_us, _OLD_US)
        fault = next((i + 1.0 for i, flag in flags if flag), 0.0) if flags else None
        hottest = max((degc for _, degc in motors.celsius.fresh(which, now_us, _OLD_US)), default=None)
        current_over = self._current_over(amps, now_us) if amps is not None else None
        heat_over = self._heat_over(celsius, now_us) if celsius is not None else None
        return current_over, hottest, heat_over, self._limit_degc, fault

    def _current_over(self, amps: Sequence[float], now_us: int) -> float | None:
        now = shares(amps) if sum(amps) > LEAST_A * len(amps) else None
        lean = level_lean(self._motion, self._speeds.flown, now_us)
        if now is None or lean is None or not self._speeds.flies or self._speeds.still:
            return None
        if self._trim is None or self._trim.motors != len(amps):
            self._trim = TrimFilter(len(amps), CUBE)
        found = self._trim.look(now, lean, now_us)
        return None if found is None else 100 * found[0]

    def _heat_over(self, celsius: Sequence[float], now_us: int) -> float | None:
        over = [over_others(celsius, i) for i in range(len(celsius))]
        if self._speeds.flies and self._speeds.flown.calm(now_us):
            self._heat.learn(over, now_us)
        usual = self._heat.values
        return None if usual is None else max(now - was for now, was in zip(over, usual, strict=True))
