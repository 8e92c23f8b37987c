"""Energy foretold from a learned power against energy really used: a small quadrotor, five flights, 2 Hz.

Up to a moment the engine learns what flying costs. From then on, over the next 30 s and the rest of the flight,
the energy is worked out with what it then knew, from the airspeeds and climbs that were really flown, and compared
with what its battery gave. `python -m tests.estimate.energy_of_five_flights` prints a table.

The aircraft is unknown: three cells; its gauge falls from 99 to 20 % while its current, summed over time, comes to
2136 mAh, so its own idea of its capacity is 2.7 Ah. Mass and rotors are in no file.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import NamedTuple

from tests.conftest import ROOT
from tests.recordings import records, shipped
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.engine import Engine
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returning import ReturnHome

NAME = "flights/quad-3s-five-flights.tlog"
FILE = "packs: {cells: 3, capacity: 2.7 Ah}"
SYSTEM = 1
EVERY_S = 10.0
AHEAD_S = 30.0
LEAST_REST_S = 20.0
FLYING_W = 60.0
"""Under this its motors idle on the ground (measured: 12 to 17 W armed, 110 W and more in the air)."""
ARMED_S = ((462.0, 574.7), (591.8, 734.7), (793.4, 856.9), (923.2, 952.2), (966.3, 1037.7))
"""By its heartbeats, without two that never left the ground."""


class Sample(NamedTuple):
    """A moment: s, W, m/s, m/s up, and the model as it then was (None: nothing learned)."""

    at_s: float
    power_w: float
    airspeed_m_s: float
    climb_m_s: float
    model: PowerModel | None


class Stretch(NamedTuple):
    """One comparison: flight (from 1), from when and how long in s, and energies in Wh."""

    flight: int
    from_s: float
    time_s: float
    rest: bool
    foretold_wh: float
    used_wh: float

    @property
    def error(self) -> float:
        """By what part of it the energy used was foretold too high."""
        return self.foretold_wh / self.used_wh - 1.0


def samples(path: Path) -> list[Sample]:
    """Return what the engine heard and knew whenever a new power came."""
    engine = Engine(shipped(), [load_aircraft_file(FILE, "a.yaml")])
    found: list[Sample] = []
    first_us = 0
    for time_us, raw in records(path):
        first_us = first_us or time_us
        engine.receive("recording", raw, time_us / 1e6)
        if SYSTEM not in engine.systems():
            continue
        at_s = (time_us - first_us) / 1e6
        if found and at_s - found[-1].at_s < 0.45:
            continue
        readings = engine.readings(SYSTEM)
        power_w = readings["battery.power"]
        if not isinstance(power_w, float):
            continue
        home = _home(engine)
        air = home._wind.airspeed_m_s()
        speed = readings["position.ground_speed"]
        climb = readings["position.climb_rate"]
        airspeed_m_s = air[0] if air is not None else speed if isinstance(speed, float) else 0.0
        model = home.model if home.power.known else None
        found.append(Sample(at_s, power_w, airspeed_m_s, climb if isinstance(climb, float) else 0.0, model))
    return found


def _home(engine: Engine) -> ReturnHome:
    return engine._watched[SYSTEM].suite._home


def stretches(found: list[Sample]) -> list[Stretch]:
    """Return all comparisons."""
    made: list[Stretch] = []
    for flight, (begin_s, end_s) in enumerate(ARMED_S, 1):
        flown = [one for one in found if begin_s <= one.at_s <= end_s and one.power_w > FLYING_W]
        next_s = flown[0].at_s + EVERY_S
        for i, now in enumerate(flown):
            if now.at_s < next_s or now.model is None:
                continue
            next_s = now.at_s + EVERY_S
            rest = flown[i:]
            left_s = rest[-1].at_s - now.at_s
            if left_s >= AHEAD_S:
                made.append(_compared(flight, now.model, rest, AHEAD_S, rest=False))
            if left_s >= LEAST_REST_S:
                made.append(_compared(flight, now.model, rest, left_s, rest=True))
    return made


def _compared(flight: int, model: PowerModel, flown: list[Sample], time_s: float, *, rest: bool) -> Stretch:
    foretold_j = used_j = span_s = 0.0
    from_s = flown[0].at_s
    for one, then in itertools.pairwise(flown):
        if then.at_s - from_s > time_s + 0.3:
            break
        step_s = min(2.0, then.at_s - one.at_s)
        foretold_j += model.power_w(one.airspeed_m_s, one.climb_m_s) * step_s
        used_j += one.power_w * step_s
        span_s += step_s
    return Stretch(flight, from_s, span_s, rest, foretold_j / 3600.0, used_j / 3600.0)


def summary(made: Sequence[Stretch]) -> dict[bool, tuple[int, float, float, float]]:
    """Return, for the next 30 s (False) and the rest (True): how many, mean, median and worst of the error."""
    found: dict[bool, tuple[int, float, float, float]] = {}
    for rest in (False, True):
        errors = [one.error for one in made if one.rest is rest]
        size = [abs(error) for error in errors]
        found[rest] = len(errors), sum(errors) / len(errors), median(size), max(size)
    return found


def main() -> None:
    """Print a table."""
    folder = Path(os.environ.get("WATCHKEEPER_DATA", ROOT.parent / "shared" / "data"))
    made = stretches(samples(folder / NAME))
    print("flight  from s  for s         foretold Wh  used Wh  error %")
    for one in made:
        what = "rest" if one.rest else "next"
        print(
            f"{one.flight:6}  {one.from_s:6.0f}  {one.time_s:5.0f}  {what}"
            f"  {one.foretold_wh:11.2f}  {one.used_wh:7.2f}  {100 * one.error:7.1f}"
        )
    for rest, (count, mean, middle, worst) in summary(made).items():
        what = "rest of the flight" if rest else "next 30 s"
        shares = f"mean {100 * mean:.1f} %, median {100 * middle:.1f} %, worst {100 * worst:.1f} %"
        print(f"{what}: {count} stretches, {shares}")


if __name__ == "__main__":
    main()
