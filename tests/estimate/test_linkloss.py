"""Loss against a source's baseline, and whether the margin fades."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.radio.link import MARGIN_FLOOR_DB, NOT_FADING_S, LinkLoss, MarginTrend, fades_in_s


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
        (loss,) = part.run(second * 1_000_000)
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


def fade(part: MarginTrend, readings: Readings, margins_db: list[float]) -> tuple[float | None, float | None]:
    """Bring one margin a second; return the last trend and time."""
    stream = readings.streams[INDEX["link.margin"]] or Stream()
    last: tuple[float | None, float | None] = (None, None)
    for second, margin_db in enumerate(margins_db):
        stream.mark(second * 1_000_000 + 1)
        readings.put(INDEX["link.margin"], margin_db, stream)
        new = part.run(second * 1_000_000 + 1)
        last = new if new is not None else last
    return last


def test_fading_margin_by_hand() -> None:
    readings = Readings()
    trend, fades_s = fade(MarginTrend(readings), readings, [40 - 0.2 * s for s in range(60)])
    assert trend == pytest.approx(-12)
    assert fades_s is not None
    assert fades_s > (29.3 - MARGIN_FLOOR_DB) / 0.2  # never sooner than along a straight line


def test_time_left_follows_free_space_loss() -> None:
    # Facts section 7: twice the distance, 6.02 dB. At 100 m flying out at 5 m/s the margin falls by
    # 8.686 x 5 / 100 = 0.434 dB/s, and 6.02 dB last the 20 s that it takes to 200 m.
    assert fades_in_s(6.0206, 0.4343) == pytest.approx(20, rel=1e-3)
    assert fades_in_s(26.0206, 0.4343) == pytest.approx(19 * 20, rel=1e-3)  # at 2000 m
    assert fades_in_s(0.1, 0.2) == pytest.approx(0.5, rel=0.01)  # a straight line for little
    assert fades_in_s(-3, 0.2) == 0


def test_single_dropouts_are_no_trend() -> None:
    readings = Readings()
    margins = [30.0 + (s * 7 % 5) / 2 for s in range(60)]
    for second in (20, 41, 55):
        margins[second] = 2.0
    trend, fades_s = fade(MarginTrend(readings), readings, margins)
    assert trend == pytest.approx(0, abs=2)
    assert fades_s == NOT_FADING_S


def test_unknown_at_first_and_without_a_radio() -> None:
    readings = Readings()
    assert MarginTrend(readings).run(5_000_000) is None
    assert fade(MarginTrend(readings), readings, [30.0] * 20) == (None, None)


def test_an_old_minute_is_forgotten() -> None:
    readings = Readings()
    part = MarginTrend(readings)
    fade(part, readings, [40 - 0.2 * s for s in range(60)])
    stream = readings.streams[INDEX["link.margin"]]
    assert stream is not None
    last = None
    for second in range(300, 312):
        stream.mark(second * 1_000_000)
        last = part.run(second * 1_000_000) or last
    assert last == (None, None)
