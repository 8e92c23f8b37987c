"""Where it should be while it is not heard: by hand, and after which silence it returns by itself."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import Setting, Settings, Status
from watchkeeper.estimate.home.homeway import HomeWind, Start
from watchkeeper.estimate.home.lostlink import UNKNOWN_DELAY_S, LastSeen, delay_s, forecast
from watchkeeper.estimate.home.returnplan import ReturnPlan

PLAN = ReturnPlan(height_m=40.0, speed_m_s=8.0, hold_s=10.0, hold_m=8.0, acceleration_m_s2=2.0)
NO_SETTINGS = read_settings(0, None, {"return.order": 123456.0})


def seen(start: Start, *, returning: bool = True, plan: ReturnPlan = PLAN) -> LastSeen:
    return LastSeen(start, plan, HomeWind(), returning, 0)


def test_by_hand() -> None:
    """300 m out at 40 m: 3 s to turn, 300 / 8 + 4 s to fly: overhead after 44.5 s; 32 m at 1.5 m/s, 10 s, 16 s."""
    at_ten = forecast(seen(Start(300.0, 40.0)), None, True, 10.0)
    assert at_ten is not None
    assert at_ten.overhead_in_s == pytest.approx(34.5)
    assert at_ten.landed_in_s == pytest.approx(44.5 + 21.333 + 10.0 + 16.0 - 10.0, abs=0.01)
    # two deviations of 5 s and a tenth of the 44.5 s: 2 (25 + 19.8)^0.5 = 13.39 s
    assert at_ten.overdue_in_s == pytest.approx(34.5 + 13.39, abs=0.01)
    # 7 of the 41.5 s flown: 16.9 % of 300 m, and a deviation of 10 m and a tenth of the way
    assert at_ten.distance_m == pytest.approx(300.0 * (1 - 7.0 / 41.5))
    assert at_ten.doubt_m == pytest.approx(math.hypot(10.0, 30.0 * 7.0 / 41.5))
    assert at_ten.height_m == 40.0
    late = forecast(seen(Start(300.0, 40.0)), None, True, 200.0)
    assert late is not None
    assert (late.distance_m, late.height_m) == (0.0, 0.0)
    assert late.overdue_in_s is not None
    assert late.overdue_in_s < 0.0


def test_defaults_are_doubted_more_than_what_is_stated() -> None:
    stated, untold = (forecast(seen(Start(600.0, 40.0)), None, told, 30.0) for told in (True, False))
    assert stated is not None
    assert untold is not None
    assert untold.doubt_m > 2.0 * stated.doubt_m
    assert untold.overdue_in_s is not None
    assert stated.overdue_in_s is not None
    assert untold.overdue_in_s > stated.overdue_in_s + 20.0


def test_what_does_not_land_stays_up_and_is_not_said_to_land() -> None:
    endless = forecast(seen(Start(300.0, 40.0), plan=PLAN._replace(hold_s=math.inf)), None, True, 600.0)
    assert endless is not None
    assert endless.landed_in_s is None
    assert endless.height_m == 8.0
    assert endless.overdue_in_s is not None  # it should be overhead


def test_no_way_home_is_no_forecast() -> None:
    against = LastSeen(Start(300.0, 40.0), PLAN, HomeWind(20.0, 20.0), True, 0)
    assert forecast(against, None, True, 10.0) is None
    assert forecast(seen(Start(300.0, 40.0), returning=False), None, True, 10.0) is None


def test_in_a_strong_head_wind_it_may_come_late() -> None:
    """16 m/s against 14 leave 2 m/s; 6 % less lean leaves 1.04 m/s, and 600 m take 277 s longer."""
    plan = PLAN._replace(airspeed_m_s=16.0)
    start = Start(600.0, 40.0, outward_m_s=-2.0, done=frozenset({"climb", "turn"}))
    against = LastSeen(start, plan, HomeWind(14.0, 14.0), True, 0)
    found = forecast(against, None, True, 0.0)
    assert found is not None
    assert found.overhead_in_s == pytest.approx(300.0, abs=4.0)
    assert found.overdue_in_s is not None
    longer_s = 600.0 / 1.04 - 600.0 / 2.0
    late_s = math.hypot(2.0 * math.hypot(5.0, 0.1 * found.overhead_in_s), longer_s)
    assert found.overdue_in_s == pytest.approx(found.overhead_in_s + late_s, abs=4.0)
    under_way = forecast(against, None, True, 150.0)
    assert under_way is not None
    assert under_way.doubt_m > 0.4 * (2.0 - 1.04) * 150.0
    # where a little less lean leaves no way home, it is not overdue by any time
    stronger = forecast(against._replace(wind=HomeWind(15.0, 15.0)), None, True, 900.0)
    assert stronger is not None
    assert stronger.overdue_in_s is None
    assert stronger.doubt_m > 200.0


def setting(value: Any) -> Setting:
    return Setting(value, "", ("x",), Status.UNDERSTOOD if value is not None else Status.NOT_SEEN)


def lost(**changed: Any) -> Settings:
    made: dict[str, Any] = {name: setting(value) for name, value in changed.items()}
    return replace(NO_SETTINGS, **made)


RETURNS = {"control_lost_action": "return", "control_lost_s": 3.0}


@pytest.mark.parametrize(
    ("changed", "mode", "control_too", "expected_s"),
    [
        (RETURNS, "position_hold", True, 3.0),
        (RETURNS, "position_hold", False, None),
        ({"station_lost_action": "return", "station_lost_s": 10.0}, "position_hold", False, 10.0),
        ({**RETURNS, "control_lost_s": None}, "position_hold", True, UNKNOWN_DELAY_S),
        ({**RETURNS, "control_lost_s": "off"}, "position_hold", True, None),
        ({"control_lost_action": "hold", "control_lost_s": 1.0}, "position_hold", True, None),
        # in a plan it goes on with the plan
        ({**RETURNS, "control_lost_kept": ("mission",)}, "mission", True, None),
        ({**RETURNS, "control_lost_kept": ("mission",)}, "cruise", True, 3.0),
        (
            {"station_lost_action": "return", "station_lost_s": 3.0, "station_lost_kept": ("by_hand",)},
            "attitude",
            True,
            None,
        ),
        # it comes home first, and lands on the way when the station is missed for longer
        ({**RETURNS, "station_lost_action": "land", "station_lost_s": 20.0}, "position_hold", True, None),
        (
            {
                "control_lost_action": "hold",
                "control_lost_s": 1.0,
                "station_lost_action": "return",
                "station_lost_s": 20.0,
            },
            "position_hold",
            True,
            20.0,
        ),
    ],
)
def test_after_how_long_it_returns(
    changed: dict[str, Any], mode: str, control_too: bool, expected_s: float | None
) -> None:
    assert delay_s(lost(**changed), mode, control_too=control_too, stated=False) == expected_s


@pytest.mark.parametrize(
    ("stated", "control_too", "expected_s"), [(True, True, 5.0), (True, False, None), (False, True, None)]
)
def test_without_settings(stated: bool, control_too: bool, expected_s: float | None) -> None:
    assert delay_s(None, None, control_too=control_too, stated=stated) == expected_s
