"""The shipped scenarios through the whole engine with the shipped rules: what must be called is, in time."""

from __future__ import annotations

import pytest

from simulators.scenario import Scenario, find, load_scripted
from simulators.scripted.flight import ScriptedFlight
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.alerts.events import AlertChange, Change, Level
from watchkeeper.engine import Engine
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import load_packs


def watched(scenario: Scenario, seed: int) -> list[AlertChange]:
    assert scenario.aircraft is not None
    assert scenario.sortie is not None
    aircraft = load_aircraft_file(scenario.aircraft.read_text("utf-8"), scenario.aircraft.name)
    sortie = load_sortie_file(scenario.sortie.read_text("utf-8"), scenario.sortie.name)
    packs = [(path.name, path.read_text("utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    engine = Engine(load_packs(packs, sortie.settings), [aircraft], sortie)
    start_s = scenario.start.timestamp()
    happened = engine.tick(start_s)
    for sent in ScriptedFlight(scenario, seed).frames():
        happened += engine.receive("drill", sent.data, start_s + sent.time_s)
    happened += engine.tick(start_s + scenario.duration_s)
    return [one for one in happened if isinstance(one, AlertChange)]


def times(changes: list[AlertChange], rule: str, change: Change) -> list[float]:
    return [one.elapsed_us / 1e6 for one in changes if one.rule == rule and one.change is change]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_each_fault_is_called_after_it_begins_and_by_its_deadline(seed: int) -> None:
    scenario = load_scripted(find("four-faults"))
    changes = watched(scenario, seed)
    for expected in scenario.expect:
        raised = times(changes, expected.rule, Change.RAISED)
        assert len(raised) == 1, expected.rule
        assert expected.begins < raised[0] <= expected.by, expected.rule


def test_each_fault_is_over_before_the_next_begins() -> None:
    scenario = load_scripted(find("four-faults"))
    changes = watched(scenario, 1)
    for earlier, later in zip(scenario.expect, scenario.expect[1:], strict=False):
        over = times(changes, earlier.rule, Change.CLEARED)
        assert over, earlier.rule
        assert over[0] < times(changes, later.rule, Change.RAISED)[0], earlier.rule


def test_the_late_return_ends_the_calls_to_return() -> None:
    changes = watched(load_scripted(find("four-faults")), 1)
    assert times(changes, "return-reserve", Change.CLEARED)
    raised = len(times(changes, "return-now", Change.RAISED))
    assert raised == len(times(changes, "return-now", Change.CLEARED)) == 1


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_calm_raises_nothing_above_advisory(seed: int) -> None:
    assert [c for c in watched(load_scripted(find("calm")), seed) if c.level is not Level.ADVISORY] == []
