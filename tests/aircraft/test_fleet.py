"""Who is an aircraft, over which sources, and what hostile frames can do."""

from __future__ import annotations

import random

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, GENERIC, QUADROTOR, Flight, Listener, S, Sender
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.describe import describe_sources
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.aircraft.fleet import MAX_AIRCRAFT, MAX_EARLY, MAX_PEERS, Fleet
from watchkeeper.aircraft.handlers import FOLDINGS
from watchkeeper.link.framing import BAD_CHECKSUM, GOOD, UNKNOWN
from watchkeeper.link.tables import MESSAGES

INVALID = dialect.MAV_AUTOPILOT_INVALID


@pytest.mark.parametrize(
    ("vehicle", "autopilot"),
    [
        (dialect.MAV_TYPE_GCS, INVALID), (dialect.MAV_TYPE_GCS, GENERIC), (QUADROTOR, INVALID),
        (dialect.MAV_TYPE_ANTENNA_TRACKER, ARDUPILOT), (dialect.MAV_TYPE_ONBOARD_CONTROLLER, GENERIC),
        (dialect.MAV_TYPE_PARACHUTE, GENERIC), (dialect.MAV_TYPE_ILLUMINATOR, GENERIC),
        (dialect.MAV_TYPE_GRIPPER, GENERIC),
        (dialect.MAV_TYPE_GIMBAL, GENERIC), (dialect.MAV_TYPE_ADSB, GENERIC), (dialect.MAV_TYPE_CAMERA, GENERIC),
    ],
)  # fmt: skip
def test_other_heartbeats_are_no_aircraft(vehicle: int, autopilot: int) -> None:
    listener = Listener()
    touched = listener.hear(Sender(7, 1).pack("HEARTBEAT", type=vehicle, autopilot=autopilot))
    assert touched == []
    assert listener.fleet.aircraft == {}


def test_other_components_never_set_what_the_aircraft_does() -> None:
    flight = Flight()
    flight.beat(mode=6)
    for component, vehicle in ((154, dialect.MAV_TYPE_GIMBAL), (191, dialect.MAV_TYPE_ONBOARD_CONTROLLER),
                               (2, QUADROTOR)):  # fmt: skip
        other = Sender(7, component)
        autopilot = GENERIC if vehicle == QUADROTOR else INVALID
        flight.wait(5)
        flight.hear(other.pack("HEARTBEAT", type=vehicle, autopilot=autopilot, base_mode=128, custom_mode=0))
        flight.hear(other.pack("GLOBAL_POSITION_INT", time_boot_ms=1000, relative_alt=50_000, lat=1, lon=1))
    assert flight.read("flight.armed") is False
    assert flight.read("flight.mode") == "safe_recovery"
    assert flight.read("link.age") == 15
    assert flight.is_blind("position.height")
    # even a station that sends under the very same ids
    flight.hear(Sender(7, 1).pack("HEARTBEAT", type=dialect.MAV_TYPE_GCS, autopilot=INVALID, base_mode=128))
    assert flight.read("flight.armed") is False


def test_link_age_runs_from_the_last_good_frame() -> None:
    flight = Flight()
    flight.beat()
    flight.wait(3)
    assert flight.read("link.age") == 3
    flight.send("MEMINFO", brkval=1, freemem=2)  # any message of the autopilot
    assert flight.read("link.age") == 0
    flight.wait(2)
    for status in (BAD_CHECKSUM, UNKNOWN):
        flight.fleet.receive("a", (7, 1, 3, 0, b"", b"", status), flight.now_us)
    assert flight.read("link.age") == 2


def test_frames_with_a_bad_checksum_count_in_the_sequence_of_a_known_component_only() -> None:
    flight = Flight()
    flight.beat()
    bad = (7, 1, 2, 150, b"", b"", BAD_CHECKSUM)
    flight.fleet.receive("a", bad, flight.now_us)
    flight.fleet.receive("a", (9, 1, 1, 150, b"", b"", BAD_CHECKSUM), flight.now_us)
    tracker = flight.aircraft.trackers["a", 1]
    assert (tracker.received, tracker.lost) == (3, 0)
    assert set(flight.fleet.sources["a"]) == {(7, 1)}


def test_several_aircraft_and_the_radio_tells_of_those_on_its_source() -> None:
    fleet = Fleet()
    one, two = Flight(fleet), Flight(fleet, system=8)
    one.beat()
    for _ in range(2):
        two.hear(two.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT), "b")
    radio = Sender(51, 68)
    touched = one.hear(radio.pack("RADIO_STATUS", rssi=100, remrssi=100, noise=43, remnoise=43))
    assert [aircraft.system for aircraft in touched] == [7]
    assert one.read("link.margin") == pytest.approx(30)
    assert fleet.aircraft[8].readings.values[INDEX["link.margin"]] is None
    assert ("a", 68) not in one.aircraft.trackers  # its sequence is its own


def test_a_copy_over_another_source_is_folded_once() -> None:
    flight = Flight()
    flight.beat()
    beat = flight.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT, base_mode=1)
    flight.hear(beat, "a")
    assert flight.hear(beat, "b") == [flight.aircraft]  # the first over b makes b known
    for step in range(300):
        flight.wait(0.02)
        raw = flight.sender.pack("GPS_RAW_INT", fix_type=3, satellites_visible=step % 20, eph=100)
        assert flight.hear(raw, "a") == [flight.aircraft]
        assert flight.hear(raw, "b") == []
    stream = flight.aircraft.readings.streams[INDEX["satellites.used"]]
    assert stream is not None
    assert stream.count == 300
    assert flight.aircraft.trackers["a", 1].received == 303
    assert flight.aircraft.trackers["b", 1].received == 301


def test_a_copy_in_the_other_version_is_a_copy() -> None:
    flight = Flight()
    flight.beat()
    old, new = Sender(7, version=1), Sender(7)
    for sender, source in ((new, "a"), (old, "b")):
        flight.hear(sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT), source)
    raw = new.pack("SYS_STATUS", voltage_battery=12000, current_battery=0, battery_remaining=90)
    also = old.pack("SYS_STATUS", voltage_battery=12000, current_battery=0, battery_remaining=90)
    assert flight.hear(raw, "a")
    assert flight.hear(also, "b") == []


def test_a_source_that_runs_late_does_not_turn_back_time() -> None:
    flight = Flight()
    flight.beat()
    flight.hear(flight.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT), "b")
    held: list[bytes] = []
    for second in range(30):
        flight.wait(1)
        for name, fields in (
            ("GLOBAL_POSITION_INT", {"time_boot_ms": flight.boot_ms, "relative_alt": second * 1000, "lat": 1}),
            ("GPS_RAW_INT", {"satellites_visible": second}),
        ):
            raw = flight.sender.pack(name, **fields)
            flight.hear(raw, "a")
            held.append(raw)
        if second >= 20:  # twenty seconds late: the sequence numbers mean other frames by now
            for raw in held[2 * (second - 20) : 2 * (second - 20) + 2]:
                flight.hear(raw, "b")
        assert flight.read("position.height") == second
        assert flight.read("satellites.used") == second
    assert flight.aircraft.power_up == 1
    flight.wait(10)  # the good source falls silent: late is better than nothing
    flight.hear(held[-2], "b")
    flight.hear(flight.sender.pack("GPS_RAW_INT", satellites_visible=99), "b")
    assert flight.read("satellites.used") == 99


def test_the_file_of_the_system_goes_before_one_for_any() -> None:
    files = [
        load_aircraft_file("aircraft: any\npacks: {cells: 4}\n", "any.yaml"),
        load_aircraft_file("aircraft: own\nsystem: 7\npacks: {cells: 12}\n", "own.yaml"),
        load_aircraft_file("aircraft: another\nsystem: 9\npacks: {cells: 3}\n", "another.yaml"),
    ]
    flight = Flight(Fleet(files))
    flight.beat()
    assert flight.aircraft.file is files[1]
    assert flight.read("battery.cells") == 12
    other = Flight(flight.fleet, system=8)
    other.beat()
    assert other.fleet.aircraft[8].file is files[0]


def test_a_dropped_aircraft_begins_anew() -> None:
    flight = Flight()
    flight.beat()
    first = flight.aircraft
    flight.fleet.drop(7)
    assert flight.fleet.aircraft == {}
    assert flight.fleet.sources["a"] == {}
    flight.at()
    assert flight.fleet.aircraft == {}  # not before a heartbeat
    flight.beat()
    assert flight.aircraft is not first


def test_everything_is_bounded_against_made_up_ids() -> None:
    fleet = Fleet()
    frames = Flight(fleet)
    beat = frames.frames(Sender(1).pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT))[0]
    parameter = frames.frames(Sender(1).pack("PARAM_VALUE", param_id="A", param_type=9))[0]
    now_us = 0
    for system in range(1, 256):
        for component in range(1, 6):
            now_us += S // 100  # none is silent for long enough to make room
            for frame in (parameter, beat) if component == 1 else (parameter,):
                made_up = (system, component, 0, *frame[3:])
                fleet.receive(f"s{component}", made_up, now_us)
    peers = [peer for source in fleet.sources.values() for peer in source.values()]
    assert len(fleet.aircraft) == MAX_AIRCRAFT
    assert len(peers) == MAX_PEERS
    assert sum(peer.early is not None for peer in peers) <= MAX_EARLY
    for number in range(5000):
        fleet.receive("s1", (1, 1, 0, 100_000 + number, b"", b"", GOOD), now_us)
    assert len(fleet.sources["s1"][1, 1].slots) < 300


def test_made_up_components_do_not_keep_an_aircraft_out() -> None:
    fleet = Fleet()
    junk = (0, b"\0" * 9, b"", GOOD)
    for number in range(2 * MAX_PEERS):
        fleet.receive("a", (200 + number % 50, number // 50, 0, *junk), number)
    flight = Flight(fleet)
    flight.beat()
    assert 7 in fleet.aircraft


@pytest.mark.parametrize("seed", range(4))
def test_random_payloads_raise_nothing(seed: int) -> None:
    chance = random.Random(seed)
    flight = Flight()
    flight.beat()
    flight.hear(flight.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT), "b")
    numbers = [*MESSAGES]
    usual = [*FOLDINGS, 45]
    for _ in range(15_000):
        message = chance.choice(usual) if chance.random() < 0.8 else chance.choice(numbers)
        payload = chance.randbytes(chance.randrange(256)) if chance.random() < 0.9 else b""
        sender = chance.choice(((7, 1), (7, 1), (7, 180), (51, 68), (255, 190), (chance.randrange(256), 1)))
        status = chance.choice((GOOD, GOOD, GOOD, BAD_CHECKSUM))
        frame = (*sender, chance.randrange(256), message, payload, b"", status)
        flight.now_us += chance.randrange(2 * S) if chance.random() < 0.1 else chance.randrange(S // 10)
        for aircraft in flight.fleet.receive(chance.choice("ab"), frame, flight.now_us):
            assert aircraft.system in flight.fleet.aircraft
    for i in range(len(INDEX)):
        flight.aircraft.readings.read(i, flight.now_us)


def test_a_handler_that_fails_after_all_does_not_end_the_watch() -> None:
    def fail(*_: object) -> None:
        raise OverflowError

    flight = Flight()
    flight.beat()
    flight.gps()
    peer = flight.fleet.sources["a"][7, 1]
    peer.slots[24].handle = fail
    assert flight.send("GPS_RAW_INT", fix_type=3) == []
    assert peer.refused == 1
    assert "1 not understood" in describe_sources(flight.fleet, flight.now_us)[1]
    flight.beat(armed=True)
    assert flight.read("flight.armed") is True


@pytest.mark.parametrize("message", sorted(FOLDINGS))
def test_no_handler_raises_whatever_the_payload(message: int) -> None:
    """`receive` would catch it; nothing should need that."""
    chance = random.Random(message)
    folding = FOLDINGS[message]
    flight = Flight()
    flight.beat()
    for number in range(500):
        special = (b"\0", b"\xff", b"\x7f\xc0\0\0", b"\0\0\x80\x7f")[number % 4] * 256
        payload = special[: folding.length] if number < 40 else chance.randbytes(folding.length)
        flight.wait(0.3)
        folding.handle(flight.aircraft, folding.read(payload), flight.now_us)
