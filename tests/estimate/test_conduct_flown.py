"""The rules on conduct against simulated flights: what a crew hears, and when."""

from __future__ import annotations

import pytest

from simulators.onboard.modes import Mode
from tests.estimate.flownwatch import FlownWatch

CONDUCT = (
    "hold-moves-away", "falling", "upset", "returns-by-itself", "lands-by-itself", "mode-by-itself",
    "mode-unasked", "mode-cause-unknown", "return-not-closing",
)  # fmt: skip


def called(watch: FlownWatch) -> dict[str, list[float]]:
    return {rule: times for rule in CONDUCT if (times := watch.raised(rule))}


@pytest.mark.parametrize("order", [123456, 213456, 125346, 513246, 413256, 12346])
def test_a_return_in_any_order_of_its_steps_is_left_alone(order: int) -> None:
    watch = FlownWatch(
        {"return.order": float(order), "return.hold_s": 15.0, "return.height_m": 30.0}, wind_m_s=4.0
    )
    watch.take_off(20.0)
    watch.go(70.0, 40.0, 25.0)
    watch.until(lambda: watch.away_m > 70.0, 40.0)
    watch.send_home()
    watch.until(lambda: not watch.flight.pilot.armed, 240.0, 1.0)
    assert called(watch) == {}


def test_motors_that_stop_in_the_air_are_called_a_fall_within_two_and_a_half_seconds() -> None:
    watch = FlownWatch()
    watch.take_off(60.0)
    stopped_s = watch.time_s
    assert watch.flight.pilot.disarm(force=True)
    watch.run(3.0)
    [fell_s] = watch.raised("falling")
    assert 0.0 < fell_s - stopped_s < 2.5


def test_its_own_fastest_descent_and_landing_are_no_fall_and_no_upset() -> None:
    watch = FlownWatch({"fly.sink_m_s": 3.0, "land.fast_m_s": 3.0}, gusts_m_s=4.0, wind_m_s=5.0)
    watch.take_off(60.0)
    assert watch.flight.pilot.enter(Mode.LAND, "order")
    watch.until(lambda: not watch.flight.pilot.armed, 120.0, 1.0)
    watch.run(5.0)
    assert called(watch) == {}


def test_a_return_of_its_own_is_told_and_the_landing_at_its_end_is_not() -> None:
    watch = FlownWatch(
        {"control.lost_s": 2.0, "control.action": 2.0, "return.hold_s": 2.0, "return.height_m": 20.0}
    )
    watch.take_off(20.0)
    watch.go(40.0, 0.0, 20.0)
    watch.run(12.0)
    lost_s = watch.time_s
    watch.flight.pilot.control_link = False
    watch.until(lambda: not watch.flight.pilot.armed, 120.0, 1.0)
    assert set(called(watch)) == {"returns-by-itself"}
    [told_s] = watch.raised("returns-by-itself")
    assert 2.0 < told_s - lost_s < 7.0  # it waits two seconds, and CURRENT_MODE comes every two
