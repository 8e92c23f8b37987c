"""One random flight: a scenario as a crew's day may bring it, with at most one fault.

The crew flies out and stays to work, on and on: when it goes home is what the watch, or a rule of thumb, decides.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Any, Final

from simulators.campaign.distributions import Distributions, even
from simulators.flown.scenario_file import FlownFile
from simulators.flown.truth import LIMIT_S
from simulators.onboard.gauge import MonitorErrors

SYSTEM: Final = 143
HOME: Final = (1.25, -31.5)
ARM_S: Final = 5.0
_M_PER_DEG: Final = 111_000.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """A flight, and the fault it has: what kind, and what was drawn for it."""

    number: int
    seed: int
    file: FlownFile
    fault: str | None
    values: dict[str, float]


def draw(distributions: Distributions, seed: int, number: int) -> Drawn:
    """Draw the flight of a number; the same for the same seed."""
    dice = random.Random(f"campaign {seed} {number}")
    flight = distributions.flight
    wind = even(dice, flight.wind_m_s)
    from_deg = dice.uniform(0.0, 359.0)
    bearing = dice.uniform(0.0, math.tau)
    distance, height = even(dice, flight.distance_m), even(dice, flight.height_m)
    load, line = even(dice, flight.load_kg), even(dice, flight.line_m)
    slung = dice.random() < flight.line_chance
    charge, less, cycles = even(dice, flight.charge_pct), even(dice, flight.unequal_pct), even(dice, flight.cycles)
    written: dict[str, Any] = {
        "scenario": f"drawn-{number}",
        "about": "Drawn for a campaign.",
        "start": "2026-05-12T08:00:00Z",
        "duration_s": LIMIT_S,
        "system": SYSTEM,
        "home": HOME,
        "altitude_m": even(dice, flight.altitude_m),
        "heading_deg": dice.uniform(0.0, 359.0),
        "weather": {
            "wind": [(0.0, wind, from_deg)],
            "gusts_m_s": wind * even(dice, flight.gust_share),
            "temperature_degc": even(dice, flight.temperature_degc),
        },
        "load": {"mass_kg": load, "line_m": line if slung else 0.0, "drag_m2": 0.02 * load},
        "packs": [
            {"charge_pct": charge, "cycles": cycles},
            {"charge_pct": charge - less, "cycles": cycles * dice.uniform(0.8, 1.0)},
        ],
        "sky": {},
        "links": [{"kind": "radio"}],
        # its own actions only report: what the crew does is what is judged
        "parameters": {
            "fly.speed_m_s": even(dice, flight.speed_m_s), "return.height_m": max(40.0, round(height)),
            "low1.action": 0.0, "low2.action": 0.0, "low3.action": 0.0,
        },
        "crew": [
            {"when": {"at_s": ARM_S}, "do": {"arm": True}},
            {"when": {"at_s": ARM_S + 4}, "do": {"start_plan": True}},
        ],
        "plan": [_place(distance * part, bearing + turn, height, stay_s) for part, turn, stay_s in _WORK],
    }  # fmt: skip
    if dice.random() < flight.hill_chance:
        away = 0.5 * distance
        side = bearing + dice.choice((-0.35, 0.35))
        at = (away * math.cos(side), away * math.sin(side))
        written["ground"] = {"hills": [{"at": at, "height_m": 0.6 * height, "radius_m": 0.15 * distance}]}
    fault, values = _fault(distributions, dice, written)
    return Drawn(number, dice.randrange(2**31), FlownFile.model_validate(written), fault, values)


_WORK: Final = ((1.0, 0.0, 120.0), (1.0, 0.12, 120.0), (0.9, 0.0, 240.0), (1.0, 0.05, 3600.0))
"""Parts of the distance, turns from the bearing in rad, and stays in s of the places where the crew works."""


def _place(distance_m: float, bearing: float, height_m: float, stay_s: float) -> dict[str, Any]:
    north, east = distance_m * math.cos(bearing), distance_m * math.sin(bearing)
    at = (HOME[0] + north / _M_PER_DEG, HOME[1] + east / _M_PER_DEG / math.cos(math.radians(HOME[0])))
    return {"at": at, "height_m": height_m, "stay_s": stay_s}


def _fault(
    distributions: Distributions, dice: random.Random, written: dict[str, Any]
) -> tuple[str | None, dict[str, float]]:
    """Draw a fault into the scenario."""
    without, which = dice.random() < distributions.no_fault, dice.random()
    if without or not distributions.faults:
        return None, {}
    weights = [one.weight for one in distributions.faults]
    chosen = dice.choices(distributions.faults, weights)[0]
    values = {name: even(dice, pair) for name, pair in chosen.by.items()}
    do: dict[str, Any] = {}
    match chosen.kind:
        case "gauge lies":
            for i, pack in enumerate(written["packs"]):
                # whoever starts a gauge wrong also has to name its scale: drawn as every other flight's is
                scale = MonitorErrors.draw(f"{written['scenario']} {which} {i}").scale
                pack |= {"charge_pct": values["charge_pct"], "gauge_pct": 100.0, "current_scale": scale}
        case "weak cell":
            written["packs"][0] |= {"weak_cell": 1 + int(12 * which), "weak_mohm": values["mohm"]}
        case "pack opens":
            do = {"open_pack": 1 + int(2 * which)}
        case "motor weakens":
            do = {"weaken": {"rotor": 1 + int(6 * which), "health": values["health"]}}
        case "wind rises":
            speed, after = values["speed_m_s"], values["after_s"]
            do = {"wind": {"speed_m_s": speed, "from_deg": 359.0 * which, "after_s": after}}
        case "antenna comes loose":
            do = {"antenna_loss_db": values["loss_db"]}
        case "satellites jammed":
            do = {"jam_db": values["db"]}
        case "position pulled":
            way = math.tau * which
            speed = values["speed_m_s"]
            do = {"pull": {"north_m_s": speed * math.cos(way), "east_m_s": speed * math.sin(way)}}
        case "motors stop":
            do = {"stop_motors": True}
        case "restart":
            do = {"restart": True}
    if do:
        written["faults"] = [{"fault": chosen.kind, "when": {"at_s": values["at_s"]}, "do": do}]
    return chosen.kind, values
