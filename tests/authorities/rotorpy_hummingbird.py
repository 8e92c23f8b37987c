"""Steady flight of rotorpy's Hummingbird quadrotor, written beside this script as JSON.

    pip install rotorpy==3.0.0      (into an environment of its own)
    python tests/authorities/rotorpy_hummingbird.py

rotorpy (Folk, Paulos, Kumar, 2023; MIT licence) brings a plotting library, an optimiser and a learning framework
with it, so that the tests read its numbers and do not install it. For each speed over ground and climb the tilt
and the rotors' speed are sought at which its `Multirotor.statedot` gives no acceleration. It has no power itself:
here that is the torque of its rotors times their speed.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

PARAMETERS = ("mass", "num_rotors", "rotor_radius", "k_eta", "k_m", "k_d", "k_z", "k_h", "c_Dx", "c_Dz")
FLOWN = ((0, 0), (1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (8, 0), (0, 1), (0, 2), (0, -1))


def main() -> None:
    """Find the steady flights and write them."""
    solve: Any = importlib.import_module("scipy.optimize").fsolve
    vehicle: Any = importlib.import_module("rotorpy.vehicles.multirotor")
    given: dict[str, Any] = importlib.import_module("rotorpy.vehicles.hummingbird_params").quad_params
    aircraft = vehicle.Multirotor(given)

    def acceleration(tilt: float, speed: float, forward: float, climb: float) -> Any:
        state = {
            "x": np.zeros(3),
            "v": np.array([forward, 0.0, climb]),
            "q": np.array([0.0, math.sin(tilt / 2), 0.0, math.cos(tilt / 2)]),
            "w": np.zeros(3),
            "wind": np.zeros(3),
            "rotor_speeds": np.full(4, speed),
        }
        return aircraft.statedot(state, {"cmd_motor_speeds": np.full(4, speed)}, 0.01)["vdot"][[0, 2]]

    rows = []
    for forward, climb in FLOWN:
        found = solve(lambda x, v=forward, c=climb: acceleration(x[0], x[1], v, c), [0.1, 470.0])
        tilt, speed = float(found[0]), float(found[1])
        rows.append(
            {
                "forward_m_s": forward,
                "climb_m_s": climb,
                "tilt_deg": round(math.degrees(tilt), 4),
                "speed_rad_s": round(speed, 4),
                "power_w": round(4 * given["k_m"] * speed**3, 4),
            }
        )
    made = {
        "made_by": "tests/authorities/rotorpy_hummingbird.py",
        "rotorpy": importlib.metadata.version("rotorpy"),
        "gravity_m_s2": aircraft.g,
        "parameters": {name: given[name] for name in PARAMETERS},
        "steady": rows,
    }
    Path(__file__).with_suffix(".json").write_text(json.dumps(made, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
