"""One monitor of all packs, packs that are not heard, and currents that cannot be: told, or blind, never half."""

from __future__ import annotations

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.readings import BLIND, Readings
from watchkeeper.estimate.packs.battery import whole_pack
from watchkeeper.estimate.suite import EstimateSuite
from watchkeeper.link.encode import Encoder
from watchkeeper.link.framing import Framer

PACKS = "packs: {cells: 12, capacity: 22 Ah, count: 2, resistance: 18 mohm, monitors: {0: pack 1, 1: pack 2}}"


class Flown:
    """An aircraft that hovers 400 m from home, made of its own messages."""

    def __init__(self, text: str = PACKS) -> None:
        self.fleet = Fleet([load_aircraft_file(text, "a.yaml")], None)
        self.encoder = Encoder(7, 1)
        self.suite: EstimateSuite | None = None
        self.now_us = 0

    def second(self, **monitors: tuple[float, float, float | None]) -> None:
        """Fly on for a second. `b0=(V, A, mAh used)` is BATTERY_STATUS of id 0, `sys=(V, A, gauge)` SYS_STATUS."""
        self.now_us += 1_000_000
        encode = self.encoder.encode
        data = encode("HEARTBEAT", type=13, autopilot=3, base_mode=128, system_status=4, mavlink_version=3)
        data += encode("EXTENDED_SYS_STATE", landed_state=2)
        data += encode("HOME_POSITION", latitude=10_000, longitude=20_000, altitude=0)
        data += encode(
            "GLOBAL_POSITION_INT",
            time_boot_ms=self.now_us // 1000,
            lat=46_000,
            lon=20_000,
            relative_alt=40_000,
        )
        for name, (volt, ampere, more) in monitors.items():
            centiamps = -1 if ampere == 0 else round(ampere * 100)
            if name == "sys":
                left = -1 if more is None else round(more)
                data += encode(
                    "SYS_STATUS",
                    voltage_battery=round(volt * 1e3),
                    current_battery=centiamps,
                    battery_remaining=left,
                )
                continue
            data += encode(
                "BATTERY_STATUS",
                id=int(name[1:]),
                battery_function=1,
                voltages=[round(volt * 1e3)] + [65535] * 9,
                current_battery=centiamps,
                current_consumed=-1 if more is None else round(more),
                battery_remaining=80,
                temperature=32767,
            )
        for frame in Framer().feed(data):
            for one in self.fleet.receive("udp", frame, self.now_us):
                if self.suite is None:
                    self.suite = EstimateSuite(one)
        assert self.suite is not None
        self.suite.run(self.now_us)
        assert self.suite.failures == {}

    def read(self, name: str) -> object:
        readings: Readings = self.fleet.aircraft[7].readings
        return readings.read(INDEX[name], self.now_us)


def test_both_packs_heard_tell_the_way_home() -> None:
    flown = Flown()
    for second in range(30):
        flown.second(b0=(44.4, 90, second * 25), b1=(44.4, 90, second * 25))
    assert isinstance(flown.read("return.reserve"), float)


def test_a_pack_of_the_file_that_is_never_heard_leaves_the_return_blind() -> None:
    flown = Flown()
    for second in range(30):
        flown.second(b0=(44.4, 90, second * 25))
        assert flown.read("return.reserve") is BLIND
        assert flown.read("return.turn_back_in") is BLIND
    assert isinstance(flown.read("battery.charge_left"), float)  # the pack that is heard is still told


def test_a_hover_power_of_the_file_does_not_stand_in_for_a_pack() -> None:
    flown = Flown(PACKS + "\nhover_power: 8 kW")
    for second in range(30):
        flown.second(b0=(44.4, 90, second * 25))
    assert flown.read("return.reserve") is BLIND


def test_a_pack_that_falls_silent_leaves_the_return_blind_and_the_worst_no_better() -> None:
    flown = Flown()
    for second in range(30):
        flown.second(b0=(44.4, 90, second * 25), b1=(43.2, 90, second * 25))
    worst = flown.read("battery.charge_left")
    assert worst == flown.read("battery.2.charge_left")  # 0.1 V a cell lower under the same current
    for second in range(30, 50):
        flown.second(b0=(44.4, 90, second * 25))
    assert flown.read("return.reserve") is BLIND
    assert flown.read("battery.2.charge_left") is BLIND
    assert flown.read("battery.charge_left") == worst
    for second in range(50, 55):
        flown.second(b0=(44.4, 90, second * 25), b1=(43.2, 90, second * 25))
    assert isinstance(flown.read("return.reserve"), float)


def test_a_current_that_falls_silent_leaves_charge_and_return_blind_until_it_is_back() -> None:
    flown = Flown()
    for _ in range(30):
        flown.second(b0=(44.4, 90, None), b1=(44.4, 90, None))
    before = flown.read("battery.charge_left")
    assert isinstance(before, float)
    for _ in range(12):
        flown.second(b0=(44.4, 0, None), b1=(44.4, 0, None))
    for _ in range(30):
        flown.second(b0=(44.4, 0, None), b1=(44.4, 0, None))
        for name in ("battery.charge_left", "battery.time_left", "return.reserve", "return.turn_back_in"):
            assert flown.read(name) is BLIND, name
    flown.second(b0=(44.4, 90, None), b1=(44.4, 90, None))
    after = flown.read("battery.charge_left")
    assert isinstance(after, float)
    # 90 A for 43 s are 1.075 Ah: 4.9 % of the label, 5.1 % of what is left of it at 100 cycles, and 5.7 to 7.4 %
    # of what is usable where 10 to 30 % are not
    assert 4.9 < before - after < 7.4
    assert isinstance(flown.read("return.reserve"), float)


def test_a_current_into_the_pack_in_flight_is_not_measured() -> None:
    flown = Flown()
    for _ in range(5):
        flown.second(b0=(44.4, 90, None), b1=(44.4, 90, None))
    for _ in range(15):
        flown.second(b0=(44.4, -90, None), b1=(44.4, -90, None))
    for name in ("battery.charge_left", "battery.rest_cell_voltage", "battery.sag", "return.reserve"):
        assert flown.read(name) is BLIND, name


def test_one_monitor_of_both_packs_counts_against_both() -> None:
    flown = Flown()
    charges = []
    for second in range(121):
        # 3.85 V and 180 A through 0.94 mohm a cell are 4.02 V at rest, 83 % on the curve; 6 Ah of 41.8 less,
        # at 69 %, it rests at 3.876 V: twelve times 0.14 V lower
        flown.second(sys=(46.2 - 1.7 * second / 120, 180, 60))
        charges.append(flown.read("battery.charge_left"))
    first, last = charges[20], charges[120]
    assert isinstance(first, float)
    assert isinstance(last, float)
    # 180 A for 100 s are 5 Ah: of 44 are 11.4 %, of the 41.8 at 100 cycles 12.0 %, and 13.3 to 17.1 % of what is
    # usable where 10 to 30 % are not; against one pack it would be twice as much
    assert 11.4 < first - last < 17.1
    ohm = flown.read("battery.resistance")
    assert isinstance(ohm, float)
    assert ohm == pytest.approx(0.009, rel=0.5)  # two of 18 mohm in parallel


def test_all_packs_as_one() -> None:
    each = load_aircraft_file(PACKS, "a.yaml").packs
    beside = whole_pack(each)
    assert (beside.cells, beside.capacity_ah) == (12, 44)
    assert beside.resistance_ohm == pytest.approx(0.009)
    behind = whole_pack(each.model_copy(update={"topology": "series"}))
    assert (behind.cells, behind.capacity_ah) == (24, 22)
    assert behind.resistance_ohm == pytest.approx(0.036)


def test_one_monitor_of_packs_in_series_has_all_their_cells() -> None:
    flown = Flown("packs: {cells: 6, capacity: 22 Ah, count: 2, topology: series}")
    flown.second(sys=(44.4, 90, 60))
    assert flown.read("battery.cell_voltage") == pytest.approx(3.7)
    rest = flown.read("battery.rest_cell_voltage")
    assert isinstance(rest, float)
    assert 3.7 < rest < 4.2
