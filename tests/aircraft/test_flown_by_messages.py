"""Whole flights told by messages alone: with and without landed state, with and without throttle."""

from __future__ import annotations

import itertools

import pytest
from pymavlink import mavutil
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import HOME, QUADROTOR, Flight
from tests.aircraft.test_real_flights import RADIO, phases
from tests.conftest import RequireData

MODE = mavutil.mode_mapping_byname(QUADROTOR)
LATITUDE, LONGITUDE = (round(degrees * 1e7) for degrees in HOME)
GROUND, AIR, TAKE_OFF, LANDING = range(1, 5)  # MAV_LANDED_STATE


class Flown(Flight):
    """Moves up and down at home; notes every phase with its time."""

    def __init__(self, *, landed_state: bool = False, throttle: bool = True) -> None:
        super().__init__()
        self.landed_state = landed_state
        self.throttle = throttle
        self.armed = False
        self.mode = "STABILIZE"
        self.landed = GROUND
        self.height_m = 0.0
        self.found: list[tuple[float, str]] = []

    def fly(self, seconds: float, climb_m_s: float = 0.0, throttle_pct: int = 0, speed_m_s: float = 0.0) -> str:
        for step in range(round(seconds * 4)):
            self.wait(0.25)
            self.height_m = max(0.0, self.height_m + climb_m_s * 0.25)
            if step % 4 == 0:
                self.gps()
                self.beat(armed=self.armed, mode=MODE[self.mode])
                if self.landed_state:
                    self.send("EXTENDED_SYS_STATE", landed_state=self.landed)
            millimetres = round(self.height_m * 1000)
            self.send(
                "GLOBAL_POSITION_INT", time_boot_ms=self.boot_ms, lat=LATITUDE, lon=LONGITUDE,
                alt=millimetres + 100_000, relative_alt=millimetres, vx=round(speed_m_s * 100),
                vz=round(-climb_m_s * 100),
            )  # fmt: skip
            if self.throttle:
                self.send(
                    "VFR_HUD", climb=climb_m_s, groundspeed=speed_m_s, throttle=throttle_pct,
                    alt=100 + self.height_m,
                )  # fmt: skip
            phase = self.read("flight.phase")
            if not self.found or self.found[-1][1] != phase:
                self.found.append((self.now_us / 1e6, phase))
        return self.found[-1][1]

    def take_off(self) -> None:
        self.fly(3)
        self.armed = True
        self.fly(4, 0.0, 8)
        self.landed = TAKE_OFF
        self.fly(1, 0.5, 45)
        self.fly(10, 2.0, 55)
        self.landed = AIR
        self.fly(10, 0.0, 45)

    @property
    def words(self) -> list[str]:
        return [phase for _, phase in self.found]


KINDS = [*itertools.product((False, True), (False, True))]


@pytest.mark.parametrize(("landed_state", "throttle"), KINDS)
def test_out_return_and_home(landed_state: bool, throttle: bool) -> None:
    flown = Flown(landed_state=landed_state, throttle=throttle)
    flown.take_off()
    flown.mode = "RTL"
    flown.fly(3, 1.0, 50)
    flown.fly(10, 0.0, 45, 5.0)
    flown.fly(4, 0.0, 45)
    flown.landed = LANDING
    flown.fly(10, -1.0, 40)
    flown.fly(flown.height_m / 0.5, -0.5, 35)
    flown.landed = GROUND
    flown.fly(4)
    flown.armed = False
    flown.fly(3)
    assert flown.words == ["on_ground", "armed", "taking_off", "airborne", "returning", "landing", "landed"]
    for (begin_s, phase), (end_s, _) in itertools.pairwise(flown.found):
        assert end_s - begin_s >= 1 or phase in {"armed", "taking_off"}
    flown.armed = True
    assert flown.fly(2, 0.0, 8) == "armed"
    flown.armed = False
    assert flown.fly(2) == "on_ground"


@pytest.mark.parametrize(("landed_state", "throttle"), KINDS)
def test_motors_cut_and_started_again_in_the_air(landed_state: bool, throttle: bool) -> None:
    flown = Flown(landed_state=landed_state, throttle=throttle)
    flown.take_off()
    home = flown.aircraft.home
    flown.armed = False
    assert flown.fly(1, -4.0) == "airborne"
    flown.armed = True
    flown.fly(1, -2.0, 70)
    assert flown.fly(5, 0.0, 45) == "airborne"
    assert flown.aircraft.home == home
    flown.armed = False
    assert flown.fly(1, -6.0) == "airborne"
    flown.fly(flown.height_m / 10, -10.0)
    flown.landed = GROUND
    assert flown.fly(4) == "landed"


def test_arming_in_the_air_does_not_move_home() -> None:
    flown = Flown()
    flown.take_off()
    assert flown.read("position.home_source") == "arming"
    flown.send("GLOBAL_POSITION_INT", lat=LATITUDE + 100_000, lon=LONGITUDE, relative_alt=20_000)
    assert flown.read("position.home_distance") > 1000
    flown.beat(armed=False)
    flown.beat(armed=True)
    assert flown.aircraft.home == HOME
    assert flown.read("position.home_distance") > 1000


@pytest.mark.parametrize(("landed_state", "throttle"), KINDS)
@pytest.mark.parametrize("message", ["MISSION_ITEM", "MISSION_ITEM_INT"])
def test_a_return_as_the_last_item_of_a_plan(message: str, landed_state: bool, throttle: bool) -> None:
    flown = Flown(landed_state=landed_state, throttle=throttle)
    flown.send("MISSION_COUNT", count=2)
    flown.take_off()
    where = {"x": LATITUDE, "y": LONGITUDE} if message.endswith("INT") else {}
    flown.send(message, seq=0, command=dialect.MAV_CMD_NAV_WAYPOINT, **where)
    flown.send(message, seq=1, command=dialect.MAV_CMD_NAV_RETURN_TO_LAUNCH)
    flown.mode = "AUTO"
    flown.send("MISSION_CURRENT", seq=0)
    assert flown.fly(5, 0.0, 45, 5.0) == "airborne"
    flown.send("MISSION_CURRENT", seq=1)
    assert flown.fly(5, 0.0, 45, 5.0) == "returning"
    flown.landed = LANDING
    flown.fly(flown.height_m, -1.0, 40)
    flown.landed = GROUND
    flown.fly(4)
    assert flown.words[-3:] == ["returning", "landing", "landed"]


def test_a_landed_state_that_stops_coming_leaves_it_to_height_and_throttle() -> None:
    flown = Flown(landed_state=True)
    flown.take_off()
    flown.landed_state = False
    assert flown.fly(60, 0.0, 45, 3.0) == "airborne"
    flown.fly(flown.height_m, -1.0, 40)
    assert flown.fly(4) == "landed"


def test_the_phase_is_kept_through_a_silence() -> None:
    flown = Flown()
    flown.take_off()
    flown.wait(300)
    assert flown.read("flight.phase") == "airborne"
    assert flown.fly(5, 0.0, 45, 3.0) == "airborne"


@pytest.mark.parametrize("name", ["quad-3s-five-flights", *RADIO, "quad-return-61m"])
def test_no_phase_flaps_in_a_real_flight(name: str, require_data: RequireData) -> None:
    found = phases(require_data(f"flights/{name}.tlog"))
    for (begin_s, phase), (end_s, _) in itertools.pairwise(found):
        assert end_s - begin_s >= 1 or phase in {"armed", "taking_off"}, (begin_s, phase)
