"""What each shipped scenario is about, seen in the true state of its flight.

The numbers are those that the story needs (a margin used up, a reserve spent), with their source where there is
one, and not what this simulator happens to give.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import pytest

from simulators.flown.deeds import Comer
from simulators.onboard.modes import Mode
from tests.simulators.flown.shipped import Flight, Row

HOME_M: Final = 3.0
"""Satellites are off by 0.4 to 1 m (1 sigma) each way."""
TERRACE: Final = (220.0, 160.0)
SECOND_CREW: Final = (260.0, 40.0)
REPORTED_S: Final = 6.0
"""From a fault until rotors and packs have settled."""


def off(row: Row, place: tuple[float, float]) -> float:
    return math.dist((row.north_m, row.east_m), place)


def ends_at(flight: Flight, place: tuple[float, float] = (0.0, 0.0)) -> None:
    assert off(flight.rows[-1], place) < HOME_M


def power(row: Row) -> float:
    return row.power_w


def margin(row: Row) -> float:
    return row.margin_db


# --- calm ----------------------------------------------------------------------------------------------------


def quiet_delivery(flight: Flight) -> None:
    ends_at(flight)
    let_go = next(row for row in flight.rows if row.load_kg == 0.0)
    assert off(let_go, TERRACE) < HOME_M
    assert let_go.height_m < 5.0


def line_delivery(flight: Flight) -> None:
    ends_at(flight)
    assert any(row.hangs for row in flight.rows)
    let_go = next(row for row in flight.rows if row.load_kg == 0.0)
    assert let_go.height_m < 8.0  # the line's length: the bundle stands on the ground
    assert not let_go.hangs


def windy_day(flight: Flight) -> None:
    ends_at(flight)
    begin, end = flight.since(Mode.TAKEOFF) + 15, flight.since(Mode.LAND) - 20
    assert 8.0 < flight.mean(begin, end, lambda row: row.wind_m_s) < 12.0  # the aircraft file's limit
    assert max(row.wind_m_s for row in flight.between(begin, end)) < 15.0  # and that of gusts


def old_packs(flight: Flight) -> None:
    ends_at(flight)
    packs = flight.drill.flight.bank.packs
    # 80 % of the capacity is the end of life (common practice); these are three quarters of the way there
    assert all(0.83 < one.model.cell.aged_capacity_ah(one.model.cycles) / 22.0 < 0.87 for one in packs)


def hand_over(flight: Flight) -> None:
    ends_at(flight, SECOND_CREW)
    assert flight.rows[-1].load_kg == 8.0  # they unload it


def slope_survey(flight: Flight) -> None:
    ends_at(flight)
    assert flight.drill.flight.pilot.route.done
    assert max(row.away_m for row in flight.rows) < 330.0  # the boundary's nearest edge


def slow_radio(flight: Flight) -> None:
    ends_at(flight)
    assert len(flight.heard_s) / flight.rows[-1].time_s < 15.0  # frames a second
    assert max(b - a for a, b in zip(flight.heard_s, flight.heard_s[1:], strict=False)) < 4.0  # not lost for it


def network_link(flight: Flight) -> None:
    ends_at(flight)
    assert max(row.away_m for row in flight.rows) > 840.0
    assert "RADIO_STATUS" not in flight.kinds


# --- battery -------------------------------------------------------------------------------------------------


def pack_opens(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    before, after = flight.at(fault), flight.at(fault + REPORTED_S)
    assert min(before.currents_a) > 10.0
    assert after.currents_a[1] == 0.0
    assert 1.7 < after.currents_a[0] / before.currents_a[0] < 2.4


def pack_opens_in_the_climb(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert flight.at(fault).climb_m_s > 2.0
    assert flight.at(fault + 3).currents_a[0] == 0.0
    assert (
        max(row.currents_a[1] for row in flight.between(fault, fault + 10)) > 85.0
    )  # four times its capacity in Ah
    sag = max(flight.at(fault - 1).cells_v[12:]) - min(
        min(row.cells_v[12:]) for row in flight.between(fault, fault + 9)
    )
    assert sag > 0.08


def weak_cell(flight: Flight) -> None:
    ends_at(flight)
    for row in flight.between(flight.faults_s[0] + 15, flight.faults_s[0] + 30):
        first = row.cells_v[:12]
        others = (sum(first) - first[6]) / 11
        assert others - first[6] > 0.15


def lying_gauge(flight: Flight) -> None:
    ends_at(flight)
    standing = flight.at(40.0)
    assert not standing.armed
    assert standing.gauge_pct - standing.charge_pct > 35.0
    assert max(standing.cells_v) < 3.95  # at rest, where a full cell has 4.2 V (data sheets)


def headwind_home(flight: Flight) -> None:
    ends_at(flight)
    back = flight.since(Mode.SAFE_RECOVERY)
    out = flight.mean(60.0, 140.0, power)
    assert flight.mean(back + 15, back + 90, power) > 1.15 * out
    assert flight.drill.flight.bank.packs[0].temperature_degc < 10.0
    assert flight.rows[-1].charge_pct < 30.0
    assert min(min(row.cells_v) for row in flight.rows) < 3.6


def half_full_and_far(flight: Flight) -> None:
    ends_at(flight)
    wrong, spent = flight.faults_s
    assert wrong < 75.0
    assert flight.at(spent + 230.0).gauge_pct - flight.at(spent + 230.0).charge_pct > 6.0
    last = flight.rows[-1]
    assert last.charge_pct < 25.0
    assert last.gauge_pct > 35.0


def low_approach(flight: Flight) -> None:
    [fault] = flight.faults_s
    [first, *_] = flight.drill.flight.pilot.guards.low
    assert first.acted
    fired = flight.since(Mode.LAND)
    assert 60.0 < fired - fault < 100.0
    assert flight.at(fired).height_m < 10.0
    assert flight.at(fired).speed_m_s > 2.0  # on the approach, not at its end
    assert 60.0 < flight.rows[-1].away_m < 200.0
    assert flight.rows[-1].charge_pct > 20.0  # there was enough to go on


# --- motors and load -----------------------------------------------------------------------------------------


def rotor_ratio(row: Row, rotor: int) -> float:
    others = [speed for i, speed in enumerate(row.rotors_rad_s) if i != rotor]
    return row.rotors_rad_s[rotor] / (sum(others) / len(others))


def motor_weakens(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert rotor_ratio(flight.at(fault), 2) == pytest.approx(1.0, abs=0.01)
    assert rotor_ratio(flight.at(fault + REPORTED_S), 2) > 1.08


def motor_stops(flight: Flight) -> None:
    ends_at(flight, TERRACE)
    [fault] = flight.faults_s
    after = flight.between(fault + 2, fault + 12)
    assert all(row.rotors_rad_s[2] < 1.0 for row in after)
    assert all(abs(row.height_m - flight.at(fault).height_m) < 2.0 for row in after)  # it stays up
    # momentum theory: a rotor's power goes with its thrust to 1.5, so four for six take (6/4)^0.5 = 1.22 of
    # what lifts
    assert 1.05 < flight.mean(fault + 5, fault + 20, power) / flight.mean(fault - 15, fault, power) < 1.25


def motor_stops_heavy(flight: Flight) -> None:
    ends_at(flight, TERRACE)
    [fault] = flight.faults_s
    after = flight.between(fault + 2, fault + 15)
    assert all(row.rotors_rad_s[1] < 1.0 for row in after)
    assert max(row.throttle for row in after) > 0.75
    assert max(row.throttle for row in flight.between(fault - 15, fault - 1)) < 0.75


def motors_stop_in_the_air(flight: Flight) -> None:
    [fault] = flight.faults_s
    assert flight.at(fault).height_m > 65.0
    # sqrt(2 h / g) without drag is 3.8 s
    struck = next(row.time_s for row in flight.rows if row.time_s > fault and row.on_ground)
    assert 3.7 < struck - fault < 5.5


def load_falls(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert flight.at(fault).speed_m_s > 7.0
    # momentum theory: power with weight to 1.5, (18/30)^1.5 = 0.46 of what lifts
    assert flight.mean(fault + 5, fault + 12, power) < 0.7 * flight.mean(fault - 10, fault, power)


def heavy_load_picked_up(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert not flight.at(fault + 5).hangs
    assert any(row.hangs for row in flight.between(fault, fault + 20))
    # momentum theory: (26/18)^1.5 = 1.74 of what lifts
    assert 1.4 < flight.mean(fault + 32, fault + 42, power) / flight.mean(fault - 15, fault, power) < 1.75


# --- wind ----------------------------------------------------------------------------------------------------


def wind_turns(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert flight.mean(fault + 45, fault + 80, lambda row: row.wind_m_s) > 12.0  # the aircraft file's limit
    back = flight.since(Mode.SAFE_RECOVERY)
    assert flight.mean(back + 10, back + 60, lambda row: row.speed_m_s) < 6.0  # of the 8 m/s it is set to


def wind_overpowers(flight: Flight) -> None:
    [fault] = flight.faults_s
    assert flight.mean(fault + 60, fault + 95, lambda row: row.wind_m_s) > 16.0  # the aircraft file's airspeed
    begin = flight.at(fault)
    carried_m = max(off(row, (begin.north_m, begin.east_m)) for row in flight.rows if fault < row.time_s < 190.0)
    assert carried_m > 15.0
    last = flight.rows[-1]
    assert last.height_m < 1.0
    assert last.away_m < 100.0


def height_hold_drift(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    begin, later = flight.at(fault), flight.at(fault + 12)
    assert 5.0 < off(later, (begin.north_m, begin.east_m)) < 30.0
    assert off(flight.at(fault + 34), (begin.north_m, begin.east_m)) > 50.0
    assert all(row.has_fix for row in flight.rows)


def return_does_not_close(flight: Flight) -> None:
    back = flight.since(Mode.SAFE_RECOVERY)
    assert flight.at(back + 20).away_m > flight.at(back).away_m + 20.0
    assert flight.mean(back, back + 20, lambda row: row.height_m) > 50.0
    farthest = max(flight.rows, key=lambda row: row.away_m)
    assert flight.at(farthest.time_s + 15).height_m < 35.0  # it is the way down that turns it
    assert flight.rows[-1].away_m < 25.0


# --- link ----------------------------------------------------------------------------------------------------


def antenna_loose(flight: Flight) -> None:
    ends_at(flight)
    first, second, third = flight.faults_s
    means = [
        flight.mean(begin, end, margin)
        for begin, end in ((first - 10, first), (first + 1, second), (second + 1, third), (third + 1, third + 35))
    ]
    assert means[0] > 25.0
    assert means[0] > means[1] > means[2] > means[3]
    assert means[3] < 8.0  # less than what fading takes now and then


def radio_silent(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert fault - 1.0 < max(flight.heard_s) < fault + 0.5


def interferer(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    before, after = (fault - 10, fault), (fault + 1, fault + 60)
    assert flight.mean(*after, lambda row: row.noise_dbm) > flight.mean(*before, lambda row: row.noise_dbm) + 15.0
    assert (
        abs(flight.mean(*after, lambda row: row.rssi_dbm) - flight.mean(*before, lambda row: row.rssi_dbm)) < 6.0
    )
    assert flight.mean(*after, margin) < 12.0


def ridge_shadow(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert flight.mean(fault - 8, fault, margin) > 25.0
    assert flight.at(fault).blocked_db < 1.0
    low = flight.between(fault + 65, fault + 95)
    assert min(row.blocked_db for row in low) > 20.0
    assert sum(row.margin_db for row in low) / len(low) < 5.0
    assert max(row.away_m for row in low) < 490.0  # it is not the distance


def control_lost(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    assert 3.0 <= flight.since(Mode.SAFE_RECOVERY) - fault < 4.0


# --- position and home ---------------------------------------------------------------------------------------


def satellites_jammed(flight: Flight) -> None:
    ends_at(flight)
    some, most, over = flight.faults_s
    few = flight.between(some + 12, most - 1)
    assert all(row.satellites <= 6 and row.dilution > 2.5 and row.has_fix for row in few)
    assert not any(row.has_fix for row in flight.between(most + 4, over))
    assert flight.at(over + 20).has_fix


def position_pulled(flight: Flight) -> None:
    ends_at(flight)
    fault, over = flight.faults_s
    begin, later = flight.at(fault), flight.at(fault + 40)
    assert begin.off_m < 3.0
    assert later.off_m > 35.0
    assert all(row.has_fix for row in flight.between(fault, over - 1))
    assert later.north_m < begin.north_m - 25.0  # it goes the other way
    assert later.east_m > begin.east_m + 12.0


def position_lost(flight: Flight) -> None:
    ends_at(flight)
    fault, over = flight.faults_s
    assert not any(row.has_fix for row in flight.between(fault + 0.5, over - 0.5))
    assert off(flight.at(over), TERRACE) > 15.0
    assert abs(flight.at(over).height_m - flight.at(fault).height_m) < 1.5


def position_lost_in_wind(flight: Flight) -> None:
    [fault] = flight.faults_s
    begin = flight.at(fault)
    assert not any(row.has_fix for row in flight.between(fault + 0.5, flight.off_s))
    assert off(flight.at(fault + 15), (begin.north_m, begin.east_m)) > 15.0
    assert off(flight.rows[-1], (begin.north_m, begin.east_m)) > 80.0


def restart_in_the_air(flight: Flight) -> None:
    [fault] = flight.faults_s
    assert math.hypot(*flight.at(fault - 1).home_m) < HOME_M
    assert math.dist(flight.at(fault + 1).home_m, TERRACE) < HOME_M
    assert flight.drill.flight.pilot.boots == 2
    ends_at(flight, TERRACE)


def home_moved(flight: Flight) -> None:
    [fault] = flight.faults_s
    assert flight.at(fault).on_ground
    assert math.hypot(*flight.at(fault - 1).home_m) < HOME_M
    assert math.dist(flight.at(fault + 1).home_m, SECOND_CREW) < HOME_M
    ends_at(flight, SECOND_CREW)


def plan_at_power_up(flight: Flight) -> None:
    ends_at(flight)
    assert flight.drill.flight.pilot.route.items
    assert not flight.at(39.0).armed
    assert flight.at(42.0).armed
    assert flight.at(42.0).mode is Mode.MISSION
    assert 60.0 < max(row.away_m for row in flight.rows) < 150.0


def fence_breached(flight: Flight) -> None:
    ends_at(flight)
    [fault] = flight.faults_s
    out = next(row.time_s for row in flight.rows if row.away_m > 360.0)
    assert out - fault > 22.0  # a call within 20 s is in time
    assert 0.0 < flight.since(Mode.SAFE_RECOVERY) - out < 3.0


def return_below_the_ridge(flight: Flight) -> None:
    back = flight.since(Mode.SAFE_RECOVERY)
    assert flight.at(back).away_m > 450.0
    last = flight.rows[-1]
    assert 25.0 < last.height_m < 55.0  # on the far slope, under the crest
    assert 260.0 < last.north_m < 320.0


# --- others in the air ---------------------------------------------------------------------------------------


def nearest_m(flight: Flight, other: Comer, begin_s: float) -> float:
    """Return how near another comes, horizontally, while the aircraft flies: both by their true ways."""
    course = math.radians(other.course_deg)

    def away(row: Row) -> float:
        flown = other.speed_m_s * (row.time_s - begin_s)
        return off(row, (other.north_m + flown * math.cos(course), other.east_m + flown * math.sin(course)))

    return min(away(row) for row in flight.in_air if row.time_s >= begin_s)


def traffic_passes(flight: Flight) -> None:
    ends_at(flight)
    others = flight.drill.scenario.written.others
    # 600 m and 150 m are "well clear" of a small aircraft (ASTM F3442, from memory), with room to spare
    assert len(others) == 3
    assert all(nearest_m(flight, other, 0.0) > 1200 or other.height_m > 1000 for other in others)
    assert "ADSB_VEHICLE" in flight.kinds


def traffic_converges(flight: Flight) -> None:
    ends_at(flight)
    other = flight.drill.scenario.written.faults[0].do.other
    assert other is not None
    begin_s = flight.faults_s[0]
    assert nearest_m(flight, other, begin_s) < 150  # 500 ft: a near mid-air collision (from memory)
    by_s = begin_s + 3530 / 50 + 220 / 50  # where the aircraft is by then
    assert abs(flight.at(by_s).height_m - other.height_m) < 60


STORIES: Final[dict[str, Callable[[Flight], None]]] = {
    story.__name__.replace("_", "-"): story
    for story in (
        quiet_delivery, line_delivery, windy_day, old_packs, hand_over, slope_survey, slow_radio, network_link,
        pack_opens, pack_opens_in_the_climb, weak_cell, lying_gauge, headwind_home, half_full_and_far,
        low_approach, motor_weakens, motor_stops, motor_stops_heavy, motors_stop_in_the_air, load_falls,
        heavy_load_picked_up, wind_turns, wind_overpowers, height_hold_drift, return_does_not_close, antenna_loose,
        radio_silent, interferer, ridge_shadow, control_lost, satellites_jammed, position_pulled, position_lost,
        position_lost_in_wind, restart_in_the_air, home_moved, plan_at_power_up, fence_breached,
        return_below_the_ridge, traffic_passes, traffic_converges,
    )
}  # fmt: skip
