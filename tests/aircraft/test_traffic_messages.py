"""Others in the air out of frames that pymavlink packs: units, flags, codes for unknown, floods, copies."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.aircraft.feeder import Flight, S, Sender
from watchkeeper.aircraft.traffic import FORGET_US, MOST_TRACKS, Report, Track, Traffic

ALL = 1 | 2 | 4 | 8 | 128
VEHICLE: dict[str, Any] = {
    "ICAO_address": 0xABC123, "lat": 100_000_000, "lon": 200_000_000, "altitude": 812_300, "heading": 9_000,
    "hor_velocity": 6_000, "ver_velocity": -250, "flags": ALL, "tslc": 2, "emitter_type": 1,
}  # fmt: skip
MAC = [2, 17, 34, 51, 68, 85] + [0] * 14
DRONE: dict[str, Any] = {
    "id_or_mac": MAC, "status": 2, "direction": 18_000, "speed_horizontal": 1_250, "speed_vertical": 120,
    "latitude": 100_000_000, "longitude": 200_000_000, "altitude_barometric": 410.5, "altitude_geodetic": 460.0,
    "height": -1000.0, "horizontal_accuracy": 11, "vertical_accuracy": 5, "barometer_accuracy": 3,
    "speed_accuracy": 4, "timestamp": 1234.5, "timestamp_accuracy": 2,
}  # fmt: skip


class Sky(Flight):
    """A flight, and a receiver."""

    def __init__(self) -> None:
        super().__init__()
        self.beat()
        self.receiver = Sender(99, 156)

    def tell(self, name: str, source: str = "b", sender: Sender | None = None, **fields: Any) -> None:
        self.hear((sender or self.receiver).pack(name, **fields), source)

    @property
    def traffic(self) -> Traffic:
        return self.fleet.others.traffic

    def only(self) -> Track:
        (track,) = self.traffic.tracks.values()
        return track


def told(name: str, **fields: Any) -> Report | None:
    sky = Sky()
    sky.tell(name, **fields)
    return sky.only().report if sky.traffic.tracks else None


def test_vehicle() -> None:
    sky = Sky()
    sky.tell("ADSB_VEHICLE", **VEHICLE)
    report = sky.only().report
    assert sky.only().key == ("icao", 0xABC123)
    assert report.time_us == sky.now_us - 2 * S
    assert (report.latitude_deg, report.longitude_deg) == (10, 20)
    assert (report.north_m_s, report.east_m_s) == pytest.approx((0, 60), abs=1e-9)
    assert (report.climb_m_s, report.pressure_m, report.geometric_m) == (-2.5, 812.3, None)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"flags": ALL & ~2}, {"pressure_m": None, "geometric_m": None}),
        ({"flags": ALL & ~4}, {"north_m_s": None, "east_m_s": None}),
        ({"flags": ALL & ~8}, {"north_m_s": None, "east_m_s": None}),
        ({"flags": ALL & ~128}, {"climb_m_s": None}),
        ({"flags": ALL & ~4, "hor_velocity": 0}, {"north_m_s": 0.0, "east_m_s": 0.0}),  # at rest without a course
        ({"altitude_type": 1}, {"pressure_m": None, "geometric_m": 812.3}),
        ({"altitude_type": 9}, {"pressure_m": None, "geometric_m": None}),
        ({"altitude": 2**31 - 1}, {"pressure_m": None}),
        ({"hor_velocity": 65_535}, {"north_m_s": None}),
        ({"heading": 65_535}, {"north_m_s": None}),
    ],
)
def test_vehicle_flags(changes: dict[str, Any], expected: dict[str, Any]) -> None:
    report = told("ADSB_VEHICLE", **(VEHICLE | changes))
    assert report is not None
    assert {name: getattr(report, name) for name in expected} == expected


@pytest.mark.parametrize(
    "changes",
    [
        {"flags": ALL & ~1}, {"flags": ALL | 64}, {"lat": 0, "lon": 0}, {"lat": 910_000_000},
        {"lon": -1_900_000_000}, {"tslc": 61}, {"tslc": 255}, {"emitter_type": 18}, {"emitter_type": 19},
    ],
)  # fmt: skip
def test_no_place_no_track(changes: dict[str, Any]) -> None:
    assert told("ADSB_VEHICLE", **(VEHICLE | changes)) is None


def test_drone() -> None:
    report = told("OPEN_DRONE_ID_LOCATION", **DRONE)
    assert report is not None
    assert (report.north_m_s, report.climb_m_s) == pytest.approx((-12.5, 1.2))
    assert (report.pressure_m, report.geometric_m) == (410.5, 460.0)
    # MAV_ODID_HOR_ACC 11: 3 m, VER_ACC 5: 3 m and 3: 25 m, SPEED_ACC 4: 0.3 m/s (common.xml)
    assert (report.place_m, report.geometric_doubt_m, report.pressure_doubt_m, report.speed_m_s) == (3, 3, 25, 0.3)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"direction": 36_100}, {"north_m_s": None, "east_m_s": None}),
        ({"speed_horizontal": 25_500}, {"north_m_s": None}),
        ({"speed_vertical": 6_300}, {"climb_m_s": None}),
        ({"altitude_barometric": -1000.0}, {"pressure_m": None}),
        ({"altitude_geodetic": -1000.0}, {"geometric_m": None}),
        (
            {"altitude_geodetic": math.nan, "altitude_barometric": math.inf},
            {"geometric_m": None, "pressure_m": None},
        ),
        ({"timestamp": 65_535.0}, {"stamp_s": None}),
        ({"timestamp": math.nan}, {"stamp_s": None}),
        (
            {"horizontal_accuracy": 255, "speed_accuracy": 200, "vertical_accuracy": 99},
            {"place_m": 30, "speed_m_s": 3},
        ),
    ],
)
def test_drone_codes_for_unknown(changes: dict[str, Any], expected: dict[str, Any]) -> None:
    report = told("OPEN_DRONE_ID_LOCATION", **(DRONE | changes))
    assert report is not None
    assert {name: getattr(report, name) for name in expected} == expected


def test_a_drone_on_the_ground_or_nowhere_is_none() -> None:
    assert told("OPEN_DRONE_ID_LOCATION", **(DRONE | {"status": 1})) is None
    assert told("OPEN_DRONE_ID_LOCATION", **(DRONE | {"latitude": 0, "longitude": 0})) is None


def test_an_autopilot_passes_it_on() -> None:
    sky = Sky()
    assert sky.send("ADSB_VEHICLE", **VEHICLE) == [sky.aircraft]
    assert sky.only().origin == ("", 7, 1)


def test_own_drone_identity_is_no_receiver() -> None:
    sky = Sky()
    sky.send("OPEN_DRONE_ID_LOCATION", **(DRONE | {"id_or_mac": [0] * 20}))
    assert sky.traffic.watched(sky.now_us) is None


def test_own_identity_and_address() -> None:
    sky = Sky()
    uas_id = [*b"INVENTED-0001".ljust(20, b"\0")]
    sky.send("OPEN_DRONE_ID_BASIC_ID", id_type=1, uas_id=uas_id)
    sky.send("UAVIONIX_ADSB_OUT_CFG", ICAO=0xABC123)
    sky.tell("ADSB_VEHICLE", **VEHICLE)
    sky.tell("OPEN_DRONE_ID_LOCATION", **DRONE)
    vehicle, drone = sky.traffic.tracks.values()
    assert sky.traffic.claims_own(vehicle)
    assert not sky.traffic.claims_own(drone)
    sky.tell("OPEN_DRONE_ID_BASIC_ID", id_or_mac=MAC, id_type=1, uas_id=uas_id)
    assert sky.traffic.claims_own(drone)
    sky.send("UAVIONIX_ADSB_OUT_CFG", ICAO=0)
    assert sky.traffic.claims_own(vehicle)  # none is no new one


def test_a_receiver_with_heartbeats_is_missed() -> None:
    sky = Sky()
    assert sky.traffic.watched(sky.now_us) is None
    sky.tell("HEARTBEAT", type=27, autopilot=8)
    assert sky.traffic.watched(sky.now_us + 9 * S)
    assert sky.traffic.watched(sky.now_us + 11 * S) is False


def test_one_without_heartbeats_may_be_quiet_for_a_minute() -> None:
    sky = Sky()
    sky.send("ADSB_VEHICLE", **VEHICLE)
    assert sky.traffic.watched(sky.now_us + 59 * S)
    assert sky.traffic.watched(sky.now_us + 61 * S) is False


def test_a_station_is_no_receiver() -> None:
    sky = Sky()
    sky.tell("HEARTBEAT", sender=Sender(255, 190), type=6, autopilot=8)
    assert sky.traffic.watched(sky.now_us) is None


def test_a_late_copy_over_another_link_never_moves_it_back() -> None:
    sky = Sky()
    for second in range(12):
        if second >= 2:
            sky.tell("ADSB_VEHICLE", "late", **(VEHICLE | {"lon": 200_000_000 + (second - 2) * 5_000}))
        sky.tell("ADSB_VEHICLE", "b", **(VEHICLE | {"lon": 200_000_000 + second * 5_000}))
        assert sky.only().report.longitude_deg == pytest.approx(20 + second * 5e-4)
        sky.wait(1)
    assert sky.only().fresh == 12


def test_the_late_link_is_left_once_the_other_shows_it_late() -> None:
    sky = Sky()
    for second in range(12):
        if second >= 2:
            sky.tell("ADSB_VEHICLE", "late", **(VEHICLE | {"lon": 200_000_000 + (second - 2) * 5_000}))
        if second >= 4:
            sky.tell("ADSB_VEHICLE", "b", **(VEHICLE | {"lon": 200_000_000 + second * 5_000}))
        if second >= 6:  # the late one has told what the other told two seconds before
            assert sky.only().report.longitude_deg == pytest.approx(20 + second * 5e-4)
        sky.wait(1)
    assert sky.only().report.longitude_deg == pytest.approx(20 + 11 * 5e-4)


def test_when_one_link_ends_the_other_goes_on() -> None:
    sky = Sky()
    for second in range(20):
        moved = VEHICLE | {"lon": 200_000_000 + second * 5_000}
        if second < 5:
            sky.tell("ADSB_VEHICLE", "b", **moved)
        sky.tell("ADSB_VEHICLE", "c", **moved)
        sky.wait(1)
    assert sky.only().report.longitude_deg == pytest.approx(20 + 19 * 5e-4)


def test_what_is_repeated_gets_no_younger() -> None:
    sky = Sky()
    sky.tell("ADSB_VEHICLE", **VEHICLE)
    sky.tell("OPEN_DRONE_ID_LOCATION", **DRONE)
    first = [track.report.time_us for track in sky.traffic.tracks.values()]
    sky.wait(5)
    sky.tell("ADSB_VEHICLE", **VEHICLE)  # at 60 m/s nobody is where he was 5 s ago
    sky.tell("OPEN_DRONE_ID_LOCATION", **(DRONE | {"latitude": 100_000_100}))  # the drone's own time stands still
    assert [track.report.time_us for track in sky.traffic.tracks.values()] == first


def test_a_drones_hour_turns_over() -> None:
    sky = Sky()
    sky.tell("OPEN_DRONE_ID_LOCATION", **(DRONE | {"timestamp": 3599.5}))
    sky.wait(1)
    sky.tell("OPEN_DRONE_ID_LOCATION", **(DRONE | {"timestamp": 0.5, "latitude": 100_001_000}))
    assert sky.only().report.latitude_deg == pytest.approx(10.0001)


def test_old_ones_are_dropped() -> None:
    sky = Sky()
    sky.tell("ADSB_VEHICLE", **VEHICLE)
    sky.traffic.forget_old(sky.now_us + FORGET_US)
    assert sky.traffic.tracks
    sky.traffic.forget_old(sky.now_us + FORGET_US + 2 * S)
    assert not sky.traffic.tracks


def test_a_flood_leaves_the_near_ones_in() -> None:
    from watchkeeper.aircraft.traffic import Whereabouts  # noqa: PLC0415

    sky = Sky()
    sky.traffic.fleet[7] = Whereabouts(sky.now_us, 10, 20, 0, 0, 0, None, None, None, flying=True)
    sky.tell("ADSB_VEHICLE", **(VEHICLE | {"lat": 100_100_000}))
    for number in range(5 * MOST_TRACKS):
        sky.tell("ADSB_VEHICLE", **(VEHICLE | {"ICAO_address": 1 + number, "lat": 150_000_000 + number * 1000}))
        sky.wait(0.01)
    assert len(sky.traffic.tracks) <= MOST_TRACKS
    assert ("icao", 0xABC123) in sky.traffic.tracks
    sky.tell("ADSB_VEHICLE", **(VEHICLE | {"ICAO_address": 0xDEF456, "lat": 100_200_000}))  # a new one, near
    sky.wait(2)
    sky.tell("ADSB_VEHICLE", **(VEHICLE | {"ICAO_address": 0xDEF456, "lat": 100_201_000}))
    assert ("icao", 0xDEF456) in sky.traffic.tracks


def test_receivers_without_end_are_bounded() -> None:
    sky = Sky()
    for system in range(1, 250):
        if system != 7:
            sky.tell("ADSB_VEHICLE", sender=Sender(system, 156), **(VEHICLE | {"ICAO_address": 0}))
    assert len(sky.traffic.tracks) <= MOST_TRACKS
    assert len(sky.traffic._told) <= 32


def test_a_receiver_heard_over_two_links_is_one() -> None:
    traffic = Traffic()
    for second in range(60):
        traffic.note_receiver(("b", 1, 156), second * S, beat=True)
        if second < 20:
            traffic.note_receiver(("a", 1, 156), second * S, beat=True)
    assert traffic.watched(59 * S) is True


def test_made_up_receivers_do_not_keep_the_real_one_out() -> None:
    traffic = Traffic()
    for system in range(200):
        traffic.note_receiver(("a", system, 1), S, beat=False)
    traffic.note_receiver(("a", 250, 156), 90 * S, beat=False)
    assert traffic.watched(91 * S) is True


def test_a_drone_whose_clock_was_never_set_moves_all_the_same() -> None:
    sky = Sky()
    for metres in range(5):
        sky.tell("OPEN_DRONE_ID_LOCATION", **(DRONE | {"timestamp": 0.0, "latitude": 100_000_000 + 900 * metres}))
        sky.wait(1)
    assert sky.only().report.latitude_deg == pytest.approx(10.00036)
