"""Loss from sequence numbers: facts.md section 7 "Loss", and what must not be taken for loss."""

from __future__ import annotations

import random
from collections.abc import Iterable

import pytest

from watchkeeper.link.sequence import SequenceTracker


def told(numbers: Iterable[int]) -> SequenceTracker:
    tracker = SequenceTracker()
    for number in numbers:
        tracker.receive(number & 0xFF)
    return tracker


# facts.md section 7, from the MAVLink guide on packet loss
@pytest.mark.parametrize(("before", "after", "lost"), [(10, 11, 0), (254, 255, 0), (255, 0, 0), (250, 5, 10)])
def test_lost_between_two_frames(before: int, after: int, lost: int) -> None:
    tracker = SequenceTracker()
    assert tracker.receive(before) == 0
    assert tracker.receive(after) == lost
    assert (tracker.received, tracker.lost) == (2, lost)
    assert tracker.duplicates == tracker.reordered == tracker.restarts == 0


def test_a_duplicate_is_not_255_lost() -> None:
    tracker = told([5, 5])
    assert (tracker.lost, tracker.duplicates, tracker.reordered) == (0, 1, 0)
    assert tracker.receive(6) == 0


def test_reordered_is_not_254_lost() -> None:
    tracker = told([7, 6])
    assert (tracker.lost, tracker.duplicates, tracker.reordered) == (0, 0, 1)
    assert tracker.receive(8) == 0


def test_a_late_frame_fills_the_gap_that_was_counted() -> None:
    tracker = told([1, 2, 4])
    assert tracker.lost == 1
    assert tracker.receive(3) == -1
    assert (tracker.lost, tracker.reordered) == (0, 1)
    assert tracker.receive(3) == 0  # a second time it is a duplicate
    assert (tracker.lost, tracker.duplicates) == (0, 1)
    assert tracker.receive(5) == 0


def test_a_late_frame_fills_a_gap_far_back_after_a_run_in_order() -> None:
    tracker = told([250, 252, *range(253, 253 + 29)])
    assert tracker.lost == 1
    assert tracker.receive(251) == -1
    assert tracker.lost == 0


@pytest.mark.parametrize("last", [120, 128, 180, 191])
def test_a_counter_that_begins_anew_is_a_restart(last: int) -> None:
    tracker = told([*range(100, last + 1), 0, 1, 2, 3])
    assert (tracker.lost, tracker.restarts) == (0, 1)


def test_a_counter_that_begins_anew_near_where_it_was_is_a_restart_too() -> None:
    tracker = told([*range(21), *range(60)])
    assert (tracker.lost, tracker.restarts, tracker.duplicates) == (0, 1, 0)


def test_every_frame_doubled_over_merged_links() -> None:
    tracker = told(number for number in range(1000) for _ in range(2))
    assert (tracker.received, tracker.lost, tracker.duplicates, tracker.restarts) == (2000, 0, 1000, 0)


@pytest.mark.parametrize("seed", range(20))
def test_any_order_within_the_window_loses_only_what_never_came(seed: int) -> None:
    chance = random.Random(seed)
    numbers = range(100, 3000)
    came = [number for number in numbers if number in {100, 2999} or chance.random() > 0.05]
    # Each frame is late by up to 12 places, and one in ten comes twice.
    twice = [number for number in came if chance.random() < 0.1]
    late = sorted((number + chance.random() * 12, number) for number in [*came, *twice])
    sent = [100, *(number for _, number in late), *range(3000, 3050)]
    tracker = told(sent)
    assert tracker.received == len(sent)
    assert tracker.lost == len(numbers) - len(came)
    assert tracker.duplicates == len(sent) - 50 - len(came)
    assert tracker.restarts == 0


def test_counters_stay_true_whatever_comes() -> None:
    chance = random.Random(7)
    tracker = SequenceTracker()
    total = 0
    for _ in range(100_000):
        total += tracker.receive(chance.randrange(256))
    assert tracker.received == 100_000
    assert tracker.lost == total >= 0
