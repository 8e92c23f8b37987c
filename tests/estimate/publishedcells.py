"""Open-circuit voltages of four published cells as pybamm's parameter sets give them, between 3.0 V and 4.2 V."""

from __future__ import annotations

import importlib
import os
from collections.abc import Sequence
from functools import cache
from typing import Any, Final

import numpy as np

CELLS: Final = {
    "Ecker2015": "Ecker et al. 2015, J. Electrochem. Soc. 162 A1836 (nickel, manganese, cobalt; a pouch cell)",
    "Mohtat2020": "Mohtat et al. 2020, J. Electrochem. Soc. 167 110561 (nickel, manganese, cobalt; a pouch cell)",
    "Ramadass2004": "Ramadass et al. 2004, J. Electrochem. Soc. 151 A196 (cobalt oxide)",
    "Ai2020": "Ai et al. 2020, J. Electrochem. Soc. 167 013512 (cobalt oxide; a pouch cell)",
}
"""pybamm's name of each parameter set, and where it is from (as pybamm's documentation cites it, from memory)."""
EMPTY_V: Final = 3.0
FULL_V: Final = 4.2


@cache
def rest_v(name: str, charges: Sequence[float]) -> tuple[float, ...]:
    """Return the cell's open-circuit voltages, V, at charges from 0 (3.0 V) to 1 (4.2 V)."""
    os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")
    pybamm: Any = importlib.import_module("pybamm")
    values = pybamm.ParameterValues(name)
    ends = {"Lower voltage cut-off [V]": EMPTY_V, "Open-circuit voltage at 0% SOC [V]": EMPTY_V}
    ends |= {"Upper voltage cut-off [V]": FULL_V, "Open-circuit voltage at 100% SOC [V]": FULL_V}
    values.update(ends, check_already_exists=False)
    x_0, x_100, y_100, y_0 = pybamm.lithium_ion.get_min_max_stoichiometries(values)

    def electrode_v(side: str, part: float) -> float:
        told = values.evaluate(values[f"{side} electrode OCP [V]"](pybamm.Scalar(part)))
        return float(np.squeeze(told))

    return tuple(
        electrode_v("Positive", y_0 + (y_100 - y_0) * z) - electrode_v("Negative", x_0 + (x_100 - x_0) * z)
        for z in charges
    )
