"""The plan of a return: settings over file over defaults, each value by itself, and how high it flies."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from simulators.onboard.modes import Mode
from tests.aircraft.feeder import GENERIC
from tests.simulators.onboard.flying import airborne, away, height, setup, speed, until
from watchkeeper.aircraft.files import AircraftFile, load_aircraft_file
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import Setting, Settings, Status
from watchkeeper.estimate.home import returnplan
from watchkeeper.estimate.home.ownsettings import is_multirotor
from watchkeeper.estimate.home.returnplan import ReturnPlan, of_file, of_settings

FILE = load_aircraft_file(
    """\
limits: {airspeed: 16 m/s, tilt: 30 deg, descent: 2 m/s}
return: {height: 35 m, speed: 6 m/s, order: [climb, cruise, hold, land], hold: 20 s at 12 m, landing: 0.7 m/s}
""",
    "a.yaml",
)
NOTHING = read_settings(GENERIC, None, {})


def _settings(values: dict[str, Any]) -> dict[str, Any]:
    return {name: Setting(v, "", ("x",), Status.UNDERSTOOD) for name, v in values.items()}


def told(**values: Any) -> Settings:
    """Return settings of which only these are understood."""
    return replace(NOTHING, **_settings(values))


def test_a_bare_file_gives_the_defaults_on_the_costly_side() -> None:
    """Common practice: high, slow, with a hold; a landing of 0.5 m/s from 10 m."""
    plan = of_file(AircraftFile())
    assert plan == ReturnPlan()
    assert (plan.height_m, plan.speed_m_s, plan.hold_s) == (40.0, 5.0, 10.0)
    assert (plan.landing_m_s, plan.landing_from_m, plan.climb_m_s) == (0.5, 10.0, 2.0)
    assert plan.lands


def test_the_file_goes_over_the_defaults() -> None:
    plan = of_file(FILE)
    assert (plan.height_m, plan.speed_m_s, plan.hold_s, plan.hold_m) == (35.0, 6.0, 20.0, 12.0)
    assert plan.order == ("climb", "cruise", "hold", "land")
    assert plan.landing_m_s == 0.7
    assert plan.tilt_deg == 30.0
    # a limit of descent is no wish to use it: not faster than the default
    assert plan.descent_m_s == returnplan.DEFAULT_DESCENT_M_S


def test_settings_go_over_the_file_each_by_itself() -> None:
    plan = of_settings(told(return_speed_m_s=9.0), of_file(FILE))
    assert (plan.speed_m_s, plan.height_m, plan.hold_s) == (9.0, 35.0, 20.0)
    assert of_settings(NOTHING, of_file(FILE)) == of_file(FILE)


@pytest.mark.parametrize(
    ("field", "setting", "value"),
    [
        ("height_m", "return_height_m", 22.0),
        ("least_climb_m", "return_climb_m", 5.0),
        ("cone", "return_cone_slope", 3.0),
        ("cone_climb_m", "return_cone_climb_m", 2.0),
        ("cone_within_m", "return_cone_within_m", 50.0),
        ("near_m", "return_near_m", 15.0),
        ("near_height_m", "return_near_height_m", 9.0),
        ("speed_m_s", "return_speed_m_s", 7.5),
        ("hold_s", "return_hold_s", 45.0),
        ("hold_m", "return_hold_height_m", 10.0),
        ("climb_m_s", "climb_m_s", 3.0),
        ("descent_m_s", "descent_m_s", 1.1),
        ("landing_fast_m_s", "landing_high_m_s", 1.4),
        ("landing_m_s", "landing_low_m_s", 0.6),
        ("landing_from_m", "landing_change_m", 7.0),
        ("landing_ramp_m", "landing_ramp_m", 14.0),
        ("acceleration_m_s2", "acceleration_m_s2", 2.5),
        ("tilt_deg", "tilt_deg", 28.0),
    ],
)
def test_every_number_goes_where_it_belongs(field: str, setting: str, value: float) -> None:
    changed: dict[str, Any] = {field: value}
    plan = of_settings(told(**{setting: value}), ReturnPlan())
    assert plan == ReturnPlan()._replace(**changed)


def test_words_for_numbers() -> None:
    assert of_settings(told(return_height_m="present"), of_file(FILE)).height_m is None
    assert of_settings(told(return_hold_s="endless"), ReturnPlan()).hold_s == math.inf
    assert not of_settings(told(return_hold_s="endless"), ReturnPlan()).lands
    assert of_settings(told(return_turn="under_way"), ReturnPlan()).turn_s == 0.0
    assert of_settings(told(return_cone_slope="off"), ReturnPlan(cone=3.0)).cone == 0.0
    assert of_settings(told(return_cone_within_m="off"), ReturnPlan(cone=3.0)).cone == 0.0
    assert of_settings(told(return_near_m="off"), ReturnPlan(near_m=9.0)).near_m == 0.0
    assert not of_settings(told(return_order=("climb", "cruise", "hold")), ReturnPlan()).lands


@pytest.mark.parametrize(
    ("plan", "height_m", "distance_m", "top_m"),
    [
        (ReturnPlan(height_m=40.0), 20.0, 300.0, 40.0),
        (ReturnPlan(height_m=40.0), 55.0, 300.0, 55.0),  # it never comes down for the way home
        (ReturnPlan(height_m=None), 17.0, 300.0, 17.0),
        (ReturnPlan(height_m=40.0, near_m=30.0, near_height_m=8.0), 5.0, 29.0, 8.0),
        (ReturnPlan(height_m=40.0, near_m=30.0, near_height_m=8.0), 5.0, 31.0, 40.0),
        (ReturnPlan(height_m=40.0, near_m=30.0, near_height_m=8.0), 25.0, 10.0, 25.0),
        # a cone of slope 3: 12 m at 4 m, 40 m from 13.3 m on
        (ReturnPlan(height_m=40.0, cone=3.0), 5.0, 4.0, 12.0),
        (ReturnPlan(height_m=40.0, cone=3.0), 5.0, 20.0, 40.0),
        (ReturnPlan(height_m=40.0, cone=3.0, cone_climb_m=2.5), 20.0, 4.0, 22.5),
        (ReturnPlan(height_m=40.0, cone=1.0, cone_within_m=20.0), 5.0, 25.0, 40.0),
        (ReturnPlan(height_m=40.0, least_climb_m=5.0), 60.0, 300.0, 65.0),
        (ReturnPlan(height_m=40.0, least_climb_m=5.0), 38.0, 300.0, 43.0),
    ],
)
def test_how_high_it_flies(plan: ReturnPlan, height_m: float, distance_m: float, top_m: float) -> None:
    assert plan.top_m(height_m, distance_m) == pytest.approx(top_m)


@pytest.mark.parametrize("place", [(90.0, 20.0), (30.0, 12.0), (60.0, 55.0), (8.0, 15.0)])
@pytest.mark.parametrize("changed", [{}, {"return.near_m": 40.0, "return.low_m": 24.0}, {"return.height_m": 28.0}])
def test_how_high_the_simulated_aircraft_then_flies(changed: dict[str, float], place: tuple[float, float]) -> None:
    far_m, height_m = place
    flight = airborne(setup(changed), height_m)
    plan = of_settings(
        read_settings(GENERIC, None, {name: flight.parameters[name] for name in flight.parameters}), ReturnPlan()
    )
    flight.pilot.go_to((far_m, 0.0, height_m))
    until(flight, lambda: abs(away(flight) - far_m) < 0.5 and speed(flight) < 0.1, 120.0)
    foretold_m = plan.top_m(height(flight), away(flight))
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    highest_m = 0.0
    for _ in range(300):
        flight.step()
        highest_m = max(highest_m, height(flight))
    assert highest_m == pytest.approx(foretold_m, abs=0.8)


@pytest.mark.parametrize(
    ("kind", "vehicle", "expected"),
    [
        (None, 2, True),  # MAV_TYPE_QUADROTOR
        (None, 1, False),  # fixed wing
        (None, 4, False),  # helicopter
        (None, 10, False),  # ground rover
        (None, 0, True),  # generic: says nothing
        ("multirotor", 1, True),  # the crew knows its aircraft
        ("fixed_wing", 2, False),
    ],
)
def test_what_is_a_multirotor(kind: str | None, vehicle: int, expected: bool) -> None:
    file = (
        load_aircraft_file(f"kind: {kind}", "a.yaml") if kind is not None else load_aircraft_file("{}", "a.yaml")
    )
    assert is_multirotor(vehicle, file) is expected
