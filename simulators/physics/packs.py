"""Packs in parallel on a bus under constant power: currents, heat, and a connection that opens.

Over a step each pack's current is constant. Its RC pairs then have an exact solution u = I R + (u0 - I R) e^-t/RC,
and so have their mean, their heat and the mean open-circuit voltage; all enter the step as a mean source and a
mean resistance, so energy balances to rounding and steps of 0.02 to 0.2 s agree. Bus voltage is the step's mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from simulators.physics.cell import GRID, POUCH_22AH, CellModel

_STALE_CHARGE: Final = 0.0005
_STALE_K: Final = 0.02
"""Resistances are held until charge or temperature has moved by this: a thousandth of them, near empty five."""


@dataclass(frozen=True)
class PackModel:
    """What a kind of pack is: like cells in series, wiring, age, and how it takes up and gives off heat.

    `case_j_k` is the heat capacity beside the cells', `cooling_w_k` the heat given off for each kelvin above
    ambient.
    """

    cell: CellModel = POUCH_22AH
    cells_in_series: int = 12
    wiring_ohm: float = 0.0018
    cycles: float = 0.0
    case_j_k: float = 300.0
    cooling_w_k: float = 3.0

    @property
    def heat_capacity_j_k(self) -> float:
        """Heat capacity of the whole pack, J/K."""
        return self.cells_in_series * self.cell.heat_capacity_j_k + self.case_j_k


class Pack:
    """State of one pack. Discharge current is positive.

    `raw_charge` (a fraction of the aged capacity) may run below 0, `charge` does not. `u1_v`, `u2_v` stand over
    the RC pairs of all cells together. `chemical_j`, `heat_j`, `delivered_j` count what the cells' chemistry gave,
    what became heat in resistances and wiring, and what left at the terminals; with `stored_rc_j` they balance.
    `terminal_v` is the bus voltage while connected (`is_open` false), else the pack's own.
    """

    __slots__ = (
        "_amp_seconds", "_c1_f", "_c2_f", "_capacity_ah", "_emf_v", "_fall_ohm", "_half_step", "_held_charge",
        "_held_degc", "_inverse_heat_j_k", "_lowest", "_mean_ohm", "_ocv_v", "_offsets_v", "_pairs", "_series",
        "_start_charge", "_step_s", "_weak_cell", "_weak_ohm", "chemical_j", "conductance_s", "current_a",
        "delivered_j", "heat_j", "is_open", "model", "raw_charge", "series_ohm", "source_v", "temperature_degc",
        "terminal_v", "u1_v", "u2_v",
    )  # fmt: skip

    def __init__(
        self,
        model: PackModel,
        charge: float = 1.0,
        temperature_degc: float = 25.0,
        offsets_v: Sequence[float] = (),
        weak_cell: int | None = None,
        weak_ohm: float = 0.0,
    ) -> None:
        """Take a rested pack.

        `offsets_v` are small differences of the cells (one each, or none; taken from their mean, so that they
        change no sum); the cell of index `weak_cell` has `weak_ohm` more at every charge and temperature. Raises
        ValueError.
        """
        cell, series = model.cell, model.cells_in_series
        if len(offsets_v) not in {0, series}:
            raise ValueError(f"{len(offsets_v)} offsets for {series} cells")
        if weak_cell is not None and not 0 <= weak_cell < series:
            raise ValueError(f"no cell {weak_cell} among {series}")
        mean_v = sum(offsets_v) / series
        self.model = model
        self._series = series
        self._offsets_v = tuple(v - mean_v for v in offsets_v) or (0.0,) * series
        self._lowest = min(range(series), key=self._offsets_v.__getitem__)
        self._weak_cell = weak_cell
        self._weak_ohm = weak_ohm if weak_cell is not None else 0.0
        self._capacity_ah = cell.aged_capacity_ah(model.cycles)
        self._amp_seconds = 3600 * self._capacity_ah
        self._c1_f = cell.tau1_s / cell.r1_ohm / series if cell.r1_ohm else 0.0
        self._c2_f = cell.tau2_s / cell.r2_ohm / series if cell.r2_ohm else 0.0
        self._ocv_v = cell.ocv_v
        self._inverse_heat_j_k = 1 / model.heat_capacity_j_k
        self.raw_charge = self._start_charge = charge
        self.temperature_degc = temperature_degc
        self.u1_v = self.u2_v = self.current_a = 0.0
        self.chemical_j = self.heat_j = self.delivered_j = 0.0
        self.is_open = False
        self._step_s = 0.0
        self._hold(0.02)
        self.prepare(0.02)
        self.terminal_v = self.rest_v

    @property
    def charge(self) -> float:
        """Charge left as a fraction of what the pack holds at its age, 0 to 1."""
        return min(max(self.raw_charge, 0.0), 1.0)

    @property
    def used_ah(self) -> float:
        """Charge drawn since the start, Ah; what flowed back is taken off."""
        return (self._start_charge - self.raw_charge) * self._capacity_ah

    @property
    def rest_v(self) -> float:
        """Voltage without current at this moment, before the RC pairs have settled, V."""
        return self._series * self.model.cell.open_circuit(self.raw_charge)[0] - self.u1_v - self.u2_v

    @property
    def stored_rc_j(self) -> float:
        """Energy in the capacitors of the RC pairs, J."""
        return (self._c1_f * self.u1_v**2 + self._c2_f * self.u2_v**2) / 2

    @property
    def stored_chemical_j(self) -> float:
        """Energy that the cells' chemistry would give down to empty without any loss, J."""
        return self._series * self._amp_seconds * self.model.cell.energy_v(self.raw_charge)

    def cell_voltage_v(self, index: int) -> float:
        """Return one cell's voltage; the cells' sum is `terminal_v`, so wiring is shared among them."""
        sag_v = self.current_a * self._weak_ohm
        v = (self.terminal_v + sag_v) / self._series + self._offsets_v[index]
        return v - sag_v if index == self._weak_cell else v

    @property
    def lowest_cell_v(self) -> float:
        """Return the voltage of the lowest cell."""
        lowest_v = self.cell_voltage_v(self._lowest)
        return lowest_v if self._weak_cell is None else min(lowest_v, self.cell_voltage_v(self._weak_cell))

    def _hold(self, step_s: float) -> None:
        """Work out what stays while step, charge and temperature do: resistances and coefficients of the pairs."""
        cell = self.model.cell
        factor = (
            self._series
            * cell.charge_factor(self.raw_charge)
            * cell.temperature_factor(self.temperature_degc)
            * cell.age_factor(self.model.cycles)
        )
        self.series_ohm = mean_ohm = factor * cell.r0_ohm + self.model.wiring_ohm + self._weak_ohm
        self._step_s = step_s
        self._held_charge = self.raw_charge
        self._held_degc = self.temperature_degc
        self._half_step = 0.5 * step_s / self._amp_seconds
        pairs: list[float] = []
        for ohm, farad in ((factor * cell.r1_ohm, self._c1_f), (factor * cell.r2_ohm, self._c2_f)):
            if ohm == 0.0:
                pairs += (0.0,) * 6
                continue
            tau_s = ohm * farad
            left = math.exp(-step_s / tau_s)
            area_s = tau_s * (1 - left)
            mean = area_s / step_s
            mean_ohm += ohm * (1 - mean)
            pairs += (ohm, left, mean, ohm * step_s, 2 * area_s, tau_s * (1 - left * left) / (2 * ohm))
        self._mean_ohm = mean_ohm
        self._pairs = tuple(pairs)

    def prepare(self, step_s: float) -> None:
        """Set what the coming step is to find: mean terminal voltage = `source_v` - current / `conductance_s`."""
        z = self.raw_charge
        if (
            step_s != self._step_s
            or abs(z - self._held_charge) > _STALE_CHARGE
            or abs(self.temperature_degc - self._held_degc) > _STALE_K
        ):
            self._hold(step_s)
        if 0.0 <= z < 1.0:
            x = z * GRID
            i = int(x)
            ocv_v = self._ocv_v[i]
            rise_v = self._ocv_v[i + 1] - ocv_v
            ocv_v += rise_v * (x - i)
            slope_v = rise_v * GRID
        else:
            ocv_v, slope_v = self.model.cell.open_circuit(z)
        pairs = self._pairs
        self._emf_v = emf_v = self._series * ocv_v
        self._fall_ohm = fall_ohm = self._series * slope_v * self._half_step
        self.source_v = emf_v - pairs[2] * self.u1_v - pairs[8] * self.u2_v
        self.conductance_s = 1.0 / (self._mean_ohm + fall_ohm)

    def carry(self, current_a: float, ambient_degc: float) -> None:
        """Carry a constant current over the step that was prepared, and take up its heat."""
        r1, left1, _, heat1, cross1, decay1, r2, left2, _, heat2, cross2, decay2 = self._pairs
        step_s = self._step_s
        square = current_a * current_a
        charge_as = current_a * step_s
        over1_v = self.u1_v - current_a * r1
        over2_v = self.u2_v - current_a * r2
        heat_j = (
            square * (self.series_ohm * step_s + heat1 + heat2)
            + over1_v * (current_a * cross1 + over1_v * decay1)
            + over2_v * (current_a * cross2 + over2_v * decay2)
        )
        self.u1_v += over1_v * (left1 - 1.0)
        self.u2_v += over2_v * (left2 - 1.0)
        self.raw_charge -= charge_as / self._amp_seconds
        self.current_a = current_a
        self.terminal_v = terminal_v = self.source_v - current_a / self.conductance_s
        self.chemical_j += (self._emf_v - self._fall_ohm * current_a) * charge_as
        self.delivered_j += terminal_v * charge_as
        self.heat_j += heat_j
        lost_j = self.model.cooling_w_k * (self.temperature_degc - ambient_degc) * step_s
        self.temperature_degc += (heat_j - lost_j) * self._inverse_heat_j_k


class PackBank:
    """Packs in parallel on one bus. `draw` moves time on; then the bus and each pack can be read.

    `voltage_v`, `current_a`, `power_w` are the last step's; `collapsed` says that the packs could not give the
    power asked for, and gave their greatest.
    """

    __slots__ = ("collapsed", "current_a", "packs", "power_w", "voltage_v")

    def __init__(self, packs: Sequence[Pack]) -> None:
        """Take packs, which the bank from now on moves. Raises ValueError without any."""
        if not packs:
            raise ValueError("a bank has at least one pack")
        self.packs = tuple(packs)
        self.current_a = self.power_w = 0.0
        self.collapsed = False
        self.voltage_v = 0.0
        self._find(0.0)

    def _find(self, power_w: float) -> None:
        """Find the bus voltage for prepared packs.

        Kirchhoff: the currents (E - V) G of all packs, times V, are the power; so V solves
        sum(G) V^2 - sum(E G) V + P = 0. Without a root the bus gives its greatest power, at half its open voltage.
        """
        conductance_s = short_a = 0.0
        for pack in self.packs:
            if not pack.is_open:
                conductance_s += pack.conductance_s
                short_a += pack.source_v * pack.conductance_s
        square = short_a * short_a - 4.0 * conductance_s * power_w
        self.collapsed = False
        if conductance_s == 0.0:
            self.voltage_v = self.current_a = self.power_w = 0.0
            return
        if square >= 0.0 and (short_a > 0.0 or power_w < 0.0):
            self.voltage_v = voltage_v = (short_a + math.sqrt(square)) / (2.0 * conductance_s)
        else:
            self.voltage_v = voltage_v = max(0.0, short_a / (2.0 * conductance_s))
            self.collapsed = True
        self.current_a = current_a = short_a - conductance_s * voltage_v
        self.power_w = voltage_v * current_a

    def draw(self, power_w: float, step_s: float, ambient_degc: float) -> float:
        """Draw a power over a step of 0.02 to 0.2 s and return the bus voltage; negative power charges.

        Unequal packs even out among themselves at any load: a pack's current may be negative. With every
        connection open the bus has 0 V and gives nothing.
        """
        packs = self.packs
        for pack in packs:
            pack.prepare(step_s)
        self._find(power_w)
        voltage_v = self.voltage_v
        for pack in packs:
            pack.carry(0.0 if pack.is_open else (pack.source_v - voltage_v) * pack.conductance_s, ambient_degc)
        return voltage_v

    def open(self, index: int) -> None:
        """Open one pack's connection: it gives nothing and shows its own voltage."""
        pack = self.packs[index]
        pack.is_open = True
        pack.current_a = 0.0
        pack.terminal_v = pack.rest_v

    def close(self, index: int) -> None:
        """Close one pack's connection; from the next step on it carries what Kirchhoff gives it."""
        self.packs[index].is_open = False

    def stored_chemical_j(self) -> float:
        """Energy that all packs' chemistry would give down to empty without any loss, J."""
        return sum(pack.stored_chemical_j for pack in self.packs)
