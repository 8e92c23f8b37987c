"""From when a fault can be seen: each kind on a short flight, large enough and too small.

The flight takes off at 10 s and is 150 m out at 30 m from 35 s on; what goes wrong goes wrong at 40 s.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from simulators.campaign.floors import _FLOORS, Floor
from simulators.flown.scenario import FlownDrill, FlownScenario
from tests.simulators.campaign.campaigning import drawn

AT_S = 40.0
LOOK_S = 0.2
"""How often a flight is looked at."""
FULL = [{"charge_pct": 95}, {"charge_pct": 95}]


def seen(kind: str, do: dict[str, Any] | None, until_s: float, at_s: float = AT_S, **keys: Any) -> Floor:
    """Return the floor after a flight that is looked at as campaigns do."""
    one = drawn(kind, do, at_s, **{"packs": FULL, **keys})
    drill = FlownDrill(FlownScenario(one.file, None, None), one.seed)
    floor = Floor(kind, drill)
    while drill.flight.time_s < until_s:
        drill.step()
        if drill.steps % 10 == 0:
            floor.look()
    return floor


def gauges(true_pct: float, shown_pct: float) -> list[dict[str, float]]:
    return [{"charge_pct": true_pct, "gauge_pct": shown_pct, "current_scale": 1.0} for _ in range(2)]


def weak(mohm: float) -> list[dict[str, float]]:
    return [{"charge_pct": 95, "weak_cell": 3, "weak_mohm": mohm}, {"charge_pct": 95}]


@pytest.mark.parametrize(
    ("kind", "do"),
    [("pack opens", {"open_pack": 1}), ("motors stop", {"stop_motors": True})],
)
def test_what_is_always_seen_is_seen_at_once(kind: str, do: dict[str, Any]) -> None:
    floor = seen(kind, do, 41.0)
    assert floor.began_s == pytest.approx(AT_S, abs=0.11)
    assert floor.passed_s == pytest.approx(AT_S, abs=LOOK_S + 0.01)
    before = seen(kind, do, 39.9)
    assert (before.began_s, before.passed_s) == (None, None)


def test_a_gauge_lies_from_take_off_on() -> None:
    on_the_ground = seen("gauge lies", None, 9.5, packs=gauges(60, 72))
    assert (on_the_ground.began_s, on_the_ground.passed_s) == (0.0, None)
    floor = seen("gauge lies", None, 20.0, packs=gauges(60, 72))
    assert floor.passed_s is not None
    assert 9.5 < floor.passed_s < 12.0


def test_a_gauge_less_than_10_pct_too_high_is_not_seen() -> None:
    assert seen("gauge lies", None, 60.0, packs=gauges(60, 69)).passed_s is None
    assert seen("gauge lies", None, 60.0, packs=gauges(60, 40)).passed_s is None


def test_a_weak_cell_is_seen_under_load() -> None:
    """0.15 V under the others at some 35 A for each pack are 4.3 mohm; for 5 s."""
    assert seen("weak cell", None, 9.0, packs=weak(8)).passed_s is None
    floor = seen("weak cell", None, 30.0, packs=weak(8))
    assert floor.passed_s is not None
    assert floor.passed_s > 14.0
    assert seen("weak cell", None, 60.0, packs=weak(2)).passed_s is None


@pytest.mark.parametrize(("health", "is_seen"), [(0.6, True), (0.82, True), (0.9, False), (0.97, False)])
def test_a_weak_motor_is_seen_by_how_fast_its_rotor_turns(health: float, is_seen: bool) -> None:
    """Thrust goes by the square of the speed, so it is 8 % faster at a health of 1 / 1.08^2 = 0.857."""
    floor = seen("motor weakens", {"weaken": {"rotor": 2, "health": health}}, 50.0)
    assert floor.began_s == pytest.approx(AT_S, abs=0.11)
    assert (floor.passed_s is not None) is is_seen
    if floor.passed_s is not None:
        assert AT_S + 1.0 <= floor.passed_s < AT_S + 3.0


def test_wind_is_seen_above_12_m_s_where_it_flies() -> None:
    """At 30 m the wind is ln(30/0.03) / ln(10/0.03) = 1.19 times that at 10 m."""
    rises = {"wind": {"speed_m_s": 14.0, "from_deg": 200.0, "after_s": 10.0}}
    floor = seen("wind rises", rises, 62.0)
    assert floor.passed_s is not None
    passes_s = AT_S + 10.0 * (12.0 / 1.19 - 3.0) / (14.0 - 3.0)
    assert floor.passed_s == pytest.approx(passes_s + 10.0, abs=0.8)
    slight = {"wind": {"speed_m_s": 9.5, "from_deg": 200.0, "after_s": 10.0}}
    assert seen("wind rises", slight, 75.0).passed_s is None


def test_a_loose_antenna_is_seen_by_the_margin() -> None:
    floor = seen("antenna comes loose", {"antenna_loss_db": 60.0}, 50.0)
    assert floor.passed_s is not None
    assert AT_S + 5.0 <= floor.passed_s < AT_S + 6.0
    assert seen("antenna comes loose", {"antenna_loss_db": 6.0}, 60.0).passed_s is None


def test_jamming_is_seen_by_the_satellites() -> None:
    floor = seen("satellites jammed", {"jam_db": 40.0}, 60.0)
    assert floor.passed_s is not None
    assert floor.passed_s >= AT_S
    assert floor.satellites_before > 10
    assert seen("satellites jammed", {"jam_db": 3.0}, 60.0).passed_s is None


def test_a_pulled_position_is_seen_once_it_is_20_m_off() -> None:
    pull = {"pull": {"north_m_s": 1.2, "east_m_s": -1.6}}
    assert seen("position pulled", pull, AT_S + 10.0).passed_s is None  # at 2 m/s, which eases in
    floor = seen("position pulled", pull, AT_S + 25.0)
    assert floor.passed_s is not None
    for at_s, is_off in ((floor.passed_s, True), (floor.passed_s - LOOK_S, False)):
        off_m = math.hypot(*seen("position pulled", pull, at_s).drill.flight.pilot.sensors.false_m[:2])
        assert (off_m >= 20.0) is is_off
        assert off_m == pytest.approx(20.0, abs=0.5)
    slow = {"pull": {"north_m_s": 0.3, "east_m_s": 0.4}}
    assert seen("position pulled", slow, 75.0).passed_s is None


def test_a_restart_is_seen_by_the_home_that_moved() -> None:
    assert seen("restart", {"restart": True}, 42.0).passed_s == pytest.approx(AT_S, abs=2 * LOOK_S + 0.01)
    near_home = seen("restart", {"restart": True}, 20.0, at_s=13.0)
    assert near_home.began_s == pytest.approx(13.0, abs=0.11)
    assert near_home.passed_s is None


def test_what_lapses_begins_to_last_anew() -> None:
    """Wind for 9 s, a lull, wind again: 10 s from there."""
    one = drawn("wind rises")
    drill = FlownDrill(FlownScenario(one.file, None, None), one.seed)
    floor, craft = Floor("wind rises", drill), drill.flight.craft
    floor.began_s, craft.on_ground, craft.wind_east_m_s = 0.0, False, 0.0
    for tenths in range(400):
        craft.time_s, craft.wind_north_m_s = tenths / 10, 11.0 if tenths == 90 else 13.0
        floor.look()
        if floor.passed_s is not None:
            break
    assert floor.passed_s == pytest.approx(9.1 + 10.0)


def test_once_passed_a_floor_stays() -> None:
    floor = seen("wind rises", {"wind": {"speed_m_s": 16.0, "from_deg": 200.0, "after_s": 1.0}}, 55.0)
    passed_s = floor.passed_s
    assert passed_s is not None
    floor.drill.flight.craft.wind_north_m_s = floor.drill.flight.craft.wind_east_m_s = 0.0
    floor.look()
    assert floor.passed_s == passed_s


def test_every_kind_has_a_floor_here() -> None:
    assert len(_FLOORS) == 10
