"""A load let go in flight: the aircraft bobs up, settles and still lands. Bounds are common sense."""

from __future__ import annotations

import pytest

from simulators.flown.flight import FastFlight
from simulators.flown.setup import Setup
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.sensors import QUIET
from simulators.physics.airframe import Load


@pytest.mark.parametrize("mass_kg", [4.0, 9.0, 14.0])
@pytest.mark.parametrize("line_m", [0.0, 8.0])
def test_the_aircraft_settles_and_lands(mass_kg: float, line_m: float) -> None:
    flight = FastFlight(Setup(load=Load(mass_kg, line_m, 0.05), sensors=QUIET))
    assert flight.pilot.arm() is None
    flight.run(3)
    assert flight.pilot.take_off(25.0)
    flight.run(40)
    assert flight.craft.height_m == pytest.approx(25.0, abs=0.5)
    assert flight.pilot.release()
    highest = 0.0
    for _ in range(300):
        flight.step()
        highest = max(highest, flight.craft.height_m)
    assert 25.2 < highest < 32.0
    assert flight.craft.height_m == pytest.approx(25.0, abs=0.5)
    assert flight.pilot.enter(Mode.LAND, "order")
    flight.run(90)
    assert flight.pilot.landed is Landed.GROUND
    assert not flight.pilot.armed
