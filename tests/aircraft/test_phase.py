"""Phases: the table, and flights through it."""

from __future__ import annotations

import random

import pytest

from tests.aircraft.feeder import S
from watchkeeper.aircraft.catalogue import MODES, PHASES
from watchkeeper.aircraft.phase import TRANSITIONS, PhaseTracker
from watchkeeper.aircraft.seen import IN_AIR, LANDING, ON_GROUND, TAKING_OFF, UNDEFINED, Seen


class Told:
    """A tracker that is told what is seen, at ten times a second."""

    def __init__(self, **seen: object) -> None:
        self.seen = Seen()
        self.tracker = PhaseTracker(self.seen)
        self.now_us = 100 * S
        self.phases: list[str | None] = []
        if seen:
            self.for_s(0.1, **seen)

    def for_s(self, seconds: float, **seen: object) -> str | None:
        for name, value in seen.items():
            assert hasattr(self.seen, name)
            setattr(self.seen, name, value)
        for _ in range(max(1, round(seconds * 10))):
            self.now_us += S // 10
            self.seen.motion_us = self.now_us
            phase = self.tracker.update(self.now_us)
            if self.phases[-1:] != [phase]:
                self.phases.append(phase)
        return self.phases[-1]

    def climb(self, to_m: float, rate_m_s: float = 1.0, **seen: object) -> None:
        start_m = self.seen.height_m or 0.0
        steps = round(abs(to_m - start_m) / abs(rate_m_s) * 10)
        for step in range(1, steps + 1):
            height_m = start_m + (to_m - start_m) * step / steps
            self.for_s(0.1, height_m=height_m, climb_m_s=rate_m_s if to_m > start_m else -rate_m_s, **seen)
        self.for_s(0.1, climb_m_s=0.0)


def on_the_ground(**seen: object) -> Told:
    stands = {"armed": False, "height_m": 0.0, "climb_m_s": 0.0, "speed_m_s": 0.0, "throttle_pct": 0}
    return Told(**{**stands, **seen})


def hovering(height_m: float = 20.0) -> Told:
    told = on_the_ground()
    told.for_s(3, armed=True, throttle_pct=8)
    told.climb(height_m, throttle_pct=50)
    told.for_s(5, throttle_pct=45)
    return told


def test_the_table_leads_from_phases_to_phases_and_reaches_each() -> None:
    assert {phase for phase in TRANSITIONS if phase is not None} == set(PHASES)
    targets = {following for rows in TRANSITIONS.values() for _, following in rows}
    assert targets == set(PHASES)


def test_every_sign_is_used_and_known() -> None:
    used = {sign for rows in TRANSITIONS.values() for sign, _ in rows}
    assert used == set(PhaseTracker.SIGNS)


def test_a_whole_flight_by_hand() -> None:
    told = hovering()
    told.climb(0.2, throttle_pct=35)
    told.for_s(4, throttle_pct=0)
    told.for_s(5, armed=False)
    assert told.phases == ["on_ground", "armed", "taking_off", "airborne", "landed"]
    assert told.for_s(1, armed=True, throttle_pct=8) == "armed"
    assert told.for_s(1, armed=False) == "on_ground"


def test_a_return_reads_returning_landing_landed_without_flapping() -> None:
    told = hovering()
    told.phases.clear()
    told.for_s(1, mode="safe_recovery")
    told.climb(30.0)
    told.for_s(10, speed_m_s=6.0, home_m=60.0)
    told.for_s(5, speed_m_s=0.2, home_m=1.0)
    told.climb(10.0)
    told.for_s(5)  # it holds for a while over home
    told.climb(0.1, rate_m_s=0.5)
    told.for_s(4, throttle_pct=0)
    assert told.phases == ["returning", "landing", "landed"]


def test_a_descent_far_from_home_is_not_the_landing() -> None:
    told = hovering(60.0)
    told.for_s(1, mode="safe_recovery", home_m=300.0)
    told.climb(30.0, rate_m_s=2.0)
    assert told.tracker.phase == "returning"


def test_a_return_broken_off_is_airborne_and_one_climbing_again_returning() -> None:
    told = hovering()
    told.for_s(1, mode="safe_recovery", home_m=3.0)
    told.climb(10.0)
    assert told.tracker.phase == "landing"
    told.climb(20.0, rate_m_s=2.0)
    assert told.tracker.phase == "returning"
    assert told.for_s(1, mode="position_hold") == "airborne"


def test_disarmed_in_the_air_is_no_landing_until_it_lies_still() -> None:
    told = hovering(40.0)
    told.for_s(0.1, armed=False, throttle_pct=0, climb_m_s=-3.0, height_m=38.0)
    assert told.tracker.phase == "airborne"
    told.climb(5.0, rate_m_s=15.0)
    assert told.tracker.phase == "airborne"
    assert told.for_s(4, height_m=4.0, climb_m_s=0.0) == "landed"


def test_disarmed_near_the_ground_is_landed_at_once() -> None:
    told = hovering(10.0)
    told.climb(1.0)
    assert told.for_s(0.1, armed=False) == "landed"


def test_armed_and_disarmed_without_a_take_off() -> None:
    told = on_the_ground()
    told.for_s(10, armed=True, throttle_pct=8)
    told.for_s(5, armed=False)
    assert told.phases == ["on_ground", "armed", "on_ground"]


def test_drift_of_the_height_before_arming_is_no_take_off() -> None:
    told = on_the_ground()
    for metre in range(10):
        told.for_s(2, height_m=0.4 * metre)
    told.for_s(30, armed=True, throttle_pct=8)
    assert told.phases == ["on_ground", "armed"]


def test_a_low_hover_is_a_flight() -> None:
    told = on_the_ground()
    told.for_s(2, armed=True, throttle_pct=8)
    told.climb(0.8, throttle_pct=45)
    assert told.for_s(2) == "taking_off"
    assert told.for_s(30) == "airborne"


def test_hovering_still_is_no_landing_at_any_height() -> None:
    for height_m in (1.6, 3.0, 30.0):
        told = hovering(height_m)
        assert told.for_s(60, climb_m_s=0.0, speed_m_s=0.0, throttle_pct=30) == "airborne"


def test_a_short_light_throttle_in_flight_is_no_landing() -> None:
    told = hovering()
    told.for_s(0.8, throttle_pct=0, climb_m_s=-0.5)
    assert told.for_s(2, throttle_pct=45, climb_m_s=-3.0) == "airborne"


def test_the_landed_state_goes_before_what_height_and_throttle_suggest() -> None:
    told = on_the_ground(landed=ON_GROUND)
    told.for_s(3, armed=True, height_m=2.5, throttle_pct=40)
    assert told.tracker.phase == "armed"
    assert told.for_s(1, landed=TAKING_OFF) == "taking_off"
    assert told.for_s(1, landed=IN_AIR) == "airborne"
    assert told.for_s(1, landed=LANDING) == "landing"
    assert told.for_s(1, landed=IN_AIR) == "airborne"
    assert told.for_s(1, landed=ON_GROUND) == "landed"


def test_a_watch_that_begins_in_the_middle_of_a_flight() -> None:
    assert Told(armed=True, height_m=7.0, climb_m_s=0.0, mode="safe_recovery").phases == ["returning"]
    assert Told(armed=True, height_m=30.0, climb_m_s=0.0, throttle_pct=40).phases == ["airborne"]
    assert Told(armed=True, height_m=0.3, climb_m_s=0.0, throttle_pct=8).phases == ["armed"]
    assert Told(armed=True).phases == [None]  # unknown, which counts as in flight, until a height is seen
    assert Told(armed=False).phases == ["on_ground"]
    assert Told(armed=False, landed=IN_AIR, height_m=50.0).phases == ["airborne"]


def test_a_landing_flown_as_an_item_of_the_plan() -> None:
    told = hovering()
    told.for_s(1, mode="mission")
    assert told.for_s(1, plan_returns=True) == "returning"
    assert told.for_s(1, plan_returns=False, plan_lands=True) == "landing"


def test_heights_that_stopped_coming_are_not_used() -> None:
    told = hovering()
    told.seen.climb_m_s = told.seen.speed_m_s = 0.0
    told.seen.throttle_pct = 0
    for _ in range(20):  # heartbeats alone
        told.now_us += S
        told.tracker.update(told.now_us)
    assert told.tracker.phase == "airborne"
    assert told.seen.height_m is None


def test_armed_with_nothing_that_tells_counts_as_flying_in_the_end() -> None:
    told = Told(armed=False)
    assert told.for_s(1, armed=True) == "armed"
    for _ in range(20):  # heartbeats alone
        told.now_us += S
        told.tracker.update(told.now_us)
    assert told.tracker.phase == "taking_off"
    told.seen.armed = False
    assert told.tracker.update(told.now_us) == "landed"


def test_throttle_and_climb_serve_where_no_height_is_known() -> None:
    told = Told(armed=False, climb_m_s=0.0, speed_m_s=0.0, throttle_pct=0)
    assert told.for_s(60, armed=True, throttle_pct=8) == "armed"
    assert told.for_s(2, throttle_pct=50, climb_m_s=1.0) == "taking_off"
    assert told.for_s(30, climb_m_s=0.0, speed_m_s=3.0) == "airborne"
    assert told.for_s(3, throttle_pct=0, speed_m_s=0.0) == "landed"


@pytest.mark.parametrize(("before_m", "after_m"), [(12.0, 0.0), (-12.0, 0.0), (0.0, 3.0)])
def test_home_set_anew_on_arming_is_no_take_off_and_hides_none(before_m: float, after_m: float) -> None:
    told = on_the_ground(height_m=before_m)
    told.for_s(0.4, armed=True, throttle_pct=8)
    assert told.for_s(5, height_m=after_m) == "armed"
    told.climb(after_m + 3, throttle_pct=50)
    assert told.tracker.phase == "taking_off"
    told.climb(after_m + 8, throttle_pct=50)
    assert told.tracker.phase == "airborne"
    assert told.phases == ["on_ground", "armed", "taking_off", "airborne"]


def test_a_take_off_right_after_arming_is_one() -> None:
    told = on_the_ground()
    told.for_s(0.5, armed=True, throttle_pct=8)
    told.climb(2.0, throttle_pct=60)
    assert told.tracker.phase == "taking_off"


def test_motors_cut_in_a_hover_are_no_landing_and_started_again_no_arming() -> None:
    told = hovering(30.0)
    told.for_s(10)  # so still that it could as well stand
    told.for_s(1, armed=False, throttle_pct=0, climb_m_s=-4.0)
    assert told.for_s(3, armed=True, throttle_pct=60) == "airborne"
    assert told.phases == ["on_ground", "armed", "taking_off", "airborne"]


@pytest.mark.parametrize("seed", range(5))
def test_whatever_is_seen_leads_to_a_phase_along_the_table(seed: int) -> None:
    chance = random.Random(seed)
    told = Told()
    for _ in range(2000):
        before = told.tracker.phase
        told.for_s(
            0.1,
            armed=chance.random() < 0.8,
            mode=chance.choice(MODES),
            landed=chance.choice((UNDEFINED, UNDEFINED, ON_GROUND, IN_AIR, TAKING_OFF, LANDING)),
            height_m=chance.choice((None, chance.uniform(-5, 50))),
            climb_m_s=chance.choice((None, chance.uniform(-5, 5))),
            speed_m_s=chance.choice((None, chance.uniform(0, 10))),
            throttle_pct=chance.choice((None, chance.randrange(101))),
            plan_returns=chance.random() < 0.2,
            plan_lands=chance.random() < 0.2,
        )
        assert told.tracker.phase in {*PHASES, None}
        assert before is None or told.tracker.phase is not None


@pytest.mark.parametrize(("stood_s", "throttle_pct", "falls"), [(1.5, 8, False), (0.5, 8, True), (1.5, 45, True)])
def test_a_landing_with_a_height_that_has_drifted_is_no_disarming_in_the_air(
    stood_s: float, throttle_pct: int, falls: bool
) -> None:
    # some autopilots disarm two seconds after touching; a barometer may be off by metres at the end of a flight
    told = hovering()
    told.climb(4.0, 0.7, mode="land", landed=LANDING, throttle_pct=40)
    told.for_s(stood_s, climb_m_s=0.0, speed_m_s=0.0, throttle_pct=throttle_pct)
    told.for_s(0.2, armed=False)
    assert told.tracker.upset.disarmed is falls


@pytest.mark.parametrize(
    ("flown_s", "throttle_pct", "falls"), [(3600, 8, False), (600, 8, True), (3600, 45, True), (3600, None, True)]
)
def test_a_height_drifts_with_the_weather_over_a_long_flight(
    flown_s: int, throttle_pct: int | None, falls: bool
) -> None:
    # 1.2 hPa an hour, of 8.4 m each (ISO 2533); without a throttle a still hover cannot be told from standing
    told = hovering(30.0)
    told.for_s(flown_s)
    told.climb(10.0, 0.7, mode="land", landed=LANDING, throttle_pct=None if throttle_pct is None else 40)
    told.for_s(2.5, climb_m_s=0.0, speed_m_s=0.0, throttle_pct=throttle_pct)
    told.for_s(0.2, armed=False)
    assert told.tracker.upset.disarmed is falls
    if not falls:
        assert told.for_s(1, landed=ON_GROUND, mode="position") == "landing"  # disarmed it does not go around
        assert told.for_s(5) == "landed"
