"""Settings that cannot be told: wrong units, unknown numbers, names at odds, versions and aircraft unknown.

Firmware ranges and encodings are from memory of the families' public documentation.
"""

from __future__ import annotations

import random
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4, Flight
from tests.aircraft.test_settings import A_PX4, AN_ARDUPILOT, everything, simulated, version
from watchkeeper.aircraft.autopilots import tables
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import VOCABULARY, Setting, Status, Value

UNDERSTOOD, NOT_SEEN, NOT = Status.UNDERSTOOD, Status.NOT_SEEN, Status.NOT_UNDERSTOOD
WHOLE = {GENERIC: simulated(), ARDUPILOT: AN_ARDUPILOT, PX4: A_PX4}
NEWEST = {GENERIC: None, ARDUPILOT: version(4, 3), PX4: version(1, 14)}


def with_(autopilot: int, setting: str, **changed: float | None) -> Setting:
    return read_settings(autopilot, NEWEST[autopilot], {**WHOLE[autopilot], **changed})[setting]


@pytest.mark.parametrize(
    ("autopilot", "name", "value", "setting"),
    [
        (GENERIC, "return.height_m", 1500, "return_height_m"),  # cm where metres are meant
        (ARDUPILOT, "RTL_ALT", 40, "return_height_m"),  # metres where cm are meant
        (ARDUPILOT, "RTL_ALT", 500_000, "return_height_m"),
        (ARDUPILOT, "WPNAV_SPEED", 8, "plan_speed_m_s"),
        (ARDUPILOT, "ANGLE_MAX", 35, "tilt_deg"),
        (ARDUPILOT, "RTL_CONE_SLOPE", 0.2, "return_cone_slope"),
        (ARDUPILOT, "BATT_CAPACITY", 22, "pack_capacity_mah"),
        (ARDUPILOT, "RTL_LOIT_TIME", -1, "return_hold_s"),
        (PX4, "RTL_RETURN_ALT", 4500, "return_height_m"),
        (PX4, "MPC_XY_CRUISE", 700, "return_speed_m_s"),
        (PX4, "MPC_XY_CRUISE", 0, "return_speed_m_s"),
        (PX4, "RTL_CONE_ANG", 1000, "return_cone_slope"),
    ],
)
def test_a_number_in_the_wrong_unit_is_not_understood(
    autopilot: int, name: str, value: float, setting: str
) -> None:
    found = with_(autopilot, setting, **{name: value})
    assert (found.status, found.value) == (NOT, None)
    assert name in found.names
    assert f"{name} = {value:g}" in found.why
    assert "outside" in found.why


@pytest.mark.parametrize(
    ("autopilot", "name", "value", "setting"),
    [
        (GENERIC, "return.order", 173456, "return_order"),
        (GENERIC, "return.order", 1131, "return_order"),
        (GENERIC, "return.order", -1, "return_order"),
        (GENERIC, "control.action", 6, "control_lost_action"),
        (GENERIC, "return.places", 2, "return_to"),
        (ARDUPILOT, "FS_THR_ENABLE", 2, "control_lost_action"),  # was taken out with 4.0
        (ARDUPILOT, "FS_THR_ENABLE", 1.5, "control_lost_action"),
        (ARDUPILOT, "FS_OPTIONS", 64, "control_lost_kept"),
        (ARDUPILOT, "FENCE_ACTION", 77, "fence_action"),
        (PX4, "NAV_RCL_ACT", 4, "control_lost_action"),
        (PX4, "COM_RCL_EXCEPT", 1024, "control_lost_kept"),
        (PX4, "RTL_TYPE", 2, "return_order"),
        (PX4, "COM_POSCTL_NAVL", 0, "position_lost_action"),
    ],
)
def test_a_number_that_nobody_knows_is_not_understood(
    autopilot: int, name: str, value: float, setting: str
) -> None:
    found = with_(autopilot, setting, **{name: value})
    assert (found.status, found.value, found.names[-1]) == (NOT, None, name)
    assert f"{name} = {value:g}" in found.why


@pytest.mark.parametrize(
    ("autopilot", "changed", "setting", "expected"),
    [
        (ARDUPILOT, {"RTL_ALT": 0}, "return_height_m", "present"),
        (ARDUPILOT, {"RTL_SPEED": 600}, "return_speed_m_s", 6.0),
        (ARDUPILOT, {"RTL_CONE_SLOPE": 0}, "return_cone_slope", "off"),
        (ARDUPILOT, {"RTL_ALT_FINAL": 500}, "return_final_height_m", 5.0),
        (ARDUPILOT, {"RTL_ALT_FINAL": 500}, "return_order", ("climb", "cruise", "hold", "descend")),
        (ARDUPILOT, {"RTL_ALT_FINAL": -1}, "return_final_height_m", 0.0),
        (ARDUPILOT, {"LAND_SPEED_HIGH": 200}, "landing_high_m_s", 2.0),
        (ARDUPILOT, {"PSC_ANGLE_MAX": 25}, "tilt_deg", 25.0),
        (ARDUPILOT, {"FENCE_ENABLE": 0}, "fence_radius_m", "off"),
        (ARDUPILOT, {"FENCE_TYPE": 1}, "fence_radius_m", "off"),
        (ARDUPILOT, {"FENCE_TYPE": 2}, "fence_height_m", "off"),
        (ARDUPILOT, {"FENCE_ENABLE": 0}, "fence_action", "nothing"),
        (ARDUPILOT, {"FS_THR_ENABLE": 0}, "control_lost_s", "off"),
        (ARDUPILOT, {"FS_OPTIONS": 5}, "control_lost_kept", ("mission", "external")),
        (ARDUPILOT, {"FS_OPTIONS": 10}, "station_lost_kept", ("mission", "landing")),
        (ARDUPILOT, {"FS_EKF_THRESH": 0}, "position_lost_action", "nothing"),
        (ARDUPILOT, {"RALLY_LIMIT_KM": 0}, "return_to_within_m", "any"),
        (PX4, {"RTL_LAND_DELAY": -1}, "return_hold_s", "endless"),
        (PX4, {"RTL_LAND_DELAY": -1}, "return_final_height_m", 12.0),
        (PX4, {"RTL_LAND_DELAY": -1}, "return_order", ("climb", "cruise", "descend", "hold")),
        (PX4, {"RTL_CONE_ANG": 0}, "return_cone_slope", "off"),
        (PX4, {"RTL_CONE_ANG": 90}, "return_cone_slope", 0.0),
        (PX4, {"RTL_CONE_ANG": 25}, "return_cone_slope", 2.144507),  # 1 / tan(25 deg)
        (PX4, {"BAT1_CAPACITY": -1}, "pack_capacity_mah", "none"),
        (PX4, {"NAV_DLL_ACT": 3}, "station_lost_s", 15.0),
        (GENERIC, {"return.hold_s": -1}, "return_hold_s", "endless"),
    ],
)
def test_special_values(autopilot: int, changed: dict[str, float], setting: str, expected: Value) -> None:
    found = with_(autopilot, setting, **changed)
    assert found.status is UNDERSTOOD
    assert found.value == expected


def test_a_height_kept_over_the_ground_is_no_height_over_home() -> None:
    found = with_(ARDUPILOT, "return_height_m", RTL_ALT_TYPE=1)
    assert (found.status, found.names) == (NOT, ("RTL_ALT_TYPE",))
    assert "over the ground" in found.why


def test_two_names_for_one_thing_must_agree() -> None:
    renamed = {"RTL_ALT_TYPE": 0.0, "RTL_ALT": 3000.0, "RTL_ALT_M": 30.0}
    found = read_settings(ARDUPILOT, version(4, 7), renamed)["return_height_m"]
    assert (found.value, set(found.names)) == (30.0, set(renamed))
    found = read_settings(ARDUPILOT, version(4, 7), {**renamed, "RTL_ALT_M": 31.0})["return_height_m"]
    assert (found.status, found.value) == (NOT, None)
    assert "disagree" in found.why
    assert {"RTL_ALT", "RTL_ALT_M"} <= set(found.names)
    found = read_settings(ARDUPILOT, version(4, 7), {**renamed, "RTL_ALT_M": None})["return_height_m"]
    assert found.status is NOT  # one of them is not understood
    assert "RTL_ALT_M" in found.why
    found = read_settings(PX4, None, {"BAT1_CAPACITY": 16000, "BAT_CAPACITY": 22000})["pack_capacity_mah"]
    assert "disagree" in found.why


@pytest.mark.parametrize(
    ("told", "value", "expected"),
    [
        (version(3, 5), 2, "return"), (version(4, 3), 2, None), (None, 2, None), (0, 2, None),
        (version(3, 5), 3, "land"), (version(4, 3), 3, "land"), (None, 3, "land"), (0, 3, "land"),
        (version(3, 5), 7, None), (version(4, 3), 7, "hold"), (None, 7, None),
    ],
)  # fmt: skip
def test_an_unknown_version_is_understood_where_all_versions_agree(
    told: int | None, value: float, expected: str | None
) -> None:
    found = read_settings(ARDUPILOT, told, {"FS_THR_ENABLE": value, "RTL_ALT": 3000.0})["control_lost_action"]
    assert found.value == expected
    if expected is None:
        assert found.status is NOT
        assert ("version" in found.why) is (not told)


def test_names_that_are_there_narrow_an_unknown_version_down() -> None:
    values = {"FS_THR_ENABLE": 2.0, "RTL_ALT": 3000.0}
    old = read_settings(ARDUPILOT, None, {**values, "FS_BATT_VOLTAGE": 10.5})
    assert old["control_lost_action"].word == "return"
    assert old["control_lost_kept"].words == ("mission",)
    assert old["return_height_m"].status is NOT_SEEN  # over the ground or not is still to come
    assert old["landing_change_m"].number == 10.0
    new = read_settings(ARDUPILOT, None, {**values, "RTL_ALT_TYPE": 0.0})
    assert new["control_lost_action"].status is NOT
    assert new["return_height_m"].number == 30.0
    assert new["landing_change_m"].status is NOT_SEEN
    # no version has both: any may be
    values |= {"FS_BATT_VOLTAGE": 10.5, "RTL_ALT_TYPE": 0.0}
    assert read_settings(ARDUPILOT, None, values)["control_lost_action"].status is NOT
    assert read_settings(ARDUPILOT, None, {**values, "FS_THR_ENABLE": 3.0})["control_lost_action"].word == "land"


def test_what_is_known_of_some_versions_only_hangs_on_the_version_unless_a_name_may_still_tell() -> None:
    values = {"RTL_RETURN_ALT": 40.0, "RTL_TYPE": 0.0}
    assert read_settings(PX4, version(1, 14), values)["return_to"].word == "nearest"
    for told, why in ((None, "version, which was not told"), (version(1, 9), "nothing is known")):
        found = read_settings(PX4, told, values)["return_to"]
        assert found.status is NOT
        assert why in found.why
    # a constant of old firmware, a parameter of later one
    found = read_settings(ARDUPILOT, None, {"RTL_ALT": 3000.0})["landing_change_m"]
    assert (found.status, found.names) == (NOT_SEEN, ("LAND_ALT_LOW", "LAND_ALT_LOW_M"))


def test_a_name_the_aircraft_need_not_have_is_waited_for_until_all_are_there() -> None:
    values = {"RTL_ALT": 3000.0, "FENCE_ENABLE": 0.0}
    found = read_settings(ARDUPILOT, None, values)
    assert (found["return_height_m"].status, found["fence_action"].status) == (NOT_SEEN, NOT_SEEN)
    found = read_settings(ARDUPILOT, None, values, complete=True)
    assert (found["return_height_m"].number, found["fence_action"].word) == (30.0, "nothing")
    assert found["return_hold_s"].status is NOT
    assert "no parameter of a name" in found["return_hold_s"].why
    assert found.low_battery is None  # which is not to say that it does nothing


@pytest.mark.parametrize("autopilot", [1, 4, 8, 20, 21, 255, -1])
def test_of_an_unknown_autopilot_nothing_is_understood_for_one_reason(autopilot: int) -> None:
    settings = read_settings(autopilot, version(4, 3), {**AN_ARDUPILOT, **A_PX4, **simulated()}, complete=True)
    found = everything(settings)
    assert found.keys() == VOCABULARY.keys()
    assert {(one.status, one.value, one.names) for one in found.values()} == {(NOT, None, ())}
    assert len({one.why for one in found.values()}) == 1
    assert settings.low_battery is None
    assert settings.return_lands is None


@pytest.mark.parametrize("vehicle", [dialect.MAV_TYPE_FIXED_WING, dialect.MAV_TYPE_GROUND_ROVER, 0, 21])
def test_what_is_no_multirotor_is_not_read_as_one(vehicle: int) -> None:
    found = everything(read_settings(ARDUPILOT, version(4, 3), AN_ARDUPILOT, vehicle=vehicle))
    assert {one.status for one in found.values()} == {NOT}
    assert {one.why for one in found.values()} == {"with this autopilot, parameters are known of multirotors only"}


@pytest.mark.parametrize("complete", [False, True])
@pytest.mark.parametrize("autopilot", [GENERIC, ARDUPILOT, PX4])
def test_of_invented_names_nothing_is_understood(autopilot: int, *, complete: bool) -> None:
    dice = random.Random(7)
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ_0123456789"
    values = {"".join(dice.choices(letters, k=16)): dice.uniform(-1e4, 1e4) for _ in range(4000)}
    for told in (None, version(1, 14), version(4, 3)):
        found = everything(read_settings(autopilot, told, values, complete=complete))
        assert {one.value for one in found.values()} == {None}
        assert UNDERSTOOD not in {one.status for one in found.values()}
    assert all(one.why for one in found.values())


@pytest.mark.parametrize("autopilot", [GENERIC, ARDUPILOT, PX4])
def test_before_anything_came_nothing_is_understood(autopilot: int) -> None:
    found = everything(read_settings(autopilot, None, {}))
    assert UNDERSTOOD not in {one.status for one in found.values()}
    assert found["return_height_m"].status is NOT_SEEN


NAMES = sorted({"RTL_ALT", "RTL_ALT_M", "FS_BATT_MAH", *AN_ARDUPILOT, *A_PX4, *simulated()})
NUMBERS = st.none() | st.floats(width=32) | st.integers(-2, 8).map(float) | st.sampled_from([0.0, 100.0, 3e3])


@given(
    st.dictionaries(st.sampled_from(NAMES), NUMBERS, max_size=60),
    st.sampled_from(sorted(tables())),
    st.none() | st.integers(0, 2**32 - 1),
    st.booleans(),
)
def test_whatever_comes_a_setting_is_plausible_or_says_why_not(
    values: dict[str, float | None], autopilot: int, told: int | None, complete: bool
) -> None:
    settings = read_settings(autopilot, told, values, complete=complete)
    for name, one in everything(settings).items():
        if one.status is UNDERSTOOD:
            assert one.value is not None
            assert not one.why
            assert name not in VOCABULARY or VOCABULARY[name].allows(one.value)
            assert values.keys() >= set(one.names)
        else:
            assert one.value is None
            assert one.why


def test_the_stream_tells_version_changes_and_whether_the_list_is_whole() -> None:
    flight = Flight(autopilot=ARDUPILOT)
    flight.beat()
    parameters = flight.aircraft.parameters
    assert (parameters.version, parameters.changes, parameters.complete) == (None, 0, False)
    say(flight, "RTL_ALT", 3000)
    say(flight, "RTL_ALT_TYPE", 0)
    after = parameters.changes
    assert after >= 2
    assert parameters.complete
    say(flight, "RTL_ALT", 3000)
    assert parameters.changes == after  # nothing new
    say(flight, "RTL_ALT", 2500)
    flight.send("AUTOPILOT_VERSION", capabilities=131072, flight_sw_version=0x040301FF)
    assert parameters.changes == after + 2
    assert parameters.version == 0x040301FF
    flight.send("AUTOPILOT_VERSION", capabilities=131072, flight_sw_version=0x040301FF)
    assert parameters.changes == after + 2
    found = read_settings(ARDUPILOT, parameters.version, parameters.values, complete=parameters.complete)
    assert found["return_height_m"].number == 25.0


def say(flight: Flight, name: str, value: float) -> None:
    raw = struct.unpack("<f", struct.pack("<f", value))[0]
    flight.send("PARAM_VALUE", param_id=name, param_value=raw, param_type=9, param_count=2)
