"""A pack flown for the battery's tests: pybamm's Thevenin cell as the aircraft, readings as it would tell them."""

from __future__ import annotations

import importlib
import os
import random
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.packs.battery import BatteryEstimates
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.pack import PackEstimate

BEGIN_US = 1_700_000_000_000_000
GROUND_S = 30
# facts section 6: Ecker 2015, with the oracle's 3.0 V at empty
CHARGE = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
REST_V = (3.0, 3.294, 3.459, 3.587, 3.709, 3.77, 3.787, 3.815, 3.882, 3.987, 4.079, 4.2)


class Second(NamedTuple):
    """What the oracle has in one second: time, a cell's voltage, current of the pack, charge (0 to 1)."""

    time_s: float
    cell_v: float
    current_a: float
    charge: float


def flown_a(seconds: int) -> list[float]:
    """Return the current of each second: avionics on the ground, then climbs, hover and pauses by turns."""
    amps = []
    for second in range(seconds + 1):
        turn = (second - GROUND_S) % 120
        amps.append(1.0 if second < GROUND_S else 90.0 if turn < 20 else 66.0 if turn < 90 else 45.0)
    return amps


def thevenin(
    charge: float,
    amps: Sequence[float],
    *,
    r0_ohm: float = 1.5e-3,
    capacity_ah: float = 22.0,
    above_v: Sequence[float] = (0.0,) * len(CHARGE),
) -> list[Second]:
    """Let pybamm fly the cell of facts section 6; `above_v` lifts its curve. Ends where its charge does."""
    os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")
    pybamm: Any = importlib.import_module("pybamm")
    times_s = np.arange(float(len(amps)))
    curve = np.array(CHARGE), np.array(REST_V) + np.array(above_v)
    model = pybamm.equivalent_circuit.Thevenin(options={"number of rc elements": 1})
    values = model.default_parameter_values
    values.update(
        {
            "Initial SoC": charge,
            "Open-circuit voltage [V]": lambda z: pybamm.Interpolant(*curve, z, "ocv", interpolator="linear"),
            "R0 [Ohm]": r0_ohm, "R1 [Ohm]": 1e-3, "C1 [F]": 2e4,
            "Cell capacity [A.h]": capacity_ah, "Nominal cell capacity [A.h]": capacity_ah,
            "Current function [A]": pybamm.Interpolant(
                times_s, np.array(amps), pybamm.t, "amps", interpolator="linear"
            ),
            "Entropic change [V/K]": 0, "RCR lookup limit [A]": 500,
            "Lower voltage cut-off [V]": 2.5, "Upper voltage cut-off [V]": 4.4,
        }
    )  # fmt: skip
    solution = pybamm.Simulation(model, parameter_values=values).solve(times_s)
    told = times_s[times_s <= solution.t[-1]]
    volts, charges = solution["Voltage [V]"](told), solution["SoC"](told)
    return [Second(*map(float, row)) for row in zip(told, volts, amps[: len(told)], charges, strict=True)]


class Bench:
    """The estimates of an aircraft's packs, and readings told to them by hand."""

    def __init__(self, packs: str) -> None:
        self.readings = Readings()
        self.estimates = BatteryEstimates(self.readings, load_aircraft_file(packs, "a.yaml"))
        self._streams: dict[str, Stream] = {}
        self.now_us = BEGIN_US

    def at(self, time_s: float, *, flying: bool = True) -> None:
        """Go to a time since the beginning."""
        self.now_us = BEGIN_US + round(time_s * 1e6)
        self._put("flight", "flight.phase", "airborne" if flying else "on_ground")

    def tell(self, pack: int | None, **values: float | None) -> None:
        """Set readings of a pack (None: a monitor of the whole), one message."""
        prefix = "battery." if pack is None else f"battery.{pack}."
        stream = self._streams.setdefault(prefix, Stream())
        stream.mark(self.now_us)
        for name, value in values.items():
            self.readings.put(INDEX[prefix + name], value, stream)

    def _put(self, key: str, name: str, value: Any) -> None:
        stream = self._streams.setdefault(key, Stream())
        stream.mark(self.now_us)
        self.readings.put(INDEX[name], value, stream)

    def run(self) -> list[float | None] | None:
        """Work out and write the values, as the suite does."""
        values = self.estimates.run(self.now_us)
        if values is not None:
            self.estimates.stream.mark(self.now_us)
            for index, value in zip(self.estimates.indexes, values, strict=True):
                self.readings.put(index, value, self.estimates.stream)
        return values

    def read(self, name: str) -> Any:
        """Return a reading as a rule sees it."""
        return self.readings.read(INDEX[name], self.now_us)

    @property
    def pack(self) -> PackEstimate:
        """The first pack, or the whole."""
        return self.estimates._packs[0] if self.estimates._packs else self.estimates._whole

    @property
    def filter(self) -> ChargeFilter:
        """Its filter."""
        assert self.pack.filter is not None
        return self.pack.filter


class Told(NamedTuple):
    """What the estimate says in one second, beside the truth; charges 0 to 1, the rest in the readings' units."""

    time_s: float
    truth: float
    charge: float
    doubt: float
    usable_pct: float
    gauge_off_pct: float | None

    @property
    def error(self) -> float:
        """Charge told over the true one."""
        return self.charge - self.truth


def fly(
    bench: Bench,
    seconds: Iterable[Second],
    *,
    cells: int = 12,
    gauge_pct: float | None = None,
    scale: float = 1.0,
    noise_v: float = 0.010,
    counter: bool = False,
    seed: int = 0,
    label_ah: float = 22.0,
) -> list[Told]:
    """Tell a flight: a gauge that starts at `gauge_pct`, a current scale, noise of a cell's voltage."""
    random_ = random.Random(seed)
    told, drawn_ah, before_s = [], 0.0, None
    for second in seconds:
        current_a = second.current_a * scale
        drawn_ah += 0.0 if before_s is None else current_a * (second.time_s - before_s) / 3600
        before_s = second.time_s
        bench.at(second.time_s, flying=second.current_a > 0.2 * label_ah)
        bench.tell(
            1,
            voltage=cells * (second.cell_v + random_.gauss(0.0, noise_v)),
            current=current_a,
            consumed=drawn_ah if counter else None,
            gauge_left=None if gauge_pct is None else max(0.0, min(100.0, gauge_pct - 100 * drawn_ah / label_ah)),
        )
        bench.run()
        filter_ = bench.filter
        usable_pct = bench.pack.values[0]
        assert usable_pct is not None
        told.append(
            Told(
                second.time_s,
                second.charge,
                filter_.charge,
                filter_.charge_doubt,
                usable_pct,
                bench.pack.gauge_off_pct,
            )
        )
    return told
