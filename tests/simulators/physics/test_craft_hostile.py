"""Whatever is asked and whatever the air does, numbers stay numbers; the same seed flies the same."""

from __future__ import annotations

import math
import random

import pytest

from simulators.flown.flight import FastFlight
from simulators.flown.setup import Setup, Weather
from simulators.physics.airframe import Airframe, Load
from simulators.physics.craft import Craft
from simulators.physics.drive import Drive
from simulators.physics.ledger import Ledger
from tests.simulators.physics.handflown import STEP_S, make_craft


def numbers(craft: Craft) -> list[float]:
    """Return all that a craft's state and ledger hold."""
    ledger = craft.ledger
    found = [float(getattr(ledger, name)) for name in Ledger.__slots__]
    found += [float(value) for value in vars(craft).values() if isinstance(value, float)]
    sling = craft.sling
    found += [sling.north_m, sling.east_m, sling.north_m_s, sling.east_m_s]
    for pack in craft.bank.packs:
        found += [pack.raw_charge, pack.temperature_degc, pack.terminal_v, pack.current_a, pack.heat_j]
    return [*found, craft.bank.voltage_v, craft.bank.power_w, craft.bank.current_a]


def test_the_drive_takes_anything() -> None:
    dice = random.Random(7)
    drive = Drive(Airframe(), Ledger())
    for i in range(4000):
        if i % 50 == 0:
            for rotor in range(6):
                drive.weaken(rotor, dice.choice((0.0, 0.0, 0.3, 1.0, 1.0, 7.0, -2.0)))
        found = drive.run(
            dice.choice((0.02, 0.1)),
            dice.choice((0.0, -50.0, 1e-9, 200.0, 1e3, 1e7)),
            dice.choice((0.0, 0.5, 3.0, 20.0, 46.0)),
            dice.choice((0.3, 1.2)),
            dice.choice((-60.0, -12.0, 0.0, 12.0, 60.0)),
            dice.choice((0.0, 20.0, 60.0)),
            dice.choice((-1.0, 0.0, 50.0)),
        )
        assert all(math.isfinite(value) for value in found)
        assert found[2] >= 0.0
        assert 0.0 <= drive.throttle <= 1.0
    assert math.isfinite(drive.ledger.electrical_j())


@pytest.mark.parametrize("step_s", [0.02, 0.1])
@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_the_craft_takes_anything(seed: int, step_s: float) -> None:
    dice = random.Random(seed)
    wind = ((0.0, 60.0, 10.0), (5.0, 0.0, 200.0), (6.0, 60.0, 100.0))
    craft = make_craft(None, None, wind, gusts_w20_m_s=25.0, height_m=200.0)
    for i in range(1500):
        if i % 60 == 0:
            craft.pick_up(
                Load(dice.choice((0.0, 0.5, 40.0)), dice.choice((0.0, 0.3, 15.0)), dice.choice((0.0, 1.0)))
            )
            craft.drive.weaken(dice.randrange(6), dice.choice((0.0, 0.2, 1.0, 1.0)))
            dice.choice((craft.bank.open, craft.bank.close, craft.bank.close))(dice.randrange(2))
            craft.running = dice.random() < 0.8
            craft.climb_m_s = dice.choice((-60.0, 0.0, 40.0))
            craft.north_m_s = dice.choice((-60.0, 0.0, 60.0))
            craft.ground_m = dice.choice((0.0, 0.0, 30.0))
        thrust_n = dice.choice((0.0, -10.0, 150.0, 400.0, 1e6))
        craft.step(step_s, thrust_n, dice.uniform(-0.7, 0.7), dice.uniform(-0.7, 0.7), dice.uniform(-50.0, 50.0))
        assert all(math.isfinite(value) for value in numbers(craft))
        assert craft.tilt_north**2 + craft.tilt_east**2 <= 1.0


def test_a_dead_aircraft_stands_still() -> None:
    craft = make_craft(None, None, ((0.0, 60.0, 10.0),), height_m=None)
    craft.bank.open(0)
    craft.bank.open(1)
    for rotor in range(6):
        craft.drive.weaken(rotor, 0.0)
    for _ in range(500):
        craft.step(STEP_S, 1e5, 0.5, 0.5, 3.0)
    assert (craft.north_m, craft.east_m, craft.height_m) == (0.0, 0.0, 0.0)
    assert craft.drive.tumbles
    assert not craft.crashed
    assert all(math.isfinite(value) for value in numbers(craft))


def test_empty_packs_give_what_they_can() -> None:
    craft = make_craft(None, Load(10.0), packs=1, height_m=100.0)
    craft.bank.packs[0].raw_charge = -0.02
    for _ in range(1000):
        craft.step(STEP_S, 400.0, 0.0, 0.0, 0.0)
        assert all(math.isfinite(value) for value in numbers(craft))
    assert craft.height_m < 100.0
    assert craft.bank.voltage_v >= 0.0


def flown(seed: int) -> list[float]:
    """Return the numbers of a flight after a minute in gusts."""
    weather = Weather(wind=((0.0, 5.0, 200.0),), gusts_w20_m_s=8.0)
    flight = FastFlight(Setup(load=Load(5.0, 6.0, 0.1), weather=weather), seed, STEP_S)
    flight.run(1.0)
    assert flight.pilot.arm() is None
    assert flight.pilot.take_off(20.0)
    flight.run(60.0)
    return numbers(flight.craft)


def test_a_seed_decides_all() -> None:
    first = flown(3)
    assert flown(3) == first
    assert flown(4) != first
