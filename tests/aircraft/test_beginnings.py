"""When a component that is heard becomes an aircraft, and what makes room for one."""

from __future__ import annotations

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, QUADROTOR, Flight, Listener, Sender
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.describe import describe_sources
from watchkeeper.aircraft.fleet import MAX_AIRCRAFT, Fleet
from watchkeeper.aircraft.handlers import FOLDINGS
from watchkeeper.link.tables import MESSAGES

SLOW = {"type": QUADROTOR, "autopilot": ARDUPILOT, "altitude": 130, "battery": 64}


def beat(listener: Listener, system: int, times: int = 1, source: str = "a") -> None:
    for _ in range(times):
        listener.hear(Sender(system).pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT, base_mode=128), source)


def test_one_stray_heartbeat_makes_no_aircraft() -> None:
    flight = Flight()
    flight.beat_once(armed=True)
    for _ in range(5):
        flight.wait(5.1)
        assert flight.beat_once(armed=True) == []
    assert flight.fleet.aircraft == {}
    flight.wait(1)
    assert flight.beat_once() == [flight.aircraft]


def test_a_heartbeat_over_two_sources_is_one() -> None:
    flight = Flight()
    raw = flight.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT)
    flight.hear(raw, "a")
    flight.hear(raw, "b")
    assert flight.fleet.aircraft == {}


# heartbeats and radios begin otherwise; ESC_INFO and ESC_STATUS are not in pymavlink (facts.md 9)
@pytest.mark.parametrize("message", sorted(set(FOLDINGS) - {0, 109, 166, 290, 291}))
@pytest.mark.parametrize("heartbeat_first", [False, True])
def test_a_heartbeat_and_another_message_make_one(message: int, *, heartbeat_first: bool) -> None:
    flight = Flight()
    fields = SLOW if message == 235 else {}
    flight.beat_once() if heartbeat_first else flight.send(MESSAGES[message].name, **fields)
    assert flight.fleet.aircraft == {}
    flight.wait(4)
    flight.send(MESSAGES[message].name, **fields) if heartbeat_first else flight.beat_once()
    assert list(flight.fleet.aircraft) == [7]
    assert flight.read("flight.armed") is False


def test_nothing_is_lost_of_the_messages_that_make_one() -> None:
    flight = Flight()
    flight.beat_once(armed=True, mode=6)
    flight.wait(0.1)
    flight.at(height_m=12.0)
    assert flight.read("flight.armed") is True
    assert flight.read("flight.mode") == "safe_recovery"
    assert flight.read("position.height") == 12.0
    assert flight.aircraft.trackers["a", 1].received == 2
    stream = flight.aircraft.readings.streams[INDEX["flight.armed"]]
    assert stream is not None
    assert flight.now_us - stream.time_us == 100_000  # heard then, not now


@pytest.mark.parametrize(("component", "name"), [(1, "MEMINFO"), (154, "ATTITUDE")])
def test_what_is_not_folded_and_other_components_make_none(component: int, name: str) -> None:
    flight = Flight()
    for _ in range(20):
        flight.wait(0.2)
        flight.hear(Sender(7, component).pack(name))
    flight.beat_once()
    for _ in range(20):
        flight.wait(0.2)
        flight.hear(Sender(7, component).pack(name))
    assert flight.fleet.aircraft == {}


def test_a_usual_stream_makes_one_within_a_second() -> None:
    flight = Flight()
    begun_us = flight.now_us
    for step in range(20):
        if step % 5 == 4:
            flight.beat_once()
        flight.at()
        if flight.fleet.aircraft:
            break
        flight.wait(0.2)
    assert flight.now_us - begun_us <= 1_000_000


@pytest.mark.parametrize("apart_s", [1, 60, 900])
def test_a_slow_link_makes_one_with_its_second_message(apart_s: float) -> None:
    flight = Flight()
    assert flight.send("HIGH_LATENCY2", **SLOW) == []
    flight.wait(apart_s)
    assert flight.send("HIGH_LATENCY2", **SLOW) == [flight.aircraft]
    assert flight.read("battery.gauge_left") == 64


def test_slow_messages_of_no_autopilot_make_none() -> None:
    flight = Flight()
    for _ in range(4):
        flight.send("HIGH_LATENCY2", **{**SLOW, "autopilot": dialect.MAV_AUTOPILOT_INVALID})
    assert flight.fleet.aircraft == {}


def test_a_known_aircraft_is_known_on_another_source_at_once() -> None:
    flight = Flight()
    flight.hear(flight.sender.pack("MEMINFO"), "b")  # heard there before it was an aircraft
    flight.beat()
    flight.wait(1)
    beat(flight, 7, source="b")
    assert flight.aircraft.sources == {"a", "b"}


def test_of_a_full_fleet_the_strays_go_and_no_real_one() -> None:
    listener = Listener()
    for system in range(100, 100 + MAX_AIRCRAFT):
        beat(listener, system, 2)
        if system > 101:
            listener.hear(Sender(system).pack("GLOBAL_POSITION_INT", lat=1, lon=1))
    beat(listener, 7, 2)
    assert 7 not in listener.fleet.aircraft
    text = "\n".join(describe_sources(listener.fleet, listener.now_us))
    assert "Not watched, as there are 64 aircraft already: system 7." in text
    listener.wait(31)
    beat(listener, 101)
    beat(listener, 7, 2)
    assert 7 in listener.fleet.aircraft
    assert 100 not in listener.fleet.aircraft  # the other one without a position was just heard
    assert 101 in listener.fleet.aircraft
    assert "Not watched" not in "\n".join(describe_sources(listener.fleet, listener.now_us))
    beat(listener, 8, 2)
    assert 8 not in listener.fleet.aircraft
    assert len(listener.fleet.aircraft) == MAX_AIRCRAFT


def test_one_that_made_room_is_gone_for_the_engine_too() -> None:
    from tests.recordings import shipped  # noqa: PLC0415
    from watchkeeper.engine import Engine  # noqa: PLC0415

    engine = Engine(shipped())
    for system in range(100, 100 + MAX_AIRCRAFT):
        sender = Sender(system)
        for _ in range(2):
            raw = sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT, base_mode=128)
            engine.receive("a", raw, 1000.0)
    engine.tick(1040.0)
    assert any(alert.rule == "link-lost" and alert.aircraft == 100 for alert in engine.alerts())
    sender = Sender(7)
    for _ in range(2):
        engine.receive("a", sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT), 1040.0)
    engine.tick(1042.0)
    assert 100 not in engine.systems()
    assert 7 in engine.systems()
    assert not any(alert.aircraft == 100 for alert in engine.alerts())


def test_the_fleet_itself_is_bounded() -> None:
    listener = Listener(Fleet())
    for system in range(1, 256):
        beat(listener, system, 2)
    assert len(listener.fleet.aircraft) == MAX_AIRCRAFT
    assert len(listener.fleet.refused) == 255 - MAX_AIRCRAFT
