"""Which warnings are borne out by the truth of a flight, and which are false."""

from __future__ import annotations

import pytest

from simulators.campaign.borne_out import EARLY_S, LANDING_FLOOR_PCT, Moments, is_borne_out
from simulators.campaign.record import Flown
from simulators.campaign.watch import Life
from tests.simulators.campaign.campaigning import NEVER, flown

MOMENTS = Moments(400.0, 500.0)


def right(
    rule: str, at_s: float, truth: Flown | None = None, *, rules: tuple[str, ...] = (), when: Moments = MOMENTS
) -> bool:
    return is_borne_out(Life(rule, "warning", at_s), rules, truth or flown(), when)


def test_a_lost_link_is_right_while_nothing_arrives() -> None:
    """From some seconds of silence on until the first frame."""
    truth = flown(silences_s=[(100.0, 120.0)])
    assert [right("link-lost", at_s, truth) for at_s in (99.0, 101.0, 102.5, 119.0, 120.5, 122.0)] == [
        False, False, True, True, True, False,
    ]  # fmt: skip


def test_a_fault_of_the_link_excuses_no_lost_link_that_is_heard() -> None:
    truth = flown(fault_began_s=50.0)
    assert not right("link-lost", 80.0, truth, rules=("link-lost", "link-trend"))


def test_turn_back_now_is_right_from_somewhat_before_the_last_good_moment_on() -> None:
    times = (400.0 - EARLY_S - 1, 400.0 - EARLY_S, 400.0, 480.0)
    assert [right("return-now", at_s) for at_s in times] == [False, True, True, True]


def test_a_long_flight_grants_fifteen_in_a_hundred_of_its_way_to_the_last_good_moment() -> None:
    """From take-off at 10 s to 1010 s: 150 s before."""
    when = Moments(1010.0, 1100.0)
    assert [right("return-now", at_s, when=when) for at_s in (859.0, 861.0)] == [False, True]


def test_what_the_aircraft_says_itself_is_right_by_what_it_is_about() -> None:
    """Its battery from when the reserve is used up, its texts from a fault on, overdue while it is not heard."""
    assert [right("battery-says-critical", at_s) for at_s in (399.0, 401.0)] == [False, True]
    assert [right("aircraft-warns", at_s, flown(fault_began_s=100.0)) for at_s in (99.0, 101.0)] == [False, True]
    assert not right("aircraft-warns", 300.0)
    unheard = flown(silences_s=[(100.0, 120.0)])
    assert [right("return-overdue", at_s, unheard) for at_s in (99.0, 110.0, 125.0)] == [False, True, False]


def test_it_is_right_at_once_when_there_never_was_a_good_moment() -> None:
    assert right("return-now", 15.0, when=NEVER)
    assert right("home-unreachable", 15.0, when=NEVER)


def test_rising_wind_excuses_no_return_called_far_too_early() -> None:
    truth = flown(fault_began_s=100.0)
    assert not right("return-now", 120.0, truth, rules=("wind-high", "return-now", "home-unreachable"))
    assert not right("home-unreachable", 120.0, truth, rules=("wind-high", "return-now", "home-unreachable"))


def test_home_is_out_of_reach_by_the_last_moment_to_land_at_all() -> None:
    """Being past the last good moment, with a reserve of 20 %, is not enough."""
    times = (400.0, 500.0 - EARLY_S - 1, 500.0 - EARLY_S, 520.0)
    assert [right("home-unreachable", at_s) for at_s in times] == [False, False, True, True]


@pytest.mark.parametrize(
    ("landing_pct", "landed", "expected"),
    [(15.0, True, False), (9.6, True, False), (9.4, True, True), (0.0, False, True)],
)
def test_on_the_way_home_the_landing_decides(landing_pct: float, landed: bool, expected: bool) -> None:
    """With the margin of 90 s: at 0.05 % a second 4.5 % over the floor of 5 %."""
    assert LANDING_FLOOR_PCT == 5.0
    truth = flown(
        turned_back_s=510.0,
        charge_pct=[100.0 - 0.05 * s for s in range(612)],
        landed=landed,
        crashed=not landed,
        landing_charge_pct=landing_pct,
    )
    assert right("home-unreachable", 550.0, truth) is expected


def test_a_warning_that_calls_the_fault_is_right_from_when_it_began() -> None:
    truth = flown(fault_began_s=100.0)
    assert [right("pack-open", at_s, truth, rules=("pack-open",)) for at_s in (99.0, 100.0, 300.0)] == [
        False, True, True,
    ]  # fmt: skip
    assert not right("pack-open", 100.0, truth, rules=("motor-balance",))
    assert not right("pack-open", 100.0, flown(), rules=("pack-open",))  # it never came to be


def test_a_lost_position_is_right_shortly_after_there_was_none() -> None:
    truth = flown(no_fix_s=[200.0, 201.0])
    assert [right("position-lost", at_s, truth) for at_s in (199.0, 200.0, 216.0, 217.0)] == [
        False, True, True, False,
    ]  # fmt: skip
    assert right("position-lost", 300.0, flown(fault_began_s=250.0), rules=("position-lost",))


def test_a_fall_is_right_where_it_falls() -> None:
    fell = flown(landed=False, crashed=True)
    assert [right(rule, 605.0, fell) for rule in ("disarmed-in-air", "falling")] == [True, True]
    assert not right("falling", 300.0, fell)
    assert not right("falling", 605.0)


def test_anything_else_is_false() -> None:
    assert not right("restarted-in-flight", 300.0)
    assert not right("something-new", 300.0)
