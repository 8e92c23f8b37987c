"""Modes: MAVLink's standard ones where sent, pymavlink's tables where not."""

from __future__ import annotations

import pytest
from pymavlink import mavutil
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4, QUADROTOR, Flight
from watchkeeper.aircraft.catalogue import MODES
from watchkeeper.aircraft.modes import MOST_LEARNED, STANDARD, WORDS, ModeTracker, named


def test_standard_modes_are_numbered_as_the_standard_has_them() -> None:
    # facts.md section 9: 1 pos hold 2 orbit 3 cruise 4 alt hold 5 safe recovery 6 mission 7 land 8 takeoff
    names = {
        number: entry.name.removeprefix("MAV_STANDARD_MODE_").lower()
        for number, entry in dialect.enums["MAV_STANDARD_MODE"].items()
        if number in STANDARD
    }
    same = {"altitude_hold": "altitude_hold", "position_hold": "position_hold"}
    assert len(STANDARD) == 8
    for number, word in STANDARD.items():
        assert same.get(names[number], names[number]) == word


def test_all_words_are_of_the_catalogue() -> None:
    assert {*STANDARD.values(), *WORDS.values(), "other"} <= set(MODES)


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("RTL", "safe_recovery"), ("SMART_RTL", "safe_recovery"), ("AUTO", "mission"), ("LAND", "land"),
        ("LOITER", "position_hold"), ("POSHOLD", "position_hold"), ("ALT_HOLD", "altitude_hold"),
        ("STABILIZE", "attitude"), ("ACRO", "rate"), ("GUIDED", "external"), ("CIRCLE", "orbit"),
    ],
)  # fmt: skip
def test_modes_of_pymavlinks_table_for_a_quadrotor(name: str, word: str) -> None:
    number = mavutil.mode_mapping_byname(QUADROTOR)[name]
    flight = Flight()
    flight.beat(mode=number)
    assert flight.read("flight.mode") == word
    assert flight.aircraft.modes.name == name


@pytest.mark.parametrize(
    ("name", "word"),
    [("RTL", "safe_recovery"), ("MISSION", "mission"), ("LAND", "land"), ("POSCTL", "position_hold"),
     ("ALTCTL", "altitude_hold"), ("OFFBOARD", "external"), ("TAKEOFF", "takeoff"), ("ACRO", "rate")],
)  # fmt: skip
def test_modes_of_pymavlinks_other_table(name: str, word: str) -> None:
    _, main, sub = mavutil.px4_map[name]
    flight = Flight(autopilot=PX4)
    flight.beat(mode=main << 16 | sub << 24)
    assert flight.read("flight.mode") == word


def test_the_same_number_means_another_mode_on_another_vehicle() -> None:
    plane = dialect.MAV_TYPE_FIXED_WING
    assert named(ARDUPILOT, QUADROTOR, 1, 5) == "LOITER"
    assert named(ARDUPILOT, plane, 1, 5) != "LOITER"


def test_a_generic_autopilot_has_no_table() -> None:
    flight = Flight(autopilot=GENERIC)
    flight.beat(mode=6)
    assert flight.read("flight.mode") == "other"


def test_a_standard_mode_that_is_sent_goes_before_the_table() -> None:
    flight = Flight()
    flight.beat(mode=5)
    flight.send("CURRENT_MODE", standard_mode=5, custom_mode=5, intended_custom_mode=9)
    assert flight.read("flight.mode") == "safe_recovery"
    assert flight.aircraft.modes.intended == 9
    flight.beat(mode=5)
    assert flight.read("flight.mode") == "safe_recovery"


def test_a_heartbeat_with_a_new_mode_is_not_held_back_by_an_older_current_mode() -> None:
    flight = Flight()
    flight.beat(mode=6)
    flight.send("CURRENT_MODE", standard_mode=5, custom_mode=6)
    flight.beat(mode=0)
    assert flight.read("flight.mode") == "attitude"
    flight.beat(mode=6)  # and what it said of that mode is remembered
    assert flight.read("flight.mode") == "safe_recovery"


def test_a_mode_that_is_no_standard_one_falls_back_to_the_table() -> None:
    flight = Flight()
    flight.beat(mode=6)
    flight.send("CURRENT_MODE", standard_mode=6, custom_mode=6)
    assert flight.read("flight.mode") == "mission"
    flight.send("CURRENT_MODE", standard_mode=0, custom_mode=6)
    flight.beat(mode=6)
    assert flight.read("flight.mode") == "safe_recovery"


def test_modes_are_learned_from_the_list_that_the_aircraft_sends() -> None:
    flight = Flight(autopilot=GENERIC)
    flight.beat(mode=1)
    flight.send("AVAILABLE_MODES", number_modes=2, mode_index=1, standard_mode=7, custom_mode=42)
    flight.beat(mode=42)
    assert flight.read("flight.mode") == "land"


def test_what_is_learned_is_bounded() -> None:
    tracker = ModeTracker()
    for custom in range(10 * MOST_LEARNED):
        tracker.learn(custom, 1)
    assert tracker.heartbeat(GENERIC, QUADROTOR, 1, MOST_LEARNED - 1) == "position_hold"
    assert tracker.heartbeat(GENERIC, QUADROTOR, 1, MOST_LEARNED) == "other"
