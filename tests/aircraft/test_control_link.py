"""The pilot's control, ground stations and radios as they are heard; messages packed by pymavlink."""

from __future__ import annotations

import pytest

from tests.aircraft.feeder import HOME, Flight, Sender
from watchkeeper.aircraft.control import RECEIVER_BIT, STICKS
from watchkeeper.aircraft.stations import MOST, Stations

GCS = 6
"""MAV_TYPE_GCS"""
INVALID = 8
"""MAV_AUTOPILOT_INVALID"""
S = 1_000_000


def flying() -> Flight:
    flight = Flight()
    flight.beat(armed=True)
    flight.at(*HOME)
    return flight


def status(flight: Flight, *, healthy: bool, there: bool = True) -> None:
    bit = RECEIVER_BIT if there else 0
    flight.send(
        "SYS_STATUS",
        onboard_control_sensors_present=bit,
        onboard_control_sensors_enabled=bit,
        onboard_control_sensors_health=RECEIVER_BIT if healthy else 0,
    )


def channels(flight: Flight, count: int = 8, rssi: int = 255) -> None:
    flight.send("RC_CHANNELS", chancount=count, rssi=rssi)


def test_the_receivers_bit_goes_out_and_comes_back() -> None:
    # common.xml: MAV_SYS_STATUS_SENSOR_RC_RECEIVER is bit 16; lost is present, enabled, not healthy
    assert RECEIVER_BIT == 1 << 16
    flight = flying()
    assert flight.is_blind("control.lost")
    status(flight, healthy=True)
    assert flight.read("control.lost") is False
    flight.wait(1)
    assert flight.read("control.age") == pytest.approx(1)
    status(flight, healthy=False)
    assert flight.read("control.lost") is True
    assert flight.read("control.age") == pytest.approx(1)
    flight.wait(1)
    status(flight, healthy=True)
    assert flight.read("control.lost") is False
    assert flight.read("control.age") == 0


def test_a_receiver_that_never_worked_says_nothing() -> None:
    flight = flying()
    for _ in range(5):
        flight.wait(1)
        status(flight, healthy=False)
        channels(flight, 0, 0)
    assert flight.is_blind("control.lost")
    assert flight.is_blind("control.age")
    status(flight, healthy=False, there=False)
    assert flight.is_blind("control.lost")


def test_channels_that_go_to_none() -> None:
    flight = flying()
    channels(flight, 16, 0)  # strength is not measured on many aircraft: always 0
    assert flight.read("control.lost") is False
    channels(flight, 0, 0)
    assert flight.read("control.lost") is True
    channels(flight, 16, 0)
    assert flight.read("control.lost") is False


def test_a_strength_that_was_measured_and_is_none() -> None:
    flight = flying()
    channels(flight, 16, 120)
    channels(flight, 16, 0)
    assert flight.read("control.lost") is True
    channels(flight, 16, 255)  # 255 is unknown (common.xml), which is no loss
    assert flight.read("control.lost") is False


def test_either_witness_is_enough_and_one_that_fell_silent_is_none() -> None:
    flight = flying()
    status(flight, healthy=True)
    channels(flight, 8)
    channels(flight, 0)
    status(flight, healthy=True)
    assert flight.read("control.lost") is True
    flight.wait(13)  # twelve seconds after its last word it says nothing any more
    status(flight, healthy=True)
    assert flight.read("control.lost") is False


def test_a_new_power_up_knows_nothing_of_it() -> None:
    flight = flying()
    status(flight, healthy=True)
    flight.aircraft.restart(flight.now_us)
    assert flight.is_blind("control.lost")
    status(flight, healthy=False)
    assert flight.is_blind("control.lost")


def station(flight: Flight, system: int = 255, component: int = 190, kind: int = GCS) -> Sender:
    sender = Sender(system, component)
    flight.hear(sender.pack("HEARTBEAT", type=kind, autopilot=INVALID))
    return sender


def beat(flight: Flight, sender: Sender) -> None:
    flight.hear(sender.pack("HEARTBEAT", type=GCS, autopilot=INVALID))


def sticks(flight: Flight, sender: Sender, target: int = 7) -> None:
    flight.hear(sender.pack("MANUAL_CONTROL", target=target, x=100, z=500))


def test_a_station_is_heard_by_its_heartbeat_only() -> None:
    flight = flying()
    assert flight.is_blind("station.age")
    station(flight, 42, 1, kind=18)  # MAV_TYPE_ONBOARD_CONTROLLER
    assert flight.is_blind("station.age")
    ground = station(flight)
    flight.wait(7)
    assert flight.read("station.age") == pytest.approx(7)
    beat(flight, ground)
    assert flight.read("station.age") == 0


def test_the_station_in_charge_is_missed_although_another_is_heard() -> None:
    flight = flying()
    first = station(flight)
    second = station(flight, 254)
    flight.wait(30)
    beat(flight, second)
    assert flight.read("station.age") == pytest.approx(30)
    flight.wait(31)
    beat(flight, second)  # a minute after the first was heard the other takes over
    assert flight.read("station.age") == 0
    beat(flight, first)
    flight.wait(5)
    beat(flight, first)
    assert flight.read("station.age") == pytest.approx(5)


def test_who_steers_is_in_charge() -> None:
    flight = flying()
    station(flight)
    second = station(flight, 254)
    sticks(flight, second)
    flight.wait(3)
    beat(flight, second)
    assert flight.read("station.age") == 0


def test_sticks_of_a_station_are_control() -> None:
    flight = flying()
    ground = station(flight)
    for _ in range(STICKS):
        sticks(flight, ground)
        flight.wait(0.1)
    assert flight.read("control.by_station") is True
    flight.wait(2.9)
    assert flight.read("control.age") == pytest.approx(3)


def test_sticks_beside_a_receiver_that_works_are_not_what_steers() -> None:
    flight = flying()
    ground = station(flight)
    channels(flight)
    for _ in range(STICKS):
        sticks(flight, ground)
    assert flight.read("control.by_station") is False
    channels(flight, 0)
    sticks(flight, ground)
    assert flight.read("control.by_station") is True


@pytest.mark.parametrize("target", [8, 0, 255])
def test_sticks_for_another_are_not_its_own(target: int) -> None:
    flight = flying()
    ground = station(flight)
    for _ in range(STICKS):
        sticks(flight, ground, target)
    assert flight.is_blind("control.age")


def test_sticks_of_nobody_known_count_not() -> None:
    flight = flying()
    stranger = Sender(99, 9)
    for _ in range(STICKS):
        sticks(flight, stranger)
    assert flight.is_blind("control.age")


def test_channels_given_back_are_no_sticks() -> None:
    # common.xml: 65535 leaves a channel as it is, 0 gives it back to the receiver
    flight = flying()
    ground = station(flight)
    flight.hear(ground.pack("RC_CHANNELS_OVERRIDE", target_system=7, chan1_raw=65535, chan2_raw=0))
    assert flight.is_blind("control.age")
    flight.hear(ground.pack("RC_CHANNELS_OVERRIDE", target_system=7, chan1_raw=1500, chan2_raw=1400))
    assert flight.read("control.age") == 0


def test_made_up_stations_take_no_room_and_no_charge() -> None:
    stations = Stations()
    assert stations.beat((255, 190), 0)
    for system in range(1, 250):
        assert not stations.beat((system, 1), S)
    assert stations.leading == (255, 190)
    assert len(stations._heard) == MOST
    assert stations.beat((255, 190), 2 * S)
    assert not stations.steers((250, 1), 2 * S)


def report(flight: Flight, source: str, steps: int = 150, **fields: int) -> None:
    values = {"rssi": steps, "remrssi": steps, "noise": 50, "remnoise": 50, **fields}
    flight.hear(Sender(51, 68).pack("RADIO_STATUS", **values), source)


def test_a_radio_tells_by_its_own_zero_in_steps() -> None:
    # Facts section 7: steps of 1/1.9 dB; 255 is unknown
    flight = flying()
    report(flight, "a", 190, remrssi=152, noise=38, remnoise=57)
    assert flight.read("radio.signal") == pytest.approx(90)
    assert flight.read("radio.noise") == pytest.approx(20)
    assert flight.read("radio.noise_far") == pytest.approx(30)
    assert flight.read("link.margin") == pytest.approx(50)
    report(flight, "a", 190, remrssi=0, remnoise=0)  # the far end is off
    assert flight.read("radio.signal") == pytest.approx(100)
    assert flight.is_blind("radio.noise_far")
    report(flight, "a", 255, remrssi=255, noise=255, remnoise=255)
    for name in ("radio.signal", "radio.noise", "radio.noise_far", "link.margin"):
        assert flight.is_blind(name)
    assert flight.read("radio.age") == 0


def test_a_radio_of_a_source_without_the_aircraft_is_not_its_radio() -> None:
    flight = flying()
    report(flight, "elsewhere")
    assert flight.is_blind("radio.age")


def test_the_worse_of_two_radios_keeps_the_age_young_and_tells_no_margin() -> None:
    flight = flying()
    flight.hear(flight.sender.pack("HEARTBEAT", type=2, autopilot=3), "b")
    report(flight, "a", 190)
    assert flight.aircraft.control.told_by == "a"
    margin_db = flight.read("link.margin")
    flight.wait(4)
    report(flight, "b", 90)
    assert flight.read("radio.age") == 0
    assert flight.read("link.margin") == margin_db
    assert flight.aircraft.control.told_by == "a"
    flight.wait(2)  # five seconds after its last report the better one counts no more
    report(flight, "b", 90)
    assert flight.aircraft.control.told_by == "b"
    assert flight.read("link.margin") < margin_db
