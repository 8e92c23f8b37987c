"""Scenario files: what is shipped, and what a bad one is told."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from simulators.flown.scenario import FlownScenario
from simulators.scenario import Scenario, find, list_scenarios, load, load_scripted
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.errors import BadInputError

GOOD = """\
scenario: small
about: stands on the ground
start: "2026-05-12T12:00:00Z"
duration_s: 100
system: 143
home: [1.25, -31.5]
bearing_deg: 10
battery: {charge_pct: 90}
values:
  height_m: [[0, 0], [20, 5], [40, 0]]
  distance_m: [[0, 0]]
  power_kw: [[0, 0.05]]
  armed: [[0, false]]
  mode: [[0, position_hold]]
  landed: [[0, ground]]
expect:
  - {rule: link-trend, fault: it fades, begins: 10, by: 50}
"""


def faults(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "bad.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as raised:
        load(path)
    return [str(fault).removeprefix(f"{path}:") for fault in raised.value.faults]


def test_the_good_one_loads(tmp_path: Path) -> None:
    path = tmp_path / "good.yaml"
    path.write_text(GOOD.replace("12:00:00Z", "12:00:00"), encoding="utf-8")
    scenario = load_scripted(path)
    assert scenario.start == datetime(2026, 5, 12, 12, tzinfo=UTC)  # without a zone it is UTC
    assert scenario.numbers["height_m"].at(10) == 2.5
    assert scenario.words["mode"].at(50) == "position_hold"
    assert scenario.aircraft is None
    assert [(e.rule, e.begins, e.by) for e in scenario.expect] == [("link-trend", 10, 50)]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("bearing_deg: 10", "bearing: 10", "7:1: unknown key 'bearing'; did you mean 'bearing_deg'?"),
        ("  power_kw", "  power_w", "12:3: unknown key 'power_w'; did you mean 'power_kw'?"),
        ("charge_pct: 90", "charge_pct: 90, cell: 6", "8:27: unknown key 'cell'; did you mean 'cells'?"),
        ("by: 50}", "by: 50, zzz: 1}", "17:61: unknown key 'zzz'; take it out"),
        ("duration_s: 100\n", "", "1:1: 'duration_s' is missing; add 'duration_s: …'"),
        ("charge_pct: 90", "cells: 6", "8:10: 'charge_pct' is missing; add 'charge_pct: …'"),
        ("charge_pct: 90", "charge_pct: full", "8:23: charge_pct: has to be a valid number; correct it"),
        ("charge_pct: 90", "charge_pct: true", "8:23: charge_pct: has to be a valid number; correct it"),
        (
            "system: 143",
            "system: 251",
            "5:9: system: has to be less than or equal to 250; correct it",
        ),
        (
            "[20, 5]",
            "[20, high]",
            "10:27: height_m: has to be a valid number; correct it",
        ),
        ("[40, 0]", "[20, 0]", "10:32: height_m: time 20 is not after 20; put the times in order"),
        ("by: 50", "by: 10", "17:57: 'by' is not after 'begins'; give the alert some time"),
        ("by: 50", "by: 101", "17:57: 'by' is after the end at 100 s; end the scenario later"),
        (
            "position_hold",
            "hover",
            "14:14: mode: has to be 'position_hold', 'altitude_hold', 'mission', ",
        ),
        (
            "expect:",
            "aircraft: none.yaml\nexpect:",
            "16:11: no aircraft file 'none.yaml'; name it from the scenario",
        ),
    ],
)
def test_a_fault_is_told_with_its_place(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in GOOD
    told = faults(tmp_path, GOOD.replace(old, new, 1))
    assert any(fault.startswith(says) for fault in told), told


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    bad = (
        GOOD.replace("system: 143", "system: 0").replace("[1.25, -31.5]", "[91, 0]").replace("[[0, ground]]", "[]")
    )
    assert [fault.split(":")[0] for fault in faults(tmp_path, bad)] == ["5", "6", "15"]


def test_hostile_texts_are_refused(tmp_path: Path) -> None:
    assert "aliases" in faults(tmp_path, "a: &a [1]\nb: *a\n")[0]
    assert faults(tmp_path, "- 1\n")[0].startswith("1:1: is not a list of keys")
    assert "valid number" in faults(tmp_path, GOOD.replace("[20, 5]", "[20, .inf]"))[0]
    assert "finite" in faults(tmp_path, GOOD.replace("[20, 5]", "[20, 1e999]"))[0]
    path = tmp_path / "bytes.yaml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadInputError, match="cannot read"):
        load(path)


def test_a_wrong_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(BadInputError, match="did you mean 'four-faults'"):
        find("fourfaults")


@pytest.mark.parametrize("name", list_scenarios())
def test_shipped_scenarios_fit_their_crew_files(name: str) -> None:
    scenario = load(find(name))
    assert scenario.name == name
    assert scenario.aircraft is not None
    aircraft = load_aircraft_file(scenario.aircraft.read_text("utf-8"), scenario.aircraft.name)
    packs = aircraft.packs
    if isinstance(scenario, Scenario):
        assert aircraft.system == scenario.system
        assert (packs.cells, packs.capacity_ah) == (scenario.battery.cells, scenario.battery.capacity_ah)
        assert packs.count == len(scenario.battery.resistances_mohm)
        home = scenario.home
    else:
        assert aircraft.system == scenario.written.system
        model = scenario.written.setup().packs[0].model
        assert (packs.cells, packs.capacity_ah) == (model.cells_in_series, model.cell.capacity_ah)
        assert packs.count == len(scenario.written.packs)
        home = scenario.written.home
    if scenario.sortie is not None:
        sortie = load_sortie_file(scenario.sortie.read_text("utf-8"), scenario.sortie.name)
        assert sortie.aircraft == scenario.aircraft.name
        assert sortie.home == home
    else:
        assert isinstance(scenario, FlownScenario)


def test_the_shipped_ones_expect_what_they_must() -> None:
    assert {"calm", "four-faults"} <= set(list_scenarios())
    assert load_scripted(find("calm")).expect == ()
    rules = [expected.rule for expected in load_scripted(find("four-faults")).expect]
    assert rules == ["satellite-loss", "link-trend", "voltage-sag", "return-reserve"]
