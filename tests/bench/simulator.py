"""How fast a simulated aircraft flies, and what each part of a step costs.

    python tests/bench/simulator.py [--rounds N]

The flight: 10 kg on the frame, wind that turns and rises, gusts, take-off, 600 m out, return, landing. Prints
simulated seconds a second of (a) the full flight at 50 Hz with all telemetry encoded, (b) the same in silence,
(c) the fast flight at 10 Hz; then microseconds a step of each part of (a). The best of the rounds counts: other
work on the machine only ever slows a round down. Parts are timed in rounds of their own, without the clock's cost.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # run as a script from anywhere

from simulators.flown.flight import FastFlight, SimulatedFlight
from simulators.flown.setup import Setup, Weather
from simulators.onboard.autopilot import Autopilot
from simulators.onboard.modes import Mode
from simulators.physics.airframe import Load
from simulators.physics.craft import Craft
from simulators.physics.drive import Drive
from simulators.physics.packs import PackBank

SETUP = Setup(
    load=Load(10.0),
    weather=Weather(wind=((0.0, 4.0, 230.0), (120.0, 7.0, 260.0)), gusts_w20_m_s=8.0),
)
OUT_M, HEIGHT_M = 600.0, 40.0
LONGEST_S = 400.0
_CALIBRATION = 100_000


def whole_flight(flight: FastFlight, step: Callable[[], object]) -> int:
    """Fly there and back; return the number of steps."""
    pilot = flight.pilot
    steps = 0
    went = False
    while flight.time_s < LONGEST_S:
        step()
        steps += 1
        if steps == round(1.0 / flight.step_s):
            pilot.arm()
            pilot.take_off(HEIGHT_M)
        elif pilot.mode is Mode.POSITION_HOLD and pilot.armed:
            if not went:
                went = pilot.go_to((OUT_M, 0.0, HEIGHT_M))
            elif pilot.guide.distance(OUT_M, 0.0) < 3.0:
                pilot.enter(Mode.SAFE_RECOVERY, "order")
        elif went and not pilot.armed:
            return steps
    raise SystemExit("the flight has not come home")


def talking() -> tuple[FastFlight, Callable[[], object]]:
    """Return a full flight with telemetry, and its step."""
    flight = SimulatedFlight(SETUP)
    return flight, flight.fly


def silent() -> tuple[FastFlight, Callable[[], object]]:
    """Return a full flight without telemetry, and its step."""
    flight = FastFlight(SETUP, step_s=0.02)
    return flight, flight.step


def fast() -> tuple[FastFlight, Callable[[], object]]:
    """Return a fast flight, and its step."""
    flight = FastFlight(SETUP)
    return flight, flight.step


def best_rate(start: Callable[[], tuple[FastFlight, Callable[[], object]]], rounds: int) -> tuple[float, float]:
    """Return simulated seconds a second, and microseconds a step."""
    best_s = float("inf")
    steps, flown_s = 0, 0.0
    for _ in range(rounds):
        flight, step = start()
        begin_s = time.perf_counter()
        steps = whole_flight(flight, step)
        best_s = min(best_s, time.perf_counter() - begin_s)
        flown_s = flight.time_s
    return flown_s / best_s, best_s / steps * 1e6


class Timed:
    """Sums the time spent in one method of a class while it is in place."""

    def __init__(self, owner: type, name: str) -> None:
        self.owner, self.name = owner, name
        self.inner: Callable[..., Any] = getattr(owner, name)
        self.spent_s = 0.0
        self.calls = 0

    def __enter__(self) -> Self:
        inner, clock = self.inner, time.perf_counter

        def timed(*arguments: Any) -> Any:
            begin_s = clock()
            result = inner(*arguments)
            self.spent_s += clock() - begin_s
            self.calls += 1
            return result

        setattr(self.owner, self.name, timed)
        return self

    def __exit__(self, *_: object) -> None:
        setattr(self.owner, self.name, self.inner)


class _Nothing:
    def work(self) -> None:
        """Take no time."""


def clock_cost_s() -> tuple[float, float]:
    """Return what timing a call adds to its own time, and to that of its caller."""
    nothing = _Nothing()
    with Timed(_Nothing, "work") as empty:
        begin_s = time.perf_counter()
        for _ in range(_CALIBRATION):
            nothing.work()
        outer_s = time.perf_counter() - begin_s
    return empty.spent_s / _CALIBRATION, outer_s / _CALIBRATION


def parts() -> dict[str, float]:
    """Return microseconds a step of each part of a full flight."""
    flight, step = talking()
    own_s, outer_s = clock_cost_s()
    with (
        Timed(Drive, "run") as rotors,
        Timed(PackBank, "draw") as packs,
        Timed(Craft, "_air") as air,
        Timed(Craft, "step") as craft,
        Timed(Autopilot, "step") as pilot,
    ):
        begin_s = time.perf_counter()
        steps = whole_flight(flight, step)
        total_s = time.perf_counter() - begin_s
    inside = rotors, packs, air
    alone = {"rotors": rotors.spent_s, "packs": packs.spent_s, "air": air.spent_s}
    found = {name: spent_s - steps * own_s for name, spent_s in alone.items()}
    found["body and load"] = craft.spent_s - sum(part.spent_s for part in inside) - 3 * steps * (outer_s - own_s)
    found["control"] = pilot.spent_s - craft.spent_s - steps * outer_s
    found["telemetry"] = total_s - pilot.spent_s - steps * outer_s
    return {name: spent_s / steps * 1e6 for name, spent_s in found.items()}


def main() -> int:
    """Time the flights and the parts."""
    parser = argparse.ArgumentParser(description="Speed of the simulated aircraft.")
    parser.add_argument("--rounds", type=int, default=5, help="the best of so many counts (default: 5)")
    rounds = parser.parse_args().rounds
    for name, start in (("full, with telemetry", talking), ("full, silent", silent), ("fast", fast)):
        rate, step_us = best_rate(start, rounds)
        print(f"{name:22s} {rate:8,.0f} simulated s a second {step_us:8.1f} us a step")
    rows = [parts() for _ in range(rounds)]
    for name in rows[0]:
        print(f"  {name:20s} {min(row[name] for row in rows):8.1f} us a step")
    return 0


if __name__ == "__main__":
    sys.exit(main())
