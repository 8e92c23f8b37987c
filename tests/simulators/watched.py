"""The watch over a shipped scenario, through the whole engine, and what a crew would have heard.

`python -m tests.simulators.watched [NAME]...` prints a table of all scenarios (or those named): what was expected
and when it was called, and what else was said above an advisory.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.scenario import Scenario, find, list_scenarios
from simulators.scenario import load as load_scenario
from simulators.scenario_file import Expected
from simulators.scripted.flight import ScriptedFlight
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level
from watchkeeper.engine import Engine
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import load_packs


@dataclass
class Watched:
    """A scenario, and all that happened; times are the scenario's own, s."""

    name: str
    expect: Sequence[Expected] = ()
    happened: list[Happening] = field(default_factory=list)
    duration_s: float = 0.0

    @property
    def changes(self) -> list[AlertChange]:
        return [one for one in self.happened if isinstance(one, AlertChange)]

    def told(self, change: Change = Change.RAISED) -> list[tuple[float, AlertChange]]:
        """Return the changes of that kind with their times."""
        return [(one.elapsed_us / 1e6, one) for one in self.changes if one.change is change]

    def called_s(self, expected: Expected) -> float | None:
        """Return when an expected rule was first raised, from when its fault began."""
        times = (at_s for at_s, one in self.told() if one.rule == expected.rule and at_s >= expected.begins)
        return next(times, None)

    def urgent(self) -> list[tuple[float, AlertChange]]:
        """Return what was raised above an advisory, by the watch's other rules than those expected."""
        rules = {one.rule for one in self.expect}
        return [
            (at_s, one)
            for at_s, one in self.told()
            if one.level is not Level.ADVISORY and one.rule not in rules and not one.trial
        ]


def watch(name: str, seed: int = 1) -> Watched:
    """Fly a scenario to its end under the eyes of the watch."""
    scenario = load_scenario(find(name))
    assert scenario.aircraft is not None
    assert scenario.sortie is not None
    file = load_aircraft_file(scenario.aircraft.read_text("utf-8"), scenario.aircraft.name)
    sortie = load_sortie_file(scenario.sortie.read_text("utf-8"), scenario.sortie.name)
    packs = [(path.name, path.read_text("utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    engine = Engine(load_packs(packs, sortie.settings), [file], sortie)
    flight = _flight(scenario, seed)
    start_s = scenario.start.timestamp()
    found = Watched(name)
    found.happened += engine.tick(start_s)
    for sent in flight.frames():
        found.happened += engine.receive(f"drill-{sent.link}", sent.data, start_s + sent.time_s)
    found.duration_s = flight.flight.time_s if isinstance(flight, FlownDrill) else scenario.duration_s
    found.happened += engine.tick(start_s + found.duration_s)
    found.expect = flight.expect
    return found


def _flight(scenario: Scenario | FlownScenario, seed: int) -> ScriptedFlight | FlownDrill:
    return ScriptedFlight(scenario, seed) if isinstance(scenario, Scenario) else FlownDrill(scenario, seed)


def table(name: str) -> list[str]:
    """Return what a scenario showed, a line each."""
    one = watch(name)
    lines = []
    for expected in one.expect:
        at_s = one.called_s(expected)
        said = "NOT CALLED" if at_s is None else f"{at_s - expected.begins:.1f} s after"
        late = at_s is not None and at_s > expected.by
        within = f"within {expected.by - expected.begins:.0f}"
        lines.append(f"{name}: {expected.rule} {said} ({within}{', LATE' if late else ''})")
    lines += [f"{name}: also {change.level.value} {change.rule} at {at_s:.0f}" for at_s, change in one.urgent()]
    counted = sum(1 for _, change in one.told() if change.level is Level.ADVISORY)
    return [*lines, f"{name}: {counted} advisories in {one.duration_s:.0f} s"]


if __name__ == "__main__":
    for scenario_name in sys.argv[1:] or list_scenarios():
        print("\n".join(table(scenario_name)), flush=True)
