"""Where the energy of whole flights goes: from the packs to work, losses and heat, and back to what moves.

By design the balance must hold within 0.1 %; sums of exact steps hold it to rounding, which finds smaller faults.
What is stored is read from the state, what flows from the ledger.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import pytest

from simulators.flown.flight import FastFlight
from simulators.flown.setup import Setup, Weather
from simulators.physics.airframe import Load
from simulators.physics.constants import G_M_S2
from simulators.physics.ledger import Ledger
from tests.simulators.physics.handflown import STEP_S, there_and_back

WITHIN = 1e-3
WINDY = Weather(wind=((0.0, 6.0, 230.0), (60.0, 9.0, 250.0)), gusts_w20_m_s=8.0)
Events = Mapping[float, Callable[[FastFlight], object]]


def stop(*rotors: int) -> Callable[[FastFlight], object]:
    def happen(flight: FastFlight) -> None:
        for rotor in rotors:
            flight.craft.drive.weaken(rotor, 0.0)

    return happen


def part(*packs: int) -> Callable[[FastFlight], object]:
    def happen(flight: FastFlight) -> None:
        for pack in packs:
            flight.bank.open(pack)

    return happen


FLIGHTS: dict[str, tuple[Load, Events, float]] = {
    "payload": (Load(10.0), {}, 400.0),
    "slung load": (Load(8.0, 8.0, 0.3), {}, 200.0),
    "weak motor": (Load(8.0), {60.0: lambda flight: flight.craft.drive.weaken(2, 0.6)}, 400.0),
    "stopped motor": (Load(2.0), {60.0: stop(2)}, 400.0),
    "pack opens": (Load(8.0), {60.0: part(1)}, 400.0),
    "load let go": (Load(3.0), {60.0: lambda flight: flight.craft.drop_load()}, 400.0),
    "tumble": (Load(5.0), {60.0: stop(2, 3)}, 90.0),
    "no power": (Load(5.0), {60.0: part(0, 1)}, 90.0),
}
CRASHES = {"tumble", "no power"}
ALOFT = {"slung load"}


class Account:
    """A flight and what was summed beside its ledger."""

    def __init__(self, load: Load, events: Events, longest_s: float) -> None:
        self.flight = flight = FastFlight(Setup(load=load, weather=WINDY), 5, STEP_S)
        self.chemical_j = flight.bank.stored_chemical_j()
        self.bus_j = 0.0
        self.climbed_j = 0.0
        self.thrown_j = 0.0
        self._last = flight.craft.height_m

        def after() -> None:
            craft = flight.craft
            self.bus_j += flight.bank.power_w * STEP_S
            carried = craft.load.mass_kg if craft.load.line_m <= 0 else 0.0
            self.climbed_j += (craft.airframe.mass_kg + carried) * G_M_S2 * (craft.height_m - self._last)
            self._last = craft.height_m
            self.thrown_j += craft.thrust_n * STEP_S * math.hypot(craft.north_m_s, craft.east_m_s, craft.climb_m_s)

        there_and_back(flight, events=events, longest_s=longest_s, after=after)

    @property
    def ledger(self) -> Ledger:
        return self.flight.craft.ledger


@pytest.fixture(scope="module", params=list(FLIGHTS))
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def account(name: str) -> Account:
    return Account(*FLIGHTS[name])


def test_flights_go_as_meant(name: str, account: Account) -> None:
    craft = account.flight.craft
    assert craft.crashed is (name in CRASHES)
    assert craft.on_ground is (name not in ALOFT)
    if name not in CRASHES | ALOFT:
        assert math.hypot(craft.north_m, craft.east_m) < 4.0
    assert account.flight.time_s > 60.0


def test_chemistry_is_heat_and_what_the_bus_gave(account: Account) -> None:
    bank, ledger = account.flight.bank, account.ledger
    out_j = account.chemical_j - bank.stored_chemical_j()
    heat_j = sum(pack.heat_j for pack in bank.packs)
    stored_j = sum(pack.stored_rc_j for pack in bank.packs)
    assert out_j > 100_000
    assert out_j == pytest.approx(heat_j + stored_j + ledger.electrical_j(), rel=1e-9)
    assert sum(pack.chemical_j for pack in bank.packs) == pytest.approx(out_j, rel=1e-9)


def test_bus_is_motors_and_electronics(account: Account) -> None:
    ledger = account.ledger
    assert account.bus_j == pytest.approx(ledger.electrical_j(), rel=1e-9)
    assert ledger.avionics_j == pytest.approx(55.0 * account.flight.time_s)
    for name in ("controller_j", "winding_j", "no_load_j", "induced_j", "profile_j"):
        assert 0.02 * account.bus_j < getattr(ledger, name) < 0.75 * account.bus_j
    assert ledger.spin_j >= -1e-6
    assert ledger.braking_j >= 0.0


def test_work_on_the_airframe_is_its_motion(account: Account) -> None:
    craft, ledger = account.flight.craft, account.ledger
    mass_kg = craft.airframe.mass_kg + (craft.load.mass_kg if craft.load.line_m <= 0 else 0.0)
    kinetic_j = 0.5 * mass_kg * (craft.north_m_s**2 + craft.east_m_s**2 + craft.climb_m_s**2)
    work_j = ledger.thrust_j + ledger.drag_j + ledger.line_j + ledger.weight_j - ledger.impact_j
    assert work_j == pytest.approx(kinetic_j, abs=1e-9 * account.thrown_j)
    # The weight's work by the heights themselves; a touch-down ends a step a little below the ground.
    assert -ledger.weight_j == pytest.approx(account.climbed_j, abs=WITHIN * account.thrown_j)


def test_rotors_work_is_thrust_and_wind(account: Account) -> None:
    # Force on the airframe times (speed - wind) is what thrust does through the air less what the discs are
    # dragged; so axial - drag = thrust over ground - wind. Steps weigh the speed at their beginning and in their
    # middle.
    ledger = account.ledger
    through_j = ledger.axial_j - ledger.rotor_drag_j
    assert through_j == pytest.approx(ledger.thrust_j - ledger.wind_j, abs=WITHIN * ledger.axial_j)


def test_slung_load_takes_work_and_jerks() -> None:
    account = Account(*FLIGHTS["slung load"])
    assert account.ledger.line_j < -1000.0
    assert account.ledger.impact_j > 0.0
    assert account.flight.craft.sling.hangs


def test_kinetic_energy_leaves_with_a_load() -> None:
    # Let go at 8 m/s: 96 J of 3 kg.
    account = Account(*FLIGHTS["load let go"])
    assert 0.5 * 3.0 * 7.0**2 < account.ledger.impact_j < 0.5 * 3.0 * 9.0**2 + 30.0
