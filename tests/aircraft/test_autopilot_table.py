"""The shipped table of autopilots, and faults in one: each is found, with its place."""

from __future__ import annotations

import tomllib

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.conftest import ROOT
from watchkeeper.aircraft.autopilots import FILE, load_tables, tables
from watchkeeper.aircraft.vocabulary import VOCABULARY
from watchkeeper.errors import BadInputError

GENERIC = dialect.MAV_AUTOPILOT_GENERIC
TABLE = """\
autopilots:
  - autopilot: MAV_AUTOPILOT_GENERIC
    vehicles: [MAV_TYPE_QUADROTOR]
    known_by: [HOME_H]
    lifetimes:
      HOME_V: {from: "1.2", below: "2.0"}
    settings:
      return_height_m:
        - - {name: HOME_H, unit: cm, means: {0: present}}
      return_speed_m_s:
        - - {name: HOME_V, unit: m/s, scale: 0.1, means: {0: next}}
          - {name: PLAN_V, unit: m/s}
      return_order:
        - - {name: HOME_O, digits: {1: climb, 2: cruise, 3: land}}
      fence_action:
        - - {name: FENCE, least: 0, most: 255, bit: 4, set: report, clear: next}
          - {name: FENCE_A, means: {0: nothing, 1: {is: land, note: slowly}}}
    stages:
      - stage: "{of} low"
        each: {A: 0, B: 1}
        unit: V
        quantity:
          - - {value: voltage}
        threshold:
          - - {name: "{of}_LOW", unit: mV}
"""


def test_the_shipped_table_holds_three_autopilots() -> None:
    shipped = tables()
    assert shipped.keys() == {
        dialect.MAV_AUTOPILOT_GENERIC,
        dialect.MAV_AUTOPILOT_ARDUPILOTMEGA,
        dialect.MAV_AUTOPILOT_PX4,
    }
    assert shipped[GENERIC].settings.keys() == VOCABULARY.keys()
    for table in shipped.values():
        assert dialect.MAV_TYPE_QUADROTOR in table.vehicles
        assert dialect.MAV_TYPE_FIXED_WING not in table.vehicles


def test_the_table_lies_in_the_package_and_so_in_the_wheel() -> None:
    made = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]
    assert "watchkeeper" in made["targets"]["wheel"]["packages"]
    assert "exclude" not in made["targets"]["wheel"]
    assert (ROOT / "watchkeeper" / "aircraft" / FILE).is_file()


def test_the_table_of_these_tests_is_sound() -> None:
    table = load_tables(TABLE)[GENERIC]
    assert table.lifetimes == {"HOME_V": (0x010200, 0x020000)}
    assert [stage.name for stage in table.stages] == ["A low", "B low"]


@pytest.mark.parametrize(
    ("was", "becomes", "line", "what"),
    [
        ("MAV_AUTOPILOT_GENERIC", "MAV_AUTOPILOT_GENERAL", 2, "MAV_AUTOPILOT has no 'MAV_AUTOPILOT_GENERAL'"),
        ("MAV_TYPE_QUADROTOR", "QUADROTOR", 3, "MAV_TYPE has no 'QUADROTOR'"),
        ("known_by: [HOME_H]", "known_by: [HOME_K]", 4, "'HOME_K' is read nowhere"),
        ("HOME_V: {from", "HOME_W: {from", 6, "'HOME_W' is read nowhere"),
        ('from: "1.2"', "from: 1.2", 6, "valid string"),
        ('from: "1.2"', 'from: "new"', 6, "match pattern"),
        ("return_height_m", "return_hight_m", 8, "no setting 'return_hight_m'"),
        ("unit: cm", "unit: s", 9, "'s' is no unit of this setting"),
        ("unit: cm", "unit: fathom", 9, "'fathom' is no unit of this setting"),
        ("{0: present}", "{0: absent}", 9, "'absent' is nothing that this setting can be"),
        ("{0: present}", "{0: 1500}", 9, "'1500.0' is nothing that this setting can be"),
        ("{0: present}", "{zero: present}", 9, "'zero' is no number"),
        ("{0: present}", "{0: {note: kept}}", 9, "a result is something or is not understood"),
        ("name: HOME_H", "nmae: HOME_H", 9, "Extra inputs are not permitted"),
        ("name: HOME_H, unit", "name: HOME_H, value: 3, unit", 9, "either a name or a value"),
        ("name: HOME_H", "name: HOME_HEIGHT_ABOVE", 9, "cannot be a parameter's name"),
        ("name: HOME_H, unit: cm", "name: HOME_H, unit: cm, else: next", 9, "not every number can be meant"),
        ("name: PLAN_V", 'name: "PLAN_V?"', 11, "its last step may go on"),
        ("          - {name: PLAN_V, unit: m/s}\n", "", 11, "its last step may go on"),
        ("name: PLAN_V", 'from: "3.0", below: "2.0", name: PLAN_V', 12, "ends before it begins"),
        ("3: land", "3: swim", 14, "nothing that this setting can be"),
        ("digits:", "bits: {1: climb}, digits:", 14, "a step reads in one way"),
        (", clear: next", "", 16, "a bit needs 'set' and 'clear'"),
        ("least: 0, most: 255, bit", "bit", 16, "not every number can be meant"),
        ("unit: V\n", "unit: kV\n", 21, "Input should be 'V'"),
        ("{value: voltage}", "{value: gauge}", 23, "'gauge' is nothing that this setting can be"),
        ("unit: mV", "unit: A", 25, "'A' is no unit of this setting"),
        ("fence_action", "return_order", 15, "'return_order' is given twice"),
    ],
)  # fmt: skip
def test_a_fault_in_the_table_is_found_where_it_is(was: str, becomes: str, line: int, what: str) -> None:
    assert TABLE.count(was) == 1
    with pytest.raises(BadInputError) as caught:
        load_tables(TABLE.replace(was, becomes))
    assert any(what in fault.what and (fault.file, fault.line) == (FILE, line) for fault in caught.value.faults), (
        str(caught.value)
    )
