"""What the watch says of its sources, in plain words."""

from __future__ import annotations

from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, QUADROTOR, Flight, Listener, Sender
from watchkeeper.aircraft.describe import MOST_PEERS, describe_sources


def said(listener: Listener) -> str:
    return "\n".join(describe_sources(listener.fleet, listener.now_us))


def ten_seconds(flight: Flight, *, position_hz: int = 2) -> None:
    station = Sender(255, 190)
    radio = Sender(51, 68)
    for _ in range(10):
        flight.beat()
        for _ in range(position_hz):
            flight.at()
            flight.wait(1 / position_hz)
        flight.gps()
        flight.send("SYS_STATUS", voltage_battery=12000, current_battery=10, battery_remaining=90)
        flight.send("ATTITUDE", time_boot_ms=flight.boot_ms)
        flight.send("VFR_HUD", alt=100.0)
        flight.hear(station.pack("HEARTBEAT", type=dialect.MAV_TYPE_GCS, autopilot=dialect.MAV_AUTOPILOT_INVALID))
        flight.hear(radio.pack("RADIO_STATUS", rssi=100, remrssi=100, noise=40, remnoise=40))


def test_nothing_heard() -> None:
    assert "Nothing heard yet" in said(Listener())


def test_a_stream_with_all_that_is_wanted() -> None:
    flight = Flight()
    ten_seconds(flight)
    text = said(flight)
    assert "Aircraft 7: " in text
    assert "GLOBAL_POSITION_INT 2.0" in text
    assert "Ground station 255: 10 messages" in text
    assert "Radio 51: 10 messages" in text
    assert "The ground station's own messages are seen." in text
    assert "No parameters seen" in text
    for bad in ("No position", "Slow", "No battery", "No satellites", "No radio", "lost"):
        assert bad not in text, text


def test_what_is_missing_and_slow_and_what_to_change() -> None:
    flight = Flight()
    for step in range(40):
        if step % 8 == 0:
            flight.at()
        flight.beat()
        flight.wait(0.5)
    text = said(flight)
    assert "No battery: let the aircraft send BATTERY_STATUS or SYS_STATUS at 0.5 a second or more." in text
    assert "No satellites: let the aircraft send GPS_RAW_INT" in text
    assert "Slow position (0.3 a second): raise GLOBAL_POSITION_INT to 1 or more." in text
    assert "No radio report" in text
    assert "own messages are not seen" in text


def test_a_message_that_stopped_coming_is_not_hidden_by_its_mean_rate() -> None:
    flight = Flight()
    for _ in range(6):
        ten_seconds(flight)
    for _ in range(20):
        flight.wait(1)
        flight.beat()
        flight.send("SYS_STATUS", voltage_battery=12000, current_battery=10, battery_remaining=90)
    text = said(flight)
    assert "No position for 20 s: look why GLOBAL_POSITION_INT stopped." in text
    assert "No satellites for 20 s: look why GPS_RAW_INT stopped." in text
    assert "battery for" not in text
    assert "heartbeat for" not in text


def test_loss_and_silence() -> None:
    flight = Flight()
    ten_seconds(flight)
    flight.sender.mav.seq = (flight.sender.mav.seq + 20) % 256
    flight.beat()
    flight.wait(30)
    assert "% lost; silent for 30 s." in said(flight)


def test_parameters_seen_and_who_else_is_there() -> None:
    flight = Flight()
    ten_seconds(flight)
    flight.send("PARAM_VALUE", param_id="A", param_type=9, param_count=797)
    gimbal = Sender(7, 154)
    flight.hear(gimbal.pack("HEARTBEAT", type=dialect.MAV_TYPE_GIMBAL, autopilot=dialect.MAV_AUTOPILOT_INVALID))
    flight.hear(Sender(33, 5).pack("SYS_STATUS"))
    text = said(flight)
    assert "1 of 797 parameters seen." in text
    assert "Gimbal 7: 1 messages" in text
    assert "System 33, component 5: 1 messages" in text


def test_a_source_without_an_aircraft() -> None:
    listener = Listener()
    listener.hear(Sender(255, 0).pack("PARAM_REQUEST_READ"))
    text = said(listener)
    assert "Ground station 255 (no heartbeat)" in text
    assert "No aircraft here" in text


def test_a_crowd_is_cut_short() -> None:
    listener = Listener()
    for component in range(100):
        listener.hear(Sender(9, component).pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT))
    assert f"And {100 - MOST_PEERS} more components." in said(listener)
    assert len(describe_sources(listener.fleet, listener.now_us)) < MOST_PEERS + 10
