"""Packs that come off the bus: found by their currents, and only then."""

from __future__ import annotations

import pytest

from watchkeeper.estimate.packs.carrying import Carrying

SECOND_US = 1_000_000


def told(carrying: Carrying, seconds: range, *currents_a: float | None) -> None:
    for second in seconds:
        carrying.update(currents_a, second * SECOND_US)


def test_a_pack_that_carried_and_gives_nothing_is_out_after_two_and_a_half_seconds() -> None:
    carrying = Carrying()
    told(carrying, range(10), 40.0, 36.0)
    told(carrying, range(10, 13), 76.0, 0.0)
    assert not carrying.out
    told(carrying, range(13, 14), 76.0, 0.3)  # a sensor's noise
    assert carrying.out == {1}
    told(carrying, range(14, 30), 76.0, 0.0)
    assert carrying.out == {1}
    told(carrying, range(30, 34), 41.0, 35.0)  # the plug has found its contact again
    assert not carrying.out


def test_a_gust_of_zeros_is_no_pack_out() -> None:
    carrying = Carrying()
    told(carrying, range(10), 40.0, 36.0)
    for second in range(10, 40, 4):
        told(carrying, range(second, second + 2), 76.0, 0.0)
        told(carrying, range(second + 2, second + 4), 40.0, 36.0)
    assert not carrying.out


def test_a_pack_that_was_never_measured_says_nothing() -> None:
    carrying = Carrying()
    told(carrying, range(60), 76.0, 0.0)
    assert not carrying.out


def test_motors_at_idle_decide_nothing() -> None:
    carrying = Carrying()
    told(carrying, range(10), 40.0, 36.0)
    told(carrying, range(10, 30), 3.0, 0.0)
    assert not carrying.out


def test_unequal_packs_both_carry() -> None:
    # facts: R .018/.022 and OCV 44.4/43.8 at 150 A share 97.5 to 52.5 A (parallel packs, computed)
    carrying = Carrying()
    told(carrying, range(30), 97.5, 52.5)
    assert not carrying.out


def test_silence_changes_nothing_and_a_second_pack_may_follow() -> None:
    carrying = Carrying()
    told(carrying, range(10), 30.0, 30.0, 30.0)
    told(carrying, range(10, 14), 45.0, 45.0, 0.0)
    told(carrying, range(14, 20), 45.0, None, None)
    assert carrying.out == {2}
    told(carrying, range(20, 24), 90.0, 0.0, 0.0)
    assert carrying.out == {1, 2}
    carrying.reset()
    assert not carrying.out


@pytest.mark.parametrize("hostile", [float("inf"), -1e9, 1e9])
def test_absurd_currents_raise_nothing(hostile: float) -> None:
    carrying = Carrying()
    told(carrying, range(10), 40.0, hostile)
    told(carrying, range(10, 20), hostile, 0.0)
