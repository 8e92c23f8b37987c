"""One pack told wrongly, late, twice or not at all; and what is kept over a restart of the watch."""

from __future__ import annotations

import json
import math
from itertools import chain
from typing import Any

import numpy as np
import pytest

from tests.estimate.packflight import Bench
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.estimate.learning import plain

FILE = "packs: {cells: 12, capacity: 22 Ah}"
NO_AGE = "packs: {cells: 12, capacity: 22 Ah, age: 0 cycles}"
OHM = 12 * 2.5e-3


def hover(
    bench: Bench, begin_s: int, end_s: int, rest_v: float = 46.0, current_a: float = 66.0, **more: float | None
) -> None:
    """Tell each second a pack that hovers; `more` replaces or adds readings."""
    for second in range(begin_s, end_s):
        flying = current_a > 5
        bench.at(second, flying=flying)
        bench.tell(1, **{"voltage": rest_v - OHM * current_a, "current": current_a, "gauge_left": 80.0, **more})
        bench.run()


def charge(bench: Bench) -> float:
    return bench.filter.charge


@pytest.mark.parametrize("wrong_v", [0.0, 0.001, 3.0, 1e3, -46.0, math.nan, math.inf])
def test_a_voltage_that_no_pack_has_moves_no_charge(wrong_v: float) -> None:
    bench, sane = Bench(FILE), Bench(FILE)
    hover(bench, 0, 60)
    hover(sane, 0, 60)
    hover(sane, 60, 90, voltage=None)
    hover(bench, 60, 90, voltage=wrong_v)
    assert charge(bench) == pytest.approx(charge(sane), abs=0.01)
    hover(bench, 90, 120)
    hover(sane, 90, 120)
    assert charge(bench) == pytest.approx(charge(sane), abs=0.01)
    assert bench.filter.state().cell_ohm == pytest.approx(sane.filter.state().cell_ohm, rel=0.05)


@pytest.mark.parametrize("degc", [-273.0, -273.15, 300.0, 327.66, math.nan, None])
def test_a_temperature_that_no_pack_has_is_none(degc: float | None) -> None:
    bench, sane = Bench(FILE), Bench(FILE)
    hover(bench, 0, 60, temperature=degc)
    hover(sane, 0, 60)
    assert charge(bench) == pytest.approx(charge(sane), abs=1e-9)
    assert bench.pack.empty == pytest.approx(sane.pack.empty, abs=1e-9)


def test_a_cold_pack_is_empty_sooner_than_a_warm_one_before_it_is_flown() -> None:
    empties = []
    for degc in (35.0, 20.0, 5.0, -10.0):
        bench = Bench(FILE)
        hover(bench, 0, 30, rest_v=49.0, current_a=1.0, temperature=degc)
        empties.append(bench.pack.empty)
    assert empties == sorted(empties)
    assert empties[-1] > empties[0] + 0.1


@pytest.mark.parametrize("gauge", [math.nan, math.inf, None, 0.0, 100.0])
def test_a_gauge_that_is_wrong_leaves_the_charge_where_voltage_and_count_have_it(gauge: float | None) -> None:
    bench, sane = Bench(FILE), Bench(FILE)
    hover(bench, 0, 5, current_a=1.0, rest_v=47.0, gauge_left=gauge)
    hover(sane, 0, 5, current_a=1.0, rest_v=47.0, gauge_left=None)
    assert charge(bench) == pytest.approx(charge(sane), abs=0.01)
    off = bench.pack.gauge_off_pct
    if gauge is None or not math.isfinite(gauge):
        assert off is None
    else:
        assert off is not None
        assert math.copysign(1, off) == math.copysign(1, gauge - 50)


def test_a_message_told_twice_counts_once() -> None:
    once, twice = Bench(FILE), Bench(FILE)
    hover(once, 0, 30, rest_v=46.0, current_a=1.0)
    hover(twice, 0, 30, rest_v=46.0, current_a=1.0)
    for second in range(30, 90):
        for bench, times in ((once, 1), (twice, 2)):
            for _ in range(times):
                bench.at(second)
                bench.tell(1, voltage=44.0, current=66.0, gauge_left=80.0)
                bench.run()
    assert charge(twice) == pytest.approx(charge(once), abs=0.003)
    assert twice.filter.charge_doubt == pytest.approx(once.filter.charge_doubt, rel=0.1)


def test_readings_faster_tell_no_more_of_the_curve() -> None:
    """Errors of a voltage keep to one side: ten samples a second are not ten times as good."""
    doubts = []
    for rate in (1, 10):
        bench = Bench(FILE)
        for step in range(30 * rate):
            bench.at(step / rate, flying=False)
            bench.tell(1, voltage=46.0, current=1.0, gauge_left=80.0)
            bench.run()
        for step in range(30 * rate, 150 * rate):
            bench.at(step / rate)
            bench.tell(1, voltage=44.0, current=66.0, gauge_left=80.0)
            bench.run()
        doubts.append(bench.filter.charge_doubt)
    assert doubts[1] == pytest.approx(doubts[0], rel=0.15)


def test_time_that_steps_back_takes_nothing_off_and_raises_nothing() -> None:
    bench = Bench(FILE)
    hover(bench, 0, 60)
    before = charge(bench)
    hover(bench, 30, 32)
    assert charge(bench) == pytest.approx(before, abs=0.01)


def test_without_capacity_or_cells_there_is_no_usable_charge() -> None:
    bench = Bench("packs: {cells: 12}")
    hover(bench, 0, 30)
    assert bench.read("battery.charge_left") == 80.0  # the gauge, repeated
    assert bench.read("battery.time_left") is BLIND
    assert bench.read("battery.gauge_off") is BLIND
    assert bench.pack.learned() == {}
    assert bench.estimates.supplies() is None
    bench = Bench("packs: {capacity: 22 Ah}")
    hover(bench, 0, 31)
    # the count alone: 66 A for 30 s from 80 %
    assert bench.read("battery.charge_left") == pytest.approx(80 - 100 * 66 * 30 / 3600 / 22)
    assert bench.pack.filter is None
    assert bench.estimates.supplies() is None
    assert "cells" in bench.estimates.why_unknown()


def test_without_a_current_a_pack_follows_its_gauge_and_promises_nothing() -> None:
    bench = Bench(FILE)
    for second in range(60):
        bench.at(second)
        bench.tell(1, voltage=44.4, current=None, gauge_left=80.0 - second / 10)
        bench.run()
    # 74.1 % by the gauge; usable is less
    assert charge(bench) == pytest.approx(0.741, abs=0.01)
    assert bench.filter.charge_doubt > 0.1
    assert 50 < bench.read("battery.charge_left") < 74.1
    assert bench.estimates.supplies() is None
    assert "current" in bench.estimates.why_unknown()


def test_a_count_that_begins_anew_in_flight_leaves_a_covariance_that_can_be() -> None:
    bench = Bench(FILE)
    hover(bench, 0, 300)
    hover(bench, 700, 760, rest_v=45.0)  # a silence of more than five minutes
    p = np.array(bench.filter._p)
    assert p == pytest.approx(p.T, abs=1e-12)
    spread = np.sqrt(np.diag(p))
    assert np.linalg.eigvalsh(p / np.outer(spread, spread)).min() > -1e-6


def test_a_second_hole_in_the_current_widens_the_doubt_as_the_first_did() -> None:
    bench = Bench(NO_AGE)
    more = []
    counter = 0.0
    for begin in (0, 260):
        for second in range(begin, begin + 60):
            counter += 66 / 3600
            hover(bench, second, second + 1, rest_v=47.0, consumed=counter)
        before = bench.filter._p[0][0]
        # nothing for 40 s, then the current alone: 66 A x 40 s
        hover(bench, begin + 100, begin + 101, rest_v=47.0, consumed=None)
        more.append(bench.filter._p[0][0] - before)
        counter += 66 * 200 / 3600
    drawn = 66 * 41 / 3600 / 22
    # HOLE_DOUBT is 30 % of it; the voltage then takes a little away
    assert more[0] == pytest.approx((0.3 * drawn) ** 2, rel=0.5)
    assert more[1] == pytest.approx(more[0], rel=0.5)


def test_a_hole_widens_the_doubt_once() -> None:
    bench = Bench(NO_AGE)
    hover(bench, 0, 60, rest_v=47.0)
    hover(bench, 100, 101, rest_v=47.0)
    after = bench.filter.charge_doubt
    hover(bench, 101, 200, rest_v=46.5)
    assert bench.filter.charge_doubt < 1.02 * after


# --- over a restart of the watch -------------------------------------------------------------------------------


def kept_of(bench: Bench) -> dict[str, Any]:
    kept = json.loads(json.dumps(plain(bench.estimates.learned())))
    assert isinstance(kept, dict)
    return kept


def resumed(kept: dict[str, Any], file: str = FILE) -> Bench:
    bench = Bench(file)
    bench.estimates.resume(kept)
    return bench


def test_what_was_learned_gives_the_same_forecast_after_a_restart() -> None:
    bench = Bench(FILE)
    hover(bench, 0, 200, consumed=1.0)
    again = resumed(kept_of(bench))
    hover(bench, 200, 201, consumed=1.0)
    hover(again, 200, 201, consumed=1.0)
    first, second = bench.filter, again.filter
    assert second.charge == pytest.approx(first.charge, abs=2e-3)
    assert second.charge_doubt == pytest.approx(first.charge_doubt, rel=0.05)
    assert second.state()[1:] == pytest.approx(first.state()[1:], rel=0.02)
    assert again.pack.mean_power_w == pytest.approx(bench.pack.mean_power_w, rel=0.01)
    for a, b in zip(second.doubtful(), first.doubtful(), strict=True):
        assert a.empty(4128, 3.3) == pytest.approx(b.empty(4128, 3.3), abs=0.01)
        assert a.charge == pytest.approx(b.charge, abs=0.005)


@pytest.mark.parametrize("away_s", [20, 100, 320])
def test_what_a_counter_says_was_drawn_meanwhile_is_taken_off(away_s: int) -> None:
    bench = Bench(NO_AGE)
    for second in range(100):
        hover(bench, second, second + 1, rest_v=47.0, consumed=second * 66 / 3600)
    before = charge(bench)
    again = resumed(kept_of(bench), NO_AGE)
    end = 99 + away_s
    hover(again, end, end + 1, rest_v=47.0, consumed=end * 66 / 3600)
    assert charge(again) == pytest.approx(before - away_s * 66 / 3600 / 22, abs=0.01)


def test_without_a_counter_the_usual_current_is_taken_off_with_a_doubt() -> None:
    bench = Bench(NO_AGE)
    hover(bench, 0, 100, rest_v=47.0)
    before, doubt = charge(bench), bench.filter.charge_doubt
    again = resumed(kept_of(bench), NO_AGE)
    hover(again, 219, 220, rest_v=47.0)
    drawn = 120 * 66 / 3600 / 22
    assert charge(again) == pytest.approx(before - drawn, abs=0.01)
    assert again.filter.charge_doubt == pytest.approx(math.hypot(doubt, 0.3 * drawn), rel=0.1)


def test_a_restart_on_the_ground_takes_nothing_off_a_pack_that_never_flew() -> None:
    bench = Bench(FILE)
    hover(bench, 0, 30, rest_v=49.0, current_a=1.0)
    before = charge(bench)
    again = resumed(kept_of(bench))
    hover(again, 40, 45, rest_v=49.0, current_a=1.0)
    assert charge(again) == pytest.approx(before, abs=0.005)


def test_a_restart_after_the_landing_takes_off_no_more_than_the_ground_drew() -> None:
    bench = Bench(FILE)
    hover(bench, 0, 200, rest_v=47.0)
    hover(bench, 200, 500, rest_v=47.0, current_a=1.0)
    before = charge(bench)
    again = resumed(kept_of(bench))
    hover(again, 505, 506, rest_v=47.0, current_a=1.0)
    assert charge(again) == pytest.approx(before, abs=0.003)


def test_a_night_away_begins_anew() -> None:
    """A full pack was put in meanwhile: what was usual over ten hours says nothing."""
    bench = Bench(FILE)
    hover(bench, 0, 200, rest_v=45.0)
    again = resumed(kept_of(bench))
    hover(again, 36_000, 36_060, rest_v=50.2, current_a=1.0)
    assert charge(again) > 0.95
    fresh = Bench(FILE)
    hover(fresh, 36_000, 36_060, rest_v=50.2, current_a=1.0)
    assert again.filter.state() == fresh.filter.state()  # nor does what was learned of another pack


RUBBISH: tuple[Any, ...] = (3, "x", {"filter": 1}, math.inf)


def spoilt(kept: dict[str, Any]) -> list[tuple[str, Any]]:
    """Return the ways in which what was kept of a pack can be spoilt."""
    ways: list[tuple[str, Any]] = [("whole", value) for value in RUBBISH]
    for key in kept:
        wrong: tuple[Any, ...] = (None, "x", [], {}, math.nan, math.inf, -math.inf, 1e308, -1e308)
        ways += [(key, value) for value in wrong]
        ways.append((key, ...))  # left out
    ways += [
        ("cells", 0),
        ("cells", -3),
        ("cells", 10**9),
        ("power", [1.0]),
        ("power", [1.0, -1.0]),
        ("power", 1.0),
    ]
    return ways


def spoil(kept: dict[str, Any], key: str, value: Any) -> Any:
    if key == "whole":
        return value
    changed = json.loads(json.dumps(kept))
    if value is ...:
        del changed[key]
    else:
        changed[key] = value
    return changed


def test_rubbish_that_was_kept_is_refused_or_harmless() -> None:
    bench = Bench("packs: {cells: 12, capacity: 22 Ah, resistance: 18 mohm}")
    hover(bench, 0, 60)
    kept = kept_of(bench)["1"]
    sane = Bench("packs: {cells: 12, capacity: 22 Ah, resistance: 18 mohm}")
    hover(sane, 60, 90)
    for key, value in spoilt(kept):
        again = Bench("packs: {cells: 12, capacity: 22 Ah, resistance: 18 mohm}")
        again.estimates.resume({"1": spoil(kept, key, value)})
        hover(again, 60, 90)
        for number in (*again.filter._x, *chain(*again.filter._p), again.pack.empty, again.pack.mean_power_w):
            assert math.isfinite(number), (key, value)
        assert again.pack.mean_power_w < 20_000, (key, value)
        assert charge(again) == pytest.approx(charge(sane), abs=0.1), (key, value)
        try:
            again.pack.resume(spoil(kept, key, value))
        except (KeyError, TypeError, ValueError):
            continue


def test_a_refused_pack_is_left_as_it_was() -> None:
    bench = Bench(FILE)
    hover(bench, 0, 60)
    kept = kept_of(bench)["1"]
    for key, value in spoilt(kept):
        again = Bench(FILE)
        hover(again, 0, 5)
        before, power = again.pack.filter, again.pack.mean_power_w
        try:
            again.pack.resume(spoil(kept, key, value))
        except (KeyError, TypeError, ValueError):
            assert again.pack.filter is before, (key, value)
            assert again.pack.mean_power_w == power


def test_what_was_kept_of_a_pack_not_heard_yet_is_kept_on() -> None:
    bench = Bench("packs: {cells: 12, capacity: 22 Ah, count: 2}")
    for second in range(30):
        bench.at(second)
        for pack in (1, 2):
            bench.tell(pack, voltage=44.0, current=66.0, gauge_left=80.0)
        bench.run()
    kept = kept_of(bench)
    again = resumed(kept, "packs: {cells: 12, capacity: 22 Ah, count: 2}")
    again.at(31)
    again.tell(1, voltage=44.0, current=66.0, gauge_left=80.0)
    again.run()
    assert kept_of(again)["2"] == kept["2"]
