"""What the return says, or does not say, of missing, odd and hostile readings."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.estimate.returnworld import World

BLIND_CASES: tuple[tuple[str, str], ...] = (
    ("position.height", "height"),
    ("position.home_distance", "place or its home"),
    ("battery.power", "power"),
)


@pytest.mark.parametrize(("missing", "says"), BLIND_CASES)
def test_without_what_it_needs_it_is_blind_and_says_why(missing: str, says: str) -> None:
    world = World()
    world.silenced.add(missing)
    row = world.fly(5.0)
    assert set(row.values()) == {None}
    assert says in world.home.why
    assert world.home.contour == ()


@pytest.mark.parametrize("missing", ["position.height", "position.home_distance", "battery.power"])
@pytest.mark.parametrize("value", [math.nan, math.inf, None, "no number"])
def test_a_reading_that_is_no_number_is_none(missing: str, value: Any) -> None:
    world = World()
    world.forced[missing] = value
    assert set(world.fly(5.0).values()) == {None}
    assert world.home.why


@pytest.mark.parametrize("power_w", [-4000.0, 0.0])
def test_nothing_flies_on_no_power(power_w: float) -> None:
    world = World()
    world.forced["battery.power"] = power_w
    assert set(world.fly(5.0).values()) == {None}
    assert "power" in world.home.why


def test_power_that_ends_in_flight_is_blind_after_ten_seconds() -> None:
    world = World()
    world.fly(60.0)
    world.forced["battery.power"] = None
    assert world.fly(9.0)["reserve"] is not None
    assert set(world.fly(3.0).values()) == {None}


def test_no_packs_known_is_blind_with_their_reason() -> None:
    world = World()
    world.batteries.given = None
    assert set(world.fly(5.0).values()) == {None}
    assert world.home.why == world.batteries.why_unknown() != ""


def test_what_is_no_multirotor_gets_no_answer_and_a_reason() -> None:
    world = World(multirotor=lambda: False)
    assert set(world.fly(5.0).values()) == {None}
    assert "multirotor" in world.home.why


@pytest.mark.parametrize("phase", ["on_ground", "armed", "landed"])
def test_on_the_ground_it_is_blind_and_needs_no_reason(phase: str) -> None:
    world = World()
    world.phase = phase
    assert set(world.fly(5.0).values()) == {None}
    assert world.home.why == ""


def test_a_phase_that_is_unknown_counts_as_in_flight() -> None:
    """A phase that was never told must not hide a flight, or at least say so."""
    world = World()
    world.silenced.add("flight.phase")
    world.fly(5.0)
    assert world.row["reserve"] is not None or world.home.why


def test_no_distance() -> None:
    row = World(distance_m=0.0).fly(30.0)
    assert all(v is None or isinstance(v, bool) or math.isfinite(v) for v in row.values())
    assert row["time"] == pytest.approx(3.0 + 32.0 / 1.5 + 30.0 + 16.0, abs=0.5)


@pytest.mark.parametrize(
    ("distance_m", "charge"), [(20_000.0, 0.8), (60_000.0, 0.8), (5000.0, 0.3), (2000.0, 0.1)]
)
def test_too_far_is_too_late(distance_m: float, charge: float) -> None:
    """Also where no cell holds, neither now nor later, so that nothing falls any further."""
    row = World(distance_m=distance_m, charge=charge).fly(30.0)
    assert all(v is None or isinstance(v, bool) or math.isfinite(v) for v in row.values())
    assert row["time"] > 250.0
    assert row["reserve"] < 0.0
    assert row["turn_back_in"] <= 0.0


@pytest.mark.parametrize("jump_m", [5000.0, -390.0])
def test_a_jump_of_the_distance_is_over_within_seconds(jump_m: float) -> None:
    """A position that jumps and comes back leaves nothing behind."""
    world, plain = World(), World()
    world.fly(60.0)
    plain.fly(60.0)
    world.distance_m += jump_m
    world.step()
    world.distance_m -= jump_m
    world.fly(20.0)
    plain.fly(20.5)
    assert world.row["turn_back_in"] == pytest.approx(plain.row["turn_back_in"], rel=0.1, abs=10.0)


def test_a_gap_of_a_minute_in_flight() -> None:
    world = World(outward_m_s=4.0)
    world.fly(60.0)
    before = world.row["reserve"]
    world.step(60.0)
    row = world.fly(5.0)
    assert row["reserve"] < before
    assert row["turn_back_in"] is not None
    # the hole itself is no speed: 240 m in one step are neither learned nor lost
    plain = World(outward_m_s=4.0)
    plain.fly(125.0)
    assert row["reserve"] == pytest.approx(plain.row["reserve"], abs=0.5)
