"""Settings against what was then flown: a real return, and returns of the simulated aircraft."""

from __future__ import annotations

import math
from statistics import median
from typing import NamedTuple

import pytest

from simulators.flown.flight import FastFlight
from simulators.onboard.modes import Mode
from tests.aircraft.feeder import GENERIC
from tests.conftest import RequireData
from tests.recordings import records
from tests.simulators.onboard.flying import airborne, away, height, setup, speed, until
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import Settings, Status
from watchkeeper.link.framing import Framer


class Moment(NamedTuple):
    """A moment of a return: s, m from where it ends, m above home, m/s over ground, m/s upwards."""

    at_s: float
    away_m: float
    height_m: float
    speed_m_s: float
    climb_m_s: float


def recorded(require_data: RequireData) -> tuple[Settings, list[Moment]]:
    """Return the settings of the real aircraft, heard through the fleet, and its flight."""
    fleet, framer = Fleet(), Framer()
    places: list[tuple[float, tuple[float, float], float, float, float]] = []
    found = records(require_data("flights/quad-return-61m.tlog"))
    for time_us, raw in found:
        for frame in framer.feed(raw):
            touched = fleet.receive("recording", frame, time_us)
            if touched and frame[3] == 33 and touched[0].position is not None:
                values = touched[0].readings.values
                told = [values[INDEX[f"position.{name}"]] for name in ("height", "ground_speed", "climb_rate")]
                places.append(((time_us - found[0][0]) / 1e6, touched[0].position, *told))
    aircraft = fleet.aircraft[1]
    parameters = aircraft.parameters
    settings = read_settings(
        aircraft.autopilot,
        parameters.version,
        parameters.values,
        vehicle=aircraft.vehicle,
        complete=parameters.complete,
    )
    end = Around(*places[-1][1])
    flown = [Moment(at_s, end.to(*place)[0], *told) for at_s, place, *told in places]
    return settings, flown


def test_a_real_aircraft_flew_home_as_its_parameters_say(require_data: RequireData) -> None:
    settings, flown = recorded(require_data)
    assert settings.return_height_m.number == 15.0
    assert "RTL_ALT" in settings.return_height_m.names
    assert settings.return_speed_m_s.number == 5.0
    assert settings.return_speed_m_s.names == ("RTL_SPEED", "WPNAV_SPEED")
    assert settings.return_order.words == ("climb", "cruise", "hold", "land")
    assert settings.return_lands is True
    numbers = (
        settings.return_hold_s,
        settings.landing_high_m_s,
        settings.landing_low_m_s,
        settings.landing_change_m,
    )
    hold_s, high_m_s, low_m_s, change_m = (one.number for one in numbers)
    assert (hold_s, high_m_s, low_m_s, change_m) == (5.0, 1.5, 0.5, 10.0)

    cruise = [one for one in flown if 10.0 < one.away_m < 45.0]
    assert median(one.height_m for one in cruise) == pytest.approx(15.0, abs=0.3)
    assert max(one.speed_m_s for one in cruise) == pytest.approx(5.0, abs=0.3)
    assert max(one.climb_m_s for one in flown) <= (settings.climb_m_s.number or 0) + 0.3
    # over home it holds from when it has stopped to when it sinks
    over = [one for one in flown if one.away_m < 1.5 and one.height_m > 14.0]
    over = [one for one in over if one.speed_m_s < 0.5 and one.climb_m_s > -0.5]
    assert over[-1].at_s - over[0].at_s == pytest.approx(hold_s, abs=1.0)
    falling = [one for one in flown if one.at_s > over[-1].at_s + 1.0]
    high = [one.climb_m_s for one in falling if 11.0 < one.height_m < 13.0]
    low = [one.climb_m_s for one in falling if 2.0 < one.height_m < 9.0]
    assert median(high) == pytest.approx(-1.5, abs=0.2)
    assert median(low) == pytest.approx(-0.5, abs=0.1)
    slowed = next(one.height_m for one in falling if one.climb_m_s > -0.8 and one.height_m < 12.0)
    assert slowed == pytest.approx(10.0, abs=0.6)
    assert flown[-1].height_m < 1.5


def test_what_of_the_real_aircraft_is_not_told_is_not_made_up(require_data: RequireData) -> None:
    settings, _ = recorded(require_data)
    assert settings.low_battery is not None
    assert [(stage.threshold.value, stage.action.word) for stage in settings.low_battery] == [
        (10.5, "report"),
        ("off", "report"),
    ]
    # its firmware has no parameter for these
    assert settings.control_lost_s.status is settings.position_lost_s.status is Status.NOT_UNDERSTOOD
    assert settings.fence_radius_m.word == "off"


CASES: tuple[tuple[dict[str, float], tuple[float, float]], ...] = (
    ({}, (90.0, 20.0)),
    (
        {"return.height_m": 28.0, "return.speed_m_s": 5.0, "return.hold_m": 12.0, "return.hold_s": 21.0},
        (80.0, 20.0),
    ),
    ({"return.order": 136.0, "land.fast_m_s": 2.5, "land.slow_m_s": 0.5, "land.slow_m": 12.0}, (70.0, 25.0)),
    ({"return.near_m": 40.0, "return.low_m": 24.0}, (30.0, 20.0)),
    ({"return.order": 13.0, "return.height_m": 33.0}, (60.0, 20.0)),
    ({"return.hold_s": -1.0, "return.hold_m": 15.0}, (60.0, 20.0)),
)


def flown_home(flight: FastFlight, far_m: float, height_m: float) -> list[Moment]:
    """Fly out, order the return, and return what is flown until it lands, or for four minutes."""
    flight.pilot.go_to((far_m, 0.0, height_m))
    until(flight, lambda: abs(flight.craft.north_m - far_m) < 0.5 and speed(flight) < 0.1, 120.0)
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    begun_s = flight.time_s
    moments = []
    while flight.pilot.armed and flight.time_s - begun_s < 240.0:
        flight.step()
        moments.append(Moment(flight.time_s, away(flight), height(flight), speed(flight), flight.craft.climb_m_s))
    return moments


@pytest.mark.parametrize(("changed", "place"), CASES)
def test_the_simulated_aircraft_flies_home_as_its_settings_say(
    changed: dict[str, float], place: tuple[float, float]
) -> None:
    flight = airborne(setup(changed), place[1])
    values = {name: flight.parameters[name] for name in flight.parameters}
    settings = read_settings(GENERIC, None, values)
    flown = flown_home(flight, *place)

    near = place[0] < (settings.return_near_m.number or 0.0)
    least_m = (settings.return_near_height_m if near else settings.return_height_m).number
    assert least_m is not None
    assert max(one.height_m for one in flown) == pytest.approx(max(place[1], least_m), abs=0.8)
    if place[0] > 50.0:
        assert max(one.speed_m_s for one in flown) == pytest.approx(settings.return_speed_m_s.number, abs=0.4)
    assert flight.pilot.armed is not settings.return_lands
    stays = {"hold": settings.return_hold_height_m, "cruise": settings.return_height_m}
    if not settings.return_lands:
        order = settings.return_order.words or ()
        last = "hold" if settings.return_hold_s.word == "endless" and "hold" in order else order[-1]
        assert flown[-1].height_m == pytest.approx(stays[last].number, abs=0.8)
        assert flown[-1].away_m < 1.5
        return
    low_m_s, high_m_s = settings.landing_low_m_s.number, settings.landing_high_m_s.number
    change_m = settings.landing_change_m.number or 0.0
    sinking = [one for one in flown if one.away_m < 5.0 and one.climb_m_s < -0.2]
    low = [-one.climb_m_s for one in sinking if 1.0 < one.height_m < change_m - 2.0]
    assert median(low) == pytest.approx(low_m_s, abs=0.1)
    order = settings.return_order.words or ()
    if "hold" in order:
        at_m = settings.return_hold_height_m.number or 0.0
        held = [one for one in flown if abs(one.height_m - at_m) < 0.75 and one.away_m < 2.0]
        held = [one for one in held if abs(one.climb_m_s) < 0.3]
        assert len(held) * flight.step_s == pytest.approx(settings.return_hold_s.number, abs=3.0)
    else:
        high = [-one.climb_m_s for one in sinking if one.height_m > change_m + 3.0]
        assert max(high) == pytest.approx(high_m_s, abs=0.2)
    assert math.isclose(flown[-1].height_m, settings.return_final_height_m.number or 0.0, abs_tol=0.3)
