"""Battery monitors: noise, scale, offset, a gauge that starts wrong, a pack whose connection is open."""

from __future__ import annotations

from statistics import fmean, pstdev

import pytest

from simulators.flown.flight import FastFlight
from simulators.flown.setup import PackSetup
from simulators.onboard.gauge import EXACT, Gauges, Monitor, MonitorErrors
from simulators.physics.packs import Pack, PackBank, PackModel
from tests.simulators.onboard.flying import airborne, setup

AMBIENT_DEGC = 15.0


def loaded(errors: MonitorErrors, current_a: float) -> Monitor:
    pack = Pack(PackModel(), 0.8)
    pack.prepare(0.02)
    pack.carry(current_a, AMBIENT_DEGC)
    return Monitor(pack, errors, "test")


def hovering(*errors: MonitorErrors, charges: tuple[float, ...] = (1.0, 1.0)) -> FastFlight:
    packs = tuple(PackSetup(PackModel(), charge, one) for charge, one in zip(charges, errors, strict=True))
    return airborne(setup(packs=packs))


def test_scales_and_offsets_are_drawn_within_their_bounds() -> None:
    drawn = [MonitorErrors.draw(seed) for seed in range(500)]
    assert max(abs(one.scale - 1) for one in drawn) <= 0.06 + 1e-12
    assert pstdev([one.scale for one in drawn]) == pytest.approx(0.0245, rel=0.12)
    assert max(abs(one.offset_a) for one in drawn) <= 0.4
    assert MonitorErrors.draw(3) == drawn[3]
    volts = [one.voltage_scale - 1 for one in drawn]
    assert 0.009 < max(map(abs, volts)) <= 0.01 + 1e-12
    assert pstdev(volts) == pytest.approx(0.004, rel=0.12)


def test_shown_current_and_voltage_by_their_errors() -> None:
    monitor = loaded(MonitorErrors(scale=1.05, offset_a=-0.3, current_a=0.15, voltage_v=0.015), 30.0)
    amps, volts = [], []
    for _ in range(2000):
        monitor.read(0.1)
        amps.append(monitor.current_a)
        volts.append(monitor.voltage_v)
    assert fmean(amps) == pytest.approx(1.05 * 30 - 0.3, abs=0.015)
    assert pstdev(amps) == pytest.approx(0.15, rel=0.08)
    assert fmean(volts) == pytest.approx(monitor.pack.terminal_v, abs=0.0015)
    assert pstdev(volts) == pytest.approx(0.015, rel=0.08)


def test_voltages_of_pack_and_cells_are_off_by_one_scale() -> None:
    monitor = loaded(MonitorErrors(voltage_v=0.0, cell_v=0.0, voltage_scale=0.99), 30.0)
    monitor.read(0.1)
    true_v = monitor.pack.terminal_v
    assert monitor.voltage_v == pytest.approx(0.99 * true_v)
    assert sum(monitor.cells_mv()) == pytest.approx(990 * true_v, abs=12)


def test_the_gauge_counts_what_is_shown() -> None:
    # 30 A for 200 s are 1.667 Ah, 5 % more as shown; of 22 Ah
    monitor = loaded(MonitorErrors(scale=1.05, current_a=0.0), 30.0)
    start_pct = monitor.left_pct
    for _ in range(2000):
        monitor.read(0.1)
    assert start_pct == pytest.approx(80.0, abs=0.01)
    assert monitor.used_ah == pytest.approx(1.05 * 30 * 200 / 3600)
    assert start_pct - monitor.left_pct == pytest.approx(100 * monitor.used_ah / 22.0, rel=0.02)


def test_a_gauge_may_start_wrong_and_reckon_with_a_wrong_capacity() -> None:
    monitor = loaded(MonitorErrors(current_a=0.0, start_pct=100.0, capacity=0.5), 30.0)
    for _ in range(2000):
        monitor.read(0.1)
    assert monitor.left_pct == pytest.approx(100.0 - 2 * 100 * monitor.used_ah / 22.0, abs=0.3)
    for _ in range(20000):
        monitor.read(0.1)
    assert monitor.left_pct == 0.0


def test_a_gauge_of_a_drawn_aircraft_is_off_by_its_scale_after_a_flight() -> None:
    flight = hovering(MonitorErrors(scale=1.06), MonitorErrors(scale=0.94))
    flight.run(300.0)
    for monitor, scale in zip(flight.pilot.gauges.monitors, (1.06, 0.94), strict=True):
        assert monitor.used_ah == pytest.approx(scale * monitor.pack.used_ah, rel=0.01)


def test_no_current_is_shown_as_none() -> None:
    # a small offset is not seen while nothing flows, as monitors are zeroed
    monitor = loaded(MonitorErrors(offset_a=0.4), 0.0)
    monitor.read(0.1)
    assert (monitor.current_a, monitor.used_ah) == (0.0, 0.0)


def test_cells_add_up_to_the_pack_and_one_weak_cell_stands_out() -> None:
    pack = Pack(PackModel(), 0.8, 25.0, [0.003 * (-1) ** i for i in range(12)], weak_cell=4, weak_ohm=0.004)
    pack.prepare(0.02)
    pack.carry(40.0, AMBIENT_DEGC)
    cells = Monitor(pack, EXACT, "test").cells_mv()
    assert len(cells) == 12
    assert sum(cells) == pytest.approx(1000 * pack.terminal_v, abs=12)
    others = [one for at, one in enumerate(cells) if at != 4]
    assert min(others) - cells[4] == pytest.approx(160 - 6, abs=5)  # 40 A times 4 milliohm


def test_asking_for_cells_changes_nothing_else() -> None:
    one, other = (loaded(MonitorErrors(), 30.0) for _ in range(2))
    for _ in range(50):
        one.cells_mv()
        one.read(0.1)
        other.read(0.1)
    assert (one.current_a, one.voltage_v) == (other.current_a, other.voltage_v)


def test_no_cell_is_shown_below_nothing() -> None:
    pack = Pack(PackModel(), 0.0)
    pack.terminal_v = 0.0
    monitor = Monitor(pack, MonitorErrors(cell_v=0.02), "test")
    assert min(min(monitor.cells_mv()) for _ in range(20)) == 0


def test_all_packs_together() -> None:
    flight = hovering(EXACT, EXACT)
    gauges, bank = flight.pilot.gauges, flight.bank
    assert gauges.current_a == pytest.approx(bank.current_a, rel=0.02)
    assert gauges.pack_a == pytest.approx(bank.current_a / 2, rel=0.02)
    assert gauges.voltage_v == pytest.approx(bank.voltage_v, abs=0.02)
    assert gauges.left_pct == pytest.approx(fmean(100 * pack.charge for pack in bank.packs), abs=0.1)


def test_a_pack_whose_connection_opens() -> None:
    flight = hovering(EXACT, EXACT)
    one, two = flight.pilot.gauges.monitors
    before_a, used_ah = two.current_a, one.used_ah
    flight.bank.open(0)
    flight.run(20.0)
    assert one.current_a == 0.0
    assert one.used_ah == pytest.approx(used_ah, abs=1e-4)
    assert two.current_a == pytest.approx(2 * before_a, rel=0.1)
    assert one.voltage_v > two.voltage_v + 0.1  # at rest, the other loaded
    gauges = flight.pilot.gauges
    assert gauges.voltage_v == two.voltage_v  # the bus
    assert gauges.pack_a == two.current_a
    assert one.left_pct > two.left_pct + 0.5  # its count stands still
    assert gauges.left_pct == gauges.lowest_pct == two.left_pct
    flight.bank.close(0)
    flight.run(20.0)
    assert one.current_a > two.current_a  # it has more left


def test_all_connections_open_show_nothing_and_it_falls() -> None:
    flight = hovering(EXACT, EXACT)
    flight.bank.open(0)
    flight.bank.open(1)
    flight.run(10.0)
    assert (flight.pilot.gauges.voltage_v, flight.pilot.gauges.current_a) == (0.0, 0.0)
    assert flight.craft.crashed


def test_the_lowest_gauge_is_that_of_the_emptier_pack() -> None:
    gauges = hovering(EXACT, EXACT, charges=(0.9, 0.8)).pilot.gauges
    one, two = gauges.monitors
    assert gauges.lowest_pct == two.left_pct < one.left_pct
    assert gauges.left_pct == pytest.approx(fmean((one.left_pct, two.left_pct)))


def test_monitors_are_as_many_as_packs() -> None:
    with pytest.raises(ValueError, match="zip"):
        Gauges(PackBank([Pack(PackModel())]), [EXACT, EXACT], 1)
