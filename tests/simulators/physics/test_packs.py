"""Packs on a bus: Kirchhoff, the energy ledger, heat and cold, connections that open."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import replace

import pytest

from simulators.physics.cell import EVEN, POUCH_22AH, broken_line
from simulators.physics.packs import Pack, PackBank, PackModel


def source(emf_v: float, ohm: float) -> Pack:
    """Return a pack that is a plain voltage source behind a resistance."""
    cell = replace(
        POUCH_22AH,
        ocv_v=broken_line([(0.0, emf_v / 12)]),
        r0_ohm=ohm / 12,
        r1_ohm=0.0,
        r2_ohm=0.0,
        by_charge=EVEN,
        activation_k=0.0,
    )
    return Pack(PackModel(cell, wiring_ohm=0.0), charge=0.8)


def currents(bank: PackBank) -> list[float]:
    return [pack.current_a for pack in bank.packs]


def changing_power_w(time_s: float) -> float:
    """Return a load as of a flight: steps, a slow wave, a burst, a little recovery."""
    if time_s % 100 > 97:
        return -200.0
    return 3500 + 900 * math.sin(time_s / 7) + (2500 if time_s % 60 < 8 else 0)


def unequal() -> PackBank:
    model = PackModel(cycles=80)
    return PackBank(
        [
            Pack(model, 1.0, 5.0, weak_cell=4, weak_ohm=0.6e-3),
            Pack(replace(model, cycles=240), 0.95, 8.0),
        ]
    )


@pytest.mark.parametrize(
    ("second_emf_v", "bus_v", "expected_a"),
    # facts section 6, two packs in parallel: .018 and .022 ohm at 150 A.
    [(44.4, 42.915, [82.5, 67.5]), (43.8, 42.645, [97.5, 52.5])],
)
def test_two_packs_share_current(second_emf_v: float, bus_v: float, expected_a: list[float]) -> None:
    bank = PackBank([source(44.4, 0.018), source(second_emf_v, 0.022)])
    assert bank.draw(150 * bus_v, 0.02, 25.0) == pytest.approx(bus_v, abs=5e-4)
    assert currents(bank) == pytest.approx(expected_a, abs=0.02)
    assert bank.current_a == pytest.approx(150.0, abs=0.01)


def test_constant_power_takes_the_upper_root() -> None:
    # facts section 6: 44.4 V behind .0099 ohm at 4128 W.
    bank = PackBank([source(44.4, 0.0099)])
    assert bank.draw(4128.0, 0.02, 25.0) == pytest.approx(43.460, abs=5e-4)
    assert bank.current_a == pytest.approx(94.98, abs=0.01)
    assert bank.power_w == pytest.approx(4128.0, rel=1e-12)
    assert not bank.collapsed


def test_beyond_the_greatest_power_the_bus_collapses() -> None:
    # facts section 6: no root if P > E^2 / 4R. There V = E/2 and I = E/2R.
    most_w = 44.4**2 / (4 * 0.0099)
    bank = PackBank([source(44.4, 0.0099)])
    found = []
    for power_w in (most_w * 0.9999, most_w * 1.0001, most_w * 3, 1000.0):
        bank.draw(power_w, 0.02, 25.0)
        found.append((bank.collapsed, bank.voltage_v, bank.current_a, bank.power_w))
    assert [collapsed for collapsed, *_ in found] == [False, True, True, False]
    for beyond in found[1:3]:
        assert beyond[1:] == pytest.approx((22.2, 44.4 / (2 * 0.0099), most_w))


def test_unequal_packs_even_out_without_load() -> None:
    # Closed form: (E1 - E2) / (R1 + R2).
    bank = PackBank([source(44.4, 0.018), source(43.8, 0.022)])
    bank.draw(0.0, 0.02, 25.0)
    assert currents(bank) == pytest.approx([15.0, -15.0])
    assert bank.voltage_v == pytest.approx(44.4 - 15 * 0.018)
    assert bank.current_a == pytest.approx(0.0, abs=1e-9)
    assert bank.packs[1].used_ah == pytest.approx(-15 * 0.02 / 3600)
    real = PackBank([Pack(PackModel(), 0.9), Pack(PackModel(), 0.8)])
    for _ in range(30_000):
        real.draw(0.0, 0.2, 25.0)
    assert real.packs[0].charge == pytest.approx(0.85, abs=2e-3)
    assert real.packs[1].charge == pytest.approx(0.85, abs=2e-3)
    assert real.packs[0].charge + real.packs[1].charge == pytest.approx(1.7, abs=1e-9)


def test_a_connection_that_opens() -> None:
    bank = PackBank([Pack(PackModel()), Pack(PackModel())])
    for _ in range(500):
        bank.draw(4100.0, 0.1, 25.0)
    before_v, share_a = bank.voltage_v, bank.packs[0].current_a
    assert bank.packs[1].terminal_v == pytest.approx(before_v)
    bank.open(1)
    lone = bank.packs[1]
    assert lone.current_a == 0.0
    own_v, charge = lone.terminal_v, lone.charge
    assert own_v == lone.rest_v > before_v
    bank.draw(4100.0, 0.1, 25.0)
    assert bank.packs[0].current_a == pytest.approx(bank.current_a)
    assert bank.packs[0].current_a > 1.95 * share_a
    assert bank.voltage_v < before_v - 0.3
    for _ in range(6000):
        bank.draw(4100.0, 0.1, 25.0)
    # Left alone it recovers towards its open-circuit voltage, and keeps its charge.
    assert lone.charge == charge
    assert lone.terminal_v == pytest.approx(12 * POUCH_22AH.open_circuit(charge)[0], abs=0.01)
    assert lone.terminal_v > own_v
    bank.close(1)
    bank.draw(4100.0, 0.1, 25.0)
    assert lone.current_a > bank.packs[0].current_a
    assert lone.terminal_v == pytest.approx(bank.voltage_v)


def test_with_all_open_the_bus_is_dead() -> None:
    bank = PackBank([Pack(PackModel()), Pack(PackModel())])
    for index in (0, 1):
        bank.open(index)
    assert bank.draw(4100.0, 0.02, 25.0) == 0.0
    assert (bank.voltage_v, bank.current_a, bank.power_w) == (0.0, 0.0, 0.0)
    assert bank.packs[0].terminal_v == pytest.approx(12 * 4.19, abs=0.02)
    assert bank.packs[0].charge == 1.0


def test_energy_balances_over_a_long_discharge() -> None:
    bank = unequal()
    stored_j = [pack.stored_chemical_j for pack in bank.packs]
    delivered_j = 0.0
    for k, step_s in enumerate(itertools.islice(itertools.cycle([0.02, 0.05, 0.1, 0.2]), 16_500)):
        if k in {4000, 9000}:
            bank.open(1)
        if k in {4500, 9400}:
            bank.close(1)
        bank.draw(changing_power_w(k * 0.0925), step_s, 0.0)
        delivered_j += bank.power_w * step_s
    assert bank.packs[0].charge < 0.1
    for pack, start_j in zip(bank.packs, stored_j, strict=True):
        out_j = pack.heat_j + pack.stored_rc_j + pack.delivered_j
        assert pack.chemical_j == pytest.approx(out_j, rel=1e-9)
        assert pack.chemical_j == pytest.approx(start_j - pack.stored_chemical_j, rel=1e-6)
        assert 0.01 < pack.heat_j / pack.chemical_j < 0.2
    assert sum(pack.delivered_j for pack in bank.packs) == pytest.approx(delivered_j, rel=1e-9)
    assert bank.stored_chemical_j() == pytest.approx(
        sum(stored_j) - sum(p.chemical_j for p in bank.packs), rel=1e-6
    )


def test_heat_is_that_of_each_resistance() -> None:
    # Against a plain sum of I^2 R and u^2 / R in steps a thousandth as long.
    cell = replace(POUCH_22AH, by_charge=EVEN, activation_k=0.0)
    pack = Pack(PackModel(cell, wiring_ohm=0.002), charge=0.9)
    u1_v = u2_v = expected_j = 0.0
    dt = 1e-4
    for current_a in (120.0, 0.0, -30.0, 60.0):
        for _ in range(20):
            pack.prepare(0.1)
            pack.carry(current_a, 25.0)
        for _ in range(20_000):
            ohm1, ohm2 = 12 * cell.r1_ohm, 12 * cell.r2_ohm
            expected_j += dt * (current_a**2 * (12 * cell.r0_ohm + 0.002) + u1_v**2 / ohm1 + u2_v**2 / ohm2)
            u1_v += dt * (current_a * ohm1 - u1_v) / cell.tau1_s
            u2_v += dt * (current_a * ohm2 - u2_v) / cell.tau2_s
    assert pack.heat_j == pytest.approx(expected_j, rel=1e-4)
    assert pack.u1_v == pytest.approx(u1_v, rel=1e-4)
    assert pack.u2_v == pytest.approx(u2_v, rel=1e-4)


@pytest.mark.parametrize("step_s", [0.05, 0.1, 0.2])
def test_steps_of_any_length_agree(step_s: float) -> None:
    fine, coarse = unequal(), unequal()
    ratio = round(step_s / 0.02 * 2)
    for k in range(round(800 / step_s)):
        power_w = changing_power_w(k * step_s)
        for _ in range(ratio):
            fine.draw(power_w, step_s / ratio, 0.0)
        coarse.draw(power_w, step_s, 0.0)
        assert coarse.voltage_v == pytest.approx(fine.voltage_v, rel=1e-3)
    for one, other in zip(fine.packs, coarse.packs, strict=True):
        assert other.used_ah == pytest.approx(one.used_ah, rel=1e-5)
        assert other.heat_j == pytest.approx(one.heat_j, rel=1e-3)
        assert other.temperature_degc == pytest.approx(one.temperature_degc, abs=0.02)


def test_temperature_follows_a_constant_heat() -> None:
    # Closed form: T = Ta + P/k (1 - e^(-k t / C)).
    pack = source(44.4, 0.02)
    heat_w, model = 80.0**2 * 0.02, pack.model
    for _ in range(4000):
        pack.prepare(0.1)
        pack.carry(80.0, 25.0)
    rise_k = heat_w / model.cooling_w_k * (1 - math.exp(-model.cooling_w_k * 400 / model.heat_capacity_j_k))
    assert pack.temperature_degc == pytest.approx(25.0 + rise_k, abs=1e-3)
    for _ in range(200_000):
        pack.prepare(0.2)
        pack.carry(0.0, 10.0)
    assert pack.temperature_degc == pytest.approx(10.0, abs=1e-3)


def test_a_cold_pack_sags_more_and_warms_itself() -> None:
    warm, cold = (PackBank([Pack(PackModel(), 0.9, degc), Pack(PackModel(), 0.9, degc)]) for degc in (25.0, -20.0))
    rest_v = warm.voltage_v
    drops = [rest_v - bank.draw(4100.0, 0.02, degc) for bank, degc in ((warm, 25.0), (cold, -20.0))]
    # facts section 6 (weak): 3 to 5 times the resistance at -20; the wiring stays as it is.
    assert 3 < drops[1] / drops[0] < 5
    for _ in range(1500):
        cold.draw(4100.0, 0.2, -20.0)
    assert cold.packs[0].temperature_degc > -17.0


def test_resistance_follows_temperature_at_rest() -> None:
    pack = Pack(PackModel(wiring_ohm=0.0), 0.6, -20.0)
    cold_ohm = pack.series_ohm
    for _ in range(60_000):
        pack.prepare(0.2)
        pack.carry(0.0, 20.0)
        factor = POUCH_22AH.temperature_factor(pack.temperature_degc) / POUCH_22AH.temperature_factor(-20.0)
        assert pack.series_ohm == pytest.approx(cold_ohm * factor, rel=1e-3)
    assert pack.series_ohm < cold_ohm / 3


def test_resistance_follows_charge_in_even_warmth() -> None:
    cell = replace(POUCH_22AH, activation_k=0.0)
    pack = Pack(PackModel(cell, wiring_ohm=0.0))
    while pack.charge > 0.0:
        pack.prepare(0.2)
        pack.carry(90.0, 25.0)
        ohm = 12 * cell.r0_ohm * cell.charge_factor(pack.charge)
        assert pack.series_ohm == pytest.approx(ohm, rel=5e-3)
    assert pack.series_ohm > 1.8 * 12 * cell.r0_ohm


def test_an_empty_pack_falls_off_and_nothing_breaks() -> None:
    bank = unequal()
    lowest_v = previous_v = bank.voltage_v
    while not bank.collapsed:
        previous_v = bank.voltage_v
        lowest_v = min(lowest_v, bank.draw(4100.0, 0.1, 10.0))
    # facts section 6: a cell floor of 2.5 to 3.0 V; the curve is steep there.
    assert previous_v < 12 * 3.0
    rng = random.Random(5)
    for _ in range(5000):
        bank.draw(rng.choice([0.0, 1.0, 4100.0, 1e5, -300.0]), rng.choice([0.02, 0.1, 0.2]), 10.0)
        for pack in bank.packs:
            state = (pack.raw_charge, pack.u1_v, pack.u2_v, pack.temperature_degc, pack.current_a, pack.heat_j)
            assert all(math.isfinite(value) for value in state)
            assert 0.0 <= pack.charge <= 1.0
        assert bank.voltage_v >= 0.0
    for pack in bank.packs:
        out_j = pack.heat_j + pack.stored_rc_j + pack.delivered_j
        assert pack.chemical_j == pytest.approx(out_j, rel=1e-9)


def test_cell_voltages_make_up_the_terminal_voltage() -> None:
    spread = [0.004, -0.003, 0.0, 0.002, 0.0, 0.0, -0.005, 0.001, 0.0, 0.0, 0.003, 0.004]
    pack = Pack(PackModel(), 0.8, 25.0, spread, weak_cell=7, weak_ohm=1e-3)
    bank = PackBank([pack])
    resting = [pack.cell_voltage_v(i) for i in range(12)]
    assert sum(resting) == pytest.approx(pack.terminal_v)
    assert resting[0] - resting[6] == pytest.approx(0.009)
    assert min(resting) == resting[6]
    bank.draw(4100.0, 0.1, 25.0)
    loaded = [pack.cell_voltage_v(i) for i in range(12)]
    assert sum(loaded) == pytest.approx(pack.terminal_v) == pytest.approx(bank.voltage_v)
    assert min(loaded) == loaded[7]
    assert loaded[8] - loaded[7] == pytest.approx(pack.current_a * 1e-3 - 0.001)


def test_a_weak_cell_costs_its_resistance() -> None:
    whole, weak = Pack(PackModel(), 0.8), Pack(PackModel(), 0.8, weak_cell=3, weak_ohm=2e-3)
    assert weak.series_ohm - whole.series_ohm == pytest.approx(2e-3)
    assert Pack(PackModel(), weak_ohm=2e-3).series_ohm == pytest.approx(Pack(PackModel()).series_ohm)


def test_age_takes_capacity_and_adds_resistance() -> None:
    new, old = (Pack(PackModel(cycles=cycles, wiring_ohm=0.0)) for cycles in (0.0, POUCH_22AH.life_cycles))
    assert old.series_ohm == pytest.approx(2 * new.series_ohm)
    assert old.stored_chemical_j == pytest.approx(0.8 * new.stored_chemical_j)


def test_two_packs_hold_what_such_packs_hold() -> None:
    # facts section 6: 2 x 12S of 22 Ah are 1953.6 Wh at 3.7 V; a pouch cell's mean lies a little above that.
    bank = PackBank([Pack(PackModel()), Pack(PackModel())])
    assert bank.stored_chemical_j() / 3600 == pytest.approx(1953.6, rel=0.02)
    # facts section 6: wiring adds 10 to 20 % to twelve cells.
    cells_ohm = 12 * (POUCH_22AH.r0_ohm + POUCH_22AH.r1_ohm + POUCH_22AH.r2_ohm)
    assert 0.1 <= PackModel().wiring_ohm / cells_ohm <= 0.2


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="2 offsets for 12 cells"):
        Pack(PackModel(), offsets_v=[0.0, 0.1])
    with pytest.raises(ValueError, match="no cell 12 among 12"):
        Pack(PackModel(), weak_cell=12, weak_ohm=1e-3)
    with pytest.raises(ValueError, match="at least one pack"):
        PackBank([])
