"""One random flight: a scenario as a crew's day may bring it, with at most one fault.

The crew flies out and stays to work, on and on: when it goes home is what the watch, or a rule of thumb, decides.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from simulators.campaign.distributions import Distributions, FaultKeys, FlightKeys, even
from simulators.flown.scenario_file import FlownFile
from simulators.flown.truth import LIMIT_S
from simulators.onboard.gauge import MonitorErrors

SYSTEM: Final = 143
ARM_S: Final = 5.0
FIRST_FAULT_S: Final = ARM_S + 25.0
"""No fault begins before: some seconds after take-off."""
LAST_FAULT_S: Final = 1400.0
_M_PER_DEG: Final = 111_000.0
_YEAR: Final = datetime(2026, 1, 1, tzinfo=UTC)
_HOURS: Final = 365 * 24
_USABLE_WH: Final = 1600.0
"""About what two full packs give above the cell floor."""
_EMPTY_KG, _HOVER_KG, _HOVER_W = 18.0, 30.0, 3700.0
_FAR_LEAST_M_S: Final = 8.0
"""Who flies far flies no slower."""
_FAR_PART: Final = 0.55
"""The part of the packs' time that the way out and back of a far flight may take, by `lasts_s`."""
_AIR_M_S: Final = 16.0
_ALOFT: Final = 1.3
"""Airspeed that a loaded aircraft reaches, and wind at height by that at 10 m, about."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A flight, and the fault it has: what kind, and what was drawn for it.

    `old_file`: the crew's aircraft file is out of date. `settings_told`: a ground station asks for all parameters.
    """

    number: int
    seed: int
    file: FlownFile
    fault: str | None
    values: dict[str, float]
    old_file: bool = False
    settings_told: bool = False
    far: bool = False


def draw(distributions: Distributions, seed: int, number: int) -> Drawn:
    """Draw the flight of a number; the same for the same seed."""
    dice = random.Random(f"campaign {seed} {number}")
    flight = distributions.flight
    fault, values = _kind(distributions, dice)
    wind = even(dice, flight.wind_m_s)
    from_deg = dice.uniform(0.0, 359.0)
    bearing = dice.uniform(0.0, math.tau)
    height = even(dice, flight.height_m)
    load, line = even(dice, flight.load_kg), even(dice, flight.line_m)
    slung = dice.random() < flight.line_chance
    charge, less, cycles = even(dice, flight.charge_pct), even(dice, flight.unequal_pct), even(dice, flight.cycles)
    home = (even(dice, flight.latitude_deg), even(dice, flight.longitude_deg))
    start = _YEAR + timedelta(hours=dice.randrange(_HOURS))
    settings = _settings(flight, dice)
    alike = {"cell": dice.choice(flight.cells), "capacity_part": even(dice, flight.capacity_part)}
    packs_s = lasts_s(load, values.get("charge_pct", charge))
    distance, far = even(dice, flight.distance_m), dice.random() < flight.far_chance
    if far:
        for name in ("fly.speed_m_s", "return.speed_m_s"):
            settings[name] = max(settings[name], _FAR_LEAST_M_S)
        distance = max(distance, min(even(dice, flight.far_m), _farthest_m(settings, wind, packs_s)))
    written: dict[str, Any] = {
        "scenario": f"drawn-{number}",
        "about": "Drawn for a campaign.",
        "start": start.isoformat(),
        "duration_s": LIMIT_S,
        "system": SYSTEM,
        "home": home,
        "altitude_m": even(dice, flight.altitude_m),
        "heading_deg": dice.uniform(0.0, 359.0),
        "weather": {
            "wind": [(0.0, wind, from_deg)],
            "gusts_m_s": wind * even(dice, flight.gust_share),
            "temperature_degc": even(dice, flight.temperature_degc),
        },
        "load": {"mass_kg": load, "line_m": line if slung else 0.0, "drag_m2": 0.02 * load},
        "packs": [
            {"charge_pct": charge, "cycles": cycles, **alike},
            {"charge_pct": charge - less, "cycles": cycles * dice.uniform(0.8, 1.0), **alike},
        ],
        "sky": {},
        "links": [{"kind": "radio"}],
        # its own actions only report: what the crew does is what is judged
        "parameters": {**settings, "low1.action": 0.0, "low2.action": 0.0, "low3.action": 0.0},
        "crew": [
            {"when": {"at_s": ARM_S}, "do": {"arm": True}},
            {"when": {"at_s": ARM_S + 4}, "do": {"start_plan": True}},
        ],
        "plan": [_place(home, distance * part, bearing + turn, height, stay_s) for part, turn, stay_s in _WORK],
    }
    if dice.random() < flight.hill_chance:
        away = 0.5 * distance
        side = bearing + dice.choice((-0.35, 0.35))
        at = (away * math.cos(side), away * math.sin(side))
        # lower than any way over it: no return below it is meant
        top_m = 0.6 * min(height, settings["return.height_m"])
        written["ground"] = {"hills": [{"at": at, "height_m": top_m, "radius_m": min(400.0, 0.15 * distance)}]}
    if fault is not None:
        if "part" in values:
            values["at_s"] = max(FIRST_FAULT_S, min(values["part"] * packs_s, LAST_FAULT_S))
        _put(fault, values, dice.random(), written)
    old_file, told = dice.random() < flight.old_file_chance, dice.random() < flight.settings_told_chance
    kind = None if fault is None else fault.kind
    file = FlownFile.model_validate(written)
    return Drawn(number, dice.randrange(2**31), file, kind, values, old_file, told, far)


_WORK: Final = ((1.0, 0.0, 120.0), (1.0, 0.12, 120.0), (0.9, 0.0, 240.0), (1.0, 0.05, 3600.0))
"""Parts of the distance, turns from the bearing in rad, and stays in s of the places where the crew works."""


def _settings(flight: FlightKeys, dice: random.Random) -> dict[str, float]:
    """Draw how the aircraft is set to fly, as somebody would set it: in tenths, and landings in hundredths."""
    pairs = {
        "fly.speed_m_s": flight.speed_m_s, "fly.climb_m_s": flight.climb_m_s, "fly.sink_m_s": flight.sink_m_s,
        "return.height_m": flight.return_height_m, "return.speed_m_s": flight.return_speed_m_s,
        "return.hold_s": flight.return_hold_s, "return.hold_m": flight.return_hold_m,
    }  # fmt: skip
    found = {name: round(even(dice, pair), 1) for name, pair in pairs.items()}
    found["land.slow_m_s"] = round(even(dice, flight.landing_m_s), 2)
    if dice.random() < flight.odd_order_chance:
        found["return.order"] = float(dice.choice(flight.odd_orders))
    return found


def lasts_s(load_kg: float, charge_pct: float) -> float:
    """Return about how long the packs last, s: hover power goes with mass to the power of 1.5."""
    power_w: float = _HOVER_W * ((_EMPTY_KG + load_kg) / _HOVER_KG) ** 1.5
    return 3600.0 * _USABLE_WH * charge_pct / 100.0 / power_w


def _farthest_m(settings: dict[str, float], wind_m_s: float, packs_s: float) -> float:
    """Return how far away it may work and come back against the wind with a good part of the packs left."""
    against_m_s = max(3.0, min(settings["return.speed_m_s"], _AIR_M_S - _ALOFT * wind_m_s))
    return _FAR_PART * packs_s / (1.0 / settings["fly.speed_m_s"] + 1.0 / against_m_s)


def _place(
    home: tuple[float, float], distance_m: float, bearing: float, height_m: float, stay_s: float
) -> dict[str, Any]:
    north, east = distance_m * math.cos(bearing), distance_m * math.sin(bearing)
    at = (home[0] + north / _M_PER_DEG, home[1] + east / _M_PER_DEG / math.cos(math.radians(home[0])))
    return {"at": at, "height_m": height_m, "stay_s": stay_s}


def _kind(distributions: Distributions, dice: random.Random) -> tuple[FaultKeys | None, dict[str, float]]:
    """Draw a kind of fault, or none, and its values."""
    if dice.random() < distributions.no_fault or not distributions.faults:
        return None, {}
    weights = [one.weight for one in distributions.faults]
    chosen = dice.choices(distributions.faults, weights)[0]
    return chosen, {name: even(dice, pair) for name, pair in chosen.by.items()}


def _put(chosen: FaultKeys, values: dict[str, float], which: float, written: dict[str, Any]) -> None:
    """Put a fault into the scenario; `which`, 0 to 1, picks pack, rotor, cell or direction."""
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
