"""Traces, thresholds, timeline and plots by hand."""

from __future__ import annotations

import itertools
import math
import random
import re

import pytest

from tests.debrief.aflight import START_US
from watchkeeper.alerts.events import AlertChange, Change, Level, State
from watchkeeper.debrief.findings import Curve, Entry, Figure, Fix, Forecast, Limit, Panel
from watchkeeper.debrief.plots import Setting, Span, draw, thinned
from watchkeeper.debrief.svg import since, steps, times
from watchkeeper.debrief.thresholds import PRACTICE, Threshold, Watcher
from watchkeeper.debrief.timeline import Delivered, differs, entries, renumbered, shortened
from watchkeeper.debrief.trace import Trace, Track
from watchkeeper.edges.clock import utc_text

NOTHING = Forecast(0.0, "", None, None, None, None, None, 0.0, None, None)


def change(
    at_s: float, rule: str, what: Change, level: Level = Level.CAUTION, by: str | None = None
) -> AlertChange:
    time_us = START_US + round(at_s * 1e6)
    return AlertChange(
        time_us,
        round(at_s * 1e6),
        7,
        rule,
        level,
        what,
        State.UNACKNOWLEDGED,
        f"{rule}!",
        "because",
        {"x": 1.0},
        by=by,
    )


def test_a_trace_keeps_the_extremes_of_hours_in_few_points() -> None:
    chance = random.Random(1)
    values = [(k * 0.5, chance.gauss(0.0, 1.0)) for k in range(60_000)]
    values[33_333] = (values[33_333][0], -50.0)
    values[44_444] = (values[44_444][0], 50.0)
    trace = Trace()
    for at_s, value in values:
        trace.put(at_s, value)
    points = trace.points()
    assert len(points) <= 1500
    known = [v for _, v in points if v is not None]
    assert (min(known), max(known)) == (-50.0, 50.0)
    assert (33_333 * 0.5, -50.0) in points
    assert [at_s for at_s, _ in points] == sorted(at_s for at_s, _ in points)


def test_a_trace_has_a_gap_where_nothing_was_known() -> None:
    trace = Trace()
    for at_s in range(20):
        trace.put(float(at_s), None if 5 <= at_s < 12 else 1.0)
    assert [at_s for at_s, v in trace.points() if v is None] == [5.0]
    assert len([v for _, v in trace.points() if v is not None]) == 13


def test_a_track_is_bounded_and_ends_where_it_ended() -> None:
    track = Track(most=100)
    for k in range(10_000):
        track.put(float(k), (10.0 + k * 1e-6, 20.0), None)
    track.end(10_000.0, (11.0, 20.0), None)
    assert len(track.places) <= 102
    assert track.places[0][0] == 0.0
    assert track.places[-1][:2] == (10_000.0, 11.0)


@pytest.mark.parametrize(
    ("delay_s", "values", "expected"),
    [
        (0.0, [(0, 3.6), (1, 3.5), (2, 3.6)], (1.0, 0.0)),  # at the limit counts
        (10.0, [(0, 3.4), (5, 3.6), (6, 3.4), (15, 3.4), (16, 3.4), (20, 3.4)], (16.0, 14.0)),
        (10.0, [(0, 3.4), (9.9, 3.4), (10, 3.6)], (None, 0.0)),
    ],
)
def test_a_threshold_speaks_after_its_delay(
    delay_s: float, values: list[tuple[float, float]], expected: tuple[float | None, float]
) -> None:
    watcher = Watcher(Threshold("a", "cell_voltage", 3.5, delay_s, "", PRACTICE))
    for at_s, value in values:
        watcher.look(value, at_s, lambda: NOTHING)
    assert (watcher.at_s, watcher.held_s) == expected


def test_charge_used_counts_upwards_and_what_is_not_told_leaves_a_threshold_blind() -> None:
    used = Watcher(Threshold("a", "charge_used", 4000.0, 0.0, "", PRACTICE))
    for at_s, value in ((0.0, 3999.0), (1.0, None), (2.0, 4000.0)):
        used.look(value, at_s, lambda: NOTHING)
    assert used.at_s == 2.0
    blind = Watcher(Threshold("a", "gauge", 25.0, 0.0, "", PRACTICE))
    blind.look(None, 0.0, lambda: NOTHING)
    assert (blind.seen, blind.at_s) == (False, None)


def test_an_alert_from_raised_to_over() -> None:
    happened = [
        change(10, "return-now", Change.RAISED, Level.WARNING),
        change(12, "link-trend", Change.RAISED),
        change(25, "return-now", Change.REPEATED, Level.WARNING),
        change(26.5, "return-now", Change.ACKNOWLEDGED, Level.WARNING, by="pilot"),
        change(27, "return-now", Change.ACKNOWLEDGED, Level.WARNING, by="post"),
        change(40, "return-now", Change.CLEARED, Level.WARNING),
        change(50, "return-now", Change.RAISED, Level.WARNING),
    ]
    told = [
        Delivered(
            happened[0].time_us + 400_000, happened[0].time_us, "voice", "spoken", "", 7, "return-now", "raised"
        ),
        Delivered(happened[0].time_us + 1, happened[0].time_us, "voice", "spoken", "", 8, "return-now", "raised"),
    ]
    found = entries(happened, told, utc_text, lambda _, at_s: (33.0, "turned back") if at_s < 33 else None)
    assert [(one.number, one.rule, one.at_s) for one in found] == [
        (1, "return-now", 10.0), (2, "link-trend", 12.0), (3, "return-now", 50.0)
    ]  # fmt: skip
    first, second, third = found
    assert first.acknowledged == (("pilot", 16.5), ("post", 17.0))
    assert (first.acted, first.acted_after_s, first.over_after_s, first.repeats) == ("turned back", 23.0, 30.0, 1)
    assert [(one.outlet, one.after_s) for one in first.told] == [("voice", 0.4)]
    assert (second.acted_after_s, second.over_after_s) == (None, None)
    assert third.acted_after_s is None
    assert first.clock == "2027-01-15T08:00:10.000000Z"


def test_what_is_suppressed_was_not_spoken_until_it_is_released() -> None:
    happened = [
        change(1, "a", Change.SUPPRESSED),
        change(2, "b", Change.SUPPRESSED),
        change(5, "b", Change.UNSUPPRESSED),
    ]
    a, b = entries(happened, (), utc_text, lambda *_: None)
    assert (bool(a.silent), bool(b.silent)) == (True, False)


def test_the_most_urgent_stay_where_there_are_too_many() -> None:
    happened = [change(k, f"a{k}", Change.RAISED, Level.ADVISORY) for k in range(50)]
    happened += [change(60 + k, f"w{k}", Change.RAISED, Level.WARNING) for k in range(5)]
    kept, more = shortened(entries(happened, (), utc_text, lambda *_: None), 10)
    assert more == 45
    assert sum(one.level is Level.WARNING for one in kept) == 5
    assert [one.number for one in renumbered(kept)] == list(range(1, 11))


def test_another_version_that_decides_otherwise_is_told() -> None:
    then = [change(1, "a", Change.RAISED), change(2, "b", Change.RAISED)]
    assert differs(then, [*then]) == ""
    assert "1 changes of alerts were decided then and not now, 1 now and not then" in differs(
        then, [then[0], change(3, "b", Change.RAISED)]
    )
    assert differs(then, then[::-1]) == "the same changes in another order"


def setting(span: Span, found: tuple[Entry, ...] = ()) -> Setting:
    return Setting(span, (), found, "2027-01-15T08:00:00Z", False, "Aircraft 7")


def test_axes_have_round_values_that_hold_all() -> None:
    for low, high in ((0.0, 0.9), (-0.4, 60.0), (3.31, 4.2), (0.0, 1234.0), (5.0, 5.0)):
        ticks = steps(low, high)
        assert ticks[0] <= low
        assert ticks[-1] >= high
        assert 2 <= len(ticks) <= 8
        assert all(math.isclose(b - a, ticks[1] - ticks[0]) for a, b in itertools.pairwise(ticks))
    assert times(0.0, 740.0) == [k * 120.0 for k in range(7)]
    assert (since(65.4), since(7265.0)) == ("1:05", "2:01:05")


def test_a_curve_stands_at_its_scale_and_breaks_at_a_gap() -> None:
    points = tuple((float(k), None if k == 50 else float(k)) for k in range(101))
    panel = Panel("Charge", "%", (Curve("a", "charge", "%", points),), (Limit(20.0, "kept"),))
    drawn = draw(Figure("x", "X", (panel,)), setting(Span(0.0, 100.0)))
    assert drawn is not None
    paths = re.findall(r'<path class="d-main" d="M([^"]+)"/>', drawn.inside)[1:]  # the first is the key
    assert len(paths) == 2
    ends = [tuple(float(v) for v in paths[k].split("L")[-k].split(",")) for k in (0, 1)]
    (x0, y0), (x1, y1) = ends
    assert (x0, x1) == (46.0, 430.0)
    assert y0 - y1 == pytest.approx(120.0)  # the whole height: 0 to 100 %
    limit = re.search(r'd-limit" d="M[\d.]+,([\d.]+)L', drawn.inside)
    assert limit is not None
    assert float(limit[1]) == pytest.approx(y0 - 0.2 * 120.0)
    assert "least 0.00 % at 0:00, most 100 % at 1:40" in drawn.words


def test_a_figure_without_anything_is_none() -> None:
    assert draw(Figure("x", "X", (Panel("Charge", "%", (), why_none="why"),)), setting(Span(0.0, 1.0))) is None


def test_numbers_of_alerts_that_stand_close_share_one() -> None:
    found = tuple(
        Entry(
            n,
            7,
            "a",
            Level.CAUTION,
            at_s,
            "",
            "",
            "",
            {},
            (),
            (),
            None,
            "",
            None,
            "",
            0,
            "",
            place=Fix(0, 0, 0, None),
        )
        for n, at_s in ((1, 10.0), (2, 11.0), (3, 80.0))
    )
    panel = Panel("C", "%", (Curve("a", "charge", "%", ((0.0, 1.0), (100.0, 2.0))),))
    drawn = draw(Figure("x", "X", (panel,)), setting(Span(0.0, 100.0), found))
    assert drawn is not None
    assert re.findall(r'd-number d-mid"[^>]*>([^<]+)<', drawn.inside) == ["1\N{EN DASH}2", "3"]


def test_thinning_keeps_extremes_gaps_and_order() -> None:
    points = [(float(k), None if 500 <= k < 510 else math.sin(k)) for k in range(5000)]
    points[777] = (777.0, 9.0)
    kept = thinned(points, 300)
    assert len(kept) <= 300
    assert (777.0, 9.0) in kept
    assert any(value is None for _, value in kept)
    assert [at_s for at_s, _ in kept] == sorted(at_s for at_s, _ in kept)
