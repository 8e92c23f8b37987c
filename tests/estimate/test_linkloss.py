"""Loss against a source's baseline, how surely, silences, and sources that hear the aircraft."""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import Any

import pytest

from watchkeeper.estimate.radio.link import LinkGaps, LinkLoss, wilson_low

STATS: Any = importlib.import_module("scipy.stats")  # comes without types


@dataclass
class Counters:
    received: int = 0
    lost: int = 0


def run(part: LinkLoss, counters: list[tuple[Counters, int, int]], start_s: int, end_s: int) -> float | None:
    """Let each counter grow by so many received and lost a second; return the last loss."""
    loss: float | None = None
    for second in range(start_s, end_s):
        for counter, received, lost in counters:
            counter.received += received
            counter.lost += lost
        loss, least = part.run(second * 1_000_000)
        assert (loss is None) == (least is None)
        assert loss is None or least is None or least <= loss
    return loss


def test_loss_of_the_last_ten_seconds() -> None:
    counter = Counters()
    part = LinkLoss({("a", 1): counter})
    assert run(part, [(counter, 50, 0)], 0, 30) == 0
    assert run(part, [(counter, 25, 25)], 30, 41) == pytest.approx(50)
    assert run(part, [(counter, 50, 0)], 41, 53) == 0


def test_what_a_mirror_always_leaves_out_is_its_baseline() -> None:
    counter = Counters()
    part = LinkLoss({("a", 1): counter})
    assert run(part, [(counter, 30, 20)], 0, 60) == pytest.approx(0)
    # Half of what the mirror passes on: 15 of 50, so 70 % against 40 %: (0.7 - 0.4) / 0.6.
    assert run(part, [(counter, 15, 35)], 60, 72) == pytest.approx(50)


def test_best_source_counts_and_a_silent_one_does_not() -> None:
    good, bad = Counters(), Counters()
    part = LinkLoss({("good", 1): good, ("bad", 1): bad})
    assert run(part, [(good, 50, 0), (bad, 25, 25)], 0, 30) == 0
    assert run(part, [(good, 0, 0), (bad, 10, 40)], 30, 45) == pytest.approx(60)  # (0.8 - 0.5) / 0.5
    assert run(part, [], 45, 60) is None


def test_too_few_frames_say_nothing() -> None:
    counter = Counters()
    assert run(LinkLoss({("a", 1): counter}), [(counter, 0, 0)], 0, 5) is None


@pytest.mark.parametrize(
    ("hits", "of"), [(0, 10), (1, 10), (5, 10), (10, 10), (3, 12), (40, 200), (1, 1000), (999, 1000), (2, 2)]
)
def test_the_interval_of_a_share_as_scipy_has_it(hits: int, of: int) -> None:
    # scipy.stats.binomtest, method "wilson" (Wilson 1927); 95 %
    low = STATS.binomtest(hits, of).proportion_ci(confidence_level=0.95, method="wilson").low
    assert wilson_low(hits, of) == pytest.approx(float(low), abs=1e-6)


def test_few_lost_of_few_prove_little_and_many_of_many_much() -> None:
    few, many = Counters(), Counters()
    slow, fast = LinkLoss({("a", 1): few}), LinkLoss({("a", 1): many})
    for second in range(11):  # the baseline is none lost, until the first ten seconds are over
        few.received += 1
        few.lost += second % 3 == 0
        many.received += 60
        many.lost += 20
        of_few, of_many = slow.run(second * 999_000), fast.run(second * 999_000)
    # a quarter to a third is lost on both; binomtest(3..4 of 13).proportion_ci("wilson") begins under 13 %
    assert of_few[0] == pytest.approx(25, abs=6)
    assert of_few[1] is not None
    assert of_few[1] < 13
    assert of_many[0] == pytest.approx(25)
    assert of_many[1] is not None
    assert of_many[1] > 22


def gaps(part: LinkGaps, counter: Counters, times_s: list[float]) -> tuple[float, int, int, int] | None:
    """Let a frame come at each of the times and look each time; return the last."""
    last: tuple[float, int, int, int] | None = None
    for time_s in times_s:
        counter.received += 1
        last = part.run(round(time_s * 1e6))
    return last


def test_silences_are_counted_for_a_minute() -> None:
    counter = Counters()
    part = LinkGaps({("a", 1): counter})
    assert gaps(part, counter, [0, 0.5, 1, 1.5, 4.5, 5, 7.5, 8, 9.9, 10]) == (3.0, 2, 1, 1)
    assert part.run(10_500_000) is None  # nothing came
    assert gaps(part, counter, [10.5 + s / 2 for s in range(120)]) == (0.0, 0, 1, 1)


def test_what_was_missed_in_a_silence_is_no_share_that_is_being_lost() -> None:
    counter = Counters()
    part = LinkLoss({("a", 1): counter})
    run(part, [(counter, 50, 0)], 0, 30)
    counter.lost += 200
    assert run(part, [(counter, 50, 0)], 40, 45) == 0
    assert run(part, [(counter, 25, 25)], 45, 56) == pytest.approx(50)


def test_a_look_that_comes_late_is_no_silence() -> None:
    counter = Counters()
    part = LinkGaps({("a", 1): counter})
    gaps(part, counter, [0, 0.5])
    counter.received += 30  # frames came all the while, only none that called for a look
    assert part.run(5_000_000) == (0.0, 0, 1, 1)


def test_paths_are_sources_that_brought_something_within_five_seconds() -> None:
    one, other = Counters(), Counters()
    part = LinkGaps({("a", 1): one, ("b", 1): other})
    other.received += 1
    assert gaps(part, one, [0.0]) == (0.0, 0, 2, 2)
    assert gaps(part, one, [s / 2 for s in range(1, 11)]) == (0.0, 0, 2, 2)
    assert gaps(part, one, [5.5]) == (0.0, 0, 1, 2)
    other.received += 1
    assert gaps(part, one, [6.0]) == (0.0, 0, 2, 2)
