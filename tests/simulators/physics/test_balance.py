"""Sharing thrust among rotors of which some have stopped: moments, geometry, and known cases."""

from __future__ import annotations

import importlib
import itertools
import math

import numpy as np
import pytest

from simulators.physics.balance import share

OPTIMIZE = importlib.import_module("scipy.optimize")  # without type stubs


def angle(rotor: int, count: int) -> float:
    return math.tau * (rotor + 0.5) / count


def widest_gap(works: tuple[bool, ...]) -> float:
    """Return the widest angle between neighbours that turn."""
    angles = [angle(i, len(works)) for i, turns in enumerate(works) if turns]
    if not angles:
        return math.tau
    return max(b - a for a, b in itertools.pairwise([*angles, angles[0] + math.tau]))


def every_case(count: int) -> list[tuple[bool, ...]]:
    return list(itertools.product((True, False), repeat=count))


@pytest.mark.parametrize("count", [4, 6, 8])
def test_it_tumbles_when_a_half_circle_is_without_a_rotor(count: int) -> None:
    # Geometry: the middle lies inside the rotors that turn only if no gap is half a circle; on a line between two
    # it balances, but nothing catches a roll about that line.
    for works in every_case(count):
        assert (share(works) is None) == (widest_gap(works) > math.pi - 1e-9), works


@pytest.mark.parametrize("count", [4, 6, 8])
def test_shares_balance(count: int) -> None:
    for works in every_case(count):
        shares = share(works)
        if shares is None:
            continue
        assert len(shares.thrust) == count
        assert min(shares.thrust) >= 0
        assert sum(shares.thrust) == pytest.approx(1.0)
        for moment in (math.cos, math.sin):
            assert sum(s * moment(angle(i, count)) for i, s in enumerate(shares.thrust)) == pytest.approx(
                0.0, abs=1e-9
            )
        assert all(turns or s == 0.0 for turns, s in zip(works, shares.thrust, strict=True))
        yaw = sum(s if i % 2 else -s for i, s in enumerate(shares.thrust))
        assert shares.yaw == pytest.approx(yaw)


@pytest.mark.parametrize(
    ("works", "expected"),
    # By hand. One of six lost: its opposite would roll the aircraft, so it idles, and four carry 1.5 sixths.
    [
        ("111111", [1 / 6] * 6),
        ("011111", [0, 1 / 4, 1 / 4, 0, 1 / 4, 1 / 4]),
        ("011011", [0, 1 / 4, 1 / 4, 0, 1 / 4, 1 / 4]),
        ("010101", [0, 1 / 3, 0, 1 / 3, 0, 1 / 3]),
        ("1111", [1 / 4] * 4),
        ("01110111", [0, 1 / 8, 1 / 4, 1 / 8, 0, 1 / 8, 1 / 4, 1 / 8]),
    ],
)
def test_known_shares(works: str, expected: list[float]) -> None:
    shares = share([turns == "1" for turns in works])
    assert shares is not None
    assert shares.thrust == pytest.approx(expected, abs=1e-9)
    # Three of six that turn alike leave all their torque over.
    assert abs(shares.yaw) == pytest.approx(1.0 if works == "010101" else 0.0, abs=1e-9)


@pytest.mark.parametrize("works", ["0111", "001111", "000111", "0", "000000", "11"])
def test_known_tumbles(works: str) -> None:
    # A quadcopter with one lost, and a hexacopter with two neighbours lost, cannot be held (common practice).
    assert share([turns == "1" for turns in works]) is None


@pytest.mark.parametrize(
    "works", ["11111111", "01111111", "00111111", "01011111", "01101111", "01110111", "011111"]
)
def test_no_other_shares_are_more_even(works: str) -> None:
    # By scipy: least sum of squares with level moments, no torque in yaw, and none below zero.
    turning = [turns == "1" for turns in works]
    count = len(turning)
    shares = share(turning)
    assert shares is not None
    assert shares.yaw == pytest.approx(0.0, abs=1e-9)
    rows = [
        [1.0] * count,
        [math.cos(angle(i, count)) for i in range(count)],
        [math.sin(angle(i, count)) for i in range(count)],
        [1.0 if i % 2 else -1.0 for i in range(count)],
    ]

    # Lawson and Hanson's NNLS: the equations with great weight, then every share as small as can be.
    weight = 1e4
    stacked = [[weight * entry for entry in row] for row in rows]
    stacked += [[(1.0 if turning[i] else weight) if i == j else 0.0 for j in range(count)] for i in range(count)]
    wanted = [weight, 0.0, 0.0, 0.0, *[0.0] * count]
    found, _ = OPTIMIZE.nnls(np.array(stacked), np.array(wanted))
    assert shares.thrust == pytest.approx(list(found), abs=2e-4)
