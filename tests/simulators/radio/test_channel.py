"""One way of a link as a queue: order, time on the air, delay, backlog, drops."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from simulators.radio.channel import MOST_COMING, Channel


def channel(
    lost: Callable[[int], bool] = lambda _length: False,
    bytes_s: float = 1000.0,
    buffer: int = 1000,
    retries: int = 0,
) -> Channel:
    return Channel(bytes_s, buffer, lost, lambda: 0.05, retries)


def test_a_frame_takes_its_time_and_the_delay() -> None:
    way = channel()
    assert way.send(10.0, bytes(100))
    assert way.arrived(10.149) == []
    assert way.arrived(10.151) == [bytes(100)]
    assert way.arrived(11.0) == []


def test_frames_come_in_order_at_the_rate() -> None:
    way = channel()
    frames = [bytes([i]) * 100 for i in range(10)]
    for frame in frames:
        assert way.send(0.0, frame)
    assert way.backlog_bytes == 900  # the first is on the air
    assert way.arrived(0.56) == frames[:5]
    assert way.arrived(1.06) == frames[5:]
    assert way.backlog_bytes == 0
    assert way.free_pct == 100


def test_what_is_full_drops_what_comes_new() -> None:
    way = channel()
    kept = [way.send(0.0, bytes([i]) * 100) for i in range(15)]
    assert kept == [True] * 11 + [False] * 4
    assert way.dropped == 4
    assert way.free_pct == 0
    assert [frame[0] for frame in way.arrived(60.0)] == list(range(11))
    assert not way.send(61.0, bytes(1001))


@pytest.mark.parametrize(("backlog", "free_pct"), [(0, 100), (1, 99), (250, 75), (995, 0)])
def test_room_in_per_cent(backlog: int, free_pct: int) -> None:
    way = channel()
    way.held = True
    if backlog:
        way.send(0.0, bytes(backlog))
    assert way.free_pct == free_pct


def test_backlog_and_delay_grow_when_it_retransmits() -> None:
    # Two thirds lost, sent again up to nine times: three times the air, 150 % of the rate, so the queue fills.
    dice = random.Random(1)
    plain, again = channel(buffer=2000), channel(lambda _length: dice.random() < 2 / 3, buffer=2000, retries=9)
    delays: dict[Channel, list[float]] = {plain: [], again: []}
    for way, found in delays.items():
        for i in range(600):  # 30 s at half the rate
            way.send(0.05 * i, i.to_bytes(25, "big"))
            found += [0.05 * i - 0.05 * int.from_bytes(frame, "big") for frame in way.arrived(0.05 * i)]
    assert max(delays[plain]) < 0.15
    assert again.free_pct < 5
    assert again.dropped > 100
    assert again.lost < 20  # (2/3)^10 of them
    assert max(delays[again]) > 3.0


def test_without_retries_loss_makes_no_backlog() -> None:
    way = channel(lambda _length: True)
    for i in range(100):
        assert way.send(0.05 * i, bytes(25))
    assert way.arrived(60.0) == []
    assert way.lost == way.sent == 100


def test_a_slow_channel_makes_a_backlog_that_it_works_off_afterwards() -> None:
    way = channel()
    way.slow = 4.0
    for i in range(40):
        way.send(0.05 * i, bytes(25))
        way.arrived(0.05 * i)
    grown = way.backlog_bytes
    assert grown == pytest.approx(500, abs=50)  # half the rate comes in, a quarter goes out, for 2 s
    way.slow = 1.0
    way.arrived(3.0)
    assert way.backlog_bytes == 0


def test_what_is_held_comes_later_all_at_once() -> None:
    way = channel(bytes_s=1e6)
    way.held = True
    for i in range(5):
        way.send(1.0 * i, bytes([i]))
        assert way.arrived(1.0 * i) == []
    way.held = False
    assert way.arrived(4.04) == []
    assert [frame[0] for frame in way.arrived(4.06)] == [0, 1, 2, 3, 4]


def test_nothing_overtakes_though_waits_differ() -> None:
    waits = iter([0.5, 0.1, 0.3])
    way = Channel(1e6, 1000, lambda _length: False, lambda: next(waits))
    for i in range(3):
        way.send(0.01 * i, bytes([i]))
    assert way.arrived(0.4) == []
    assert [frame[0] for frame in way.arrived(0.6)] == [0, 1, 2]


def test_what_nobody_fetches_is_bounded() -> None:
    way = channel(bytes_s=1e9)
    for i in range(MOST_COMING + 500):
        way.send(1.0 * i, i.to_bytes(4, "big"))
    fetched = way.arrived(1e6)
    assert len(fetched) == MOST_COMING
    assert int.from_bytes(fetched[-1], "big") == MOST_COMING + 499
