"""Batteries: SI values and unknowns as MAVLink's definitions have them (facts.md section 9), packs told apart."""

from __future__ import annotations

from typing import Any

import pytest

from tests.aircraft.feeder import Flight, Sender
from watchkeeper.aircraft.catalogue import MAX_PACKS
from watchkeeper.aircraft.cells import inferred
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.fold_battery import voltages
from watchkeeper.aircraft.pack import DEAD_SAMPLES
from watchkeeper.aircraft.packs import SUM_SAMPLES

ABSENT = 65535


def flight(file: str | None = None) -> Flight:
    files = [] if file is None else [load_aircraft_file(f"aircraft: test\npacks: {file}\n", "test.yaml")]
    begun = Flight(Fleet(files))
    begun.beat()
    return begun


def battery(sender: Sender, battery_id: int = 0, **fields: Any) -> bytes:
    usual = {
        "voltages": [3900] * 6 + [ABSENT] * 4,
        "current_battery": 1250,
        "current_consumed": 800,
        "energy_consumed": -1,
        "temperature": 2350,
        "battery_remaining": 80,
        "battery_function": 1,
    }
    return sender.pack("BATTERY_STATUS", id=battery_id, **{**usual, **fields})


def test_a_pack_in_si() -> None:
    heard = flight()
    heard.hear(battery(heard.sender))
    for prefix in ("battery.", "battery.1."):
        assert heard.read(prefix + "voltage") == pytest.approx(23.4)
        assert heard.read(prefix + "cell_voltage") == pytest.approx(3.9)
        assert heard.read(prefix + "current") == pytest.approx(12.5)
        assert heard.read(prefix + "power") == pytest.approx(292.5)
        assert heard.read(prefix + "gauge_left") == 80
        assert heard.read(prefix + "consumed") == pytest.approx(0.8)
        assert heard.read(prefix + "temperature") == pytest.approx(23.5)
        assert heard.read(prefix + "imbalance") == 0
    assert heard.read("battery.cells") == 6
    assert heard.read("battery.cells_source") == "reported"


def test_unknowns_are_blind() -> None:
    heard = flight()
    heard.hear(
        battery(heard.sender, current_battery=-1, current_consumed=-1, temperature=32767, battery_remaining=50)
    )
    assert heard.read("battery.voltage") == pytest.approx(23.4)
    for name in ("current", "power", "consumed", "temperature"):
        assert heard.is_blind(f"battery.{name}"), name


def test_a_current_at_the_end_of_its_field_is_not_known() -> None:
    # facts.md section 9: saturates near 327.67 A
    heard = flight()
    heard.hear(battery(heard.sender, current_battery=32767))
    assert heard.is_blind("battery.current")
    heard.hear(battery(heard.sender, current_battery=32766))
    assert heard.read("battery.current") == pytest.approx(327.66)


def test_a_current_into_the_pack_is_negative() -> None:
    heard = flight()
    heard.hear(battery(heard.sender, current_battery=-250))
    assert heard.read("battery.current") == pytest.approx(-2.5)


def test_twelve_and_fourteen_cells_go_on_in_the_extension() -> None:
    # facts.md section 9: cells 11 to 14 in voltages_ext, where 0 is absent
    heard = flight()
    heard.hear(battery(heard.sender, voltages=[3800] * 10, voltages_ext=[3700, 3800, 0, 0]))
    assert heard.read("battery.cells") == 12
    assert heard.read("battery.voltage") == pytest.approx(45.5)
    assert heard.read("battery.imbalance") == pytest.approx(0.1)
    pack_v, cells_v = voltages([4000] * 10, [4000] * 4)
    assert pack_v == pytest.approx(56)
    assert len(cells_v) == 14


@pytest.mark.parametrize(
    ("first", "volts", "cells"),
    [
        ([ABSENT] * 10, None, 0),
        ([0] * 10, None, 0),
        ([44400] + [ABSENT] * 9, 44.4, 0),
        ([65534, 4466] + [ABSENT] * 8, 70.0, 0),  # facts.md section 9: above 65 534 mV spills into the next
        ([3900] * 4 + [0] * 6, 15.6, 4),  # a sender that leaves zeros
        ([3900, 3900, 0, 3900] + [ABSENT] * 6, 11.7, 4),  # a dead cell is a cell
        ([4100] + [ABSENT] * 9, 4.1, 0),
    ],
)
def test_voltages(first: list[int], volts: float | None, cells: int) -> None:
    pack_v, cells_v = voltages(first, [0] * 4)
    assert pack_v == (None if volts is None else pytest.approx(volts))
    assert len(cells_v) == cells


def test_system_status_in_si() -> None:
    heard = flight()
    heard.send("SYS_STATUS", voltage_battery=12600, current_battery=480, battery_remaining=99)
    assert heard.read("battery.voltage") == pytest.approx(12.6)
    assert heard.read("battery.current") == pytest.approx(4.8)
    assert heard.read("battery.gauge_left") == 99
    assert heard.is_blind("battery.consumed")


def test_a_battery_that_is_not_measured_is_blind() -> None:
    # as in three of the recordings: 11.025 V for ever, current and gauge -1
    heard = flight()
    for _ in range(600):
        heard.wait(0.5)
        heard.send("SYS_STATUS", voltage_battery=11025, current_battery=-1, battery_remaining=-1)
        assert heard.is_blind("battery.voltage")
    assert heard.is_blind("battery.cells")


def test_a_voltage_that_moves_is_measured() -> None:
    heard = flight()
    for millivolts in (11025, 11040, 11060):
        heard.send("SYS_STATUS", voltage_battery=millivolts, current_battery=-1, battery_remaining=-1)
    assert heard.read("battery.voltage") == pytest.approx(11.06)
    assert heard.is_blind("battery.current")


def test_no_volts_at_all_are_no_battery() -> None:
    heard = flight()
    heard.send("SYS_STATUS", voltage_battery=ABSENT, current_battery=0, battery_remaining=-1)
    assert heard.is_blind("battery.voltage")
    heard.send("SYS_STATUS", voltage_battery=300, current_battery=0, battery_remaining=-1)
    assert heard.is_blind("battery.voltage")


def test_flying_on_exactly_no_current_is_not_measured() -> None:
    heard = flight()
    heard.gps()
    heard.at()
    heard.beat(armed=True)
    heard.wait(4)
    heard.at(height_m=10)
    assert heard.aircraft.flying
    for _ in range(DEAD_SAMPLES):
        heard.send("SYS_STATUS", voltage_battery=11025, current_battery=0, battery_remaining=-1)
    assert heard.is_blind("battery.current")
    assert heard.is_blind("battery.voltage")


def test_two_packs_the_worst_and_the_sum() -> None:
    heard = flight()
    heard.send("SYS_STATUS", voltage_battery=12600, current_battery=100, battery_remaining=99)
    heard.hear(battery(heard.sender, 0, voltages=[3900] * 6 + [ABSENT] * 4, battery_remaining=70))
    second = [3800] * 6 + [ABSENT] * 4
    heard.hear(battery(heard.sender, 1, voltages=second, battery_remaining=60, temperature=4000))
    assert heard.read("battery.1.voltage") == pytest.approx(23.4)
    assert heard.read("battery.2.voltage") == pytest.approx(22.8)
    assert heard.read("battery.voltage") == pytest.approx(22.8)
    assert heard.read("battery.cell_voltage") == pytest.approx(3.8)
    assert heard.read("battery.gauge_left") == 60
    assert heard.read("battery.current") == pytest.approx(25.0)
    assert heard.read("battery.consumed") == pytest.approx(1.6)
    assert heard.read("battery.power") == pytest.approx(12.5 * (23.4 + 22.8))
    assert heard.read("battery.temperature") == pytest.approx(40)
    # with two packs SYS_STATUS does not say which it means
    heard.send("SYS_STATUS", voltage_battery=9000, current_battery=100, battery_remaining=9)
    assert heard.read("battery.voltage") == pytest.approx(22.8)


def test_the_same_current_flows_through_packs_in_series() -> None:
    heard = flight("{cells: 6, count: 2, topology: series, capacity: 10 Ah}")
    for battery_id in (0, 1):
        heard.hear(battery(heard.sender, battery_id))
    assert heard.read("battery.current") == pytest.approx(12.5)
    assert heard.read("battery.consumed") == pytest.approx(0.8)
    assert heard.read("battery.power") == pytest.approx(2 * 292.5)


def test_a_silent_pack_is_no_longer_the_worst_and_the_sum_is_unknown_without_it() -> None:
    heard = flight()
    heard.beat(armed=True)
    heard.hear(battery(heard.sender, 0))
    heard.hear(battery(heard.sender, 1, voltages=[3500] * 6 + [ABSENT] * 4))
    for _ in range(60):
        heard.wait(0.5)
        heard.hear(battery(heard.sender, 0))
    assert heard.read("battery.voltage") == pytest.approx(23.4)
    assert heard.is_blind("battery.current")
    assert heard.is_blind("battery.2.voltage")
    assert heard.read("battery.1.current") == pytest.approx(12.5)


def test_avionics_and_payload_batteries_are_none_of_the_flights() -> None:
    heard = flight()
    heard.hear(battery(heard.sender, 0))
    for battery_id, function in ((1, 3), (2, 4)):
        volts = [3000] * 2 + [ABSENT] * 8
        heard.hear(battery(heard.sender, battery_id, battery_function=function, voltages=volts))
    assert heard.read("battery.voltage") == pytest.approx(23.4)
    assert heard.read("battery.current") == pytest.approx(12.5)


def test_a_sum_is_never_counted_when_the_aircraft_file_names_it() -> None:
    heard = flight("{cells: 6, count: 2, monitors: {0: sum, 1: pack 1, 2: pack 2, 3: other}}")
    heard.hear(battery(heard.sender, 0, current_battery=2500))
    heard.hear(battery(heard.sender, 3, current_battery=300))
    heard.hear(battery(heard.sender, 1))
    heard.hear(battery(heard.sender, 2))
    assert heard.read("battery.current") == pytest.approx(25.0)
    assert heard.read("battery.1.current") == pytest.approx(12.5)
    assert heard.is_blind("battery.3.current")


def test_a_sum_is_found_out_when_no_file_names_it() -> None:
    heard = flight()
    for step in range(SUM_SAMPLES + 1):
        heard.wait(0.5)
        one, two = 1200 + step, 1300 - 3 * step
        heard.hear(battery(heard.sender, 0, current_battery=one))
        heard.hear(battery(heard.sender, 1, current_battery=two))
        heard.hear(battery(heard.sender, 2, current_battery=one + two))
    assert heard.read("battery.current") == pytest.approx((one + two) / 100)


def test_smart_batteries_are_components_of_their_own() -> None:
    heard = flight()
    for component, volts in ((180, 3900), (181, 3850)):
        sender = Sender(7, component)
        touched = heard.hear(battery(sender, 0, voltages=[volts] * 6 + [ABSENT] * 4))
        assert [aircraft.system for aircraft in touched] == [7]
    assert heard.read("battery.1.cell_voltage") == pytest.approx(3.9)
    assert heard.read("battery.2.cell_voltage") == pytest.approx(3.85)


def test_more_monitors_than_there_is_room_for() -> None:
    heard = flight()
    for battery_id in range(256):
        heard.hear(battery(heard.sender, battery_id))
    assert len(heard.aircraft.packs.packs) == MAX_PACKS


@pytest.mark.parametrize(
    ("volts", "cells"),
    [(4.2, 1), (8.2, 2), (12.6, 3), (16.4, 4), (25.2, 6), (45.6, 12), (50.4, None), (42.4, None), (3.0, None)],
)
def test_cells_from_a_resting_voltage_only_where_one_number_fits(volts: float, cells: int | None) -> None:
    # a full cell has 4.2 V (common practice); 50.4 V is a full 12S or a low 14S, 42.4 V a full 10S or a low 12S
    assert inferred(volts) == cells


def test_cells_are_not_inferred_under_load_or_late() -> None:
    heard = flight()
    heard.beat(armed=True)
    heard.send("SYS_STATUS", voltage_battery=12600, current_battery=2000, battery_remaining=99)
    assert heard.is_blind("battery.cells")
    heard.beat()
    heard.wait(300)
    heard.send("SYS_STATUS", voltage_battery=12600, current_battery=20, battery_remaining=99)
    assert heard.is_blind("battery.cells")


def test_the_aircraft_file_goes_before_what_is_reported_or_inferred() -> None:
    heard = flight("{cells: 12}")
    heard.hear(battery(heard.sender, voltages=[24000] + [ABSENT] * 9))
    assert heard.read("battery.cells") == 12
    assert heard.read("battery.cells_source") == "aircraft_file"
    assert heard.read("battery.cell_voltage") == pytest.approx(2.0)
    heard.hear(battery(heard.sender))
    assert heard.read("battery.cells") == 12


def test_one_pack_that_falls_silent_leaves_the_word_to_system_status() -> None:
    heard = flight()
    heard.hear(battery(heard.sender))
    for _ in range(40):
        heard.wait(0.5)
        heard.send("SYS_STATUS", voltage_battery=22000, current_battery=900, battery_remaining=55)
    assert heard.read("battery.voltage") == pytest.approx(22.0)


def test_zeros_all_over_are_a_message_that_nobody_filled_in() -> None:
    heard = flight()
    for millivolts in (0, 0, 500, 11025, 11025):
        heard.send("SYS_STATUS", voltage_battery=millivolts, current_battery=0, battery_remaining=0)
        assert heard.is_blind("battery.gauge_left")
        assert heard.is_blind("battery.voltage")
    heard.send("SYS_STATUS", voltage_battery=11025, current_battery=700, battery_remaining=0)
    assert heard.read("battery.gauge_left") == 0  # beside a real current an empty gauge is one


def test_a_gauge_that_ran_down_to_nothing_stays_one() -> None:
    heard = flight()
    for left in (2, 1, 0, 0):
        heard.send("SYS_STATUS", voltage_battery=11025, current_battery=-1, battery_remaining=left)
        assert heard.read("battery.gauge_left") == left


def test_a_pack_that_the_file_names_and_nobody_hears_leaves_the_sums_unknown() -> None:
    heard = flight("{cells: 6, count: 2, monitors: {0: pack 1, 1: pack 2}}")
    heard.hear(battery(heard.sender, 0))
    assert heard.read("battery.voltage") == pytest.approx(23.4)
    for name in ("current", "power", "consumed"):
        assert heard.is_blind(f"battery.{name}")
        assert heard.read(f"battery.1.{name}") > 0
    heard.hear(battery(heard.sender, 1))
    assert heard.read("battery.current") == pytest.approx(25)


def test_a_sum_that_was_found_out_is_no_pack_any_more() -> None:
    heard = flight()
    for step in range(SUM_SAMPLES + 1):
        heard.wait(0.5)
        for battery_id, current in ((0, 1200 + step), (1, 1300), (2, 2500 + step)):
            heard.hear(battery(heard.sender, battery_id, current_battery=current))
    assert heard.read("battery.2.current") == pytest.approx(13)
    assert heard.is_blind("battery.3.current")
    assert heard.is_blind("battery.3.voltage")


def test_all_packs_silent_are_blind_and_not_the_last_word() -> None:
    heard = flight()
    heard.beat(armed=True)
    for _ in range(5):
        heard.wait(1)
        for battery_id in (0, 1):
            heard.hear(battery(heard.sender, battery_id))
    for _ in range(40):
        heard.wait(1)
        heard.beat(armed=True)
    for name in ("voltage", "cell_voltage", "current", "gauge_left"):
        assert heard.is_blind(f"battery.{name}")
        assert heard.is_blind(f"battery.1.{name}")
    assert heard.read("battery.cells") == 6


def test_a_pack_that_comes_back_counts_again() -> None:
    heard = flight()
    heard.beat(armed=True)
    for second in range(60):
        heard.wait(1)
        heard.hear(battery(heard.sender, 0))
        if not 10 <= second < 50:
            heard.hear(battery(heard.sender, 1, voltages=[3500] * 6 + [ABSENT] * 4))
        if second == 45:
            assert heard.read("battery.cell_voltage") == pytest.approx(3.9)
    assert heard.read("battery.cell_voltage") == pytest.approx(3.5)
    assert heard.read("battery.current") == pytest.approx(25)
    assert set(heard.aircraft.packs.packs) == {(1, 0), (1, 1)}


def test_two_monitors_of_one_pack_by_the_file_are_not_summed() -> None:
    heard = flight("{cells: 6, count: 1, monitors: {0: pack 1}}")
    smart = Sender(7, 180)
    for _ in range(5):
        heard.wait(1)
        heard.hear(battery(smart))
        heard.hear(battery(heard.sender))
    assert heard.read("battery.current") == pytest.approx(12.5)
    assert heard.read("battery.1.current") == pytest.approx(12.5)
    heard.beat(armed=True)
    for _ in range(60):  # the smart battery falls silent: the other speaks for the pack
        heard.wait(1)
        heard.hear(battery(heard.sender, current_battery=2000))
    assert heard.read("battery.current") == pytest.approx(20)
    assert heard.read("battery.1.current") == pytest.approx(20)
