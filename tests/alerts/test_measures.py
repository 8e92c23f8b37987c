"""The measures of alarm systems, against a series worked by hand and the definitions of ISA-18.2 and EEMUA 191.

Numbers as usually operated (ISA-18.2 and EEMUA 191, in secondary texts): chattering from three in 60 s; a flood
from ten in ten minutes until fewer than five in ten minutes; split 80/15/5.
"""

from __future__ import annotations

import random

import pytest

from watchkeeper.alerts.events import AlertChange, Change, Level, State
from watchkeeper.alerts.measures import FloodGauge, measure

UNACK = State.UNACKNOWLEDGED
MIN = 60


def change(
    at_s: float,
    what: Change = Change.RAISED,
    rule: str = "a",
    level: Level = Level.ADVISORY,
    state: State = UNACK,
    *,
    trial: bool = False,
) -> AlertChange:
    us = round(at_s * 1e6)
    return AlertChange(us, us, 1, rule, level, what, state, None, "", trial=trial)


def one_each(*times_s: float) -> list[AlertChange]:
    return [change(t, rule=f"r{i}") for i, t in enumerate(times_s)]


def test_a_series_worked_by_hand() -> None:
    # 30 minutes. "a" at 0, 20, 59 s (three within 60 s) and clears between; "b" once, a caution, stands to
    # the end; "c", a warning, at 20 min; "d" over again after 2 s. Told: a 3, b 1, c 1, d 1: 6 in 30 min.
    series = [
        change(0), change(5, Change.CLEARED), change(20), change(30, Change.CLEARED), change(59),
        change(100, Change.ACKNOWLEDGED), change(102, Change.CLEARED),
        change(120, rule="b", level=Level.CAUTION),
        change(20 * MIN, rule="c", level=Level.WARNING), change(21 * MIN, Change.CLEARED, "c", Level.WARNING),
        change(25 * MIN, rule="d"), change(25 * MIN + 2, Change.CLEARED, "d"),
        change(26 * MIN, rule="e", state=State.OUT_OF_SERVICE, trial=True),
        change(26 * MIN, Change.SUPPRESSED, "f", state=State.SUPPRESSED),
        change(26 * MIN, rule="g", state=State.SHELVED),
    ]  # fmt: skip
    found = measure(series, 0, 30 * MIN * 1_000_000, standing_us=20 * MIN * 1_000_000)
    assert found.told == 6
    assert found.per_window == pytest.approx(2.0)  # EEMUA 191: the most that can be managed
    assert found.most_in_window == 4
    assert found.chattering == {(1, "a"): 3}
    assert found.fleeting == 1  # d; the first life of a lasted 5 s
    assert found.standing == ((1, "b"),)
    assert found.split == {Level.ADVISORY: 4 / 6, Level.CAUTION: 1 / 6, Level.WARNING: 1 / 6}
    assert found.most_frequent == ((1, "a"), 0.5)
    assert found.flood_us == 0


@pytest.mark.parametrize(
    ("times_s", "chatters"),
    [
        ((0, 30, 59.9), True),
        ((0, 30, 60), False),
        ((0, 30), False),
        ((0, 59, 61, 118), True),
        ((0, 31, 62), False),
    ],
)
def test_chattering_is_three_within_a_rolling_minute(times_s: tuple[float, ...], chatters: bool) -> None:
    found = measure([change(t) for t in times_s], 0, 600_000_000, standing_us=1)
    assert bool(found.chattering) is chatters


def test_alerts_of_different_rules_do_not_chatter() -> None:
    assert not measure(one_each(0, 1, 2, 3), 0, 600_000_000, standing_us=1).chattering


@pytest.mark.parametrize(
    ("times_s", "flood_s"),
    [
        ((*range(9),), 0),
        # the tenth at 9 s; at 606 s those of 0 to 6 s have left... the one of 5 s leaves at 605: four are left
        ((*range(10),), 605 - 9),
        # ten spread over just less, and just as much, as ten minutes
        ((*(n * 66.6 for n in range(10)),), (5 * 66.6 + 600) - 9 * 66.6),
        ((*(n * 66.7 for n in range(10)),), 0),
    ],
)
def test_a_flood_begins_with_the_tenth_and_ends_under_five(times_s: tuple[float, ...], flood_s: float) -> None:
    found = measure(one_each(*times_s), 0, 3600_000_000, standing_us=1)
    assert found.flood_us / 1e6 == pytest.approx(flood_s, abs=1e-3)


def test_a_flood_that_goes_on_counts_to_the_end() -> None:
    assert measure(one_each(*range(20)), 0, 100_000_000, standing_us=1).flood_us == 91_000_000


def test_a_short_flight_makes_no_rate() -> None:
    assert measure(one_each(0, 1), 0, 60_000_000, standing_us=1).per_window == 2.0


def test_the_gauge_counts_as_a_plain_list_does() -> None:
    # against the definition written out plainly, over random times; own generator of Python, seeds fixed
    for seed in range(20):
        chance = random.Random(seed)
        gauge, times, flooding = FloodGauge(), [], False
        now_us = 0
        for _ in range(200):
            now_us += round(chance.expovariate(1 / 70) * 1e6)
            if chance.random() < 0.7:
                gauge.told(now_us)
                times.append(now_us)
            inside = sum(1 for t in times if now_us - t < 600_000_000)
            flooding = inside >= 10 or (flooding and inside >= 5)
            assert gauge.passed(now_us) is flooding


def test_nothing_told_has_no_measures() -> None:
    found = measure([], 0, 0, standing_us=1)
    assert (found.told, found.per_window, found.split, found.most_frequent) == (0, 0.0, {}, None)
