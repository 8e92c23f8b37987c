"""A campaign's figures, from flights judged by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from simulators.campaign.crews import THUMBS
from simulators.campaign.figures import figures
from simulators.campaign.judge import AtLevel, Forecast, Judged
from simulators.campaign.watch import Life
from tests.simulators.campaign.campaigning import FULL, LEAST, MEASURED, judged, outcome, shipped


def of(*flights: Judged) -> dict[str, Any]:
    return figures(flights, shipped(), 3)


def full(*flights: Judged) -> dict[str, Any]:
    found: dict[str, Any] = of(*flights)["levels"][FULL]
    return found


def opened(number: int, called_s: float | None, *, stood: bool = False, **truth: Any) -> Judged:
    """Return a flight in which a pack opens at 100 s, seen from 102 s, to be called within 15 s."""
    usual = {"fault_began_s": 100.0, "floor_passed_s": 102.0}
    return judged(number, "pack opens", AtLevel(called_s=called_s, stood=stood), **{**usual, **truth})


def test_flights_and_hours_in_the_air_are_counted() -> None:
    """An hour is flown from take-off to landing: here 600 s and 1200 s."""
    found = of(judged(0), judged(1, end_s=1210.0))
    assert (found["flights"], found["seed"], found["hours"]) == (2, 3, 0.5)
    assert list(found["levels"]) == [FULL, MEASURED, LEAST]
    assert list(found["fixed_rules"]) == list(THUMBS)


def test_what_tells_nothing_of_the_reserve_is_told_by_its_reason() -> None:
    out = [judged(i, left_out=why) for i, why in enumerate(("no telemetry", "nobody could know", "no telemetry"))]
    assert of(judged(3), *out)["left_out"] == {"no telemetry": 2, "nobody could know": 1}
    assert of(judged(3))["left_out"] == {}


def test_faults_are_called_late_or_missed() -> None:
    flights = [
        opened(0, 101.0),  # before it could be seen: in time
        opened(1, 117.0),  # at the last moment
        opened(2, 117.1),
        opened(3, 300.0),
        opened(4, None),
        opened(5, None, floor_passed_s=None),  # too small to be seen
        opened(6, 105.0, floor_passed_s=None),
        opened(7, None, fault_began_s=None, floor_passed_s=None),  # never happened
        judged(8, "motor weakens", fault_began_s=50.0),
        judged(9),
    ]
    faults = full(*flights)["faults"]
    assert set(faults) == {"pack opens", "motor weakens"}
    found = faults["pack opens"]
    assert (found["injected"], found["detectable"]) == (7, 5)
    assert (found["called"]["count"], found["called"]["of"]) == (2, 5)
    assert (found["late"], found["missed"], found["stood"], found["cut_short"]) == (2, 1, 0, 0)
    assert faults["motor weakens"]["injected"] == 1
    assert faults["motor weakens"]["called"]["of"] == 0


def test_leads_are_against_the_latest_time_allowed() -> None:
    found = full(opened(0, 101.0), opened(1, 111.0), opened(2, 121.0), opened(3, None))["faults"]["pack opens"]
    assert found["lead_s"]["of"] == 3
    assert found["lead_s"]["mean"] == pytest.approx((16 + 6 - 4) / 3, abs=1e-3)
    assert (found["lead_s"]["p5"], found["lead_s"]["p95"]) == (-4.0, 16.0)


def test_an_alert_that_stood_already_counts_neither_way() -> None:
    """Unless another one calls the fault in time."""
    flights = [
        opened(0, None, stood=True),
        opened(1, 400.0, stood=True),
        opened(2, 110.0, stood=True),
        opened(3, None),
    ]
    found = full(*flights)["faults"]["pack opens"]
    assert (found["detectable"], found["stood"], found["late"], found["missed"]) == (4, 2, 0, 1)
    assert (found["called"]["count"], found["called"]["of"]) == (1, 2)
    assert found["lead_s"]["of"] == 1


def test_a_flight_that_lands_before_time_is_up_counts_neither_way() -> None:
    """One that falls does: what the watch had to say, it had to say before."""
    flights = [
        opened(0, None, end_s=116.0),
        opened(1, None, end_s=117.0),
        opened(2, None, end_s=116.0, landed=False, crashed=True),
        opened(3, 103.0, end_s=116.0),
    ]
    found = full(*flights)["faults"]["pack opens"]
    assert (found["cut_short"], found["missed"]) == (1, 2)
    assert (found["called"]["count"], found["called"]["of"]) == (1, 3)


def test_false_warnings_are_counted_by_rule_and_hour() -> None:
    first = AtLevel(false_warnings=[("link-lost", 20.0), ("return-now", 30.0)])
    found = full(judged(0, full=first), judged(1, full=AtLevel(false_warnings=[("link-lost", 9.0)])))
    wrong = found["false_warnings"]
    assert (wrong["count"], wrong["by_rule"]) == (3, {"link-lost": 2, "return-now": 1})
    assert wrong["per_hour"] == pytest.approx(3 / (1200 / 3600), abs=1e-3)
    assert of(judged(0, full=first))["levels"][LEAST]["false_warnings"]["count"] == 0


def test_alerts_and_chatter_add_up() -> None:
    found = full(judged(0, full=AtLevel(alerts=5, chatter=1)), judged(1, full=AtLevel(alerts=1, chatter=2)))
    assert found["alerts_per_10_min"]["count"] == 6
    assert found["alerts_per_10_min"]["per_10_min"] == pytest.approx(3.0, abs=1e-3)  # 1200 s in the air
    assert found["chatter"] == 3


def test_what_was_told_is_counted_by_level_and_rule() -> None:
    lives = (
        Life("link-trend", "caution", 20.0),
        Life("link-trend", "caution", 90.0),
        Life("link-lost", "warning", 9.0),
    )
    found = full(judged(0, full=AtLevel(lives=lives)), judged(1, full=AtLevel(lives=lives[:1])))["told_by_rule"]
    assert {level: {rule: one["count"] for rule, one in rules.items()} for level, rules in found.items()} == {
        "warning": {"link-lost": 1},
        "caution": {"link-trend": 3},
        "advisory": {},
    }
    assert found["caution"]["link-trend"]["per_10_min"] == pytest.approx(1.5, abs=1e-3)  # 1200 s in the air


def test_calm_flights_count_until_the_return_is_due_and_those_with_a_fault_not_at_all() -> None:
    """Airborne from 10 s or so, last good at 1010 s: what is told from 240 s before is another matter."""
    lives = tuple(Life("link-trend", "caution", at_s) for at_s in (5.0, 100.0, 700.0, 769.0, 771.0))
    calm = judged(0, full=AtLevel(lives=lives), last_good_s=1010.0, took_off_s=10.0, end_s=1200.0)
    faulty = judged(1, "pack opens", AtLevel(lives=lives), last_good_s=1010.0)
    found = full(calm, faulty)["calm"]
    assert (found["count"], found["hours"], found["by_rule"]) == (
        3,
        pytest.approx(760 / 3600, abs=1e-3),
        {"link-trend": 3},
    )
    assert found["per_10_min"] == pytest.approx(3 / 76 * 60, abs=1e-3)


def test_crews_are_counted_by_how_they_end() -> None:
    ends = [
        outcome(25.0),
        outcome(20.0),
        outcome(19.9),
        outcome(0.0, fell=True),
        outcome(0.0, None, fell=True),
    ]
    flights = [judged(i, full=AtLevel(quick=end)) for i, end in enumerate(ends)]
    left_out = judged(9, full=AtLevel(quick=outcome(0.0, None, fell=True)), left_out="no telemetry")
    crew = full(*flights, left_out)["crews"]["10 s"]
    assert crew["flights"] == 5
    assert (crew["turned_back"]["count"], crew["turned_back"]["of"]) == (4, 5)
    assert (crew["landed_with_reserve"]["count"], crew["landed_with_reserve"]["of"]) == (2, 5)
    assert (crew["ran_out"]["count"], crew["ran_out"]["of"]) == (2, 5)


def test_one_still_in_the_air_has_not_run_out() -> None:
    aloft = outcome(70.0, None)
    aloft = type(aloft)(
        landed=False, fell=False, charge_pct=70.0, end_s=5400.0, took_off_s=10.0, turned_back_s=None
    )
    crew = full(judged(0, full=AtLevel(quick=aloft)))["crews"]["10 s"]
    assert (crew["ran_out"]["count"], crew["landed_with_reserve"]["count"]) == (0, 0)


def test_the_two_crews_are_kept_apart() -> None:
    found = full(judged(0, full=AtLevel(quick=outcome(21.0), drawn_reaction=outcome(19.0))))["crews"]
    assert found["10 s"]["landed_with_reserve"]["count"] == 1
    assert found["5 to 45 s"]["landed_with_reserve"]["count"] == 0


@pytest.mark.parametrize(("turned_s", "used"), [(210.0, 0.5), (410.0, 1.0), (450.0, 1.1), (5000.0, 1.5)])
def test_range_used_is_by_what_an_all_knowing_crew_could_have_flown(turned_s: float, used: float) -> None:
    """It could have flown from 10 s to 410 s."""
    crew = full(judged(0, full=AtLevel(quick=outcome(20.0, turned_s))))["crews"]["10 s"]
    assert crew["range_used"]["mean"] == pytest.approx(used, abs=1e-3)


def test_range_is_used_by_those_only_who_turn_back() -> None:
    told, untold = AtLevel(quick=outcome(20.0, 210.0)), AtLevel(quick=outcome(0.0, None, fell=True))
    crew = full(judged(0, full=told), judged(1, full=untold))["crews"]["10 s"]
    assert (crew["range_used"]["of"], crew["range_used"]["mean"]) == (1, 0.5)


def test_the_lowest_cell_on_the_way_home_is_told_of_those_that_turn_back() -> None:
    low, high = (replace(outcome(20.0, 210.0), lowest_cell_v=volts) for volts in (3.2, 3.4))
    untold = AtLevel(quick=outcome(0.0, None, fell=True))
    flights = [judged(i, full=AtLevel(quick=one)) for i, one in enumerate((low, high))]
    found = full(*flights, judged(2, full=untold))["crews"]["10 s"]["lowest_cell_v"]
    assert (found["of"], found["mean"], found["p5"], found["p95"]) == (2, 3.3, 3.2, 3.4)


def test_fixed_rules_are_flown_by_the_same_flights() -> None:
    raw = {THUMBS[0]: outcome(22.0), THUMBS[1]: outcome(12.0)}
    found = of(judged(0, thumbs=raw), judged(1, thumbs=raw, left_out="no telemetry"))["fixed_rules"]
    assert found[THUMBS[0]]["landed_with_reserve"]["count"] == 1
    assert found[THUMBS[0]]["flights"] == 1
    assert found[THUMBS[1]]["landed_with_reserve"]["count"] == 0
    assert found[THUMBS[2]]["flights"] == 0
    assert all(rule["reaction_s"] == 10 for rule in found.values())


def test_errors_of_the_charge_count_by_flight() -> None:
    flights = [
        judged(i, full=AtLevel(charge_errors_pct=errors)) for i, errors in enumerate(([1.0] * 99, [3.0], []))
    ]
    error = full(*flights)["charge_error_pct"]
    assert (error["of"], error["mean"], error["median"], error["p95"]) == (2, 2.0, 1.0, 1.0)


def test_bounds_are_counted_where_there_was_one() -> None:
    """Of three forecasts one promised 21 % and landed with 20."""
    told = (Forecast(25.0, 19.0, 20.0), Forecast(22.0, 21.0, 20.0), None, Forecast(18.0, 12.0, 20.0))
    found = full(*(judged(i, full=AtLevel(at_caution=one)) for i, one in enumerate(told)))
    bound = found["at_caution"]["bound_held"]
    assert (bound["count"], bound["of"]) == (2, 3)
    assert found["at_caution"]["error_pct"] == {"median": 2.0, "median_ci": None, "mean_signed": 1.67}
    assert found["at_last_good"]["bound_held"]["of"] == 0


def test_no_flight_at_all_is_no_division_by_zero() -> None:
    found = full(judged(0, end_s=10.0))
    assert found["alerts_per_10_min"]["per_10_min"] is None
    assert found["false_warnings"]["per_hour"] is None


def test_figures_are_plain_json() -> None:
    flights = [
        opened(0, 101.0),
        judged(
            1, full=AtLevel(quick=outcome(), drawn_reaction=outcome(), at_last_good=Forecast(25.0, 19.0, 20.0))
        ),
    ]
    found = of(*flights)
    assert json.loads(json.dumps(found, allow_nan=False)) == found
