"""Motor controllers: current goes with the cube of speed (momentum theory), heat against the others."""

from __future__ import annotations

import pytest

from tests.estimate.test_motor_balance import Motors
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.link.encode import Encoder


class Controllers(Motors):
    def __init__(self, file: str | None = None) -> None:
        super().__init__(file)
        self.encoder = Encoder(7, 1)
        self.rpm = [3000] * 4
        self.amps = [20.0] * 4
        self.celsius = [40.0] * 4
        self.flags = [0] * 4

    def step(self, *args: object, **more: object) -> None:
        times = int(more.pop("times", 1))  # type: ignore[call-overload]
        for _ in range(times):
            flight = self.flight
            rpm = self.rpm if self.armed else [0] * 4
            flight.hear(self.encoder.encode("ESC_STATUS", rpm=rpm, voltage=[44.0] * 4, current=self.amps))
            flight.hear(
                self.encoder.encode(
                    "ESC_INFO",
                    count=4,
                    temperature=[round(t * 100) for t in self.celsius],
                    failure_flags=self.flags,
                )
            )
            super().step(*args, **more)  # type: ignore[arg-type]


@pytest.fixture
def flown() -> Controllers:
    controllers = Controllers()
    controllers.take_off([1500] * 4)
    return controllers


def test_speeds_go_before_outputs(flown: Controllers) -> None:
    flown.step([1500, 1500, 1700, 1500], times=60)
    assert flown.read("uneven") < 1.0
    flown.rpm = [3000, 3000, 3000, 3450]
    flown.step([1500] * 4, times=60)
    assert flown.read("uneven") > 8.0
    assert flown.read("odd") == 4
    flown.rpm = [0, 3300, 3300, 3300]
    flown.step([1900, 1500, 1500, 1500], times=2)
    assert flown.read("still") == 1, "though its output is at the upper end"
    assert flown.read("odd") == 1


def test_current_heat_and_failures(flown: Controllers) -> None:
    assert flown.read("current_over") < 1.0
    assert (flown.read("hottest"), flown.read("heat_over"), flown.read("esc_fault")) == (40.0, 0.0, 0.0)
    flown.amps = [20.0, 20.0, 20.0, 20.0 * 1.15**3]
    flown.celsius = [40.0, 70.0, 41.0, 40.0]
    flown.flags = [0, 0, 32, 0]
    flown.step([1500] * 4, times=60)
    assert flown.read("current_over") > 26.0
    assert (flown.read("hottest"), flown.read("heat_over"), flown.read("esc_fault")) == (70.0, 30.0, 3.0)


def test_all_of_them_warm_up_together(flown: Controllers) -> None:
    flown.celsius = [75.0] * 4
    flown.step([1500] * 4, times=20)
    assert flown.read("heat_over") == 0.0
    assert flown.read("heat_limit") is BLIND


def test_the_file_may_set_a_limit() -> None:
    controllers = Controllers("packs: {cells: 12, capacity: 22 Ah}\nlimits: {motor_temperature: 90 degC}\n")
    controllers.take_off([1500] * 4)
    assert controllers.read("heat_limit") == 90.0
