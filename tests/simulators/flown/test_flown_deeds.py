"""Each deed of a flown scenario has its effect on the flight."""

from __future__ import annotations

import math
from typing import Any

import pytest

from simulators.flown.deeds import Do
from simulators.flown.scenario import FlownDrill
from simulators.onboard.modes import Landed, Mode
from simulators.radio.link import Radio
from tests.simulators.flown.drilling import drill, fly, hovering, mean_power_w, until
from tests.simulators.wire.plain_client import PlainClient


def do(one: FlownDrill, **deed: Any) -> None:
    Do(**deed).carry_out(one.flight, one.around)


def armed(one: FlownDrill) -> bool:
    return one.flight.pilot.armed


def currents(one: FlownDrill) -> list[float]:
    return [pack.current_a for pack in one.flight.bank.packs]


# --- the crew's deeds ----------------------------------------------------------------------------------------


def test_arming_and_disarming() -> None:
    one = drill()
    do(one, arm=True)
    fly(one, 2.0)
    assert armed(one)
    assert one.flight.bank.power_w > 100.0  # the motors turn
    do(one, disarm=True)
    fly(one, 2.0)
    assert not armed(one)
    assert one.flight.bank.power_w < 100.0


def test_disarming_does_nothing_in_the_air_but_stopping_the_motors_does() -> None:
    one = hovering()
    do(one, disarm=True)
    assert armed(one)
    do(one, stop_motors=True)
    assert not armed(one)
    fell_s = until(one, lambda: one.flight.craft.crashed, 10.0)
    # a fall with drag by the square of the speed: h = v^2/g ln cosh(g t/v), v the speed at which they balance
    frame = one.flight.craft.airframe
    steady_m_s = math.sqrt(frame.mass_kg * 9.81 / (0.5 * 1.225 * frame.tumbling_m2))
    height = 9.81 * 20.0 / steady_m_s**2
    assert fell_s == pytest.approx(steady_m_s / 9.81 * math.acosh(math.exp(height)), abs=0.1)


def test_going_to_a_place_counts_from_where_it_was_switched_on_and_above_home() -> None:
    one = hovering()
    one.flight.pilot.home = (10.0, 0.0, 3.0)
    do(one, go={"north_m": 40.0, "east_m": -30.0, "height_m": 25.0, "speed_m_s": 4.0})
    fastest = 0.0
    craft = one.flight.craft
    for _ in range(2000):
        one.step()
        fastest = max(fastest, math.hypot(craft.north_m_s, craft.east_m_s))
    assert (craft.north_m, craft.east_m) == pytest.approx((40.0, -30.0), abs=2.5)  # satellites are off by 1 m
    assert craft.height_m == pytest.approx(28.0, abs=1.0)
    assert fastest == pytest.approx(4.0, abs=0.3)


def test_home_set_anew_is_where_a_return_ends() -> None:
    one = hovering()
    do(one, go={"north_m": 60.0, "east_m": 20.0, "height_m": 20.0})
    fly(one, 25.0)
    do(one, set_home=True)
    do(one, go={"north_m": 0.0, "east_m": 0.0, "height_m": 20.0})
    fly(one, 20.0)
    do(one, mode="safe_recovery")
    until(one, lambda: not armed(one), 120.0)
    assert (one.flight.craft.north_m, one.flight.craft.east_m) == pytest.approx((60.0, 20.0), abs=3.0)


@pytest.mark.parametrize("name", ["altitude_hold", "safe_recovery", "land", "position_hold"])
def test_modes_are_entered(name: str) -> None:
    one = hovering()
    do(one, mode="altitude_hold" if name == "position_hold" else "position_hold")
    do(one, mode=name)
    assert one.flight.pilot.mode is Mode[name.upper()]


def test_a_plan_is_flown_from_place_to_place() -> None:
    plan = [{"at": [1.2505, -31.5], "height_m": 20, "stay_s": 5}, {"at": [1.2505, -31.4996], "height_m": 30}]
    one = drill(plan=plan, return_after_plan=True)
    do(one, start_plan=True)
    craft, nearest = one.flight.craft, [math.inf, math.inf]
    # metres by the ellipsoid at the equator: 110 574 m a degree of latitude, 111 320 m of longitude (WGS-84)
    places = [(0.0005 * 110_574, 0.0, 20.0), (0.0005 * 110_574, 0.0004 * 111_294, 30.0)]
    until(one, lambda: armed(one), 5.0)
    while armed(one):
        one.step()
        here = (craft.north_m, craft.east_m, craft.height_m)
        nearest = [min(best, math.dist(here, place)) for best, place in zip(nearest, places, strict=True)]
        assert not one.over
    assert max(nearest) < 3.0  # reached within 2 m and 1 m of height by satellites that are off by 1 m
    assert math.hypot(craft.north_m, craft.east_m) < 3.0
    assert one.flight.pilot.landed is Landed.GROUND


def test_a_parameter_counts_at_once() -> None:
    one = hovering()
    do(one, parameter=("return.height_m", 33.0))
    do(one, parameter=("return.near_m", 0.0))
    do(one, mode="safe_recovery")
    highest_m = 0.0
    while armed(one):
        one.step()
        highest_m = max(highest_m, one.flight.craft.height_m)
    assert highest_m == pytest.approx(33.0, abs=1.5)
    do(one, parameter=("return.height_m", 5000.0))  # out of bounds, as a client's would be
    assert one.flight.parameters["return.height_m"] == 33.0


# --- faults --------------------------------------------------------------------------------------------------


def blows(one: FlownDrill, height_m: float = 10.0) -> tuple[float, float]:
    """Return the mean wind's speed and from where it blows, degrees."""
    north, east, _ = one.flight.craft.wind.at(one.flight.time_s, height_m)
    return math.hypot(north, east), math.degrees(math.atan2(-east, -north)) % 360.0


def test_what_has_been_wrong_since_power_up_changes_nothing_when_it_begins_to_count() -> None:
    before, counted = hovering(), hovering()
    do(counted, there_already=True)
    assert fly(counted, 5.0) == fly(before, 5.0)


def test_wind_changes_in_its_time_and_pushes_from_where_it_comes() -> None:
    one = hovering(weather={"wind": [[0, 4, 350], [500, 4, 350]]})
    do(one, wind={"speed_m_s": 12.0, "from_deg": 90.0, "after_s": 10.0})
    assert blows(one) == pytest.approx((4.0, 350.0), abs=0.01)
    fly(one, 5.0)
    assert blows(one) == pytest.approx((8.0, 40.0), abs=0.2)  # the short way, over north
    fly(one, 5.0)
    assert blows(one) == pytest.approx((12.0, 90.0), abs=0.01)
    fly(one, 20.0)
    assert blows(one) == pytest.approx((12.0, 90.0), abs=0.01)
    craft = one.flight.craft
    assert craft.tilt_east > 0.05  # leans into the wind from the east
    assert abs(craft.tilt_north) < 0.3 * craft.tilt_east


def test_wind_that_changes_at_once() -> None:
    one = hovering()
    do(one, wind={"speed_m_s": 6.0, "from_deg": 180.0, "after_s": 0.0})
    fly(one, 0.2)
    assert blows(one) == pytest.approx((6.0, 180.0), abs=0.01)


def test_a_second_change_begins_from_the_first() -> None:
    one = hovering()
    do(one, wind={"speed_m_s": 10.0, "from_deg": 200.0, "after_s": 10.0})
    fly(one, 5.0)
    do(one, wind={"speed_m_s": 1.0, "from_deg": 200.0, "after_s": 4.0})
    assert blows(one) == pytest.approx((5.0, 200.0), abs=0.1)
    fly(one, 4.0)
    assert blows(one) == pytest.approx((1.0, 200.0), abs=0.01)


def test_draughts_go_on_through_a_change_of_wind() -> None:
    one = hovering(weather={"wind": [[0, 4, 350]], "draughts": [[0, 0], [50, 0], [60, 2]]})
    do(one, wind={"speed_m_s": 12.0, "from_deg": 90.0})
    fly(one, 25.0)
    assert one.flight.craft.wind.at(one.flight.time_s, 100.0)[2] == pytest.approx(2.0)


LAW = math.log(6.096 / 0.03) / math.log(10 / 0.03)
"""20 ft are 6.096 m; by the logarithmic law over 0.03 m of grass that has 0.915 of the wind at 10 m."""


@pytest.mark.parametrize(
    ("before_m_s", "after_m_s"),
    [(2.0 * LAW, 6.0 * LAW), (0.5 * LAW, 1.5 * LAW), (4.0 * LAW, 12.0 * LAW), (4.0 * LAW + 1, 12.0 * LAW + 1)],
)
def test_gusts_keep_their_share_of_the_wind_and_grow_in_its_time(before_m_s: float, after_m_s: float) -> None:
    """From 4 to 12 m/s: a share of the wind up to all of it; what was more than the wind stays beside it."""
    one = hovering(weather={"wind": [[0, 4, 350]], "gusts_m_s": before_m_s})
    gusts = one.flight.craft.gusts
    do(one, wind={"speed_m_s": 12.0, "from_deg": 350.0, "after_s": 20.0})
    assert gusts.w20_m_s == pytest.approx(before_m_s, abs=0.1)
    fly(one, 10.0)
    assert gusts.w20_m_s == pytest.approx(0.5 * (before_m_s + after_m_s), rel=0.03)
    fly(one, 11.0)
    assert gusts.w20_m_s == pytest.approx(after_m_s, rel=1e-3)
    do(one, wind={"speed_m_s": 4.0, "from_deg": 350.0, "after_s": 10.0})
    fly(one, 11.0)
    assert gusts.w20_m_s == pytest.approx(before_m_s, rel=1e-3)


def test_a_steady_wind_stays_steady_and_a_wind_at_once_brings_its_gusts_at_once() -> None:
    steady, gusty = (hovering(weather={"wind": [[0, 4, 350]], "gusts_m_s": gusts}) for gusts in (0, 2.0 * LAW))
    for one in (steady, gusty):
        do(one, wind={"speed_m_s": 12.0, "from_deg": 350.0, "after_s": 0.0})
        fly(one, 1.0)
    assert steady.flight.craft.gusts.w20_m_s == 0.0
    assert gusty.flight.craft.gusts.w20_m_s == pytest.approx(6.0 * LAW, rel=1e-3)


def test_gusts_shake_the_air_and_may_end() -> None:
    one = hovering(weather={"wind": [[0, 6, 270]]})
    craft = one.flight.craft

    def spread(seconds: float) -> float:
        felt = []
        for _ in range(round(seconds / one.flight.step_s)):
            one.step()
            felt.append(craft.wind_east_m_s)
        mean = sum(felt) / len(felt)
        return math.sqrt(sum((one - mean) ** 2 for one in felt) / len(felt))

    assert spread(20.0) < 0.05
    do(one, gusts_m_s=8.0)
    assert spread(60.0) > 0.3
    do(one, gusts_m_s=0.0)
    fly(one, 1.0)
    assert spread(20.0) < 0.05


def test_a_weak_rotor_costs_power_and_a_dead_one_more() -> None:
    whole = mean_power_w(hovering(), 10.0)
    weak = hovering()
    do(weak, weaken={"rotor": 4, "health": 0.7})
    assert weak.flight.craft.drive.healths == [1.0, 1.0, 1.0, 0.7, 1.0, 1.0]
    fly(weak, 5.0)
    dead = hovering()
    do(dead, weaken={"rotor": 1, "health": 0.0})
    fly(dead, 5.0)
    weak_w, dead_w = mean_power_w(weak, 10.0), mean_power_w(dead, 10.0)
    assert whole * 1.01 < weak_w < dead_w
    for one in (weak, dead):
        assert one.flight.craft.height_m == pytest.approx(20.0, abs=2.0)  # five of six carry it


def test_a_pack_let_go_leaves_the_other_to_carry_all_and_comes_back() -> None:
    one = hovering()
    before = currents(one)
    assert min(before) > 5.0
    do(one, open_pack=1)
    fly(one, 5.0)
    alone = currents(one)
    assert alone[0] == 0.0
    assert alone[1] > sum(before)  # the bus is lower, so the same power takes more
    do(one, close_pack=1)
    fly(one, 5.0)
    assert currents(one)[0] > currents(one)[1] > 0.0  # what was spared gives more


def test_the_last_pack_let_go_lets_it_fall() -> None:
    one = hovering()
    do(one, open_pack=1)
    do(one, open_pack=2)
    until(one, lambda: one.flight.craft.crashed, 10.0)


def test_a_load_picked_up_and_let_go_changes_the_power_as_its_mass_does() -> None:
    one = hovering()
    empty_w = mean_power_w(one, 10.0)
    do(one, pick_up={"mass_kg": 9.0, "drag_m2": 0.1})
    fly(one, 15.0)
    loaded_w = mean_power_w(one, 10.0)
    # induced power goes with the mass to 3/2 (momentum theory), the rest of it grows less
    mass_kg = one.flight.craft.airframe.mass_kg
    assert 1.2 < loaded_w / empty_w < ((mass_kg + 9.0) / mass_kg) ** 1.5 * 1.05
    do(one, release=True)
    fly(one, 15.0)
    assert one.flight.craft.load.mass_kg == 0.0
    assert mean_power_w(one, 10.0) == pytest.approx(empty_w, rel=0.03)


def test_a_load_on_a_line_stays_below() -> None:
    one = hovering()
    do(one, pick_up={"mass_kg": 5.0, "line_m": 10.0})
    fly(one, 5.0)
    assert one.flight.craft.load.line_m == 10.0
    assert one.flight.craft.sling.hangs
    do(one, release=True)
    fly(one, 1.0)
    assert not one.flight.craft.sling.hangs


@pytest.mark.parametrize("control", ["another", "same"])
def test_a_lost_control_link_sends_it_home_and_may_come_back(control: str) -> None:
    links = [{"kind": "network"}] if control == "another" else [{"kind": "radio"}]
    one = hovering(links=links, control=control)
    do(one, go={"north_m": 60.0, "east_m": 0.0, "height_m": 20.0})
    fly(one, 15.0)
    do(one, control_link=False)
    lost_s = until(one, lambda: one.flight.pilot.mode is Mode.SAFE_RECOVERY, 20.0)
    assert lost_s == pytest.approx(3.0, abs=0.3)  # control.lost_s
    assert not one.flight.pilot.control_link
    do(one, control_link=True)
    fly(one, 0.2)
    assert one.flight.pilot.control_link


@pytest.mark.parametrize("around", [{}, {"sky": {}}])
def test_a_lost_position_lets_it_drift_and_may_come_back(around: dict[str, Any]) -> None:
    one = hovering(weather={"wind": [[0, 6, 270]]}, **around)
    do(one, position=False)
    until(one, lambda: one.flight.pilot.mode is Mode.ALTITUDE_HOLD, 5.0)
    east_m = one.flight.craft.east_m
    fly(one, 10.0)
    assert one.flight.craft.east_m - east_m > 10.0  # away from where the wind comes
    do(one, position=True)
    fly(one, 0.2)
    assert one.flight.pilot.sensors.has_fix


def test_a_restart_begins_the_clock_anew_and_flies_on() -> None:
    one = hovering()
    do(one, restart=True)
    times = [message.time_boot_ms for message in told(one, 3.0, "ATTITUDE")]
    assert times == sorted(times)
    assert times[-1] <= 3000
    assert armed(one)
    assert one.flight.craft.height_m == pytest.approx(20.0, abs=1.5)


# --- sky and links -------------------------------------------------------------------------------------------


def told(one: FlownDrill, seconds: float, name: str, link: int = 0) -> list[Any]:
    frames = [frame for number, frame in fly(one, seconds) if number == link]
    return [message for message in PlainClient().read(frames) if message.get_type() == name]


def test_a_radio_switched_off_says_nothing_of_the_aircraft_until_it_is_on() -> None:
    one = hovering(links=[{"kind": "radio"}, {"kind": "network"}])
    assert told(one, 3.0, "ATTITUDE")
    do(one, radio=False)
    fly(one, 2.0)  # what was under way has come
    heard = PlainClient().read([frame for _, frame in fly(one, 5.0)])
    assert {m.get_type() for m in heard if m.get_srcSystem() == 143} == set()
    do(one, radio=True)
    fly(one, 2.0)
    for link in (0, 1):
        assert told(one, 3.0, "ATTITUDE", link)


def margin(one: FlownDrill) -> float:
    """Return the mean margin over some seconds: fading is slower and faster."""
    first = one.around.links[0]
    assert isinstance(first, Radio)
    values = []
    for _ in range(200):
        one.step()
        values.append(first.margin_db.down)
    return sum(values) / len(values)


def test_an_antenna_come_loose_costs_what_it_says() -> None:
    links = [{"kind": "radio"}, {"kind": "radio"}]
    one, other = hovering(links=links), hovering(links=links)
    do(one, antenna_loss_db=25.0)
    assert margin(one) == pytest.approx(margin(other) - 25.0, abs=1e-6)
    second = one.around.links[1]
    assert isinstance(second, Radio)
    assert (second.down_db, second.up_db) == (0.0, 0.0)
    do(one, antenna_loss_db=0.0)
    assert margin(one) == pytest.approx(margin(other), abs=1e-6)


def test_a_foreign_sender_takes_margin_by_how_near_it_is() -> None:
    losses = []
    for away_m in (100.0, 1000.0):
        one, other = (hovering(links=[{"kind": "radio"}]) for _ in range(2))
        do(one, interferer={"at": (away_m, 0.0), "power_dbm": 20.0})
        losses.append(margin(other) - margin(one))
    near_db, far_db = losses
    assert near_db > far_db + 15.0  # 20 dB by free space, 40 dB by plane earth, for ten times as far
    assert far_db > 3.0


def test_jamming_takes_satellites_and_gives_them_back() -> None:
    one = hovering(sky={})
    [*_, clear] = told(one, 3.0, "GPS_RAW_INT")
    assert clear.satellites_visible >= 12
    do(one, jam_db=60.0)
    fly(one, 5.0)
    [*_, jammed] = told(one, 3.0, "GPS_RAW_INT")
    assert jammed.satellites_visible < 4
    assert jammed.fix_type < 3
    do(one, jam_db=0.0)
    fly(one, 30.0)
    [*_, again] = told(one, 3.0, "GPS_RAW_INT")
    assert again.satellites_visible >= 12
    assert again.fix_type >= 3


def north_told(one: FlownDrill) -> float:
    """Return how far north of home the receiver sees itself, m; 110 574 m a degree at the equator (WGS-84)."""
    [*_, last] = told(one, 1.0, "GPS_RAW_INT")
    return float((last.lat * 1e-7 - 1.25) * 110_574)


def test_a_position_pulled_away_takes_the_aircraft_the_other_way() -> None:
    one = hovering(sky={})
    craft = one.flight.craft
    do(one, pull={"north_m_s": 1.0, "east_m_s": 0.0})
    fly(one, 30.0)
    assert craft.north_m < -15.0  # it corrects a drift that is none
    assert abs(north_told(one)) < 5.0  # and sees itself where it was
    do(one, release_pull=True)
    fly(one, 30.0)
    assert north_told(one) == pytest.approx(craft.north_m, abs=5.0)


def test_deeds_on_what_is_not_there_do_nothing() -> None:
    one = hovering()
    for deed in (
        {"antenna_loss_db": 20.0}, {"radio": False}, {"interferer": {"at": (0.0, 0.0), "power_dbm": 30.0}},
        {"jam_db": 40.0}, {"pull": {"north_m_s": 3.0, "east_m_s": 0.0}}, {"release_pull": True},
    ):  # fmt: skip
        do(one, **deed)
        Do(**deed).carry_out(one.flight)  # without surroundings at all
    assert told(one, 3.0, "ATTITUDE")
    assert math.hypot(one.flight.craft.north_m, one.flight.craft.east_m) < 3.0
