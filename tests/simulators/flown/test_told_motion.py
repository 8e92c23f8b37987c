"""Messages of motion and position, decoded by pymavlink, against the state they tell (scales: facts.md 9)."""

from __future__ import annotations

import math

import pytest
from geographiclib.geodesic import Geodesic

from simulators.flown.flight import SimulatedFlight
from simulators.flown.telemetry import RATES_HZ
from simulators.onboard.modes import Mode
from simulators.onboard.sensors import SensorErrors
from tests.simulators.flown.telling import cruising, flying, standing, told
from tests.simulators.onboard.flying import LATITUDE, LONGITUDE, item, setup

ALTITUDE_M = 320.0
BOOT_MS = 40_000


def boot_ms(flight: SimulatedFlight) -> float:
    return flight.time_s * 1000 + BOOT_MS


def unix_us(flight: SimulatedFlight) -> int:
    return round(flight.setup.start.timestamp() * 1e6 + flight.time_s * 1e6)


def test_every_message_it_can_send_is_sent_and_decoded() -> None:
    flight = cruising()
    for name in RATES_HZ:
        assert told(flight, name), name


def test_global_position() -> None:
    flight = cruising()
    [told_now] = told(flight, "GLOBAL_POSITION_INT")
    sensors, home = flight.pilot.sensors, flight.pilot.home
    way = Geodesic.WGS84.Inverse(LATITUDE, LONGITUDE, told_now.lat / 1e7, told_now.lon / 1e7)
    north = way["s12"] * math.cos(math.radians(way["azi1"]))
    east = way["s12"] * math.sin(math.radians(way["azi1"]))
    assert (north, east) == pytest.approx((sensors.north_m, sensors.east_m), abs=0.02)  # 1e-7 degrees are 1.1 cm
    assert told_now.alt == pytest.approx(1000 * (ALTITUDE_M + sensors.height_m), abs=0.6)
    assert told_now.relative_alt == pytest.approx(1000 * (sensors.height_m - home[2]), abs=0.6)
    assert told_now.vx == pytest.approx(100 * sensors.north_m_s, abs=0.6)
    assert told_now.vy == pytest.approx(100 * sensors.east_m_s, abs=0.6)
    assert told_now.vz == pytest.approx(-100 * sensors.climb_m_s, abs=0.6)  # down is positive
    assert told_now.hdg == pytest.approx(100 * math.degrees(sensors.heading_rad), abs=0.6)
    assert told_now.time_boot_ms == pytest.approx(boot_ms(flight), abs=0.6)
    assert told_now.vx > 100
    assert told_now.vy > 100


def test_a_climb_is_told_as_negative_down() -> None:
    flight = flying()
    flight.pilot.go_to((0.0, 0.0, 100.0))
    for _ in range(200):
        flight.fly()
    [position] = told(flight, "GLOBAL_POSITION_INT")
    [hud] = told(flight, "VFR_HUD")
    assert position.vz == pytest.approx(-250, abs=15)
    assert hud.climb == pytest.approx(2.5, abs=0.15)


@pytest.mark.parametrize("heading_deg", [0.0, 359.9999, 90.0, 181.0])
def test_headings_stay_within_the_circle(heading_deg: float) -> None:
    flight = standing(setup())
    flight.craft.heading_rad = math.radians(heading_deg)
    [position] = told(flight, "GLOBAL_POSITION_INT")
    [hud] = told(flight, "VFR_HUD")
    [attitude] = told(flight, "ATTITUDE")
    assert 0 <= position.hdg < 36000  # 65535 would be unknown
    assert math.remainder(position.hdg / 100 - heading_deg, 360) == pytest.approx(0, abs=0.006)
    assert 0 <= hud.heading < 360
    assert -math.pi <= attitude.yaw <= math.pi
    assert math.remainder(math.degrees(attitude.yaw) - heading_deg, 360) == pytest.approx(0, abs=1e-3)


def test_attitude_is_told_with_its_errors_in_radians() -> None:
    errors = SensorErrors(
        math.radians(1.2),
        math.radians(-0.8),
        math.radians(3.0),
        position_m=0.0,
        velocity_m_s=0.0,
        attitude_rad=0.0,
    )
    flight = flying(setup(errors=errors, wind_m_s=7.0, from_deg=0.0))
    [told_now] = told(flight, "ATTITUDE")
    sensors, craft = flight.pilot.sensors, flight.craft
    assert (told_now.roll, told_now.pitch) == pytest.approx((sensors.roll_rad, sensors.pitch_rad), abs=1e-6)
    assert told_now.pitch < -math.radians(2)  # nose down into the wind from ahead
    true_pitch = -math.atan2(craft.tilt_north, math.sqrt(1 - craft.tilt_north**2 - craft.tilt_east**2))
    assert math.degrees(told_now.pitch - true_pitch) == pytest.approx(-0.8, abs=0.05)
    assert math.degrees(told_now.yaw) == pytest.approx(3.0, abs=0.01)


def test_attitude_noise() -> None:
    flight = standing(setup(errors=SensorErrors(attitude_rad=0.004)))
    pitches = [told(flight, "ATTITUDE")[0].pitch for _ in range(600)]
    mean = sum(pitches) / len(pitches)
    spread = math.sqrt(sum((one - mean) ** 2 for one in pitches) / len(pitches))
    assert spread == pytest.approx(0.004, rel=0.12)
    assert mean == pytest.approx(0.0, abs=0.0007)


def test_head_up_display() -> None:
    flight = cruising()
    [told_now] = told(flight, "VFR_HUD")
    sensors = flight.pilot.sensors
    speed = math.hypot(sensors.north_m_s, sensors.east_m_s)
    assert told_now.groundspeed == pytest.approx(speed, abs=1e-4)
    assert told_now.alt == pytest.approx(ALTITUDE_M + sensors.height_m, abs=1e-3)  # above sea
    assert told_now.climb == pytest.approx(sensors.climb_m_s, abs=1e-5)
    assert told_now.throttle == pytest.approx(100 * flight.craft.drive.throttle, abs=0.6)
    assert 20 < told_now.throttle < 90


def test_satellite_fix() -> None:
    flight = cruising()
    [told_now] = told(flight, "GPS_RAW_INT")
    fix = flight.pilot.sensors.fix
    latitude, longitude = flight.pilot.field.degrees(fix.north_m, fix.east_m)
    assert (told_now.lat, told_now.lon) == pytest.approx((latitude * 1e7, longitude * 1e7), abs=0.6)
    assert told_now.alt == pytest.approx(1000 * (ALTITUDE_M + fix.height_m), abs=0.6)
    assert told_now.vel == pytest.approx(100 * math.hypot(fix.north_m_s, fix.east_m_s), abs=0.6)
    course = math.degrees(math.atan2(fix.east_m_s, fix.north_m_s)) % 360
    assert told_now.cog == pytest.approx(100 * course, abs=0.6)
    assert told_now.fix_type == 3
    assert 22 <= told_now.satellites_visible <= 26
    assert (told_now.eph, told_now.time_usec) == (70, unix_us(flight))


def test_satellite_noise_and_latency_as_a_client_measures_them() -> None:
    """Against the truth, along the track of a straight flight: late by the latency, noisy by the deviation."""
    errors = SensorErrors(height_walk_m=0.0, position_m=0.5, position_memory_s=2.0, latency_s=0.3)
    flight = cruising(setup(errors=errors))
    along, across = [], []
    for _ in range(400):
        for _ in range(6):
            flight.fly()
        [fix] = told(flight, "GPS_RAW_INT")
        craft = flight.craft
        north, east = flight.pilot.field.metres(fix.lat / 1e7, fix.lon / 1e7)
        speed = math.hypot(craft.north_m_s, craft.east_m_s)
        ahead = (craft.north_m_s / speed, craft.east_m_s / speed)
        off = (craft.north_m - north, craft.east_m - east)
        along.append((off[0] * ahead[0] + off[1] * ahead[1]) / speed)
        across.append(off[1] * ahead[0] - off[0] * ahead[1])
    assert speed == pytest.approx(9.0, abs=0.3)
    assert sum(along) / len(along) == pytest.approx(0.3 + 0.05 + 0.02, abs=0.04)  # and half a period and a step
    spread = math.sqrt(sum(one**2 for one in across) / len(across))
    assert spread == pytest.approx(0.5, rel=0.3)  # some 30 s of 2 s memory


def test_course_is_unknown_at_rest() -> None:
    [told_now] = told(flying(), "GPS_RAW_INT")
    assert told_now.cog == 65535
    assert told_now.vel < 100


def test_a_lost_position_is_told_as_such() -> None:
    flight = cruising()
    flight.pilot.sensors.has_fix = False
    for _ in range(50):
        flight.fly()
    [fix] = told(flight, "GPS_RAW_INT")
    assert (fix.fix_type, fix.satellites_visible, fix.vel, fix.cog) == (1, 0, 65535, 65535)  # GPS_FIX_TYPE_NO_FIX
    [status] = told(flight, "SYS_STATUS")
    assert status.onboard_control_sensors_present & 32  # MAV_SYS_STATUS_SENSOR_GPS
    assert not status.onboard_control_sensors_health & 32
    [estimator] = told(flight, "ESTIMATOR_STATUS")
    assert not estimator.flags & (8 | 16 | 512)  # ESTIMATOR_POS_HORIZ_REL, _ABS, _PRED_POS_HORIZ_ABS
    assert estimator.flags & 128  # ESTIMATOR_CONST_POS_MODE
    assert math.isnan(estimator.pos_horiz_accuracy)
    flight.pilot.sensors.has_fix = True
    for _ in range(50):
        flight.fly()
    [fix], [estimator] = told(flight, "GPS_RAW_INT"), told(flight, "ESTIMATOR_STATUS")
    assert (fix.fix_type, bool(estimator.flags & 16)) == (3, True)


def test_local_position_is_down_positive() -> None:
    flight = cruising()
    [told_now] = told(flight, "LOCAL_POSITION_NED")
    sensors = flight.pilot.sensors
    assert (told_now.x, told_now.y, told_now.z) == pytest.approx(
        (sensors.north_m, sensors.east_m, -sensors.height_m), abs=1e-3
    )
    assert (told_now.vx, told_now.vy, told_now.vz) == pytest.approx(
        (sensors.north_m_s, sensors.east_m_s, -sensors.climb_m_s), abs=1e-5
    )


def test_home_is_told_once_it_is_set() -> None:
    flight = standing()
    assert told(flight, "HOME_POSITION") == []
    flight.pilot.set_home((30.0, -20.0, 2.0))
    [home] = told(flight, "HOME_POSITION")
    assert (home.latitude / 1e7, home.longitude / 1e7) == pytest.approx(flight.pilot.field.degrees(30.0, -20.0))
    assert home.altitude == 322_000  # mm above sea
    assert (home.x, home.y, home.z) == (30.0, -20.0, -2.0)
    assert all(math.isnan(one) for one in (home.approach_x, home.approach_y, home.approach_z))
    assert home.time_usec == unix_us(flight)


def test_where_it_flies_to_in_every_mode() -> None:
    flight = cruising()
    pilot = flight.pilot

    def aim(north: float, east: float, up: float) -> None:
        [told_now] = told(flight, "NAV_CONTROLLER_OUTPUT")
        sensors = pilot.sensors
        north, east = north - sensors.north_m, east - sensors.east_m
        assert told_now.wp_dist == pytest.approx(math.hypot(north, east), abs=0.6)
        bearing = math.degrees(math.atan2(east, north))
        assert math.remainder(told_now.target_bearing - bearing, 360) == pytest.approx(0, abs=0.6)
        assert told_now.alt_error == pytest.approx(up - sensors.height_m, abs=0.01)
        assert told_now.nav_pitch == pytest.approx(math.degrees(sensors.pitch_rad), abs=1e-3)

    aim(900.0, 500.0, 60.0)
    pilot.load_plan([item(16, 80.0, -60.0, 30.0)])
    pilot.start_plan()
    flight.fly()
    aim(80.0, -60.0, pilot.home[2] + 30.0)
    pilot.enter(Mode.SAFE_RECOVERY, "order")
    flight.fly()
    aim(pilot.home[0], pilot.home[1], pilot.aim[2])
    pilot.land_there((70.0, 70.0), "order")
    flight.fly()
    aim(70.0, 70.0, pilot.home[2])


def test_far_places_do_not_overflow_the_distance() -> None:
    flight = flying()
    flight.pilot.go_to((90_000.0, 0.0, 20.0))
    [told_now] = told(flight, "NAV_CONTROLLER_OUTPUT")
    assert told_now.wp_dist == 65535


def test_wind_is_told_by_where_it_blows_to() -> None:
    # WIND_COV (facts.md 9): along north and east, so blowing-to; unknown parts not-a-number
    flight = flying(setup(wind_m_s=8.0, from_deg=270.0))
    [told_now] = told(flight, "WIND_COV")
    assert told_now.wind_y == pytest.approx(0.92 * flight.craft.wind_east_m_s, abs=0.05)
    assert abs(told_now.wind_x) < 0.5
    assert math.isnan(told_now.wind_z)


def test_wind_follows_a_change_late_whatever_its_rate() -> None:
    flight = flying(setup(wind_m_s=8.0, from_deg=270.0))
    told(flight, "WIND_COV")
    flight.craft.wind = flying(setup(wind_m_s=0.0)).craft.wind
    before = told(flight, "WIND_COV")[0].wind_y
    for _ in range(500):
        flight.fly()
    after = told(flight, "WIND_COV")[0].wind_y
    assert after / before == pytest.approx(math.exp(-1), abs=0.02)  # 10 s, asked once
    assert after > 2.0


@pytest.mark.parametrize("height_m", [20.0, 100.0])
def test_pressure_is_that_of_the_height(height_m: float) -> None:
    # ISO 2533: p = 1013.25 (1 - 0.0065 h / 288.15) ^ 5.25588 hPa; the field is 320 m above sea
    flight = flying(setup(), height_m=height_m)
    [told_now] = told(flight, "SCALED_PRESSURE")
    above_sea_m = ALTITUDE_M + flight.pilot.sensors.height_m
    assert told_now.press_abs == pytest.approx(1013.25 * (1 - 0.0065 * above_sea_m / 288.15) ** 5.25588, abs=1.0)


def test_clocks() -> None:
    flight = standing()
    [told_now] = told(flight, "SYSTEM_TIME")
    assert told_now.time_unix_usec == unix_us(flight)
    assert told_now.time_boot_ms == pytest.approx(boot_ms(flight), abs=0.6)


def test_shaking_grows_with_the_motors() -> None:
    [still], [moving] = told(standing(), "VIBRATION"), told(flying(), "VIBRATION")
    assert 0.5 < still.vibration_x < 1.6
    assert 4 < moving.vibration_x < 30  # m/s2
    assert moving.clipping_0 == 0


def test_landed_states_and_a_fall() -> None:
    flight = flying()
    assert told(flight, "EXTENDED_SYS_STATE")[0].landed_state == 2  # in the air
    flight.pilot.disarm(force=True)
    assert told(flight, "EXTENDED_SYS_STATE")[0].landed_state == 2
    assert told(flight, "HEARTBEAT")[0].system_status == 6  # MAV_STATE_EMERGENCY
    for _ in range(500):
        flight.fly()
    [told_now] = told(flight, "EXTENDED_SYS_STATE")
    assert (told_now.landed_state, told_now.vtol_state) == (1, 0)
