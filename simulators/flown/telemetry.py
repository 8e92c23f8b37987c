"""The aircraft's state as MAVLink frames: scales and sentinels of common.xml, values in wire order."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping
from typing import Final

from simulators.onboard.autopilot import Autopilot
from simulators.onboard.command import Sticks
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.sticks import heard
from simulators.wire.packing import Sender, kind

RATES_HZ: Final[Mapping[str, float]] = {
    "HEARTBEAT": 1.0, "SYS_STATUS": 1.0, "ATTITUDE": 10.0, "GLOBAL_POSITION_INT": 5.0, "VFR_HUD": 4.0,
    "GPS_RAW_INT": 2.0, "BATTERY_STATUS": 1.0, "MISSION_CURRENT": 1.0, "CURRENT_MODE": 0.5,
    "EXTENDED_SYS_STATE": 1.0, "HOME_POSITION": 0.2, "RC_CHANNELS": 2.0, "ESTIMATOR_STATUS": 1.0,
    "SYSTEM_TIME": 1.0, "VIBRATION": 1.0, "SCALED_PRESSURE": 1.0, "SERVO_OUTPUT_RAW": 1.0, "FENCE_STATUS": 1.0,
    "NAV_CONTROLLER_OUTPUT": 1.0, "LOCAL_POSITION_NED": 0.0, "WIND_COV": 0.0, "AUTOPILOT_VERSION": 0.0,
    "AVAILABLE_MODES": 0.0,
}  # fmt: skip
"""Rates as usual on a telemetry radio (common practice). With 0 only on request."""
CAPABILITIES: Final = 4 | 8 | 8192 | 16384 | 32768 | 131072
"""Missions and commands with integer positions, MAVLink 2, fence and safe points, parameters as C casts."""
TYPES: Final[Mapping[int, int]] = {4: 2, 6: 13, 8: 14}
"""MAV_TYPE by number of rotors."""
_ARMED, _CUSTOM = 128, 1
_STANDBY, _ACTIVE, _CRITICAL, _EMERGENCY = 3, 4, 5, 6  # MAV_STATE
_SENSORS: Final = 1 | 2 | 4 | 8 | 32 | 32768 | 65536 | 1 << 25
_GPS: Final = 32
_RECEIVER: Final = 65536
_MOST_CA: Final = 32767
_UNKNOWN: Final = 65535
_CHARGE_STATES: Final = (1, 2, 3, 4)  # MAV_BATTERY_CHARGE_STATE: ok, low, critical, emergency
_MODE_NAMES: Final = {mode: mode.words.encode() for mode in Mode}
_LEAST_COURSE_M_S: Final = 1.0
_MIDDLE: Final = Sticks(0.0, 0.0, 0.0, 0.0, 0.0)
_WIND_SHOWN: Final = 0.92
_WIND_LAG_S: Final = 10.0

_HEARTBEAT = kind("HEARTBEAT")
_SYS_STATUS = kind("SYS_STATUS")
_ATTITUDE = kind("ATTITUDE")
_POSITION = kind("GLOBAL_POSITION_INT")
_HUD = kind("VFR_HUD")
_GPS_RAW = kind("GPS_RAW_INT")
_BATTERY = kind("BATTERY_STATUS")
_MISSION = kind("MISSION_CURRENT")
_REACHED = kind("MISSION_ITEM_REACHED")
_MODE = kind("CURRENT_MODE")
_STATE = kind("EXTENDED_SYS_STATE")
_HOME = kind("HOME_POSITION")
_CHANNELS = kind("RC_CHANNELS")
_ESTIMATOR = kind("ESTIMATOR_STATUS")
_TIME = kind("SYSTEM_TIME")
_VIBRATION = kind("VIBRATION")
_PRESSURE = kind("SCALED_PRESSURE")
_SERVOS = kind("SERVO_OUTPUT_RAW")
_FENCE = kind("FENCE_STATUS")
_NAVIGATION = kind("NAV_CONTROLLER_OUTPUT")
_LOCAL = kind("LOCAL_POSITION_NED")
_WIND = kind("WIND_COV")
_VERSION = kind("AUTOPILOT_VERSION")
_MODES = kind("AVAILABLE_MODES")
_TEXT = kind("STATUSTEXT")


class Telemetry:
    """Builds each message when it is due."""

    def __init__(self, pilot: Autopilot, sender: Sender, start_unix_us: int, altitude_m: float, seed: str) -> None:
        """`altitude_m` is that of the field above sea level, `start_unix_us` when the flight's clock starts."""
        self._pilot = pilot
        self._sender = sender
        self._start_us = start_unix_us
        self._altitude_m = altitude_m
        self._dice = random.Random(seed)
        self._wind: tuple[float, float, float] | None = None
        self._built: Final[Mapping[str, Callable[[], bytes]]] = {
            "HEARTBEAT": self._heartbeat, "SYS_STATUS": self._sys_status, "ATTITUDE": self._attitude,
            "GLOBAL_POSITION_INT": self._position, "VFR_HUD": self._hud, "GPS_RAW_INT": self._gps,
            "MISSION_CURRENT": self._mission, "CURRENT_MODE": self._mode, "EXTENDED_SYS_STATE": self._state,
            "HOME_POSITION": self._home, "RC_CHANNELS": self._channels, "ESTIMATOR_STATUS": self._estimator,
            "SYSTEM_TIME": self._time, "VIBRATION": self._vibration, "SCALED_PRESSURE": self._pressure,
            "SERVO_OUTPUT_RAW": self._servos, "FENCE_STATUS": self._fence,
            "NAV_CONTROLLER_OUTPUT": self._navigation, "LOCAL_POSITION_NED": self._local,
            "WIND_COV": self._wind_cov, "AUTOPILOT_VERSION": self._version,
        }  # fmt: skip

    def frames(self, name: str) -> list[bytes]:
        """Return the frames of a message; a message about packs has one for each. KeyError."""
        if name == "BATTERY_STATUS":
            return [self._battery(i) for i in range(len(self._pilot.gauges.monitors))]
        if name == "AVAILABLE_MODES":
            return [self.available_mode(i) for i in range(1, len(Mode) + 1)]
        if name == "HOME_POSITION" and not self._pilot.home_set:
            return []
        return [self._built[name]()]

    def events(self) -> list[bytes]:
        """Return what is told once: status texts and plan items reached since the last call."""
        pilot = self._pilot
        if not pilot.texts and not pilot.route.reached:
            return []
        frames = [self._sender.frame(_TEXT, severity, text.encode()[:50], 0, 0) for severity, text in pilot.texts]
        frames += [self._sender.frame(_REACHED, item) for item in pilot.route.reached]
        pilot.texts.clear()
        pilot.route.reached.clear()
        return frames

    @property
    def _boot_ms(self) -> int:
        return int((self._pilot.craft.time_s - self._pilot.booted_s) * 1000 + 0.5)

    @property
    def _unix_us(self) -> int:
        return self._start_us + int(self._pilot.craft.time_s * 1e6 + 0.5)

    def _heartbeat(self) -> bytes:
        pilot = self._pilot
        state = _ACTIVE if pilot.armed else _STANDBY
        if pilot.craft.crashed or (not pilot.armed and not pilot.craft.on_ground):
            state = _EMERGENCY
        elif any(guard.acted for guard in pilot.guards.low) and pilot.armed:
            state = _CRITICAL
        base = _CUSTOM | (_ARMED if pilot.armed else 0)
        kind_of = TYPES.get(pilot.craft.airframe.rotors, 2)
        return self._sender.frame(_HEARTBEAT, int(pilot.mode), kind_of, 0, base, state, 3)

    def _sys_status(self) -> bytes:
        pilot, gauges = self._pilot, self._pilot.gauges
        health = _SENSORS
        if not pilot.sensors.has_fix:
            health &= ~_GPS
        if not pilot.control_link:
            health &= ~_RECEIVER
        return self._sender.frame(
            _SYS_STATUS, _SENSORS, _SENSORS, health, 320, min(_UNKNOWN - 1, round(gauges.voltage_v * 1000)),
            min(_MOST_CA, round(gauges.current_a * 100)), 0, 0, 0, 0, 0, 0, round(gauges.left_pct), 0, 0, 0,
        )  # fmt: skip

    def _attitude(self) -> bytes:
        pilot = self._pilot
        sensors = pilot.sensors
        noise, gauss = sensors.errors.attitude_rad, self._dice.gauss
        heading = sensors.heading_rad
        yaw = heading - math.tau if heading > math.pi else heading
        return self._sender.frame(
            _ATTITUDE, self._boot_ms, sensors.roll_rad + noise * gauss(0.0, 1.0),
            sensors.pitch_rad + noise * gauss(0.0, 1.0), yaw, noise * gauss(0.0, 1.0), noise * gauss(0.0, 1.0),
            pilot.craft.turn_rad_s,
        )  # fmt: skip

    def _position(self) -> bytes:
        pilot = self._pilot
        sensors = pilot.sensors
        latitude, longitude = pilot.field.degrees(sensors.north_m, sensors.east_m)
        return self._sender.frame(
            _POSITION, self._boot_ms, round(latitude * 1e7), round(longitude * 1e7),
            round((self._altitude_m + sensors.height_m) * 1000), round((sensors.height_m - pilot.home[2]) * 1000),
            round(sensors.north_m_s * 100), round(sensors.east_m_s * 100), round(-sensors.climb_m_s * 100),
            round(math.degrees(sensors.heading_rad) * 100) % 36000,
        )  # fmt: skip

    def _hud(self) -> bytes:
        sensors, craft = self._pilot.sensors, self._pilot.craft
        speed = math.hypot(sensors.north_m_s, sensors.east_m_s)
        return self._sender.frame(
            _HUD, speed, speed, self._altitude_m + sensors.height_m, sensors.climb_m_s,
            round(math.degrees(sensors.heading_rad)) % 360, round(100 * craft.drive.throttle),
        )  # fmt: skip

    def _gps(self) -> bytes:
        pilot = self._pilot
        sensors, fix = pilot.sensors, pilot.sensors.fix
        satellites = sensors.satellites + self._dice.choice((-1, 0, 0, 0, 1)) if sensors.has_fix else 0
        latitude, longitude = pilot.field.degrees(fix.north_m, fix.east_m)
        speed = math.hypot(fix.north_m_s, fix.east_m_s)
        shown_speed = course = _UNKNOWN
        dilution = 99.99
        if sensors.has_fix:
            dilution = sensors.dilution
            shown_speed = round(speed * 100)
            if speed > _LEAST_COURSE_M_S:
                course = round(math.degrees(math.atan2(fix.east_m_s, fix.north_m_s)) * 100) % 36000
        return self._sender.frame(
            _GPS_RAW, self._unix_us, round(latitude * 1e7), round(longitude * 1e7),
            round((self._altitude_m + fix.height_m) * 1000), round(dilution * 100), round(dilution * 140),
            shown_speed, course, 3 if sensors.has_fix else 1,
            max(0, satellites), 0, round(dilution * 900), round(dilution * 1400), round(dilution * 100), 0, 0,
        )  # fmt: skip

    def _battery(self, index: int) -> bytes:
        pilot = self._pilot
        monitor = pilot.gauges.monitors[index]
        cells = monitor.cells_mv()
        first = cells[:10] + [_UNKNOWN] * (10 - len(cells[:10]))
        beyond = cells[10:14] + [0] * (4 - len(cells[10:14]))
        acted = sum(1 for guard in pilot.guards.low if guard.acted)
        return self._sender.frame(
            _BATTERY, round(monitor.used_ah * 1000), -1, round(monitor.pack.temperature_degc * 100), *first,
            min(_MOST_CA, round(monitor.current_a * 100)), index, 1, 1, round(monitor.left_pct), 0,
            _CHARGE_STATES[acted], *beyond, 0, 0,
        )  # fmt: skip

    def _mission(self) -> bytes:
        pilot = self._pilot
        route = pilot.route
        count = len(route.items)
        mode = 0 if not count else 1 if pilot.mode is Mode.MISSION else 2
        return self._sender.frame(
            _MISSION, route.item, count or _UNKNOWN, int(route.state(pilot.mode)), mode, 0, 0, 0
        )

    def _mode(self) -> bytes:
        pilot = self._pilot
        return self._sender.frame(_MODE, int(pilot.mode), int(pilot.intended), int(pilot.mode))

    def _state(self) -> bytes:
        pilot = self._pilot
        landed = pilot.landed
        if landed is Landed.GROUND and not pilot.craft.on_ground:
            landed = Landed.AIR
        return self._sender.frame(_STATE, 0, int(landed))

    def _home(self) -> bytes:
        pilot = self._pilot
        north, east, height = pilot.home
        latitude, longitude = pilot.field.degrees(north, east)
        nan = math.nan
        return self._sender.frame(
            _HOME, round(latitude * 1e7), round(longitude * 1e7), round((self._altitude_m + height) * 1000), north,
            east, -height, 1.0, 0.0, 0.0, 0.0, nan, nan, nan, self._unix_us,
        )  # fmt: skip

    def _channels(self) -> bytes:
        pilot = self._pilot
        if not pilot.control_link:
            return self._sender.frame(_CHANNELS, self._boot_ms, *[_UNKNOWN] * 18, 0, 0)
        moved = heard(pilot) or _MIDDLE
        axes = (moved.right, -moved.forward, moved.up, moved.turn)
        channels = [1500 + round(500 * axis) for axis in axes] + [1500] * 4 + [_UNKNOWN] * 10
        return self._sender.frame(_CHANNELS, self._boot_ms, *channels, 8, 200)

    def _estimator(self) -> bytes:
        sensors = self._pilot.sensors
        placed = sensors.has_fix
        flags = 1 | 4 | 32 | (2 | 8 | 16 | 512 if placed else 128)
        ratio = 0.1 + 0.05 * abs(self._dice.gauss(0.0, 1.0))
        accuracy = sensors.dilution if placed else math.nan
        return self._sender.frame(
            _ESTIMATOR,
            self._unix_us,
            ratio,
            ratio if placed else 9.9,
            ratio,
            ratio,
            0.0,
            0.0,
            accuracy,
            1.0,
            flags,
        )

    def _time(self) -> bytes:
        return self._sender.frame(_TIME, self._unix_us, self._boot_ms)

    def _vibration(self) -> bytes:
        shake = 1.0 + 20.0 * self._pilot.craft.drive.throttle
        noise = [shake * (1 + 0.1 * self._dice.gauss(0.0, 1.0)) for _ in range(3)]
        return self._sender.frame(_VIBRATION, self._unix_us, *noise, 0, 0, 0)

    def _pressure(self) -> bytes:
        craft = self._pilot.craft
        air = craft.atmosphere
        height = self._pilot.sensors.height_m
        case_cdegc = round(air.temperature_degc(height) * 100) + 1500
        return self._sender.frame(_PRESSURE, self._boot_ms, air.pressure_pa(height) / 100, 0.0, case_cdegc, 0)

    def _servos(self) -> bytes:
        craft = self._pilot.craft
        outputs = [0] * 16
        full = craft.bank.voltage_v / craft.airframe.motor.constant_v_s
        for group in craft.drive.groups:
            for member in group.members:
                part = group.speed_rad_s / full if full > 0 else 0.0
                outputs[member] = 1000 + round(1000 * min(1.0, part))
        time_us = self._unix_us & 0xFFFFFFFF
        return self._sender.frame(_SERVOS, time_us, *outputs[:8], 0, *outputs[8:])

    def _fence(self) -> bytes:
        guards = self._pilot.guards
        since_s = max(0.0, guards.breach_s - self._pilot.booted_s)
        breach_ms = int(since_s * 1000 + 0.5) if guards.breaches else 0
        return self._sender.frame(
            _FENCE, breach_ms, min(guards.breaches, 65535), int(guards.breach != 0), guards.breach, 0
        )

    def _navigation(self) -> bytes:
        pilot = self._pilot
        sensors = pilot.sensors
        north, east, height = pilot.aim
        bearing = round(math.degrees(math.atan2(east - sensors.east_m, north - sensors.north_m)))
        distance = min(_UNKNOWN, round(pilot.guide.distance(north, east)))
        roll, pitch = math.degrees(sensors.roll_rad), math.degrees(sensors.pitch_rad)
        return self._sender.frame(
            _NAVIGATION, roll, pitch, height - sensors.height_m, 0.0, 0.0, bearing, bearing, distance
        )

    def _local(self) -> bytes:
        sensors = self._pilot.sensors
        return self._sender.frame(
            _LOCAL, self._boot_ms, sensors.north_m, sensors.east_m, -sensors.height_m, sensors.north_m_s,
            sensors.east_m_s, -sensors.climb_m_s,
        )  # fmt: skip

    def _wind_cov(self) -> bytes:
        """Return what the controller makes of the wind: late, and a little short of it."""
        craft = self._pilot.craft
        seen = (_WIND_SHOWN * craft.wind_north_m_s, _WIND_SHOWN * craft.wind_east_m_s)
        before_s, north, east = self._wind or (craft.time_s, *seen)
        fresh = 1.0 - math.exp((before_s - craft.time_s) / _WIND_LAG_S)
        north, east = north + fresh * (seen[0] - north), east + fresh * (seen[1] - east)
        self._wind = (craft.time_s, north, east)
        nan = math.nan
        return self._sender.frame(_WIND, self._unix_us, north, east, nan, 1.0, nan, nan, 1.0, nan)

    def _version(self) -> bytes:
        return self._sender.frame(_VERSION, CAPABILITIES, 0, 1 << 24, 0, 0, 0, 0, 0, *([0] * 8), *([0] * 34))

    def available_mode(self, index: int) -> bytes:
        """Return AVAILABLE_MODES of a mode, counted from 1."""
        mode = list(Mode)[index - 1]
        return self._sender.frame(_MODES, int(mode), 0, len(Mode), index, int(mode), _MODE_NAMES[mode])
