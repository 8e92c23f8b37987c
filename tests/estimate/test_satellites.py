"""Fall of the satellite count."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.position.satellites import SatelliteDrop


def drops(counts: Sequence[int | None]) -> list[float | None]:
    """Bring one count a second; return the drops."""
    readings, stream = Readings(), Stream()
    part = SatelliteDrop(readings)
    found = []
    for second, count in enumerate(counts):
        stream.mark(second * 1_000_000)
        readings.put(INDEX["satellites.used"], count, stream)
        result = part.run(second * 1_000_000)
        assert result is not None
        found.append(result[0])
        assert part.run(second * 1_000_000 + 100_000) is None  # no new sample
    return found


def test_fall_within_ten_seconds_by_hand() -> None:
    found = drops([20] * 5 + [12, 8, 8] + [8] * 12)
    assert found[4] == 0
    assert found[5] == pytest.approx(40)
    assert found[6] == pytest.approx(60)
    assert found[14] == pytest.approx(60)  # ten seconds after the last 20
    assert found[15] == pytest.approx(100 * 4 / 12)
    assert found[19] == 0


def test_a_fall_that_takes_half_a_minute_shows_over_the_longer_window() -> None:
    """By hand: from 20 to 11, one every three seconds (15 to 11 in 10 s); from 121 s on the most is 19."""
    readings, stream = Readings(), Stream()
    part = SatelliteDrop(readings)
    counts = [20] + [19 - s // 3 for s in range(27)] + [11] * 100
    found = []
    for second, count in enumerate(counts):
        stream.mark(second * 1_000_000)
        readings.put(INDEX["satellites.used"], count, stream)
        result = part.run(second * 1_000_000)
        assert result is not None
        found.append(result)
    assert max(drop for drop, _ in found if drop is not None) < 30
    assert found[120][1] == pytest.approx(100 * 9 / 20)
    assert found[121][1] == pytest.approx(100 * 8 / 19)


def test_a_slow_fall_and_a_rise_are_no_drop() -> None:
    assert max(x for x in drops([20 - s // 12 for s in range(60)]) if x is not None) < 11
    assert drops([6, 9, 14, 20])[-1] == 0


def test_unknown_count_is_unknown_and_none_is_no_division() -> None:
    assert drops([20, None])[-1] is None
    assert drops([0, 0])[-1] == 0


def test_never_received_leaves_the_reading_alone() -> None:
    assert SatelliteDrop(Readings()).run(1_000_000) is None
