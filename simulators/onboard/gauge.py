"""What the aircraft's battery monitors show: noise, a wrong scale, and a count that can start wrong."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from simulators.physics.packs import Pack, PackBank

GRID_S: Final = 0.1
_EARLY_S: Final = 1e-9


@dataclass(frozen=True, slots=True)
class MonitorErrors:
    """Errors of one pack's monitor: shown current is `scale` times the true plus `offset_a`."""

    scale: float = 1.0
    offset_a: float = 0.0
    voltage_scale: float = 1.0
    """Shown voltages, of the pack and of its cells, are this times the true."""
    current_a: float = 0.15
    voltage_v: float = 0.015
    cell_v: float = 0.002
    start_pct: float | None = None
    """What the gauge takes the pack for when it is switched on; without it, what it really holds."""
    capacity: float = 1.0
    """Capacity that the gauge reckons with, by the pack's own when new."""

    @staticmethod
    def draw(seed: int | str) -> MonitorErrors:
        """Return errors as monitors have them: of current within 6 % and 0.4 A, of voltage within 1 %."""
        dice = random.Random(f"monitor {seed}")
        return MonitorErrors(
            scale=1.0 + max(-0.06, min(0.06, dice.gauss(0.0, 0.025))),
            offset_a=dice.uniform(-0.4, 0.4),
            voltage_scale=1.0 + max(-0.01, min(0.01, dice.gauss(0.0, 0.004))),
        )


EXACT: Final = MonitorErrors(current_a=0.0, voltage_v=0.0, cell_v=0.0)


class Monitor:
    """One pack's monitor."""

    __slots__ = ("_cell_dice", "_dice", "_start_pct", "current_a", "errors", "pack", "used_ah", "voltage_v")

    def __init__(self, pack: Pack, errors: MonitorErrors, seed: str) -> None:
        self.pack = pack
        self.errors = errors
        self._dice = random.Random(seed)
        self._cell_dice = random.Random(f"cells of {seed}")
        self._start_pct = 100.0 * pack.charge if errors.start_pct is None else errors.start_pct
        self.used_ah = 0.0
        self.current_a = 0.0
        self.voltage_v = pack.terminal_v * errors.voltage_scale

    def read(self, step_s: float) -> None:
        """Measure, and count what was drawn."""
        errors = self.errors
        gauss = self._dice.gauss
        true_a = self.pack.current_a
        shown_a = true_a * errors.scale + errors.offset_a if true_a > 0.05 else 0.0
        self.current_a = max(0.0, shown_a + errors.current_a * gauss(0.0, 1.0)) if true_a > 0.05 else 0.0
        self.used_ah += max(0.0, shown_a) * step_s / 3600.0
        self.voltage_v = self.pack.terminal_v * errors.voltage_scale + errors.voltage_v * gauss(0.0, 1.0)

    @property
    def left_pct(self) -> float:
        """The gauge: what it started with less what it counted."""
        capacity_ah = self.pack.model.cell.capacity_ah * self.errors.capacity
        return max(0.0, min(100.0, self._start_pct - 100.0 * self.used_ah / capacity_ah))

    def cells_mv(self) -> list[int]:
        """Return the cells' voltages in mV, with a noise of their own: asking changes nothing else."""
        pack, gauss = self.pack, self._cell_dice.gauss
        noise_mv, scale_mv = 1000.0 * self.errors.cell_v, 1000.0 * self.errors.voltage_scale
        return [
            max(0, round(scale_mv * pack.cell_voltage_v(i) + noise_mv * gauss(0.0, 1.0)))
            for i in range(pack.model.cells_in_series)
        ]


class Gauges:
    """All monitors, read ten times a second, and what the flight controller makes of them."""

    __slots__ = ("_next_s", "current_a", "left_pct", "lowest_pct", "monitors", "pack_a", "voltage_v")

    def __init__(self, bank: PackBank, errors: Sequence[MonitorErrors], seed: int | str) -> None:
        """Take errors for each pack in turn."""
        self.monitors = [
            Monitor(pack, one, f"gauge {seed} {i}")
            for i, (pack, one) in enumerate(zip(bank.packs, errors, strict=True))
        ]
        self._next_s = 0.0
        self.voltage_v = bank.voltage_v
        self.current_a = 0.0
        self.pack_a = 0.0
        """Current of the pack whose voltage is taken."""
        self._mean_left()

    def update(self, now_s: float) -> None:
        """Read the monitors if it is time. The voltage is the highest of the packs: that of the bus."""
        if now_s + _EARLY_S < self._next_s:
            return
        self._next_s += GRID_S
        volts = amps = pack_a = 0.0
        for monitor in self.monitors:
            monitor.read(GRID_S)
            amps += monitor.current_a
            if not monitor.pack.is_open and monitor.voltage_v > volts:
                volts, pack_a = monitor.voltage_v, monitor.current_a
        self.voltage_v, self.current_a, self.pack_a = volts, amps, pack_a
        self._mean_left()

    def _mean_left(self) -> None:
        """Take mean and lowest gauge of the connected packs, 0 with none: an open pack's count stands still."""
        left = [monitor.left_pct for monitor in self.monitors if not monitor.pack.is_open]
        self.left_pct = sum(left) / len(left) if left else 0.0
        self.lowest_pct = min(left, default=0.0)
