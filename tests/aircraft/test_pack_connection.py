"""Connections that open, monitors that freeze, balance wires and cells, in messages that pymavlink packs.

Two packs of one bus share the load (facts.md section 6: Kirchhoff); one opened leaves all of it to the other.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import Flight
from watchkeeper.aircraft.celltaps import is_odd, mended
from watchkeeper.aircraft.connection import COUNTED_US, FROZEN_REPORTS
from watchkeeper.aircraft.fold_battery import voltages
from watchkeeper.aircraft.pack import Pack
from watchkeeper.aircraft.smartbattery import FAULT_WORDS, FAULTS, STATES, fault_word, state_word

ABSENT = 65535
CELLS_MV = [3850] * 12


class Packs:
    """An aircraft with packs 1, 2, … that report once a second, by turns."""

    def __init__(self, *, flying: bool = True) -> None:
        self.heard = Flight()
        self.heard.beat(armed=flying)
        self.dice = random.Random(3)
        if flying:
            self.land_state(2)

    def land_state(self, landed: int) -> None:
        self.heard.send("EXTENDED_SYS_STATE", landed_state=landed)
        self.heard.beat(armed=landed == 2)
        self.heard.send("EXTENDED_SYS_STATE", landed_state=landed)

    def tell(self, battery: int, amps: float | None, cells_mv: Sequence[int] | None = None, **fields: Any) -> None:
        noise = self.dice.randint(-8, 8)
        cells = list(CELLS_MV if cells_mv is None else cells_mv)
        cells = [c + noise if c else 0 for c in cells]
        usual: dict[str, Any] = {
            "voltages": (cells + [ABSENT] * 10)[:10],
            "voltages_ext": (cells[10:] + [0] * 4)[:4],
            "current_battery": -1 if amps is None else round(100 * amps) + (noise if amps else 0),
            "current_consumed": -1,
            "energy_consumed": -1,
            "temperature": 2500,
            "battery_remaining": -1,
            "battery_function": 1,
        }
        self.heard.send("BATTERY_STATUS", id=battery, **{**usual, **fields})

    def second(self, *amps: float | None) -> None:
        """Let each pack report its current; None: nothing is heard of it."""
        for battery, current_a in enumerate(amps):
            self.heard.wait(1.0 / len(amps))
            if current_a is not None:
                self.tell(battery, current_a)
        self.heard.send("EXTENDED_SYS_STATE", landed_state=2)

    def pack(self, number: int = 1) -> Pack:
        return next(p for p in self.heard.aircraft.packs.packs.values() if p.number == number)

    def opens(self, number: int = 1) -> int:
        return self.pack(number).connection.opens(self.heard.now_us)


def test_a_pack_that_leaves_the_bus_for_a_moment_is_counted_when_it_is_back() -> None:
    packs = Packs()
    for _ in range(10):
        packs.second(70.0, 72.0)
    packs.second(0.0, 140.0)
    assert packs.opens() == 0  # it may be out for good
    packs.second(70.0, 72.0)
    assert packs.opens() == 1
    packs.second(0.2, 141.0)
    packs.second(70.0, 72.0)
    assert (packs.opens(1), packs.opens(2)) == (2, 0)
    packs.heard.wait(COUNTED_US / 1e6)
    assert packs.opens() == 0


def test_motors_that_idle_open_nothing() -> None:
    packs = Packs()
    for _ in range(10):
        packs.second(70.0, 72.0)
    for _ in range(5):
        packs.heard.wait(0.5)
        packs.tell(0, 0.4)  # pack 2 last told 72 A: that was before
        packs.heard.wait(0.5)
        packs.tell(1, 0.4)
        packs.second(70.0, 72.0)
    assert (packs.opens(1), packs.opens(2)) == (0, 0)


def test_a_voltage_that_vanishes_and_returns() -> None:
    packs = Packs()
    for _ in range(5):
        packs.second(70.0)
    packs.heard.wait(1.0)
    packs.tell(0, None, [0] * 12)
    packs.second(70.0)
    assert packs.opens() == 1


def test_a_current_that_vanishes_alone_while_the_voltage_says_that_the_load_is_there() -> None:
    packs = Packs()
    for _ in range(20):
        packs.second(70.0)
    packs.heard.wait(1.0)
    packs.tell(0, 0.0)
    packs.second(70.0)
    assert packs.opens() == 1
    # 70 A less, 15 mohm: 1.05 V more (V = E - R I, facts.md section 6): the load itself was gone
    packs.heard.wait(1.0)
    packs.tell(0, 0.0, [3850 + 88] * 12)
    packs.second(70.0)
    assert packs.opens() == 1


def test_reports_that_stay_away_while_the_others_come() -> None:
    packs = Packs()
    for _ in range(12):
        packs.second(70.0, 72.0)
    for _ in range(7):
        packs.second(None, 72.0)
    packs.second(70.0, 72.0)
    assert packs.opens() == 1
    for _ in range(6):
        packs.second(None, None)  # the link is gone: of all packs alike
    packs.second(70.0, 72.0)
    assert packs.opens() == 1


def test_a_slow_monitor_beside_a_fast_one_is_no_gap() -> None:
    packs = Packs()
    for i in range(200):
        packs.second(70.0 if i % 8 == 0 else None, 72.0)
    assert packs.opens(1) == packs.opens(2) == 0


@pytest.mark.parametrize("loss", [0.1, 0.3])
def test_a_poor_link_opens_nothing_twice_a_minute(loss: float) -> None:
    packs = Packs()
    dice = random.Random(11)
    most = 0
    for _ in range(900):
        packs.second(*(None if dice.random() < loss else 70.0 for _ in range(2)))
        if len(packs.heard.aircraft.packs.packs) == 2:
            most = max(most, packs.opens(1), packs.opens(2))
    assert most < 2


def test_on_the_ground_nothing_is_counted() -> None:
    packs = Packs(flying=False)
    for _ in range(10):
        for amps in (70.0, 0.0):
            packs.heard.wait(0.5)
            packs.tell(0, amps)
            packs.heard.wait(0.5)
            packs.tell(1, 72.0)
    assert packs.opens() == 0


def test_a_monitor_that_repeats_itself_is_frozen_and_thaws() -> None:
    packs = Packs()
    for _ in range(FROZEN_REPORTS + 5):
        packs.second(70.0)
    assert not packs.pack().connection.frozen  # it varies
    for _ in range(FROZEN_REPORTS + 1):
        packs.heard.wait(1.0)
        packs.tell(0, 70.0, voltages=[3850] * 10, voltages_ext=[3850, 3850, 0, 0], current_battery=7000)
    assert packs.pack().connection.frozen
    packs.second(71.0)
    assert not packs.pack().connection.frozen


def test_ten_reports_in_one_second_are_not_frozen() -> None:
    packs = Packs()
    for _ in range(3 * FROZEN_REPORTS):
        packs.heard.wait(0.1)
        packs.tell(0, 70.0, voltages=[3850] * 10, voltages_ext=[3850, 3850, 0, 0], current_battery=7000)
    assert not packs.pack().connection.frozen


def test_a_steady_charger_current_of_nothing_is_not_frozen() -> None:
    packs = Packs()
    for _ in range(3 * FROZEN_REPORTS):
        packs.heard.wait(1.0)
        packs.tell(0, 0.0, voltages=[3850] * 10, voltages_ext=[3850, 3850, 0, 0])
    assert not packs.pack().connection.frozen


def test_cells_11_to_14_and_zeros() -> None:
    # MAVLink: unused cells of voltages are 65535, of voltages_ext 0
    pack_v, cells_v = voltages([3800] * 10, [3700, 3750, 0, 0])
    assert pack_v == pytest.approx(45.45)
    assert cells_v[10:] == (3.7, 3.75)
    # a dead tenth cell before an eleventh and twelfth is a cell
    pack_v, cells_v = voltages([3800] * 9 + [0], [3800, 3800, 0, 0])
    assert len(cells_v) == 12
    assert cells_v[9] == 0
    assert pack_v == pytest.approx(41.8)
    # a broken tap between the first two
    assert voltages([7700, 0, 3850, 3850, ABSENT, ABSENT, ABSENT, ABSENT, ABSENT, ABSENT], [0] * 4)[1][:2] == (
        7.7,
        0,
    )


@pytest.mark.parametrize(
    ("cells_mv", "cell_mv"),
    [
        ([3850] * 5 + [0, 7700] + [3850] * 5, 3850),  # one tap open: the cells beside share it, and the sum stays
        ([3850] * 5 + [5000] + [3850] * 6, 3850),  # no cell holds 5 V
    ],
)
def test_a_broken_wire_is_no_cell(cells_mv: list[int], cell_mv: int) -> None:
    packs = Packs()
    packs.tell(0, 70.0)
    packs.tell(0, 70.0, cells_mv)
    assert packs.pack().tap_wrong
    assert packs.heard.read("battery.1.voltage") == pytest.approx(12 * cell_mv / 1000, abs=0.25)
    assert packs.heard.read("battery.1.imbalance") == pytest.approx(0.0, abs=0.01)
    packs.tell(0, 70.0)
    assert not packs.pack().tap_wrong


def test_a_cell_of_nothing_is_a_wire_only_if_something_knows_the_bus() -> None:
    dead = [3850] * 5 + [0] + [3850] * 6
    packs = Packs()
    packs.tell(0, 70.0, dead)
    assert not packs.pack().tap_wrong
    assert packs.heard.read("battery.1.imbalance") == pytest.approx(3.85, abs=0.01)
    # the other pack on the same bus says 46.2 V where the sum says 42.35
    packs.tell(1, 70.0)
    packs.tell(0, 70.0, dead)
    assert packs.pack().tap_wrong
    assert packs.heard.read("battery.cell_voltage") == pytest.approx(3.85, abs=0.01)
    # and if it agrees with the sum, the cell is dead
    packs.tell(1, 70.0, [3529] * 12)
    packs.tell(0, 70.0, dead)
    assert not packs.pack().tap_wrong


def test_sys_status_knows_the_bus_too_while_it_is_fresh() -> None:
    dead = [3850] * 5 + [0] + [3850] * 6
    packs = Packs()
    packs.tell(0, 70.0)
    packs.heard.send("SYS_STATUS", voltage_battery=46200, current_battery=-1, battery_remaining=-1)
    packs.tell(0, 70.0, dead)
    assert packs.pack().tap_wrong
    packs.heard.wait(6.0)
    packs.tell(0, 70.0, dead)
    assert not packs.pack().tap_wrong


def test_a_last_cell_of_nothing_is_missed() -> None:
    packs = Packs()
    packs.tell(0, 70.0)
    packs.tell(0, 70.0, [3850] * 11 + [0])  # sent as a pack of eleven
    assert packs.heard.read("battery.1.imbalance") == pytest.approx(3.85, abs=0.01)


def test_what_is_no_cell_at_all_is_not_mended() -> None:
    assert not is_odd((3.8,))
    assert is_odd((3.8, 0.2))
    assert mended((0.0, 0.1, 0.0), 46.0) is None


def test_states_and_faults_are_mavlinks() -> None:
    states = dialect.enums["MAV_BATTERY_CHARGE_STATE"]
    for number, word in enumerate(STATES):
        assert states[number].name.removeprefix("MAV_BATTERY_CHARGE_STATE_").lower() == word
    assert state_word(250) == "undefined"
    names = {
        "cell_failed": "CELL_FAIL", "too_hot": "OVER_TEMPERATURE", "too_much_current": "OVER_CURRENT",
        "discharged_too_deep": "DEEP_DISCHARGE", "voltage_spikes": "SPIKES", "too_cold": "UNDER_TEMPERATURE",
        "voltage_does_not_fit": "INCOMPATIBLE_VOLTAGE", "firmware_does_not_fit": "INCOMPATIBLE_FIRMWARE",
        "cells_do_not_fit": "INCOMPATIBLE_CELLS_CONFIGURATION",
    }  # fmt: skip
    faults = dialect.enums["MAV_BATTERY_FAULT"]
    assert {word for _, word in FAULTS} == set(names)
    for bit, word in FAULTS:
        assert faults[bit].name.endswith(names[word])
    assert fault_word(0) == "none"
    assert fault_word(1 | 4) == "cell_failed"
    assert fault_word(1 << 31) == "other"
    assert set(FAULT_WORDS) == {"none", "other", *names}


def test_a_battery_tells_its_age() -> None:
    packs = Packs()
    packs.tell(0, 70.0)
    usual = {"id": 0, "battery_function": 1, "capacity_full_specification": 22000}
    packs.heard.send("SMART_BATTERY_INFO", **usual, capacity_full=17000, cycle_count=210)
    (told,) = packs.heard.aircraft.packs.smart.values()
    assert told.health_pct == pytest.approx(77.3, abs=0.05)
    assert told.cycles == 210
    packs.heard.send("SMART_BATTERY_INFO", **usual, capacity_full=-1, cycle_count=65535)
    (told,) = packs.heard.aircraft.packs.smart.values()
    assert told.health_pct is None
    assert told.cycles is None
    packs.heard.send(
        "SMART_BATTERY_INFO", **{**usual, "id": 1, "battery_function": 3}, capacity_full=100, cycle_count=9
    )
    assert len(packs.heard.aircraft.packs.smart) == 1  # the avionics' is none of the flight's
    for battery in range(60):
        packs.heard.send("SMART_BATTERY_INFO", **{**usual, "id": battery}, capacity_full=100, cycle_count=9)
    assert len(packs.heard.aircraft.packs.smart) == 8
