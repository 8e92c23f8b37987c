"""Flown scenarios for tests, of keys as a file has them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.flown.scenario_file import FlownFile
from simulators.onboard.modes import Landed

EXACT = [{"charge_pct": 90, "gauge_pct": 90, "current_scale": 1.0}, {"charge_pct": 90, "gauge_pct": 90}]
UP = [
    {"when": {"at_s": 1}, "do": {"arm": True}},
    {"when": {"at_s": 2}, "do": {"take_off_m": 20}},
]
"""A crew that takes off."""


def scenario(**keys: Any) -> FlownScenario:
    """Return a scenario in still air unless its keys say otherwise."""
    usual = {
        "scenario": "test", "about": "a test", "start": "2026-05-12T12:00:00Z", "duration_s": 600, "system": 143,
        "home": [1.25, -31.5], "weather": {"wind": [[0, 0, 0]]}, "packs": EXACT,
    }  # fmt: skip
    return FlownScenario(FlownFile.model_validate({**usual, **keys}), None, None)


def drill(seed: int = 1, **keys: Any) -> FlownDrill:
    """Return the flight of such a scenario."""
    return FlownDrill(scenario(**keys), seed)


def hovering(seed: int = 1, **keys: Any) -> FlownDrill:
    """Return a flight that its crew has taken up, 40 s after the start."""
    one = drill(seed, crew=UP, **keys)
    fly(one, 40.0)
    assert one.flight.pilot.landed is Landed.AIR
    return one


def fly(one: FlownDrill, seconds: float) -> list[tuple[int, bytes]]:
    """Fly on and return what is heard: the number of the link, and a frame."""
    heard: list[tuple[int, bytes]] = []
    for _ in range(round(seconds / one.flight.step_s)):
        heard += one.step()
    return heard


def until(one: FlownDrill, holds: Callable[[], bool], within_s: float) -> float:
    """Fly on until something holds and return how long it took, s."""
    begin_s = one.flight.time_s
    while not holds():
        one.step()
        assert one.flight.time_s - begin_s <= within_s, "it takes too long"
    return one.flight.time_s - begin_s


def mean_power_w(one: FlownDrill, seconds: float) -> float:
    """Fly on and return the mean power that the packs gave."""
    total = 0.0
    count = round(seconds / one.flight.step_s)
    for _ in range(count):
        one.step()
        total += one.flight.bank.power_w
    return total / count
