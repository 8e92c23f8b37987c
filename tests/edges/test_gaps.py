"""Sleep and standstill, told from two clocks that the test sets."""

from __future__ import annotations

import time

import pytest

from watchkeeper.edges.sources import gaps
from watchkeeper.edges.sources.gaps import PART, TOLD_FOR_S, Gaps, spoken_length


class Clocks:
    """What both clocks say."""

    def __init__(self) -> None:
        self.steady_s = 100.0
        self.whole_s = 5000.0
        self.reports: list[tuple[str, bool, str]] = []
        self.gaps = Gaps(
            lambda part, ok, text: self.reports.append((part, ok, text)),
            lambda: self.steady_s,
            lambda: self.whole_s,
        )

    def go(self, awake_s: float, asleep_s: float = 0.0) -> None:
        self.steady_s += awake_s
        self.whole_s += awake_s + asleep_s
        self.gaps.look()


def test_sleep_is_told_with_its_length_once_and_is_over_after_a_while() -> None:
    clocks = Clocks()
    clocks.go(1.0)
    clocks.go(1.1, asleep_s=240.0)
    assert clocks.reports == [(PART, False, "Computer slept 4 minutes. Look at the aircraft.")]
    for _ in range(int(TOLD_FOR_S) + 1):
        clocks.go(1.0)
    assert clocks.reports[1:] == [(PART, True, "the watch runs again")]


def test_standing_still_is_no_sleep() -> None:
    clocks = Clocks()
    clocks.go(1.0)
    clocks.go(14.2)
    assert clocks.reports == [(PART, False, "Stood still 14 seconds. Look at the aircraft.")]


def test_a_second_sleep_is_told_anew_while_the_first_stands() -> None:
    clocks = Clocks()
    clocks.go(1.0)
    clocks.go(1.0, asleep_s=30.0)
    clocks.go(1.0, asleep_s=50.0)
    texts = [(ok, text) for _, ok, text in clocks.reports]
    assert texts == [
        (False, "Computer slept 30 seconds. Look at the aircraft."),
        (True, ""),
        (False, "Computer slept 50 seconds. Look at the aircraft."),
    ]


@pytest.mark.parametrize(("awake_s", "asleep_s"), [(1.0, 0.0), (4.0, 0.0), (1.0, 0.5), (0.0, 0.0)])
def test_a_late_look_is_nothing(awake_s: float, asleep_s: float) -> None:
    clocks = Clocks()
    clocks.go(1.0)
    clocks.go(awake_s, asleep_s)
    assert clocks.reports == []


def test_the_first_look_compares_with_nothing() -> None:
    clocks = Clocks()
    clocks.go(1000.0, asleep_s=1000.0)
    assert clocks.reports == []


@pytest.mark.parametrize(
    ("length_s", "words"),
    [(0.2, "1 second"), (1.4, "1 second"), (119.4, "119 seconds"), (120.0, "2 minutes"), (7199.0, "120 minutes"),
     (7200.0, "2 hours"), (86_400.0, "24 hours")],
)  # fmt: skip
def test_lengths_have_one_number(length_s: float, words: str) -> None:
    assert spoken_length(length_s) == words


def test_the_real_clocks_agree_but_for_sleep() -> None:
    """clock_gettime(2): CLOCK_BOOTTIME is CLOCK_MONOTONIC and the time suspended, so never less."""
    assert gaps.whole_s() >= gaps.steady_s() - 1.0
    assert abs(gaps.steady_s() - time.monotonic()) < 5.0
