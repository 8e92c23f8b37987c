"""Whether it knows where it is: fixes and filter flags, against MAVLink's own definitions (pymavlink's enums)."""

from __future__ import annotations

import math

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import HOME, Flight, Sender

LATITUDE, LONGITUDE = (round(degrees * 1e7) for degrees in HOME)
GOOD = (
    dialect.ESTIMATOR_ATTITUDE
    | dialect.ESTIMATOR_VELOCITY_HORIZ
    | dialect.ESTIMATOR_VELOCITY_VERT
    | dialect.ESTIMATOR_POS_HORIZ_REL
    | dialect.ESTIMATOR_POS_HORIZ_ABS
    | dialect.ESTIMATOR_POS_VERT_ABS
)


def flight() -> Flight:
    made = Flight()
    made.beat()
    return made


def fix(made: Flight, kind: int, name: str = "GPS_RAW_INT") -> None:
    made.send(name, fix_type=kind, lat=LATITUDE, lon=LONGITUDE, satellites_visible=14, eph=80)


@pytest.mark.parametrize("kind", range(9))
def test_a_fix_is_one_from_three_dimensions_on(kind: int) -> None:
    # GPS_FIX_TYPE: 0 none, 1 no fix, 2 2D, 3 3D and better (facts.md 8)
    made = flight()
    fix(made, kind)
    assert made.read("position.valid") is (kind >= dialect.GPS_FIX_TYPE_3D_FIX)


def test_nothing_heard_and_an_unknown_fix_are_unknown_not_well() -> None:
    made = flight()
    assert made.is_blind("position.valid")
    fix(made, 99)
    assert made.is_blind("position.valid")


@pytest.mark.parametrize("name", ["ESTIMATOR_STATUS", "EKF_STATUS_REPORT"])
def test_the_filter_has_to_have_a_place_too(name: str) -> None:
    made = flight()
    fix(made, 3)
    made.send(name, flags=GOOD)
    assert made.read("position.valid") is True
    made.send(name, flags=GOOD & ~dialect.ESTIMATOR_POS_HORIZ_ABS)
    assert made.read("position.valid") is False
    made.send(name, flags=GOOD | dialect.ESTIMATOR_CONST_POS_MODE)
    assert made.read("position.valid") is False
    made.send(name, flags=GOOD)
    fix(made, 1)
    assert made.read("position.valid") is False, "it reckons on by itself, and not for long"


def test_the_same_bit_means_two_things() -> None:
    # 1024: ESTIMATOR_GPS_GLITCH in the one, EKF_UNINITIALIZED in the other
    assert dialect.ESTIMATOR_GPS_GLITCH == dialect.EKF_UNINITIALIZED == 1024
    made = flight()
    fix(made, 3)
    made.send("ESTIMATOR_STATUS", flags=GOOD | 1024)
    assert made.read("position.valid") is True
    assert made.read("filter.rejects") is True
    made.send("EKF_STATUS_REPORT", flags=GOOD | 1024)
    assert made.read("position.valid") is False
    assert made.read("filter.rejects") is False
    made.send("EKF_STATUS_REPORT", flags=GOOD | dialect.EKF_GPS_GLITCHING)
    assert made.read("filter.rejects") is True


def test_a_second_receiver_carries_the_position() -> None:
    made = flight()
    fix(made, 3)
    fix(made, 3, "GPS2_RAW")
    fix(made, 1)
    assert made.read("position.valid") is True
    fix(made, 2, "GPS2_RAW")
    assert made.read("position.valid") is False


def test_a_filter_without_any_receiver_is_believed() -> None:
    made = flight()
    fix(made, 0)
    made.send("ESTIMATOR_STATUS", flags=GOOD)
    assert made.read("position.valid") is True


def test_receivers_gone_silent_leave_the_word_to_the_filter() -> None:
    made = flight()
    fix(made, 3)
    made.wait(40)
    made.send("ESTIMATOR_STATUS", flags=GOOD)
    assert made.read("position.valid") is True
    made.send("ESTIMATOR_STATUS", flags=GOOD & ~dialect.ESTIMATOR_POS_HORIZ_ABS)
    assert made.read("position.valid") is False


@pytest.mark.parametrize("ratio", [math.nan, math.inf, -1.0])
def test_ratios_and_accuracies_that_are_none_are_unknown(ratio: float) -> None:
    made = flight()
    made.send("ESTIMATOR_STATUS", flags=GOOD, pos_horiz_ratio=ratio, vel_ratio=0.5, pos_horiz_accuracy=ratio)
    assert made.is_blind("filter.position_ratio")
    assert made.is_blind("position.accuracy")
    assert made.read("filter.velocity_ratio") == 0.5


@pytest.mark.parametrize(
    ("told_mm", "wanted_m"), [(0, None), (1, 0.001), (4_294_967_295, None), (999_999, 999.999)]
)
def test_accuracies_of_a_receiver(told_mm: int, wanted_m: float | None) -> None:
    made = flight()
    made.send("GPS_RAW_INT", fix_type=3, h_acc=told_mm, v_acc=told_mm, eph=65535, epv=65535, vel=65535, cog=65535)
    receiver = made.aircraft.receivers.first
    assert receiver.place_sd_m == receiver.height_sd_m == wanted_m
    assert receiver.dilution is receiver.tall_dilution is receiver.speed_m_s is receiver.course_deg is None


def test_the_worst_receiver_tells_of_jamming() -> None:
    made = flight()
    made.send("GNSS_INTEGRITY", id=0, jamming_state=dialect.GPS_JAMMING_STATE_DETECTED, spoofing_state=1)
    made.send("GNSS_INTEGRITY", id=1, jamming_state=dialect.GPS_JAMMING_STATE_NOT_JAMMED, spoofing_state=2)
    assert made.read("satellites.jamming") == "detected"
    assert made.read("satellites.spoofing") == "mitigated"
    made.send("GNSS_INTEGRITY", id=0, jamming_state=1, spoofing_state=1)
    assert made.read("satellites.jamming") == "clear"
    for receiver in range(200):  # made-up receivers find no room
        made.send("GNSS_INTEGRITY", id=receiver, jamming_state=1, spoofing_state=1)
    made.send("GNSS_INTEGRITY", id=199, jamming_state=3, spoofing_state=3)
    assert made.read("satellites.jamming") == "clear"


def test_another_component_says_nothing_of_its_position() -> None:
    made = flight()
    fix(made, 3)
    made.hear(Sender(7, 100).pack("ESTIMATOR_STATUS", flags=0))
    made.hear(Sender(8, 1).pack("GPS_RAW_INT", fix_type=0))
    assert made.read("position.valid") is True


def test_a_start_anew_forgets_what_was_heard() -> None:
    made = flight()
    fix(made, 3)
    fix(made, 3, "GPS2_RAW")
    made.aircraft.restart(made.now_us)
    assert made.is_blind("position.valid")
    fix(made, 1)
    made.send("ESTIMATOR_STATUS", flags=GOOD)
    assert made.read("position.valid") is True, "no receiver had a fix since then"
