"""Files of flown scenarios: a good one, and every kind of mistake with all that is said of it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.onboard.parameters import parameters
from simulators.radio.model import NetworkModel, RadioModel
from simulators.scenario import load, load_scripted
from watchkeeper.errors import BadInputError

GOOD = """\
scenario: small
about: a short flight
start: "2026-05-12T12:00:00Z"
duration_s: 100
system: 143
home: [1.25, -31.5]
load: {mass_kg: 6}
packs: [{charge_pct: 98}, {charge_pct: 97, weak_cell: 12, weak_mohm: 3}]
weather: {wind: [[0, 4, 250], [60, 5, 265]], draughts: [[0, 1], [5, 0]]}
parameters: {return.height_m: 40}
rates_hz: {ATTITUDE: 5}
ground: {hills: [{at: [900, 0], height_m: 60, radius_m: 200}]}
sky: {mask_deg: 12}
links:
  - {kind: radio, power_dbm: 20}
  - {kind: network, loss_pct: 1}
plan: [{at: [1.251, -31.5], height_m: 30}]
crew:
  - {when: {at_s: 5}, do: {arm: true}}
  - {when: {height_over_m: 20}, do: {go: {north_m: 50, east_m: 20, height_m: 30}}}
faults:
  - fault: a pack comes loose
    when: {at_s: 40}
    do: {open_pack: 2}
    expect: [{rule: pack-offline, within_s: 20}]
"""
SCRIPTED = """\
scenario: small
about: stands on the ground
start: "2026-05-12T12:00:00Z"
duration_s: 100
system: 143
home: [1.25, -31.5]
bearing_deg: 10
battery: {charge_pct: 90}
value:
  height_m: [[0, 0]]
"""
MODES = "'position_hold', 'altitude_hold', 'safe_recovery', 'mission', 'land' or 'takeoff'"
DRAUGHTS = ", draughts: [[0, 1], [5, 0]]"
SMALL = "has to be small letters, digits and hyphens; write it like four-faults"


def written(folder: Path, text: str) -> Path:
    path = folder / "flight.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def told(folder: Path, text: str) -> list[str]:
    """Return what is said of a bad file, without the folder's name."""
    path = written(folder, text)
    with pytest.raises(BadInputError) as raised:
        load(path)
    return [str(fault).replace(f"{path}", "flight.yaml") for fault in raised.value.faults]


def good(folder: Path, text: str = GOOD) -> FlownScenario:
    scenario = load(written(folder, text))
    assert isinstance(scenario, FlownScenario)
    return scenario


def test_a_good_file_is_what_it_says(tmp_path: Path) -> None:
    scenario = good(tmp_path)
    assert (scenario.name, scenario.about, scenario.duration_s) == ("small", "a short flight", 100.0)
    assert scenario.start == datetime(2026, 5, 12, 12, tzinfo=UTC)
    made = scenario.written.setup()
    assert (made.latitude_deg, made.longitude_deg, made.system) == (1.25, -31.5, 143)
    assert made.load.mass_kg == 6.0
    assert [pack.charge for pack in made.packs] == [0.98, 0.97]
    assert (made.packs[1].weak_cell, made.packs[1].weak_ohm) == (11, 0.003)  # counted from 1 by people
    assert made.weather.wind == ((0.0, 4.0, 250.0), (60.0, 5.0, 265.0))
    assert made.parameters == {"return.height_m": 40.0}
    assert made.rates_hz == {"ATTITUDE": 5.0}
    around = scenario.written.surroundings()
    assert around.sky is not None
    assert around.sky.mask_deg == 12.0
    assert [type(link) for link in around.links] == [RadioModel, NetworkModel]
    assert around.ground.height_m(900.0, 0.0) == pytest.approx(60.0)
    events = scenario.written.events()
    assert [(event.name, event.crew) for event in events] == [
        ("crew 1", True), ("crew 2", True), ("a pack comes loose", False),
    ]  # fmt: skip
    assert [(item.command, item.height_m) for item in scenario.written.plan_items()] == [(22, 30.0), (16, 30.0)]
    assert [expected.rule for expected in FlownDrill(scenario).expect] == []  # nothing has happened yet


def test_a_start_without_a_zone_is_utc(tmp_path: Path) -> None:
    for moment in ("2026-05-12T12:00:00", "2026-05-12T14:00:00+02:00", "2026-05-12 12:00"):
        scenario = good(tmp_path, GOOD.replace("2026-05-12T12:00:00Z", moment))
        assert scenario.start == datetime(2026, 5, 12, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("load:", "lod:", "7:1: unknown key 'lod'; did you mean 'load'?"),
        ("load:", "zzz:", "7:1: unknown key 'zzz'; take it out"),
        ("weather:", "wether:", "9:1: unknown key 'wether'; did you mean 'weather'?"),
        ("mass_kg: 6", "mas_kg: 6", "7:8: unknown key 'mas_kg'; did you mean 'mass_kg'?"),
        ("charge_pct: 98", "charge: 98", "8:10: unknown key 'charge'; did you mean 'charge_pct'?"),
        ("draughts", "draught", "9:46: unknown key 'draught'; did you mean 'draughts'?"),
        ("hills", "hill", "12:10: unknown key 'hill'; did you mean 'hills'?"),
        ("radius_m", "radius", "12:47: unknown key 'radius'; did you mean 'radius_m'?"),
        ("mask_deg", "mask", "13:7: unknown key 'mask'; did you mean 'mask_deg'?"),
        ("power_dbm", "power_db", "15:19: unknown key 'power_db'; did you mean 'power_dbm'?"),
        ("loss_pct", "los_pct", "16:21: unknown key 'los_pct'; did you mean 'loss_pct'?"),
        ("height_m: 30}]", "hight_m: 30}]", "17:29: unknown key 'hight_m'; did you mean 'height_m'?"),
        ("{when: {at_s", "{wen: {at_s", "19:6: unknown key 'wen'; did you mean 'when'?"),
        ("{at_s: 5", "{at: 5", "19:13: unknown key 'at'; did you mean 'at_s'?"),
        ("{arm:", "{armed:", "19:28: unknown key 'armed'; did you mean 'arm'?"),
        ("{north_m", "{nort_m", "20:43: unknown key 'nort_m'; did you mean 'north_m'?"),
        ("- fault:", "- falt:", "22:5: unknown key 'falt'; did you mean 'fault'?"),
        ("open_pack", "open_pak", "24:10: unknown key 'open_pak'; did you mean 'open_pack'?"),
        ("within_s", "within", "25:35: unknown key 'within'; did you mean 'within_s'?"),
        ("open_pack: 2", "weaken: {rotr: 1, health: 1}", "24:19: unknown key 'rotr'; did you mean 'rotor'?"),
        ("open_pack: 2", "wind: {spee: 3, from_deg: 1}", "24:17: unknown key 'spee'; did you mean 'speed_m_s'?"),
        ("open_pack: 2", "pick_up: {mas_kg: 3}", "24:20: unknown key 'mas_kg'; did you mean 'mass_kg'?"),
        (
            "open_pack: 2",
            "interferer: {at: [0, 0], power_db: 1}",
            "24:35: unknown key 'power_db'; did you mean 'power_dbm'?",
        ),
        (
            "open_pack: 2",
            "pull: {north_m: 1, east_m_s: 1}",
            "24:17: unknown key 'north_m'; did you mean 'north_m_s'?",
        ),
        ("load: {mass_kg: 6}", "values: {}", "7:1: unknown key 'values'; take it out"),
    ],
)
def test_an_unknown_key_is_answered_with_the_nearest(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in GOOD
    assert told(tmp_path, GOOD.replace(old, new, 1)) == [f"flight.yaml:{says}"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("duration_s: 100\n", "", "1:1: 'duration_s' is missing; add 'duration_s: …'"),
        ("wind: [[0, 4, 250], [60, 5, 265]], ", "", "9:10: 'wind' is missing; add 'wind: …'"),
        ("kind: radio, ", "", "15:5: 'kind' is missing; add 'kind: …'"),
        (", do: {arm: true}", "", "19:5: 'do' is missing; add 'do: …'"),
        ("    when: {at_s: 40}\n", "", "22:5: 'when' is missing; add 'when: …'"),
        ("open_pack: 2", "weaken: {rotor: 1}", "24:18: 'health' is missing; add 'health: …'"),
        ("home: [1.25, -31.5]", "home: [1.25]", "6:7: home: value 2 is missing; give all values"),
        ("[0, 4, 250]", "[0, 4]", "9:18: wind: value 3 is missing; give all values"),
        ("{arm: true}", "{go: }", "19:31: 'go' has no value; give it one, or take it out"),
        ("{arm: true}", "{arm: ~}", "19:33: 'arm' has no value; give it one, or take it out"),
        ("{at_s: 5}", "{mode: }", "19:18: 'mode' has no value; give it one, or take it out"),
        ("sky: {mask_deg: 12}", "sky:", "13:5: 'sky' has no value; give it one, or take it out"),
        ("[0, 4, 250]", "[0, null, 250]", "9:22: 'wind' has no value; give it one, or take it out"),
    ],
)
def test_what_is_missing_is_named(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in GOOD
    assert told(tmp_path, GOOD.replace(old, new, 1)) == [f"flight.yaml:{says}"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("duration_s: 100", "duration_s: long", "4:13: duration_s: has to be a valid number; correct it"),
        ("duration_s: 100", 'duration_s: "100"', "4:13: duration_s: has to be a valid number; correct it"),
        ("mass_kg: 6", "mass_kg: true", "7:17: mass_kg: has to be a valid number; correct it"),
        ("power_dbm: 20", "power_dbm: loud", "15:30: power_dbm: has to be a valid number; correct it"),
        ("system: 143", "system: 1.5", "5:9: system: has to be a whole number; correct it"),
        ("open_pack: 2", "open_pack: one", "24:21: open_pack: has to be a whole number; correct it"),
        ("{at_s: 5}", "{airborne: maybe}", "19:23: airborne: has to be true or false; correct it"),
        ("{arm: true}", "{control_link: off}", "19:42: control_link: has to be true or false; correct it"),
        ("{arm: true}", "{arm: false}", "19:33: arm: has to be true; write true, or take it out"),
        ("{arm: true}", "{arm: 1}", "19:33: arm: has to be true; write true, or take it out"),
        ("plan:", "trainee_flies: 1\nplan:", "17:16: trainee_flies: has to be true or false; correct it"),
        ("about: a short flight", "about: 5", "2:8: about: has to be text; write words, or a number in quotes"),
        ("home: [1.25, -31.5]", "home: here", "6:7: home: has to be a list; write it like [ … ]"),
        ("[0, 4, 250]", "4", "9:18: wind: has to be a list; write it like [ … ]"),
        ("[{rule", "{rule", None),
        ("load: {mass_kg: 6}", "load: 6", "7:7: load: has to be keys and values; write it like {key: value}"),
        ("{arm: true}", "arm", "19:27: do: has to be keys and values; write it like {key: value}"),
        (
            "parameters: {return.height_m: 40}",
            "parameters: 5",
            "10:13: parameters: has to be keys and values; write it like {key: value}",
        ),
        (
            "  - {kind: network, loss_pct: 1}",
            "  - network",
            "16:5: links: has to be keys and values; write it like {key: value}",
        ),
        ("kind: radio", "kind: radoi", "15:12: kind: has to be 'radio' or 'network'; did you mean 'radio'?"),
        ("kind: radio", "kind: wire", "15:12: kind: has to be 'radio' or 'network'; correct it"),
        ("{arm: true}", "{mode: hover}", f"19:34: mode: has to be {MODES}; correct it"),
        ("{arm: true}", "{mode: safe_recover}", f"19:34: mode: has to be {MODES}; did you mean 'safe_recovery'?"),
        ("scenario: small", "scenario: Big One", f"1:11: scenario: {SMALL}"),
        ("rule: pack-offline", "rule: Pack Offline", f"25:21: rule: {SMALL}"),
        ("fault: a pack comes loose", 'fault: ""', "22:12: fault: is empty; write something"),
    ],
)
def test_a_wrong_kind_of_value_is_told(tmp_path: Path, old: str, new: str, says: str | None) -> None:
    assert old in GOOD
    text = GOOD.replace(old, new, 1)
    if says is None:
        text = text.replace("within_s: 20}]", "within_s: 20}")
        says = "25:13: expect: has to be a list; write it like [ … ]"
    assert told(tmp_path, text) == [f"flight.yaml:{says}"]


@pytest.mark.parametrize(
    "moment", ["today", "7", '"7"', "1e300", "2026-15-12T12:00:00Z", "2026-05-12 noon", "[1]"]
)
def test_a_start_that_is_no_time_is_told_how_to_write_one(tmp_path: Path, moment: str) -> None:
    [said] = told(tmp_path, GOOD.replace('"2026-05-12T12:00:00Z"', moment))
    assert said == 'flight.yaml:3:8: start: is no date and time; write it like "2026-05-12T12:00:00Z"'


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("2026-05-12T", "1969-05-12T", "3:8: start: has to lie in the years 2000 to 2099; correct it"),
        ("duration_s: 100", "duration_s: 0", "4:13: duration_s: has to be greater than 0; correct it"),
        ("system: 143", "system: 251", "5:9: system: has to be less than or equal to 250; correct it"),
        ("home: [1.25", "home: [91", "6:8: home: has to be less than or equal to 80; correct it"),
        ("home: [1.25", "home: [1.25, 2", "6:7: home: holds 3, has to hold at most 2; take some out"),
        ("mass_kg: 6", "mass_kg: -1", "7:17: mass_kg: has to be greater than or equal to 0; correct it"),
        ("mass_kg: 6", "mass_kg: 1e999", "7:17: mass_kg: has to be a finite number; correct it"),
        ("weak_cell: 12", "weak_cell: 13", "8:55: weak_cell: has to be less than or equal to 12; correct it"),
        ("[0, 4, 250]", "[0, 4, 360]", "9:25: wind: has to be less than 360; correct it"),
        ("[{charge_pct: 98},", "[{}, {}, {}, {},", "8:8: packs: holds 5, has to hold at most 4; take some out"),
        (
            "[[0, 4, 250], [60, 5, 265]]",
            "[]",
            "9:17: wind: is empty, has to hold at least 1; add what is missing",
        ),
        ("radius_m: 200", "radius_m: 0", "12:57: radius_m: has to be greater than 0; correct it"),
        (
            "{arm: true}",
            "{take_off_m: 500}",
            "19:40: take_off_m: has to be less than or equal to 400; correct it",
        ),
        ("open_pack: 2", "open_pack: 0", "24:21: open_pack: has to be greater than or equal to 1; correct it"),
        (
            "open_pack: 2",
            "weaken: {rotor: 7, health: 0}",
            "24:26: rotor: has to be less than or equal to 6; correct it",
        ),
        (
            "fault: a pack comes loose",
            "fault: " + "x" * 61,
            "22:12: fault: is longer than 60 characters; shorten it",
        ),
        ("within_s: 20", "within_s: 0", "25:45: within_s: has to be greater than 0; correct it"),
        ("ATTITUDE: 5", "ATTITUDE: -1", "11:22: ATTITUDE: has to be greater than or equal to 0; correct it"),
    ],
)
def test_what_is_out_of_bounds_is_told(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in GOOD
    assert told(tmp_path, GOOD.replace(old, new, 1)) == [f"flight.yaml:{says}"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("arm: true", "arm: true, disarm: true", None),
        ("{arm: true}", "{}", "19:27: do: does nothing; name one deed, like {arm: true}"),
    ],
)
def test_an_event_does_one_thing(tmp_path: Path, old: str, new: str, says: str | None) -> None:
    says = says or "19:27: do: holds more than one deed: arm and disarm; make an event of each"
    assert told(tmp_path, GOOD.replace(old, new, 1)) == [f"flight.yaml:{says}"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "return.height_m",
            "return.hight_m",
            "10:14: the aircraft has no parameter 'return.hight_m'; did you mean 'return.height_m'?",
        ),
        ("return.height_m", "zzz", "10:14: the aircraft has no parameter 'zzz'; see the aircraft's parameters"),
        ("return.height_m: 40", "return.height_m: 1", "10:31: return.height_m cannot be 1; 3 to 400"),
        (
            "return.height_m: 40",
            "return.order: 12.5",
            "10:28: return.order cannot be 12.5; whole numbers 1 to 654321",
        ),
        (
            "return.height_m: 40",
            "return.hold_s: high",
            "10:29: return.hold_s: has to be a valid number; correct it",
        ),
        (
            "arm: true",
            "parameter: [return.hight_m, 3]",
            "19:39: the aircraft has no parameter 'return.hight_m'; did you mean 'return.height_m'?",
        ),
        ("arm: true", "parameter: [return.height_m, 1]", "19:39: return.height_m cannot be 1; 3 to 400"),
        ("arm: true", "parameter: [return.height_m]", "19:39: parameter: value 2 is missing; give all values"),
        ("ATTITUDE", "ATITUDE", "11:12: the aircraft sends no 'ATITUDE'; did you mean 'ATTITUDE'?"),
        ("ATTITUDE", "ZZZ", "11:12: the aircraft sends no 'ZZZ'; see the messages that the aircraft sends"),
        ("ATTITUDE: 5", "ATTITUDE: 60", "11:22: ATTITUDE cannot come at 60 Hz; 0 to 50"),
        ("open_pack: 2", "open_pack: 3", "24:21: there is no pack 3; the last is pack 2"),
        ("open_pack: 2", "close_pack: 8", "24:22: there is no pack 8; the last is pack 2"),
        ("[60, 5, 265]", "[0, 5, 265]", "9:32: wind: time 0 is not after 0; put the times in order"),
        ("[5, 0]]", "[0, 0]]", "9:66: draughts: time 0 is not after 0; put the times in order"),
        ("at_s: 40", "at_s: 140", "23:18: happens at 140 s, after the end at 100 s; end the scenario later"),
        (
            "at_s: 5}",
            "at_s: 60, delay_s: 50}",
            "19:19: happens at 110 s, after the end at 100 s; end the scenario later",
        ),
        (", weak_cell: 12", "", "8:55: which cell is weak is missing; add 'weak_cell: …'"),
        ("at: [1.251", "at: [11.25", "17:13: at: 1106 km from home; at most 20 km"),
        (
            "hills: [{at: [900, 0], height_m: 60, radius_m: 200}]",
            "ridges: [{points: [[1, 1], [1, 1]], height_m: 3, half_width_m: 2}]",
            "12:9: a ridge needs two points or more, each apart from the next; correct it",
        ),
    ],
)
def test_what_does_not_fit_together_is_told(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in GOOD
    assert told(tmp_path, GOOD.replace(old, new, 1)) == [f"flight.yaml:{says}"]


SKY = "sky: {mask_deg: 12}\n"
LINKS = "links:\n  - {kind: radio, power_dbm: 20}\n  - {kind: network, loss_pct: 1}\n"
PLAN = "plan: [{at: [1.251, -31.5], height_m: 30}]\n"


@pytest.mark.parametrize(
    ("without", "deed", "says"),
    [
        (SKY, "jam_db: 20", "23:10: jam_db needs a sky; add 'sky: {}'"),
        (SKY, "pull: {north_m_s: 1, east_m_s: 1}", "23:10: pull needs a sky; add 'sky: {}'"),
        (SKY, "release_pull: true", "23:10: release_pull needs a sky; add 'sky: {}'"),
        (LINKS, "radio: false", "21:10: radio needs a link; add 'links: [{kind: radio}]'"),
        (
            "  - {kind: radio, power_dbm: 20}\n",
            "antenna_loss_db: 20",
            "23:10: antenna_loss_db needs a radio as the first link; begin the links with {kind: radio}",
        ),
        (
            "  - {kind: radio, power_dbm: 20}\n",
            "interferer: {at: [0, 0], power_dbm: 1}",
            "23:10: interferer needs a radio; add 'links: [{kind: radio}]'",
        ),
        (PLAN, "start_plan: true", "23:10: start_plan needs a plan; add 'plan: …'"),
        (PLAN, "mode: mission", "23:10: mode needs a plan; add 'plan: …'"),
    ],
)
def test_a_deed_on_what_is_not_there_is_told(tmp_path: Path, without: str, deed: str, says: str) -> None:
    assert without in GOOD
    text = GOOD.replace("open_pack: 2", deed)
    assert good(tmp_path, text)
    assert told(tmp_path, text.replace(without, "")) == [f"flight.yaml:{says}"]


def test_an_antenna_comes_loose_at_the_first_link_only(tmp_path: Path) -> None:
    radio, network = LINKS.splitlines(keepends=True)[1:]
    text = GOOD.replace("open_pack: 2", "antenna_loss_db: 20").replace(radio + network, network + radio)
    said = "antenna_loss_db needs a radio as the first link; begin the links with {kind: radio}"
    assert told(tmp_path, text) == [f"flight.yaml:24:10: {said}"]


def test_keys_that_need_others_are_told(tmp_path: Path) -> None:
    text = GOOD.replace(LINKS, "control: same\n").replace(PLAN, "return_after_plan: true\n")
    assert told(tmp_path, text) == [
        "flight.yaml:14:10: control: same needs a link; add 'links: [{kind: radio}]'",
        "flight.yaml:15:20: return_after_plan needs a plan; add 'plan: …'",
    ]


def test_files_beside_it_have_to_be_there(tmp_path: Path) -> None:
    said = "name it from the scenario's folder"
    text = GOOD.replace("load:", "aircraft: none.yaml\nsortie: crew/none.yaml\nload:")
    assert told(tmp_path, text) == [
        f"flight.yaml:7:11: no aircraft file 'none.yaml'; {said}",
        f"flight.yaml:8:9: no sortie file 'crew/none.yaml'; {said}",
    ]
    long = "x" * 300  # more than a name of a file may have
    assert told(tmp_path, GOOD.replace("load:", f"aircraft: {long}\nload:")) == [
        f"flight.yaml:7:11: no aircraft file '{'x' * 60}'; {said}"
    ]
    assert told(tmp_path, GOOD.replace("load:", 'sortie: "a\\0b"\nload:')) == [
        f"flight.yaml:7:9: no sortie file 'a\N{REPLACEMENT CHARACTER}b'; {said}"
    ]
    (tmp_path / "none.yaml").mkdir()
    assert len(told(tmp_path, text)) == 2  # a folder is no file


def test_all_mistakes_are_told_at_once_from_the_top(tmp_path: Path) -> None:
    text = GOOD.replace("system: 143", "system: 0").replace("open_pack", "open_pak").replace("load:", "lod:")
    assert [said.split(":")[1] for said in told(tmp_path, text)] == ["5", "7", "24"]
    text = (
        GOOD.replace("[60, 5", "[0, 5").replace("return.height_m: 40", "a: 1, b: 2").replace("pack: 2", "pack: 4")
    )
    assert [said.split(":")[1] for said in told(tmp_path, text)] == ["9", "10", "10", "24"]


def test_a_mistyped_key_does_not_make_a_flown_one_of_a_scripted_one(tmp_path: Path) -> None:
    assert told(tmp_path, SCRIPTED) == ["flight.yaml:9:1: unknown key 'value'; did you mean 'values'?"]


def test_a_flown_one_is_not_taken_for_a_scripted_one(tmp_path: Path) -> None:
    path = written(tmp_path, GOOD)
    with pytest.raises(BadInputError) as raised:
        load_scripted(path)
    assert str(raised.value) == f"{path}: small is flown, not scripted; fly it with: watchkeeper drill"


def test_bounds_of_parameters_may_be_reached(tmp_path: Path) -> None:
    """A bound like 0.3 is no float32; the float next to it is allowed all the same."""
    for one in parameters().definitions:
        for value in (one.minimum, one.maximum):
            text = GOOD.replace("return.height_m: 40", f"{one.name}: {value!r}")
            assert good(tmp_path, text).written.setup().parameters == {one.name: value}
