"""Aircraft restarted or disarmed in the air: in flight for the watch until a landing is really seen.

Sequences as autopilots send them (common practice): after a start they are disarmed, say that they are on the
ground, and count their height from where they are.
"""

from __future__ import annotations

import pytest

from tests.aircraft.feeder import HOME, Flight, S
from tests.aircraft.test_phase import hovering, on_the_ground
from tests.conftest import RequireData
from tests.recordings import alerts, replay, shipped
from watchkeeper.aircraft.catalogue import PHASE_GROUPS
from watchkeeper.aircraft.seen import IN_AIR, LANDING, ON_GROUND
from watchkeeper.aircraft.upset import HIGH_M

RECORDINGS = ("quad-3s-five-flights", "quad-radio-a", "quad-radio-b", "quad-radio-c", "quad-return-61m")
GROUND_M = 100.0


class Flown(Flight):
    """Took off from the ground at 100 m above the sea and hovers at 50 m over it."""

    def __init__(self) -> None:
        super().__init__()
        self.armed = False
        self.zero_m = GROUND_M
        self.height_m = 0.0
        self.landed: int | None = None
        self.throttle_pct: int | None = None
        self.run(5)
        self.armed = True
        self.run(2)
        for metre in range(1, 51):
            self.height_m = float(metre)
            self.run(0.5, climb_m_s=2.0)
        self.run(5)
        assert self.read("flight.phase") == "airborne"

    def run(self, seconds: float, climb_m_s: float = 0.0, *, heights: bool = True) -> None:
        for _ in range(round(seconds * 4)):
            self.wait(0.25)
            if heights:
                self.send(
                    "GLOBAL_POSITION_INT",
                    time_boot_ms=self.boot_ms,
                    lat=round(HOME[0] * 1e7),
                    lon=round(HOME[1] * 1e7),
                    alt=round((GROUND_M + self.height_m) * 1000),
                    relative_alt=round((GROUND_M + self.height_m - self.zero_m) * 1000),
                    vz=round(-100 * climb_m_s),
                )
            if self.throttle_pct is not None:
                self.send("VFR_HUD", groundspeed=0.0, climb=climb_m_s, throttle=self.throttle_pct)
            self.beat(armed=self.armed)
            if self.landed is not None:
                self.send("EXTENDED_SYS_STATE", landed_state=self.landed)

    def start_anew(self, after_s: float, *, zeroed: bool) -> None:
        self.wait(after_s)
        self.started_us = self.now_us - S // 5
        self.armed = False
        if zeroed:
            self.zero_m = GROUND_M + self.height_m

    def sink_to(self, height_m: float) -> None:
        while self.height_m > height_m:
            self.height_m -= 0.3
            self.run(0.25, climb_m_s=-1.2)

    def come_down(self) -> None:
        while self.height_m > 0:
            self.height_m -= 2.5
            self.run(0.25, climb_m_s=-10.0)
            assert self.read("flight.phase") in PHASE_GROUPS["in_flight"]


@pytest.mark.parametrize("landed", [None, ON_GROUND])
@pytest.mark.parametrize("zeroed", [False, True])
@pytest.mark.parametrize("after_s", [1, 3.5, 20])
def test_a_start_in_flight_stays_in_flight_until_it_has_come_down(
    after_s: float, landed: int | None, *, zeroed: bool
) -> None:
    flown = Flown()
    flown.landed = landed
    assert flown.read("flight.restarted") is False
    flown.start_anew(after_s, zeroed=zeroed)
    for _ in range(60):
        flown.run(0.25)
        assert flown.read("flight.phase") == "airborne"
    assert flown.aircraft.power_up == 2
    assert flown.read("flight.restarted") is True
    flown.come_down()
    flown.run(3)
    assert flown.read("flight.restarted") is True  # three seconds are not yet sure
    flown.run(4)
    assert flown.read("flight.phase") == "landed"
    assert flown.read("flight.restarted") is False
    assert flown.read("flight.disarmed_in_air") is False


def test_flown_on_by_hand_after_the_start_and_landed() -> None:
    flown = Flown()
    flown.start_anew(4, zeroed=True)
    flown.run(5)
    flown.armed = True
    flown.run(10)
    assert flown.read("flight.restarted") is True
    assert flown.read("flight.disarmed_in_air") is False
    flown.come_down()
    flown.run(7)
    flown.armed = False
    flown.run(2)
    assert flown.read("flight.phase") == "landed"
    assert flown.read("flight.restarted") is False
    flown.run(1)
    flown.armed = True
    flown.run(1)
    assert flown.read("flight.phase") == "armed"  # the next flight begins as any


@pytest.mark.parametrize(("off_m", "in_air"), [(0.0, False), (12.0, False), (25.0, True)])
def test_landed_after_a_start_in_flight_with_a_height_of_satellites(off_m: float, in_air: bool) -> None:
    """Its height has no ground below it any more: ten metres off it stands, as its throttle tells."""
    flown = Flown()
    flown.throttle_pct = 50
    flown.start_anew(4, zeroed=False)
    flown.run(5)
    flown.armed = True
    flown.run(10)
    flown.sink_to(off_m)
    for flown.throttle_pct in (40, 39, 38, 37, 36, 35, 34, 33, 32, 31, 30, 29):
        flown.run(0.25)
    flown.armed = False
    flown.run(0.5)
    assert flown.read("flight.disarmed_in_air") is in_air


def test_the_flight_after_it_has_a_ground_again() -> None:
    flown = Flown()
    flown.start_anew(4, zeroed=False)
    flown.run(5)
    flown.armed = True
    flown.run(5)
    flown.come_down()
    flown.run(7)
    flown.armed = False
    flown.run(5)
    assert flown.read("flight.phase") == "landed"
    flown.armed, flown.throttle_pct = True, 50
    flown.run(2)
    for metre in range(1, 31):
        flown.height_m = float(metre)
        flown.run(0.5, climb_m_s=2.0)
    flown.sink_to(12.0)
    flown.throttle_pct = 20
    flown.run(3)
    flown.armed = False
    flown.run(0.5)
    assert flown.read("flight.disarmed_in_air") is True


def test_a_start_in_flight_and_never_a_height_again() -> None:
    flown = Flown()
    flown.start_anew(4, zeroed=False)
    flown.landed = ON_GROUND
    for _ in range(30):
        flown.wait(1)
        flown.send("SYSTEM_TIME", time_boot_ms=flown.boot_ms)
        flown.run(0.25, heights=False)
    assert flown.read("flight.restarted") is True
    assert flown.read("flight.phase") == "airborne"


def test_a_second_start_before_the_landing() -> None:
    flown = Flown()
    for count in (2, 3):
        flown.start_anew(5, zeroed=True)
        flown.run(6)
        assert flown.aircraft.power_up == count
        assert flown.read("flight.restarted") is True
    flown.come_down()
    flown.run(7)
    assert flown.read("flight.phase") == "landed"


def test_a_start_on_the_ground_is_none_in_flight() -> None:
    flown = Flown()
    flown.come_down()
    flown.run(3)
    flown.armed = False
    flown.run(3)
    assert flown.read("flight.phase") == "landed"
    flown.start_anew(5, zeroed=False)
    for _ in range(20):
        flown.run(0.25)
        assert flown.read("flight.restarted") is False
        assert flown.read("flight.phase") in {None, "on_ground", "landed"} or flown.is_blind("flight.phase")
    assert flown.aircraft.power_up == 2
    assert flown.read("flight.phase") == "on_ground"


@pytest.mark.parametrize("landed", [None, IN_AIR])
def test_disarmed_in_the_air_is_said_at_once_and_ends_with_the_landing(landed: int | None) -> None:
    flown = Flown()
    flown.landed = landed
    flown.run(2)
    assert flown.read("flight.disarmed_in_air") is False
    flown.armed = False
    flown.run(0.25)
    assert flown.read("flight.disarmed_in_air") is True
    flown.run(20)  # heights that say so for as long as they like
    assert flown.read("flight.phase") == "airborne"
    assert flown.read("flight.restarted") is False
    flown.come_down()
    flown.run(7)
    assert flown.read("flight.phase") == "landed"
    assert flown.read("flight.disarmed_in_air") is False


def test_armed_again_in_the_air_it_flies() -> None:
    flown = Flown()
    flown.armed = False
    flown.run(1)
    flown.armed = True
    flown.run(1)
    assert flown.read("flight.disarmed_in_air") is False
    assert flown.read("flight.phase") == "airborne"


def test_a_landing_missed_in_a_gap_of_the_link_is_no_disarming_in_the_air() -> None:
    flown = Flown()
    flown.wait(60)
    flown.armed = False
    flown.run(0.25, heights=False)  # its heartbeat is heard first
    assert flown.read("flight.phase") == "airborne"
    flown.height_m = 0.3
    flown.run(1)
    assert flown.read("flight.disarmed_in_air") is False
    assert flown.read("flight.phase") == "landed"


@pytest.mark.parametrize("height_m", [-8.0, 0.0, 2.5, 4.5, 20.0])
def test_disarmed_after_a_landing_on_other_ground(height_m: float) -> None:
    """Barometers drift by metres, hills are higher than that: idle and still for some seconds, it has landed."""
    told = hovering(40.0)
    told.climb(height_m, throttle_pct=35)
    told.for_s(4, throttle_pct=0)
    told.for_s(3, armed=False)
    assert told.tracker.phase == "landed"
    assert not told.tracker.upset.stands


@pytest.mark.parametrize(
    ("steps_pct", "stands"),
    [((50, 47, 44, 42, 40), True), ((45, 44, 43, 42, 41), True), ((50, 51, 49, 50, 50), False)],
)
def test_throttle_that_eases_while_nothing_sinks_stands_on_the_ground(
    steps_pct: tuple[int, ...], *, stands: bool
) -> None:
    """Its height has drifted by 3.5 m when it lands; it disarms before the throttle is light.

    In the air less thrust than weight falls (Newton); throttle as before, still, may be a pause of the landing.
    """
    told = hovering(40.0)
    told.climb(3.5, throttle_pct=50, mode="land")
    for throttle_pct in steps_pct:
        told.for_s(0.4, throttle_pct=throttle_pct, climb_m_s=0.0)
    told.for_s(1, armed=False)
    assert told.tracker.upset.disarmed is not stands


def test_throttle_that_eases_as_a_climb_ends_stands_on_nothing() -> None:
    """To stop climbing takes less throttle, so a hover after it is no ground: disarmed there it falls."""
    told = hovering(40.0)
    told.climb(2.0, throttle_pct=50, mode="land")
    told.climb(3.5, throttle_pct=60)
    for throttle_pct in (52, 51, 52, 52, 52):
        told.for_s(0.4, throttle_pct=throttle_pct, climb_m_s=0.0)
    told.for_s(1, armed=False)
    assert told.tracker.upset.disarmed


@pytest.mark.parametrize(("rate_m_s", "sinking_pct"), [(2.2, 60), (0.9, 50)])
def test_throttle_that_eases_after_a_descent_or_its_stop_stands_on_nothing(
    rate_m_s: float, sinking_pct: int
) -> None:
    """A fast descent through its own wash takes more than a hover (vortex ring), and stopping any does."""
    told = hovering(40.0)
    told.climb(HIGH_M + 0.5, rate_m_s=rate_m_s, throttle_pct=sinking_pct, mode="land")
    told.for_s(0.3, throttle_pct=60, climb_m_s=-0.4)
    for hover_pct in (52, 50, 50, 50):
        told.for_s(0.4, throttle_pct=hover_pct, climb_m_s=0.0)
    told.for_s(1, armed=False)
    assert told.tracker.upset.disarmed


def test_throttle_that_falls_in_a_long_hover_stands_on_nothing() -> None:
    """A load is put down: a third less to carry, and still in the air when it is disarmed."""
    told = hovering(40.0)
    told.climb(HIGH_M + 0.5, rate_m_s=0.6, throttle_pct=50, mode="land")
    told.for_s(20, throttle_pct=50, climb_m_s=0.0)
    told.for_s(3, throttle_pct=38)
    told.for_s(1, armed=False)
    assert told.tracker.upset.disarmed


def test_the_landed_state_far_up_has_to_hold_and_then_counts() -> None:
    told = on_the_ground(landed=ON_GROUND)
    told.for_s(3, armed=True)
    told.for_s(1, landed=IN_AIR)
    told.climb(30.0)
    assert told.for_s(3, landed=ON_GROUND) == "airborne"
    assert told.for_s(2) == "landed"  # a roof


def test_come_down_on_higher_ground_after_a_disarming() -> None:
    told = hovering(60.0)
    told.for_s(0.1, armed=False, throttle_pct=0)
    assert told.tracker.upset.disarmed
    told.for_s(30)
    assert told.tracker.phase == "airborne"  # not come down at all
    told.climb(20.0, rate_m_s=10.0)
    assert told.for_s(6, climb_m_s=0.0) == "landed"


@pytest.mark.parametrize("name", RECORDINGS)
def test_no_recording_has_either(name: str, require_data: RequireData) -> None:
    engine, happened = replay(require_data(f"flights/{name}.tlog"), shipped())
    raised = {rule for _, rule, _, _ in alerts(happened)}
    assert not raised & {"restarted-in-flight", "disarmed-in-air"}
    for system in engine.systems():
        assert engine.readings(system)["flight.restarted"] is False
        assert engine.readings(system)["flight.disarmed_in_air"] is False


def test_the_crew_hears_it_and_silence_is_then_a_lost_link() -> None:
    from tests.test_engine import T0, Plane, fly  # noqa: PLC0415  # two test modules share one simulated aircraft
    from watchkeeper.engine import Engine  # noqa: PLC0415

    engine = Engine(shipped())
    plane = Plane(boot_s=500)
    happened = fly(engine, [plane], 0, 20)
    plane.boot_s = -20.9
    plane.armed, plane.landed = False, 1
    happened += fly(engine, [plane], 21, 35)
    happened += engine.tick(T0 + 200)
    told = alerts(happened)
    raised = [rule for _, rule, _, change in told if change == "raised"]
    assert raised.count("disarmed-in-air") == 1
    assert raised.count("restarted-in-flight") == 1
    assert "link-lost" in raised
    assert "aircraft-silent" not in raised
    assert engine.systems() == [7]


@pytest.mark.parametrize(("rate_m_s", "stands"), [(1.27, True), (1.6, True), (2.1, False)])
def test_a_landing_at_more_than_a_metre_a_second_stands_as_well(rate_m_s: float, stands: bool) -> None:
    """A height off by 3 m, throttle from 49 to 34 % in two seconds, disarmed: after a slow descent it stands."""
    told = hovering(40.0)
    told.climb(HIGH_M + 0.5, rate_m_s=rate_m_s, throttle_pct=49, mode="land", landed=LANDING)
    for pct in (40, 40, 39, 38, 37, 36, 35, 34):
        told.for_s(0.25, throttle_pct=pct, climb_m_s=0.0)
    told.for_s(0.2, armed=False)  # the throttle as last told
    assert told.tracker.upset.disarmed is not stands
