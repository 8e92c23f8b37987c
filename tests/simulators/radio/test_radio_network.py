"""A link over a network: late, jittering, at times away, and without any report."""

from __future__ import annotations

import math
import statistics
from itertools import pairwise
from typing import Any

import pytest

from simulators.radio.model import NetworkModel
from simulators.radio.network import Network


def delays(network: Network, seconds: float, per_s: int = 20) -> dict[int, float]:
    """Return by number how late each frame came down."""
    found: dict[int, float] = {}
    for i in range(round(seconds * 100)):
        now_s = 0.01 * i
        if i % 10 == 0:
            network.move(now_s)
        if i % (100 // per_s) == 0:
            network.send_down(now_s, i.to_bytes(4, "big"))
        for frame in network.arrived_down(now_s):
            sent = int.from_bytes(frame, "big")
            found[sent] = now_s - 0.01 * sent
    return found


def test_it_is_late_by_its_latency_and_more_by_turns() -> None:
    late = list(delays(Network(NetworkModel(loss=0.0)), 200.0).values())
    assert len(late) > 3990
    assert min(late) == pytest.approx(0.12, abs=0.011)
    # 30 ms of jitter on average, a little more since nothing overtakes; the ear is 10 ms coarse.
    assert 0.145 < statistics.mean(late) < 0.185
    assert statistics.stdev(late) == pytest.approx(0.03, abs=0.01)


def test_it_loses_its_share() -> None:
    came = len(delays(Network(NetworkModel(loss=0.1)), 200.0))
    assert came / 4000 == pytest.approx(0.9, abs=4.0 * math.sqrt(0.1 * 0.9 / 4000))


def away(network: Network, seconds: int) -> list[bool]:
    found = []
    for i in range(10 * seconds):
        network.move(0.1 * i)
        found.append(network.away)
    return found


def test_outages_come_as_often_and_last_as_long_as_stated() -> None:
    found = away(Network(NetworkModel(between_s=60.0, outage_s=5.0)), 50_000)
    begun = sum(b and not a for a, b in pairwise(found))
    assert begun == pytest.approx(50_000 / 65.0, rel=4.0 / math.sqrt(50_000 / 65.0))
    assert sum(found) / 10.0 / begun == pytest.approx(5.0, rel=4.0 / math.sqrt(begun))
    assert not any(away(Network(NetworkModel()), 2000))


def test_an_outage_loses_what_is_sent_in_it() -> None:
    network = Network(NetworkModel(loss=0.0))
    for i in range(300):
        network.blocked = 100 <= i < 200
        network.move(0.1 * i)
        network.send_up(0.1 * i, i.to_bytes(4, "big"))
        if i in {50, 150, 299}:
            assert network.up_silent_s(0.1 * i) == pytest.approx(5.0 if i == 150 else 0.0)
    came = [int.from_bytes(frame, "big") for frame in network.arrived_up(60.0)]
    assert came == [*range(100), *range(200, 300)]


def test_one_that_holds_lets_all_come_late_at_once() -> None:
    network = Network(NetworkModel(loss=0.0, holds=True, buffer_bytes=200))
    came: list[tuple[float, int]] = []
    for i in range(400):
        now_s = 0.1 * i
        network.blocked = 100 <= i < 200
        network.move(now_s)
        network.send_down(now_s, i.to_bytes(4, "big"))
        came += [(now_s, int.from_bytes(frame, "big")) for frame in network.arrived_down(now_s)]
    held = [(at_s, sent) for at_s, sent in came if 102 <= sent < 148]
    assert [sent for _, sent in held] == list(range(102, 148))  # 200 bytes of them
    assert all(20.0 < at_s < 20.6 for at_s, _ in held)
    assert network.down.dropped == pytest.approx(50, abs=2)
    assert not {sent for _, sent in came} & set(range(152, 199))


def test_it_reports_nothing() -> None:
    network = Network(NetworkModel())
    assert [frame for i in range(100) for frame in network.report(0.5 * i)] == []


def test_by_seed_and_after_any_leap_of_time() -> None:
    model = NetworkModel(between_s=10.0, outage_s=5.0)
    assert away(Network(model, 3), 500) == away(Network(model, 3), 500) != away(Network(model, 4), 500)
    network = Network(model)
    for now_s in (1e3, 1e7, 1e12):
        network.move(now_s)
    shares = []
    for i in range(2000):
        network.move(1e12 + 5.0 * i)
        shares.append(network.away)
    assert 0.2 < statistics.mean(shares) < 0.5  # a third of the time


def test_what_cannot_be_is_refused() -> None:
    bad: list[dict[str, Any]] = [
        {"bytes_s": 0.0},
        {"loss": 1.1},
        {"loss": math.nan},
        {"jitter_s": -1.0},
        {"outage_s": 0.0},
    ]
    for keys in bad:
        with pytest.raises(ValueError, match=r"above 0|share"):
            NetworkModel(**keys)
