"""Pictures of drills at a moment, flown at full speed: for tests, and for whoever draws pictures.

`python -m tests.picture.pictures four-faults 200 > picture.json` writes a list of one picture.
"""

from __future__ import annotations

import json
import sys
from functools import cache

from simulators.flown.scenario import FlownDrill
from simulators.scenario import Scenario, find, load
from simulators.scripted.flight import ScriptedFlight
from watchkeeper.alerts.events import RoutineCall
from watchkeeper.cli.drill_flight import source_of, start_us
from watchkeeper.cli.inputs import load_crew_files, load_rules
from watchkeeper.engine import Engine
from watchkeeper.picture.live import Painter
from watchkeeper.picture.models import StationPicture

STATION = "drill-meadow"
STEP_US = 250_000


class Watching:
    """A drill under way: its engine and its painter, and how far it has come."""

    def __init__(self, scenario: str, seed: int = 1) -> None:
        found = load(find(scenario))
        files, sortie = load_crew_files([found.aircraft] if found.aircraft else [], found.sortie)
        rules = load_rules([], sortie=sortie, sortie_path=found.sortie)
        self.engine = Engine(rules, files, sortie)
        self.begin_us = self.now_us = start_us(found)
        self.painter = Painter(self.engine, station=STATION, exercise=True, sortie=sortie)
        flight = ScriptedFlight(found, seed) if isinstance(found, Scenario) else FlownDrill(found, seed)
        self._frames = flight.frames()
        self.painter.take(self.engine.tick(self.now_us / 1e6))
        self.painter.take([RoutineCall(self.now_us, 0, None, "exercise", "Exercise, exercise, exercise.")])
        self._waiting = next(self._frames, None)

    def fly(self, seconds: float) -> StationPicture:
        """Fly on to `seconds` after the start and return the picture then."""
        until_us = self.begin_us + round(seconds * 1e6)
        while self._waiting is not None:
            at_us = max(self.begin_us + round(self._waiting.time_s * 1e6), self.now_us)
            if at_us > until_us:
                break
            self._tick(at_us)
            sent = self._waiting
            self.painter.take(self.engine.receive(source_of(sent.link), sent.data, at_us / 1e6))
            self.now_us = at_us
            self._waiting = next(self._frames, None)
        self._tick(until_us)
        self.now_us = until_us
        return self.painter.picture(until_us, {"pilot": True, "observer": None, "post": None})

    def _tick(self, until_us: int) -> None:
        """Let time pass up to a time, a sample a second."""
        now_us = self.now_us
        while now_us < until_us:
            now_us = min(until_us, now_us + STEP_US)
            self.painter.take(self.engine.tick(now_us / 1e6))
            self.painter.sample(now_us)


@cache
def at(scenario: str, seconds: float, seed: int = 1) -> StationPicture:
    """Return the picture of a drill so many seconds after its start."""
    return Watching(scenario, seed).fly(seconds)


def main(given: list[str]) -> None:
    """Write the picture of a scenario at a time as JSON: a list of one, as a page gets it."""
    scenario, seconds = given[0], float(given[1])
    print(json.dumps([at(scenario, seconds).model_dump(mode="json")], indent=1, allow_nan=False))


if __name__ == "__main__":
    main(sys.argv[1:])
