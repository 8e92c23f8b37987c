"""Messages to readings: SI values, unknowns and faults, against messages packed by pymavlink."""

from __future__ import annotations

import math
import random

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import HOME, Flight, Sender
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.aircraft.fleet import TOUCHES, Fleet
from watchkeeper.link.framing import GOOD
from watchkeeper.link.tables import MESSAGES


@pytest.fixture
def flight() -> Flight:
    begun = Flight()
    begun.beat()
    return begun


def test_position_in_si(flight: Flight) -> None:
    # facts.md section 9: degE7, mm above home, cm/s NED with down positive
    flight.at(height_m=12.34, vz=-150)
    assert flight.read("position.height") == pytest.approx(12.34)
    assert flight.read("position.ground_speed") == pytest.approx(5.0)
    assert flight.read("position.climb_rate") == pytest.approx(1.5)
    assert flight.aircraft.position == HOME


def test_without_a_fix_a_position_of_zeros_is_none(flight: Flight) -> None:
    flight.send("HOME_POSITION", latitude=round(HOME[0] * 1e7), longitude=round(HOME[1] * 1e7), q=[0] * 4)
    flight.at()
    assert flight.read("position.home_distance") == 0
    flight.at(0.0, 0.0)
    assert flight.aircraft.position is None
    assert flight.is_blind("position.home_distance")
    assert flight.is_blind("position.home_bearing")
    assert flight.read("position.height") == 0


def test_climb_is_taken_from_the_message_whose_sign_is_beyond_doubt(flight: Flight) -> None:
    flight.at(vz=-150)
    flight.send("VFR_HUD", climb=-2.5, groundspeed=3.0, throttle=40, alt=130.0)
    assert flight.read("position.climb_rate") == -2.5
    flight.at(vz=-150)
    assert flight.read("position.climb_rate") == -2.5
    assert flight.read("position.ground_speed") == 5.0


@pytest.mark.parametrize("sign", [1, -1])
def test_a_sender_that_counts_vz_upwards_is_found_out(flight: Flight, sign: int) -> None:
    # four of the five recordings: vz is positive while relative_alt rises
    for step in range(12):
        flight.wait(0.5)
        flight.at(height_m=step * 1.0, vz=-sign * 200)
    assert flight.read("position.climb_rate") == pytest.approx(2.0)
    flight.wait(0.5)
    flight.at(height_m=10.0, vz=sign * 200)
    assert flight.read("position.climb_rate") == pytest.approx(-2.0)


def test_height_and_speed_fall_back_to_the_head_up_display(flight: Flight) -> None:
    flight.at(height_m=10)  # home is at 100 m above sea level
    flight.wait(10)
    flight.send("VFR_HUD", climb=1.0, groundspeed=3.5, throttle=40, alt=125.0)
    assert flight.read("position.height") == pytest.approx(25.0)
    assert flight.read("position.ground_speed") == 3.5


def test_not_a_number_where_it_means_nothing_is_a_fault(flight: Flight) -> None:
    flight.send("VFR_HUD", climb=math.nan, groundspeed=math.inf, throttle=40, alt=125.0)
    assert flight.is_fault("position.climb_rate")
    assert flight.is_fault("position.ground_speed")
    flight.send("WIND", direction=math.nan, speed=4.0)
    assert flight.is_fault("wind.from")
    assert flight.read("wind.speed") == 4.0


def test_satellites(flight: Flight) -> None:
    # facts.md section 8: dilution x 100, 65535 unknown; satellites 255 unknown; fix types
    flight.gps(fix=6, used=21, eph=75)
    assert flight.read("satellites.used") == 21
    assert flight.read("satellites.hdop") == 0.75
    assert flight.read("satellites.fix") == "rtk_fixed"
    flight.gps(fix=1, used=255, eph=65535)
    assert flight.is_blind("satellites.used")
    assert flight.is_blind("satellites.hdop")
    assert flight.read("satellites.fix") == "no_fix"
    flight.gps(fix=99)
    assert flight.is_blind("satellites.fix")


def test_wind_comes_from_where_it_says(flight: Flight) -> None:
    flight.send("WIND", direction=-90.0, speed=4.0)
    assert flight.read("wind.from") == 270
    assert flight.read("wind.speed") == 4.0
    # facts.md section 9: WIND_COV is along north and east, so where the air goes to
    flight.send("WIND_COV", wind_x=3.0, wind_y=4.0)
    assert flight.read("wind.speed") == 5.0
    assert flight.read("wind.from") == pytest.approx(180 + math.degrees(math.atan2(4, 3)))
    flight.send("WIND_COV", wind_x=math.nan, wind_y=4.0)  # unknown
    assert flight.is_blind("wind.speed")
    assert flight.is_blind("wind.from")


def test_high_latency() -> None:
    # facts.md section 9: speeds m/s x 5, climb dm/s; common.xml: height in m above sea level, battery -1 unknown
    flight = Flight()
    fields = {
        "type": dialect.MAV_TYPE_HEXAROTOR, "autopilot": dialect.MAV_AUTOPILOT_ARDUPILOTMEGA, "custom_mode": 6,
        "latitude": 100_000_000, "longitude": 200_010_000, "altitude": 130, "groundspeed": 35, "windspeed": 21,
        "climb_rate": -15, "battery": 64, "throttle": 45, "target_distance": 12,
    }  # fmt: skip
    assert flight.send("HIGH_LATENCY2", **fields) == []
    flight.wait(30)
    assert flight.send("HIGH_LATENCY2", **fields)  # the second makes it an aircraft, however slow they come
    assert flight.read("flight.mode") == "safe_recovery"
    assert flight.read("position.ground_speed") == 7.0
    assert flight.read("position.climb_rate") == -1.5
    assert flight.read("wind.speed") == 4.2
    assert flight.read("battery.gauge_left") == 64
    assert flight.aircraft.position == (10.0, 20.001)
    assert flight.is_blind("position.height")  # where home is is not known yet
    flight.send("HOME_POSITION", latitude=100_000_000, longitude=200_000_000, altitude=100_000, q=[0] * 4)
    flight.send("HIGH_LATENCY2", **{**fields, "battery": -1})
    assert flight.read("position.height") == 30.0
    assert flight.read("position.home_distance") == pytest.approx(109.6, abs=0.2)
    assert flight.read("position.home_bearing") == pytest.approx(90, abs=0.1)


def test_home_from_the_aircraft_goes_before_arming_and_that_before_the_sortie() -> None:
    sortie = load_sortie_file("sortie: test\nhome: [10.001, 20.0]\n", "sortie.yaml")
    flight = Flight(Fleet([], sortie))
    flight.beat()
    assert flight.read("position.home_source") == "sortie"
    flight.gps()
    flight.at()
    assert flight.read("position.home_distance") == pytest.approx(110.6, abs=0.1)
    flight.beat(armed=True)
    assert flight.read("position.home_source") == "arming"
    assert flight.read("position.home_distance") == 0
    flight.send("HOME_POSITION", latitude=100_020_000, longitude=200_000_000, q=[0] * 4)
    assert flight.read("position.home_source") == "aircraft"
    assert flight.read("position.home_distance") == pytest.approx(221.2, abs=0.1)
    assert flight.read("position.home_bearing") == pytest.approx(180)
    assert flight.aircraft.home_moved_m == 0
    flight.send("HOME_POSITION", latitude=100_030_000, longitude=200_000_000, q=[0] * 4)
    assert flight.aircraft.home_moved_m == pytest.approx(110.6, abs=0.1)
    flight.send("HOME_POSITION", latitude=100_030_000, longitude=200_000_000, q=[0] * 4)
    assert flight.aircraft.home_moved_m == pytest.approx(110.6, abs=0.1)  # told again, not moved again
    flight.beat()
    flight.beat(armed=True)
    assert flight.read("position.home_source") == "aircraft"


def test_arming_is_home_only_when_it_was_seen_and_with_a_fix() -> None:
    flight = Flight()
    flight.gps()
    flight.beat(armed=True)
    flight.gps()
    flight.at()
    flight.beat(armed=True)
    assert flight.is_blind("position.home_source")
    flight.beat()
    flight.gps(fix=2)
    flight.beat(armed=True)
    assert flight.is_blind("position.home_source")


def test_margin_is_of_the_weaker_end() -> None:
    flight = Flight()
    radio = Sender(51, 68)
    flight.beat()
    usual = {"rssi": 190, "remrssi": 180, "noise": 40, "remnoise": 45, "txbuf": 100}
    touched = flight.hear(radio.pack("RADIO_STATUS", **usual))
    assert [aircraft.system for aircraft in touched] == [7]
    assert flight.read("link.margin") == pytest.approx((180 - 45) / 1.9)  # facts.md section 7: delta / 1.9
    flight.hear(radio.pack("RADIO_STATUS", **{**usual, "rssi": 255}))
    assert flight.read("link.margin") == pytest.approx((180 - 45) / 1.9)
    flight.hear(radio.pack("RADIO_STATUS", **{**usual, "remrssi": 0}))  # the far end is off
    assert flight.read("link.margin") == pytest.approx((190 - 40) / 1.9)
    flight.hear(radio.pack("RADIO_STATUS", **{**usual, "rssi": 255, "remrssi": 255}))
    assert flight.is_blind("link.margin")


def test_the_older_report_serves_where_the_newer_is_not_sent() -> None:
    flight = Flight()
    radio = Sender(51, 68, version=1)
    flight.beat()
    flight.hear(radio.pack("RADIO", rssi=100, remrssi=100, noise=24, remnoise=43))
    assert flight.read("link.margin") == pytest.approx(30)
    flight.hear(radio.pack("RADIO_STATUS", rssi=90, remrssi=100, noise=52, remnoise=24))
    flight.hear(radio.pack("RADIO", rssi=100, remrssi=100, noise=24, remnoise=43))
    assert flight.read("link.margin") == pytest.approx(20)
    before = flight.aircraft.readings.streams[INDEX["link.margin"]]
    assert before is not None
    assert before.count == 1


def test_texts_are_put_together_and_cleaned() -> None:
    flight = Flight()
    flight.beat()
    flight.send("STATUSTEXT", severity=2, text="Low \x1b[31mbattery")
    flight.send("STATUSTEXT", severity=4, text="x" * 50, id=9, chunk_seq=0)
    flight.send("STATUSTEXT", severity=4, text="y" * 10, id=9, chunk_seq=1)
    assert [(t.severity, t.words) for t in flight.aircraft.texts.latest] == [
        (2, "Low [31mbattery"),
        (4, "x" * 50 + "y" * 10),
    ]
    for _ in range(1000):
        flight.send("STATUSTEXT", severity=6, text="again")
    assert len(flight.aircraft.texts.latest) == 200


def test_a_text_whose_end_is_lost_is_kept_as_far_as_it_came() -> None:
    flight = Flight()
    flight.beat()
    flight.send("STATUSTEXT", severity=1, text="a" * 50, id=4, chunk_seq=0)
    flight.send("STATUSTEXT", severity=6, text="b" * 50, id=5, chunk_seq=0)
    flight.send("STATUSTEXT", severity=6, text="c", id=5, chunk_seq=1)
    assert [(t.severity, t.words) for t in flight.aircraft.texts.latest] == [(1, "a" * 50), (6, "b" * 50 + "c")]


def test_messages_write_only_readings_that_the_table_names() -> None:
    """Random payloads of every message, against the table that the rules are judged by."""
    chance = random.Random(3)
    always = {INDEX["flight.phase"], INDEX["link.age"]}
    written: set[int] = set()
    for message in sorted(MESSAGES):
        for _ in range(30):
            flight = Flight()
            flight.beat()
            flight.gps()
            flight.at()
            readings = flight.aircraft.readings
            before = [*readings.values], [*readings.streams]
            payload = chance.randbytes(chance.randrange(1, MESSAGES[message].full_length + 1))
            flight.fleet.receive("a", (7, 1, 9, message, payload, b"", GOOD), flight.now_us)
            changed = {
                i
                for i in range(len(before[0]))
                if readings.values[i] is not before[0][i] or readings.streams[i] is not before[1][i]
            }
            if flight.aircraft.power_up == 1:
                assert changed - always <= TOUCHES.get(message, frozenset()), MESSAGES[message].name
                written |= changed
    assert len(written) > 20
