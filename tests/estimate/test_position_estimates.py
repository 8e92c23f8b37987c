"""Receivers, heights, jumps, drift and home against geographiclib, ISO 2533 and arithmetic by hand."""

from __future__ import annotations

import math

import pytest
from geographiclib.geodesic import Geodesic

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.receivers import Receiver
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.air.wind import WindEstimate
from watchkeeper.estimate.position.drift import Drift
from watchkeeper.estimate.position.homewatch import HomeWatch
from watchkeeper.estimate.position.pull import HeightGap, PlaceJump, pressure_height_m
from watchkeeper.estimate.position.receiverpair import ReceiverPair
from watchkeeper.estimate.position.recent import Least
from watchkeeper.estimate.position.skyloss import SkyLoss

S = 1_000_000
AT = (47.397742, 8.545594)  # a place of facts.md 8
WGS84 = Geodesic.WGS84


def beyond(metres: float, bearing_deg: float, start: tuple[float, float] = AT) -> tuple[float, float]:
    """Return the place so far off, by geographiclib."""
    found = WGS84.Direct(*start, bearing_deg, metres)
    return found["lat2"], found["lon2"]


class World:
    """One aircraft whose receivers, motion and readings are set by hand."""

    def __init__(self, sortie: str = "") -> None:
        self.aircraft = Aircraft(1, 1, sortie=load_sortie_file(sortie, "s.yaml") if sortie else None)
        self.streams: dict[str, Stream] = {}
        self.now_us = 1000 * S

    def tell(self, name: str, value: float | str | bool | None) -> None:
        stream = self.streams.setdefault(name, Stream())
        stream.mark(self.now_us)
        self.aircraft.readings.put(INDEX[name], value, stream)

    def receive(self, place: tuple[float, float], receiver: Receiver | None = None, *, speed: float = 0.0,
                course: float | None = None, altitude_m: float = 100.0, sd_m: float | None = 1.0,
                fixed: bool = True) -> None:  # fmt: skip
        of = receiver if receiver is not None else self.aircraft.receivers.first
        of.stream.mark(self.now_us)
        of.told_us = self.now_us
        of.fixed, of.had_fix = fixed, of.had_fix or fixed
        of.latitude_deg, of.longitude_deg = place
        of.altitude_m, of.speed_m_s, of.course_deg = altitude_m, speed, course
        of.place_sd_m = of.height_sd_m = sd_m

    def wait(self, seconds: float) -> None:
        self.now_us += round(seconds * S)


# --- two receivers --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bearing_deg", [0.0, 61.0, 133.0, 250.0])
def test_distance_of_two_receivers_is_the_geodesic(bearing_deg: float) -> None:
    world = World()
    pair = ReceiverPair(world.aircraft)
    world.receive(AT)
    assert pair.run(world.now_us) is None, "one receiver has no other"
    world.receive(beyond(9.0, bearing_deg), world.aircraft.receivers.second)
    found = pair.run(world.now_us)
    assert found is not None
    assert found[0] is False
    assert found[1] == pytest.approx(9.0, abs=0.01)
    assert found[2] == pytest.approx(3 * math.sqrt(2) + 2.0)  # 1 m each, three deviations, 2 m between antennas


def test_a_receiver_that_fails_or_falls_silent_is_the_one_that_failed() -> None:
    world = World()
    pair = ReceiverPair(world.aircraft)
    second = world.aircraft.receivers.second
    world.receive(AT)
    world.receive(AT, second, fixed=False)
    assert pair.run(world.now_us) is None, "never fitted, or still searching, is no failure"
    world.receive(AT, second)
    assert pair.run(world.now_us) is not None
    world.receive(AT, second, fixed=False)
    assert pair.run(world.now_us) == (True, None, None)
    world.receive(AT, second)
    for _ in range(40):
        world.wait(1)
        world.receive(AT)
    assert pair.run(world.now_us) == (True, None, None)
    world.receive(AT, fixed=False)
    assert pair.run(world.now_us) == (False, None, None), "both: that is a lost position"


# --- satellite height against the barometer -------------------------------------------------------------------


@pytest.mark.parametrize(("hpa", "metres"), [(1013.25, 0.0), (898.763, 1000.0), (794.952, 2000.0)])
def test_pressure_height_is_that_of_iso_2533(hpa: float, metres: float) -> None:
    assert pressure_height_m(hpa) == pytest.approx(metres, abs=0.3)


def gaps(rate_m_s: float, seconds: int = 120, *, pressure: bool = True, climbs_m_s: float = 0.0) -> list[float]:
    """Let the satellite height leave the barometer's from 60 s on; return gap over most, a second each."""
    world = World()
    gap = HeightGap(world.aircraft)
    found = []
    motion = world.aircraft.motion
    for second in range(seconds):
        world.wait(1)
        height_m = 500.0 + climbs_m_s * second
        motion.altitude_m, motion.velocity_us = height_m, world.now_us
        if pressure:
            motion.pressure_hpa = 1013.25 * (1 - height_m / 44330.77) ** (1 / 0.190263)
            motion.air_us = world.now_us
        world.tell("position.climb_rate", climbs_m_s)
        world.tell("position.ground_speed", 0.0)
        world.receive(AT, altitude_m=height_m + 40.0 + rate_m_s * max(0, second - 60))
        result = gap.run(world.now_us)
        if result is not None and result[0] is not None and result[1] is not None:
            found.append(abs(result[0]) / result[1])
    return found


@pytest.mark.parametrize("pressure", [True, False])
@pytest.mark.parametrize("rate_m_s", [0.4, -0.4])
def test_a_height_that_leaves_the_barometer_is_seen(rate_m_s: float, pressure: bool) -> None:
    # by hand: three deviations of hypot(1, 1, 1.5 sqrt 2) are 7.6 m, after 19 s and half of the mean of five
    found = gaps(rate_m_s, pressure=pressure)
    over = next(i for i, part in enumerate(found) if part > 1)
    assert 9 + over == pytest.approx(60 + 7.63 / 0.4 + 2, abs=2)


def test_a_constant_offset_and_a_climb_are_no_gap() -> None:
    assert max(gaps(0.0)) < 0.05
    assert max(gaps(0.0, climbs_m_s=0.9)) < 0.2
    assert gaps(0.0, climbs_m_s=3.0) == [], "in a climb the two are not of the same moment"


# --- jumps ----------------------------------------------------------------------------------------------------


def flown_jump(extra_m: float, *, told: bool = True) -> float:
    """Fly 8 m/s to 60 degrees by geographiclib, jump sideways once; return the worst of jump over most."""
    world = World()
    jumps = PlaceJump(world.aircraft)
    worst, place = 0.0, AT
    for step in range(60):
        world.wait(0.5)
        place = beyond(4.0, 60.0, place)
        if step == 50:
            place = beyond(extra_m, 150.0, place)
        world.receive(place, speed=8.0 if told else 0.0, course=60.0 if told else None, sd_m=0.7)
        result = jumps.run(world.now_us)
        if result is not None:
            worst = max(worst, result[0] / result[1])
    return worst


def test_a_jump_is_what_its_own_speed_does_not_explain() -> None:
    assert flown_jump(0.0) < 0.02
    # three deviations of both positions, half a second of lateness, acceleration: 2.97 + 4 + 0.5 m
    assert flown_jump(6.0) == pytest.approx(6.0 / 7.47, rel=0.02)
    assert flown_jump(15.0) == pytest.approx(15.0 / 7.47, rel=0.02)


def test_after_a_fix_was_gained_positions_may_settle() -> None:
    world = World()
    jumps = PlaceJump(world.aircraft)
    for step in range(40):
        world.wait(0.5)
        world.receive(AT if step < 12 else beyond(30.0, 10.0), fixed=step > 4)
        found = jumps.run(world.now_us)
        assert found is None or found[0] == pytest.approx(0.0, abs=1e-6)


# --- what came with a fall ------------------------------------------------------------------------------------


def sky(world: World, part: SkyLoss, drop: float, hdop: float) -> tuple[float | None, float | None, float | None]:
    world.wait(1)
    world.receive(AT)
    world.tell("satellites.drop", drop)
    world.tell("satellites.hdop", hdop)
    world.tell("position.height", 40.0)
    found = part.run(world.now_us)
    assert found is not None
    return found


def test_a_fall_while_it_stands_still_and_one_on_the_way() -> None:
    world = World()
    part = SkyLoss(world.aircraft)
    world.aircraft.position = AT
    for _ in range(11):
        still = sky(world, part, 0.0, 0.8)
    assert still == (1.0, 0.0, None)
    rise, fall, ratio = sky(world, part, 60.0, 2.0)
    assert (rise, fall, ratio) == (2.5, 60.0, None)
    world.aircraft.position = beyond(16.0, 40.0)
    assert sky(world, part, 60.0, 2.0)[1] == 0.0
    for _ in range(10):
        after = sky(world, part, 60.0, 2.0)
    assert after[1] == 60.0
    world.aircraft.motion.lean_north = math.tan(math.radians(21))
    assert sky(world, part, 60.0, 2.0)[1] == 0.0


def test_the_least_of_a_window() -> None:
    least = Least(10)
    samples = ((0, 5.0), (4, 3.0), (8, 4.0), (14, 6.0), (15, 6.0), (30, 9.0))
    assert [least.take(t, value) for t, value in samples] == [5.0, 3.0, 3.0, 3.0, 4.0, 9.0]


# --- drift ----------------------------------------------------------------------------------------------------


def drifts(
    speeds: list[float], *, mode: str = "altitude_hold", lean: float = 0.02, to_deg: float = 92.0
) -> list[float]:
    world = World()
    aircraft = world.aircraft
    part = Drift(aircraft, WindEstimate(aircraft.readings, aircraft.motion, None, None))
    found = []
    for speed in speeds:
        world.wait(0.5)
        way = math.radians(to_deg)
        aircraft.motion.velocity(speed * math.cos(way), speed * math.sin(way), world.now_us)
        aircraft.motion.attitude_us, aircraft.motion.lean_east = world.now_us, lean
        world.tell("flight.mode", mode)
        world.tell("position.valid", True)
        values = part.run(world.now_us)
        assert values is not None
        found.append(-1.0 if values[0] is None else values[0])
        if values[0]:
            assert values[1] == "east"
            assert values[2] == pytest.approx(to_deg)
    return found


def test_drift_is_motion_that_nobody_flies() -> None:
    growing = [0.2 * i for i in range(20)]
    assert drifts(growing)[-1] == pytest.approx(3.8)
    assert drifts(growing)[7] == 0.0, "not before four seconds of it"
    assert drifts(growing, mode="attitude")[-1] == pytest.approx(3.8)
    assert drifts(growing, mode="position_hold")[-1] == 0.0
    assert drifts(growing, mode="other")[-1] == -1.0
    assert drifts(growing, lean=0.1)[-1] == 0.0, "leaning 5.7 degrees it is flown"
    assert max(drifts(growing[::-1])) == 0.0, "it coasts"


def test_without_a_position_it_drifts_with_the_last_known_wind() -> None:
    world = World("weather: {wind: 6 m/s from 250 deg}")
    aircraft = world.aircraft
    wind = WindEstimate(aircraft.readings, aircraft.motion, None, aircraft.sortie)
    part = Drift(aircraft, wind)
    wind.run(world.now_us)
    world.tell("battery.time_left", 660.0)
    world.tell("position.valid", False)
    assert part.run(world.now_us) is not None
    world.wait(2)
    world.tell("position.valid", False)
    values = part.run(world.now_us)
    assert values is not None
    speed, towards, to_deg, distance_m, minutes = values
    assert minutes == pytest.approx((660 - 2) / 60)  # a countdown
    assert towards == "east"  # from 250 it goes to 70, nearer to east than to north east
    assert (speed, to_deg, distance_m) == pytest.approx((6.0, 70.0, 12.0))


# --- home -----------------------------------------------------------------------------------------------------


class Homed(World):
    def __init__(self, sortie: str = "") -> None:
        super().__init__(sortie)
        self.part = HomeWatch(self.aircraft)
        self.place, self.phase, self.armed = AT, "on_ground", False
        self.moved: float | None = None
        self.set: bool | None = None

    def look(self, seconds: float = 1.0) -> float | None:
        self.wait(seconds)
        aircraft = self.aircraft
        aircraft.position, aircraft.fixed = self.place, True
        aircraft.tracker.phase, aircraft.seen.armed = self.phase, self.armed
        found = self.part.run(self.now_us)
        if found is not None:
            self.set, self.moved, _ = found
        return self.moved

    def home(self, place: tuple[float, float]) -> None:
        self.aircraft.set_home(*place, "aircraft", self.now_us)

    def restart(self) -> None:
        self.aircraft.restart(self.now_us)
        self.part = HomeWatch(self.aircraft)


def test_a_home_that_jumps_in_flight_has_moved_by_the_geodesic() -> None:
    world = Homed()
    world.home(AT)
    assert world.look() == 0.0
    world.armed, world.phase = True, "airborne"
    world.place = beyond(200, 30)
    assert world.look() == 0.0
    world.home(beyond(120, 200))
    assert world.look() == pytest.approx(120.0, abs=0.05)
    world.home(AT)
    assert world.look() == pytest.approx(0.0, abs=0.01)


def test_a_crew_that_sets_home_anew_on_the_ground_is_no_move() -> None:
    world = Homed()
    world.home(AT)
    world.look()
    world.home(beyond(80, 90))
    assert world.look() == 0.0
    assert world.look(6) == 0.0
    world.armed, world.phase = True, "airborne"
    assert world.look() == 0.0
    assert world.set is True


def test_an_arming_where_it_stands_is_no_move_and_one_elsewhere_is() -> None:
    world = Homed()
    world.home(AT)
    world.look()
    world.place, world.armed, world.phase = beyond(60, 90), True, "armed"
    world.look()
    world.home(beyond(60, 90))
    assert world.look() == 0.0
    assert world.look(6) == 0.0
    world.home(beyond(300, 90))
    world.look()
    assert world.look(6) == pytest.approx(240.0, abs=0.1)


def test_a_start_anew_takes_home_along_in_the_air_and_where_it_landed() -> None:
    for phase in ("airborne", "landed"):
        world = Homed()
        world.home(AT)
        world.look()
        world.armed, world.phase, world.place = True, "airborne", beyond(263, 9)
        world.look()
        world.phase, world.armed = phase, phase == "airborne"
        world.look()
        world.restart()
        world.home(beyond(263, 9))
        assert world.look() == pytest.approx(263.0, abs=0.1), phase
        assert world.look(60) == pytest.approx(263.0, abs=0.1), phase
        if phase == "landed":
            world.armed = True  # the crew takes off from there
            assert world.look() == 0.0


def test_home_told_before_the_start_anew_is_known_does_not_pass_for_the_crew_s() -> None:
    world = Homed()
    world.home(AT)
    world.look()
    world.armed, world.phase, world.place = True, "airborne", beyond(263, 9)
    world.look()
    world.armed, world.phase = False, "landed"
    world.look()
    world.home(beyond(263, 9))
    assert world.look() == 0.0
    world.restart()
    world.home(beyond(263, 9))
    assert world.look() == pytest.approx(263.0, abs=0.1)


def test_an_aircraft_carried_to_another_field_begins_anew() -> None:
    world = Homed()
    world.home(AT)
    world.look()
    world.restart()
    world.place = beyond(5000, 9)
    world.home(world.place)
    assert world.look() == 0.0


def test_armed_without_a_position_there_is_no_home() -> None:
    world = Homed()
    aircraft = world.aircraft
    world.look()
    assert world.set is None, "with a fix and nothing said it is not known"
    aircraft.fixed = False
    aircraft.tracker.phase, aircraft.seen.armed = "armed", True
    found = world.part.run(world.now_us)
    assert found is not None
    assert found[:2] == (False, None)
    world.home(AT)
    world.look()
    assert world.set is True


def test_a_moving_crew_is_told_apart() -> None:
    world = Homed("crew: {moving: true}")
    world.home(AT)
    world.wait(1)
    found = world.part.run(world.now_us)
    assert found is not None
    assert found[2] is True
