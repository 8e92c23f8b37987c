"""Different silences, different words, and that each is over is said too: through the whole engine."""

from __future__ import annotations

import pytest

from tests.recordings import shipped
from watchkeeper.alerts.events import AlertChange, Happening, RoutineCall
from watchkeeper.engine import Engine
from watchkeeper.link.encode import Encoder

T0 = 1_777_000_000.0
ARMED, GCS, INVALID, RECEIVER = 128, 6, 8, 65536


class Mirror:
    """One source, or two: aircraft, radio and station at 10 Hz, 1 Hz, 1 Hz; each may fall silent."""

    def __init__(self) -> None:
        self.engine = Engine(shipped())
        self.plane, self.radio, self.station = Encoder(7, 1), Encoder(51, 68), Encoder(255, 190)
        self.silent: set[str] = set()
        self.control = True
        self.sticks = False
        self.second_source = False
        self.tenth = 0
        self.happened: list[Happening] = []

    def run(self, seconds: float) -> list[Happening]:
        """Return what happened meanwhile."""
        before = len(self.happened)
        for _ in range(round(seconds * 10)):
            now_s = T0 + self.tenth / 10
            data = self._frames(whole=self.tenth % 10 == 0)
            if data and "source" not in self.silent:
                self.happened += self.engine.receive("udp://a", data, now_s)
            if data and self.second_source and "plane" not in self.silent:
                self.happened += self.engine.receive("udp://b", self._doubled, now_s)
            self.happened += self.engine.tick(now_s)
            self.tenth += 1
        return self.happened[before:]

    def _frames(self, *, whole: bool) -> bytes:
        data = b""
        boot = 100_000 + self.tenth * 100
        if "plane" not in self.silent:
            encode = self.plane.encode
            if whole:
                bits = RECEIVER if self.control else 0
                data += encode("HEARTBEAT", type=13, autopilot=0, base_mode=ARMED, mavlink_version=3)
                data += encode("EXTENDED_SYS_STATE", landed_state=2)
                data += encode(
                    "SYS_STATUS",
                    onboard_control_sensors_present=RECEIVER,
                    onboard_control_sensors_enabled=RECEIVER,
                    onboard_control_sensors_health=bits,
                )
            data += encode("GLOBAL_POSITION_INT", time_boot_ms=boot, lat=10_000, lon=20_000, relative_alt=30_000)
        self._doubled = data
        if whole and "radio" not in self.silent:
            data += self.radio.encode("RADIO_STATUS", rssi=190, remrssi=190, noise=40, remnoise=40, txbuf=90)
        if whole and "station" not in self.silent:
            data += self.station.encode("HEARTBEAT", type=GCS, autopilot=INVALID)
        if self.sticks and "station" not in self.silent:
            data += self.station.encode("MANUAL_CONTROL", target=7, z=500)
        return data


OURS = {
    "link-lost", "link-path-lost", "link-gaps", "link-loss", "link-trend", "link-weak", "radio-alone",
    "radio-silent", "station-lost", "control-lost", "control-silent", "link-blocked", "interference",
}  # fmt: skip


def told(happened: list[Happening]) -> list[tuple[str, str]]:
    """Return (rule, change) of the link's alerts, and (rule, "spoken") of its routine calls."""
    found = []
    for one in happened:
        if isinstance(one, AlertChange) and one.rule in OURS and one.change != "repeated":
            found.append((one.rule, str(one.change)))
        elif isinstance(one, RoutineCall) and one.rule.endswith("-back"):
            found.append((one.rule, "spoken"))
    return found


@pytest.fixture
def mirror() -> Mirror:
    mirror = Mirror()
    assert told(mirror.run(30)) == []
    return mirror


def test_the_aircraft_silent_while_the_radio_talks(mirror: Mirror) -> None:
    mirror.silent = {"plane"}
    assert told(mirror.run(20)) == [("link-lost", "raised"), ("radio-alone", "raised")]
    mirror.silent = set()
    assert sorted(told(mirror.run(10))) == [
        ("link-back", "spoken"),
        ("link-lost", "cleared"),
        ("radio-alone", "cleared"),
    ]


def test_everything_silent_is_the_source(mirror: Mirror) -> None:
    mirror.silent = {"source"}
    assert told(mirror.run(30)) == [("link-lost", "raised"), ("radio-silent", "raised")]
    mirror.silent = set()
    assert sorted(told(mirror.run(10))) == [
        ("link-back", "spoken"),
        ("link-lost", "cleared"),
        ("radio-silent", "cleared"),
    ]


def test_the_station_silent_while_the_aircraft_is_heard(mirror: Mirror) -> None:
    mirror.silent = {"station"}
    assert told(mirror.run(12)) == [("station-lost", "raised")]
    mirror.silent = set()
    assert sorted(told(mirror.run(5))) == [("station-back", "spoken"), ("station-lost", "cleared")]


def test_a_radio_that_reports_no_more_while_the_aircraft_is_heard_is_no_silence(mirror: Mirror) -> None:
    mirror.silent = {"radio"}
    assert told(mirror.run(20)) == []


def test_no_station_was_ever_heard() -> None:
    mirror = Mirror()
    mirror.silent = {"station", "radio"}
    assert told(mirror.run(40)) == []
    mirror.silent = {"plane", "station", "radio"}
    assert told(mirror.run(10)) == [("link-lost", "raised")]


def test_the_receiver_hears_the_pilot_no_more(mirror: Mirror) -> None:
    mirror.control = False
    happened = mirror.run(4)
    assert told(happened) == [("control-lost", "raised")]
    mirror.control = True
    assert sorted(told(mirror.run(5))) == [("control-back", "spoken"), ("control-lost", "cleared")]


def test_one_odd_word_about_the_receiver_is_no_loss(mirror: Mirror) -> None:
    mirror.control = False
    mirror.run(1)
    mirror.control = True
    mirror.run(10)
    assert told(mirror.happened) == []


def test_the_sticks_of_a_station_stop_and_it_lives_on() -> None:
    mirror = Mirror()
    mirror.control = False  # no receiver has ever worked
    mirror.sticks = True
    assert told(mirror.run(30)) == []
    mirror.sticks = False
    assert told(mirror.run(4)) == [("control-lost", "raised")]
    mirror.sticks = True
    assert sorted(told(mirror.run(4))) == [("control-back", "spoken"), ("control-lost", "cleared")]


def test_a_dead_mirror_is_no_lost_control() -> None:
    mirror = Mirror()
    mirror.control = False
    mirror.sticks = True
    mirror.run(30)
    mirror.silent = {"source"}
    assert [rule for rule, _ in told(mirror.run(15))] == ["link-lost", "radio-silent"]
    mirror.silent = set()
    assert "control-lost" not in [rule for rule, _ in told(mirror.run(10))]


def test_one_of_two_paths_dies() -> None:
    mirror = Mirror()
    mirror.second_source = True
    assert told(mirror.run(30)) == []
    mirror.silent = {"source"}
    found = told(mirror.run(20))
    assert ("link-path-lost", "raised") in found
    assert not any(rule in {"link-lost", "radio-silent"} for rule, _ in found)


def test_a_link_that_stutters() -> None:
    mirror = Mirror()
    mirror.run(30)
    for _ in range(4):
        mirror.silent = {"plane"}
        mirror.run(3)
        mirror.silent = set()
        mirror.run(4)
    assert told(mirror.happened) == [("link-gaps", "raised")]
