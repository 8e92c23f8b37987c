"""The suite as a whole: what it writes, what a failing part does, what a run costs."""

from __future__ import annotations

from typing import Any

import pytest

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.files import AircraftFile, load_aircraft_file, load_sortie_file
from watchkeeper.aircraft.readings import BLIND, FAULT, Readings, Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.packs.battery import OVER_ALL, BatteryEstimates
from watchkeeper.estimate.suite import EstimateSuite
from watchkeeper.link.sequence import SequenceTracker

FILE = load_aircraft_file("packs: {cells: 12, capacity: 22 Ah, count: 2}", "a.yaml")
SORTIE = load_sortie_file("weather: {wind: 4 m/s from 250 deg}", "s.yaml")
NOON_US = 1_718_884_800_000_000  # 2024-06-20 12:00 UTC


class Subject(Aircraft):
    """An aircraft for the estimates: a hexarotor 300 m from home."""

    def __init__(self, file: AircraftFile | None = FILE) -> None:
        super().__init__(1, 1, () if file is None else (file,), SORTIE)
        self.autopilot = 3  # MAV_AUTOPILOT_ARDUPILOTMEGA
        self.vehicle = 13  # MAV_TYPE_HEXAROTOR
        self.trackers["a", 1] = SequenceTracker()
        self.set_home(1.5027, -2.25, "aircraft", NOON_US)
        self.position = (1.5, -2.25)
        self.told: dict[str, Stream] = {}

    def tell(self, now_us: int, **values: Any) -> None:
        """Set readings, `__` for the dot, each a new sample."""
        for key, value in values.items():
            name = key.replace("__", ".")
            stream = self.told.setdefault(name, Stream())
            stream.mark(now_us)
            self.readings.put(INDEX[name], value, stream)

    def read(self, name: str, now_us: int) -> Any:
        return self.readings.read(INDEX[name], now_us)


def fly(subject: Subject, suite: EstimateSuite, seconds: int = 40) -> int:
    """Hover at 300 m with two packs; return the time of the last run."""
    now_us = NOON_US
    for step in range(2 * seconds):
        now_us = NOON_US + step * 500_000
        current_a = 40.0 + step % 5
        for key in ("battery.1.", "battery.2."):
            values = {f"{key}voltage": 46.0 - 0.018 * current_a, f"{key}current": current_a}
            subject.tell(now_us, **{k.replace(".", "__"): v for k, v in values.items()})
        subject.tell(
            now_us,
            flight__phase="airborne",
            battery__power=3800.0,
            position__home_distance=300.0,
            position__home_bearing=10.0,
            position__height=60.0,
            position__ground_speed=0.5,
            position__climb_rate=0.0,
            satellites__used=18,
            link__margin=30.0,
            radio__signal=60.0,
            radio__noise=25.0,
        )
        for counter in subject.trackers.values():
            for _ in range(25):
                counter.receive((counter.received) & 0xFF)
        suite.run(now_us)
    return now_us


SURROUNDINGS = (
    "wind.now", "ceiling.", "sight.", "boundary.", "keep_out.", "obstacle.", "fall.", "limit.", "rotor.",
    "sortie.", "return.least_height", "return.short", "return.over_", "return.in_keep_out", "return.outside",
)  # fmt: skip
NOT_ASKED = (
    "own.", "forecast.", "place.", "wind.gust", "satellites", "position.", "filter.", "home.", "drift.",
    "flight.", "hold.", "return.standstill", "return.hold_left", "ready.", "plan.", "crew.",
    "traffic.", "separation.", "motors.", "vibration.", "text.", "unhealthy.", *SURROUNDINGS,
)  # fmt: skip
"""Needs the aircraft's parameters, its silence, a landing place, gusts told, messages of position: each beside its
own module."""


def test_every_estimate_is_written() -> None:
    subject = Subject()
    suite = EstimateSuite(subject)
    now_us = fly(subject, suite, 50)
    expected = [r.name for r in CATALOGUE if r.estimate and not r.name.startswith(("battery.", *NOT_ASKED))]
    assert len(expected) > 15
    for name in [*expected, "wind.speed", "wind.from"]:
        assert isinstance(subject.read(name, now_us), bool if name == "return.lands" else float), name
    for name in ("charge_left", "rest_cell_voltage", "resistance", "sag", "time_left"):
        for prefix in ("battery.", "battery.1.", "battery.2."):
            assert isinstance(subject.read(prefix + name, now_us), float), prefix + name
        assert subject.read(f"battery.3.{name}", now_us) is BLIND
    assert suite.failures == {}


def test_aggregates_are_the_worst_pack() -> None:
    readings = Readings()
    part = BatteryEstimates(readings, FILE)
    for name, value in {"1.voltage": 48.0, "1.current": 1.0, "2.voltage": 45.0, "2.current": 2.0}.items():
        stream = Stream()
        stream.mark(1_000_000)
        readings.put(INDEX[f"battery.{name}"], value, stream)
    values = part.run(1_000_000)
    assert values is not None
    (charge, rest, ohm, sag, left), packs = values[:5], values[5 + len(OVER_ALL) :]
    assert values[5 + OVER_ALL.index("packs_out")] == 0
    first, second = packs[:5], packs[5:]
    assert (charge, rest, left) == (second[0], second[1], second[4])
    assert (ohm, sag) == (max(first[2], second[2]), max(first[3], second[3]))  # type: ignore[type-var]
    assert part.run(1_200_000) is None  # no new sample, nothing new said


def test_a_pack_that_falls_silent_is_the_worst_no_longer() -> None:
    subject = Subject()
    suite = EstimateSuite(subject)
    subject.tell(NOON_US, battery__1__voltage=48.0, battery__1__current=1.0)
    subject.tell(NOON_US, battery__2__voltage=43.0, battery__2__current=1.0)
    suite.run(NOON_US)
    worst = subject.read("battery.charge_left", NOON_US)
    later_us = NOON_US + 40_000_000
    subject.tell(later_us, battery__1__voltage=48.0, battery__1__current=1.0)
    suite.run(later_us)
    assert subject.read("battery.charge_left", later_us) == subject.read("battery.1.charge_left", later_us) > worst
    assert subject.read("battery.2.charge_left", later_us) is BLIND


def test_one_battery_not_told_apart_counts_as_a_whole() -> None:
    subject = Subject(file=None)
    subject.tell(NOON_US, battery__voltage=11.9, battery__current=20.0, battery__cells=3, battery__gauge_left=80)
    EstimateSuite(subject).run(NOON_US)
    assert subject.read("battery.charge_left", NOON_US) == 80  # no capacity: the gauge
    assert subject.read("battery.rest_cell_voltage", NOON_US) > 11.9 / 3
    assert subject.read("battery.time_left", NOON_US) is BLIND
    assert subject.read("battery.1.charge_left", NOON_US) is BLIND


def test_battery_that_is_not_measured_is_blind() -> None:
    subject = Subject(file=None)
    subject.tell(
        NOON_US, battery__voltage=11.025, battery__current=None, battery__cells=3, battery__gauge_left=None
    )
    EstimateSuite(subject).run(NOON_US)
    for name in ("charge_left", "rest_cell_voltage", "resistance", "sag", "time_left"):
        assert subject.read(f"battery.{name}", NOON_US) is BLIND
    assert subject.read("return.reserve", NOON_US) is BLIND


def test_new_start_forgets_the_old_pack() -> None:
    subject = Subject()
    suite = EstimateSuite(subject)
    now_us = fly(subject, suite) + 500_000
    used = subject.read("battery.1.charge_left", now_us)
    subject.power_up = 2
    subject.tell(now_us, battery__1__voltage=50.4, battery__1__current=1.0)
    suite.run(now_us)
    assert subject.read("battery.1.charge_left", now_us) == pytest.approx(100, abs=1)
    assert used < 95


class Broken(BatteryEstimates):
    def run(self, now_us: int) -> list[float | None] | None:
        raise ZeroDivisionError(f"at {now_us}")


def test_failing_part_writes_faults_and_harms_no_other() -> None:
    subject = Subject()
    suite = EstimateSuite(subject)
    suite._parts[0] = Broken(subject.readings, FILE)
    now_us = fly(subject, suite)
    assert subject.read("battery.charge_left", now_us) is FAULT
    assert subject.read("satellites.drop", now_us) == 0
    assert suite.failures == {"Broken": f"ZeroDivisionError: at {now_us}"}
