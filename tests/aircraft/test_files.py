"""Aircraft and sortie files: the contract's own examples, and one bad example for every message."""

from __future__ import annotations

import pytest

from watchkeeper.aircraft.files import AircraftFile, load_aircraft_file, load_sortie_file
from watchkeeper.aircraft.filetypes import Charged, Counted, Hold, HoverPower, Position, Wind
from watchkeeper.errors import BadInputError

# Invented; every key of the contract.
AIRCRAFT = """\
aircraft: Heron
system: 42
kind: multirotor
rotors: {count: 6, diameter: 0.71 m}
mass: {empty: 17 kg, maximum: 35 kg}
packs: {chemistry: lipo, cells: 12, capacity: 22 Ah, count: 2, topology: parallel, resistance: 18 mohm,
  cell_floor: 3.3 V, age: 80 cycles, monitors: {0: pack 1, 1: pack 2, 2: sum, 3: other},
  charged: [4.1 Ah from 3.98 V, 13.2 Ah from 3.76 V], counted: [14.2 Ah of 14.6 Ah, 29 Ah of 28.5 Ah]}
hover_power: 4.1 kW at 30 kg
limits: {airspeed: 16 m/s, tilt: 30 deg, wind: 12 m/s, gust: 15 m/s, descent: 2 m/s}
return: {height: 40 m, speed: 8 m/s, order: [climb, cruise, descend, hold, land], hold: 30 s at 8 m,
  landing: 0.7 m/s}
"""
SORTIE = """\
sortie: Valley run
aircraft: heavy.yaml
home: [1.5, -2.25]
payload: {mass: 6 kg, line: 0 m}
reserve: 20 %
ceiling: 120 m
obstacles: [{name: mast, at: [1.51, -2.25], height: 42 m, radius: 10 m}]
areas: [{name: stay within, kind: boundary, points: [[1, -2], [2, -2], [2, -3]]}]
landing_places: [{name: meadow, at: [1.505, -2.25], height: 5 m}]
plan: [{at: [1.52, -2.25], height: 60 m, stay: 120 s}]
weather: {wind: 7 m/s from 250 deg, gusts: 11 m/s, temperature: 8 degC}
radio: {kind: sik, frequency: 915 MHz, control: same}
crew: {moving: false, acknowledge_channel: 9, units: {height: m, speed: m/s}}
checklist: [rotor latches, pack connectors, antennas down]
settings: {cell_floor: 3.3 V, tries: 3}
"""


def test_aircraft_file_has_every_key_in_si_units() -> None:
    file = load_aircraft_file(AIRCRAFT, "a.yaml")
    assert (file.aircraft, file.system, file.kind) == ("Heron", 42, "multirotor")
    assert (file.rotors.count, file.rotors.diameter_m) == (6, 0.71)
    assert (file.mass.empty_kg, file.mass.maximum_kg) == (17, 35)
    packs = file.packs
    assert (packs.chemistry, packs.cells, packs.capacity_ah, packs.count, packs.topology) == (
        "lipo",
        12,
        22,
        2,
        "parallel",
    )
    assert packs.resistance_ohm == pytest.approx(0.018)
    assert (packs.cell_floor_v, packs.age_cycles) == (3.3, 80)
    assert packs.monitors == {0: 1, 1: 2, 2: "sum", 3: "other"}
    assert packs.charged == (Charged(4.1, 3.98), Charged(13.2, 3.76))
    assert packs.counted == (Counted(14.2, 14.6), Counted(29, 28.5))
    assert file.hover_power == HoverPower(4100, 30)
    limits = file.limits
    assert (limits.airspeed_m_s, limits.tilt_deg, limits.wind_m_s, limits.gust_m_s, limits.descent_m_s) == (
        16,
        30,
        12,
        15,
        2,
    )
    back = file.return_
    assert (back.height_m, back.speed_m_s, back.landing_m_s) == (40, 8, 0.7)
    assert back.order == ("climb", "cruise", "descend", "hold", "land")
    assert back.hold == Hold(30, 8)


def test_sortie_file_has_every_key_in_si_units() -> None:
    file = load_sortie_file(SORTIE, "s.yaml")
    assert (file.sortie, file.aircraft, file.home) == ("Valley run", "heavy.yaml", Position(1.5, -2.25))
    assert (file.payload.mass_kg, file.payload.line_m, file.reserve_pct, file.ceiling_m) == (6, 0, 20, 120)
    mast = file.obstacles[0]
    assert (mast.name, mast.at, mast.height_m, mast.radius_m) == ("mast", Position(1.51, -2.25), 42, 10)
    area = file.areas[0]
    assert (area.name, area.kind, len(area.points)) == ("stay within", "boundary", 3)
    assert (file.landing_places[0].name, file.landing_places[0].height_m) == ("meadow", 5)
    assert (file.plan[0].height_m, file.plan[0].stay_s) == (60, 120)
    assert file.weather.wind == Wind(7, 250)
    assert (file.weather.gusts_m_s, file.weather.temperature_degc) == (11, 8)
    assert (file.radio.kind, file.radio.frequency_mhz, file.radio.control) == ("sik", 915, "same")
    crew = file.crew
    assert (crew.moving, crew.acknowledge_channel, crew.units.height, crew.units.speed) == (False, 9, "m", "m/s")
    assert file.checklist == ("rotor latches", "pack connectors", "antennas down")
    assert file.settings == {"cell_floor": "3.3 V", "tries": "3"}


def test_cells_and_capacity_alone_are_enough() -> None:
    file = load_aircraft_file("packs: {cells: 6, capacity: 16000 mAh}", "a.yaml")
    assert (file.packs.cells, file.packs.count) == (6, 1)
    assert file.packs.capacity_ah == pytest.approx(16)
    assert file.return_.height_m is None
    assert file.hover_power is None


def test_models_are_frozen() -> None:
    file = load_aircraft_file("system: 1", "a.yaml")
    with pytest.raises(ValueError, match="frozen"):
        file.system = 2
    assert isinstance(file, AircraftFile)


BAD_AIRCRAFT = [
    ("[1]", "a.yaml:1:1: is not a list of keys and values; see the README for an example"),
    ("pakcs: {cells: 6}", "a.yaml:1:1: unknown key 'pakcs'; did you mean 'packs'?"),
    ("packs:\n  cels: 6", "a.yaml:2:3: unknown key 'cels'; did you mean 'cells'?"),
    ("rotors: {zzz: 6}", "a.yaml:1:10: unknown key 'zzz'; known here: count, diameter, outputs"),
    ("sortie: x", "a.yaml:1:1: unknown key 'sortie'; this is a sortie file; give it as one"),
    ("packs: 12", "a.yaml:1:8: 'packs' is not a group of keys and values; write it like {key: value}"),
    ("packs: {capacity: 22}", "a.yaml:1:19: '22' is without a unit; give it in Ah"),
    ("packs: {capacity: 22 V}", "a.yaml:1:19: '22 V' is in V; give it in Ah"),
    ("packs: {capacity: 22 mah}", "a.yaml:1:19: unknown unit 'mah'; did you mean 'mAh'?"),
    ("packs: {capacity: much}", "a.yaml:1:19: 'much' is not a number with a unit; write it like '5 Ah'"),
    (
        "packs: {capacity: [22]}",
        "a.yaml:1:19: 'capacity' is not a quantity; write a number with a unit, like '5 Ah'",
    ),
    ("packs: {capacity: 1e999 Ah}", "a.yaml:1:19: '1e999 Ah' is too large; write a number in Ah"),
    ("packs: {capacity: 0 Ah}", "a.yaml:1:19: '0 Ah' is too small; give more than 0 Ah"),
    ("packs: {cell_floor: 1 V}", "a.yaml:1:21: '1 V' is too small; give at least 2 V"),
    ("packs: {cell_floor: 39.6 V}", "a.yaml:1:21: '39.6 V' is too large; give at most 4 V"),
    ("packs: {cells: 25}", "a.yaml:1:16: 25 is out of range; give a whole number from 1 to 24"),
    ("packs: {cells: true}", "a.yaml:1:16: 'True' is not a whole number; give one from 1 to 24"),
    ("packs: {count: 9}", "a.yaml:1:16: 9 is out of range; give a whole number from 1 to 8"),
    ("packs: {topology: paralel}", "a.yaml:1:19: unknown word 'paralel'; did you mean 'parallel'?"),
    ("kind: boat", "a.yaml:1:7: unknown word 'boat'; use multirotor, helicopter, fixed_wing, vtol, other"),
    (
        "packs: {count: 1, monitors: {0: pack 2}}",
        "a.yaml:1:29: instance 0 measures pack 2 of 1; correct it or 'count'",
    ),
    (
        "packs: {monitors: {0: left}}",
        "a.yaml:1:23: unknown word 'left'; use pack 1 to pack 8, sum or other",
    ),
    (
        "packs: {monitors: {a: pack 1}}",
        "a.yaml:1:23: 'a' is not a battery instance; use the instance's id, 0 to 255",
    ),
    (
        "packs: {monitors: pack 1}",
        "a.yaml:1:19: 'monitors' is not a group of keys and values; write it like {0: pack 1, 1: pack 2}",
    ),
    ("packs: {charged: [4.1 Ah from 3.98 V]}", "a.yaml:1:18: 'charged' needs the packs' capacity; add 'capacity'"),
    (
        "packs: {capacity: 22 Ah, charged: [4.1 Ah]}",
        "a.yaml:1:36: '4.1 Ah' does not say from which voltage of a cell; write it like '4.1 Ah from 3.98 V'",
    ),
    (
        "packs: {capacity: 22 Ah, charged: [3.98 V from 4.1 Ah]}",
        "a.yaml:1:36: '3.98 V' is in V; give it in Ah",
    ),
    (
        "packs: {capacity: 22 Ah, charged: [4.1 Ah from 47.8 V]}",
        "a.yaml:1:36: '47.8 V' is too large; give at most 4.5 V",
    ),
    (
        "packs: {capacity: 22 Ah, charged: 4.1 Ah from 3.98 V}",
        "a.yaml:1:35: 'charged' is not a list; write it like [one, two]",
    ),
    (
        "packs: {capacity: 22 Ah, charged: [23 Ah from 3.5 V]}",
        "a.yaml:1:35: 23 Ah are more than a pack holds; state what went into one pack, and its capacity",
    ),
    (
        "packs: {capacity: 22 Ah, charged: [9 Ah from 3.98 V, 9 Ah from 3.8 V]}",
        "a.yaml:1:35: as much was put back from 3.98 V as from 3.8 V; correct one of the two, or leave it out",
    ),
    (
        "packs: {capacity: 22 Ah, charged: [9 Ah from 3.98 V, 4 Ah from 3.8 V]}",
        "a.yaml:1:35: more was put back from 3.98 V than from 3.8 V; correct one of the two, or leave it out",
    ),
    (
        "packs: {capacity: 22 Ah, charged: ["
        + ", ".join(f"{n} Ah from {4.1 - 0.03 * n:.2f} V" for n in range(13))
        + "]}",
        "a.yaml:1:35: 'charged' has more than 12 points; keep those that lie apart",
    ),
    (
        "packs: {count: 2, counted: [14.2 Ah]}",
        (
            "a.yaml:1:29: '14.2 Ah' does not say of how much that the charger put back; "
            "write it like '14.2 Ah of 14.6 Ah'"
        ),
    ),
    ("packs: {counted: [14.2 Ah of 0 Ah]}", "a.yaml:1:19: '0 Ah' is too small; give more than 0 Ah"),
    ("packs: {counted: [14.2 Ah of 14.6 V]}", "a.yaml:1:19: '14.6 V' is in V; give it in Ah"),
    ("packs: {counted: 14.2 Ah of 14.6 Ah}", "a.yaml:1:18: 'counted' is not a list; write it like [one, two]"),
    (
        "packs: {counted: [14.2 Ah of 4.6 Ah]}",
        (
            "a.yaml:1:19: a monitor that counts 14.2 Ah of 4.6 Ah is not set up; "
            "state one pack's Ah of one pack's, or all of all; if so it is, set the current sensor up"
        ),
    ),
    (
        "packs: {count: 3, counted: [14.2 Ah of 14.6 Ah, 14 Ah of 14 Ah]}",
        (
            "a.yaml:1:28: 'counted' has 2 numbers for 3 packs; "
            "give one for each pack, pack 1 first, or one for a monitor of all; or correct 'count'"
        ),
    ),
    (
        "packs: {count: 2, counted: [14.2 Ah of 14.6 Ah, 14 Ah of 14 Ah]}",
        (
            "a.yaml:1:28: 'counted' has a number for each pack, and no monitor of each is named; "
            "write like {0: pack 1, 1: pack 2} into 'monitors' which instance measures which"
        ),
    ),
    *(
        (
            f"packs: {{count: 2, {monitors}counted: [28 Ah of 29 Ah]}}",
            (
                f"a.yaml:1:{28 + len(monitors)}: 'counted' has one number for 2 packs; "
                "give one for each pack; for one monitor of all write {0: sum} into 'monitors'"
            ),
        )
        for monitors in ("", "monitors: {0: pack 1, 1: pack 2}, ", "monitors: {0: sum, 1: pack 1}, ")
    ),
    ("mass: {empty: 36 kg, maximum: 35 kg}", "a.yaml:1:15: empty mass is above the maximum mass; check both"),
    ("hover_power: {a: 1}", "a.yaml:1:14: 'hover_power' is not understood; write it like '4.1 kW at 30 kg'"),
    ("hover_power: 4.1 kW at 30 m", "a.yaml:1:14: '30 m' is in m; give it in kg"),
    ("return: {order: climb}", "a.yaml:1:17: 'order' is not a list; write it like [one, two]"),
    ("return: {order: [climb, crise]}", "a.yaml:1:25: unknown word 'crise'; did you mean 'cruise'?"),
    ("return: {order: [land, land]}", "a.yaml:1:17: a step stands twice in the order; name each step once"),
    ("aircraft: {a: 1}", "a.yaml:1:11: 'aircraft' is not a text; write it as plain words"),
    ("aircraft: ''", "a.yaml:1:11: 'aircraft' is empty; write it as plain words"),
    (
        f"aircraft: {'x' * 81}",
        "a.yaml:1:11: 'aircraft' is too long or not printable; use at most 80 plain characters on one line",
    ),
]
BAD_SORTIE = [
    ("packs: {cells: 6}", "s.yaml:1:1: unknown key 'packs'; this belongs in the aircraft file"),
    ("home: [91, 0]", "s.yaml:1:7: latitude 91 is out of range; give -90 to 90 degrees, latitude first"),
    ("home: [0, 181]", "s.yaml:1:7: longitude 181 is out of range; give -180 to 180 degrees, latitude first"),
    (
        "home: here",
        "s.yaml:1:7: 'home' is not a position; write [latitude, longitude] in degrees, like [1.25, -2.5]",
    ),
    ("plan: [{at: [0, 0]}]", "s.yaml:1:8: 'height' is missing; add 'height: …'"),
    (
        "areas: [{name: a, kind: boundary, points: [[0, 0], [1, 1]]}]",
        "s.yaml:1:43: 'points' has fewer than 3 entries; give at least 3",
    ),
    ("areas: [{name: a, kind: x}]", "s.yaml:1:9: 'points' is missing; add 'points: …'"),
    (
        "weather: {wind: 7 m/s}",
        "s.yaml:1:17: '7 m/s' does not say where the wind comes from; write it like '7 m/s from 250 deg'",
    ),
    ("weather: {wind: 7 m/s from 361 deg}", "s.yaml:1:17: '361 deg' is too large; give at most 360 deg"),
    (
        "weather: {wind: 7 m/s from 10 deg, gusts: 6 m/s}",
        "s.yaml:1:43: gusts are below the wind; gusts are the peaks of it",
    ),
    ("crew: {moving: perhaps}", "s.yaml:1:16: 'moving' is neither true nor false; write true or false"),
    (
        "settings: 3",
        "s.yaml:1:11: 'settings' is not a group of keys and values; write it like {cell_floor: 3.3 V}",
    ),
    (
        "settings: {a: [1]}",
        "s.yaml:1:15: 'a' is not a quantity; write a number with a unit, like '3.3 V'",
    ),
]


@pytest.mark.parametrize(("text", "message"), BAD_AIRCRAFT)
def test_bad_aircraft_file_is_told_where_and_what(text: str, message: str) -> None:
    with pytest.raises(BadInputError) as caught:
        load_aircraft_file(text, "a.yaml")
    assert str(caught.value.faults[0]) == message


@pytest.mark.parametrize(("text", "message"), BAD_SORTIE)
def test_bad_sortie_file_is_told_where_and_what(text: str, message: str) -> None:
    with pytest.raises(BadInputError) as caught:
        load_sortie_file(text, "s.yaml")
    assert str(caught.value.faults[0]) == message


def test_all_faults_are_told_at_once_in_order() -> None:
    with pytest.raises(BadInputError) as caught:
        load_aircraft_file("system: 0\npacks:\n  cells: 99\n  capacity: 3 V\nlimts: {}\n", "a.yaml")
    assert [(f.line, f.column) for f in caught.value.faults] == [(1, 9), (3, 10), (4, 13), (5, 1)]
