"""Discharges of progpy's BatteryCircuit, written beside this script as JSON.

    pip install progpy==1.9.0      (into an environment of its own)
    python tests/authorities/progpy_battery.py

progpy (NASA Open Source Agreement) brings a machine-learning stack with it, so that the tests read its numbers and
do not install it. Its model is Daigle and Sankararaman's (2013) of a small round cell of 2.18 Ah. A constant and
a changing load to the end at 3.0 V, without noise: time (s), voltage (V), current (A) and charge, which is what
is left in the capacitor over what that can hold.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import json
from pathlib import Path
from typing import Any

EVERY_S = 10
TURN_S = 240


def hover_a(time_s: float) -> float:
    """Return a hover with climbs and pauses after a minute at rest; much more this cell cannot hold."""
    if time_s < 60:
        return 0.05
    turn_s = (time_s - 60) % TURN_S
    return 4.0 if turn_s < 40 else 1.5 if turn_s >= 200 else 2.5


def main() -> None:
    """Fly the loads and write them."""
    model: Any = importlib.import_module("progpy.models").BatteryCircuit()
    model.parameters["process_noise"] = 0
    model.parameters["measurement_noise"] = 0
    made: dict[str, Any] = {
        "made_by": "tests/authorities/progpy_battery.py",
        "progpy": importlib.metadata.version("progpy"),
        "capacity_c": model.parameters["qMax"],
        "end_v": model.parameters["VEOD"],
    }
    for name, load_a in (("steady", lambda _: 2.0), ("hover", hover_a)):

        def load(time_s: float, _: Any = None, of: Any = load_a) -> Any:
            return model.InputContainer({"i": of(time_s)})

        flown = model.simulate_to_threshold(load, save_freq=EVERY_S, dt=0.5, horizon=20_000)
        made[name] = [
            [
                round(float(t), 1),
                round(float(out["v"]), 5),
                round(float(given["i"]), 3),
                round(1 - (model.parameters["qMax"] - float(state["qb"])) / model.parameters["CMax"], 5),
            ]
            for t, out, given, state in zip(flown.times, flown.outputs, flown.inputs, flown.states, strict=True)
        ]
    text = (
        json.dumps(made)
        .replace("], [", "],\n [")
        .replace('"steady"', '\n"steady"')
        .replace('"hover"', '\n"hover"')
    )
    Path(__file__).with_suffix(".json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
