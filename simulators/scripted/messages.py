"""The fields of each message out of a scripted flight's state: scales and sentinels of MAVLink's common.xml."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from simulators.scripted.electric import ParallelPacks
from simulators.scripted.motion import Moment

Fields = dict[str, Any]

HEXAROTOR: Final = 13
GENERIC: Final = 0
STANDARD_MODES: Final[Mapping[str, int]] = {
    "position_hold": 1, "altitude_hold": 4, "safe_recovery": 5, "mission": 6, "land": 7, "takeoff": 8,
}  # fmt: skip
"""MAV_STANDARD_MODE. This aircraft numbers its own modes the same."""
LANDED: Final[Mapping[str, int]] = {"ground": 1, "air": 2, "takeoff": 3, "landing": 4}
"""MAV_LANDED_STATE."""
STATION_HEARTBEAT: Final[Fields] = {"type": 6, "autopilot": 8, "system_status": 4, "mavlink_version": 3}
CAPABILITIES: Final = 131072 | 8192 | 4
"""Parameters as C casts, MAVLink 2, missions with integer positions."""
_ARMED: Final = 128
_CUSTOM_MODE: Final = 1
_SENSORS: Final = 1 | 2 | 4 | 8 | 32 | 32768 | 65536 | 1 << 25
"""Gyroscope, accelerometer, compass, barometer, GPS, motors, receiver, battery."""
_MOST_CA: Final = 32767
_LEAST_SATELLITES: Final = 5
_NO_COURSE: Final = 65535
_STEPS_PER_DB: Final = 1.9
_NOISE_STEPS: Final = 45
_MOST_STEPS: Final = 254
_PLAN_NONE, _PLAN_WAITING, _PLAN_RUNS, _PLAN_PAUSED = 1, 2, 3, 4  # MISSION_STATE
_NO_PLAN: Final = 65535


def heartbeat(mode: str, *, armed: bool) -> Fields:
    """HEARTBEAT of the autopilot."""
    return {
        "type": HEXAROTOR,
        "autopilot": GENERIC,
        "base_mode": _CUSTOM_MODE | (_ARMED if armed else 0),
        "custom_mode": STANDARD_MODES[mode],
        "system_status": 4 if armed else 3,
        "mavlink_version": 3,
    }


def current_mode(mode: str) -> Fields:
    """CURRENT_MODE; the mode intended is the mode flown."""
    number = STANDARD_MODES[mode]
    return {"standard_mode": number, "custom_mode": number, "intended_custom_mode": number}


def global_position(moment: Moment, altitude_m: float, boot_ms: int) -> Fields:
    """GLOBAL_POSITION_INT: 1e-7 deg, mm, cm/s with down positive, cdeg."""
    return {
        "time_boot_ms": boot_ms,
        "lat": round(moment.latitude_deg * 1e7),
        "lon": round(moment.longitude_deg * 1e7),
        "alt": round((altitude_m + moment.height_m) * 1000),
        "relative_alt": round(moment.height_m * 1000),
        "vx": round(moment.north_m_s * 100),
        "vy": round(moment.east_m_s * 100),
        "vz": round(-moment.climb_m_s * 100),
        "hdg": round(moment.heading_deg * 100) % 36000,
    }


def hud(moment: Moment, altitude_m: float, throttle_pct: float) -> Fields:
    """VFR_HUD: m/s, m above sea level, whole degrees, %."""
    return {
        "airspeed": moment.air_speed_m_s,
        "groundspeed": moment.ground_speed_m_s,
        "alt": altitude_m + moment.height_m,
        "climb": moment.climb_m_s,
        "heading": round(moment.heading_deg) % 360,
        "throttle": round(max(0.0, min(100.0, throttle_pct))),
    }


def attitude(moment: Moment, shake_rad: tuple[float, float], boot_ms: int) -> Fields:
    """ATTITUDE in rad, yaw from -pi to pi."""
    return {
        "time_boot_ms": boot_ms,
        "roll": moment.roll_rad + shake_rad[0],
        "pitch": moment.pitch_rad + shake_rad[1],
        "yaw": math.remainder(math.radians(moment.heading_deg), math.tau),
    }


def gps(moment: Moment, altitude_m: float, satellites: float, dilution: float, time_us: int) -> Fields:
    """GPS_RAW_INT; dilutions times 100, course unknown when it hardly moves."""
    used = max(0, min(254, round(satellites)))
    speed_m_s = moment.ground_speed_m_s
    course_deg = math.degrees(math.atan2(moment.east_m_s, moment.north_m_s)) % 360
    return {
        "time_usec": time_us,
        "fix_type": 3 if used >= _LEAST_SATELLITES else 1,
        "lat": round(moment.latitude_deg * 1e7),
        "lon": round(moment.longitude_deg * 1e7),
        "alt": round((altitude_m + moment.height_m) * 1000),
        "eph": min(65534, round(dilution * 100)),
        "epv": min(65534, round(dilution * 140)),
        "vel": round(speed_m_s * 100),
        "cog": round(course_deg * 100) % 36000 if speed_m_s > 1 else _NO_COURSE,
        "satellites_visible": used,
        "h_acc": round(dilution * 900),
        "v_acc": round(dilution * 1400),
    }


def battery(packs: ParallelPacks, index: int, shake_mv: list[int], temperature_degc: float) -> Fields:
    """BATTERY_STATUS of one pack: mV with cells 11 to 14 apart, cA, mAh, cdegC."""
    pack = packs.packs[index]
    cell_mv = 1000 * packs.voltage_v / packs.cells
    cells = [round(cell_mv) + shake for shake in shake_mv]
    return {
        "id": index,
        "battery_function": 1,
        "type": 1,
        "temperature": round(temperature_degc * 100),
        "voltages": cells[:10] + [65535] * (10 - len(cells)),
        "voltages_ext": cells[10:],
        "current_battery": min(_MOST_CA, round(pack.current_a * 100)),
        "current_consumed": round(pack.used_ah * 1000),
        "energy_consumed": -1,
        "battery_remaining": max(0, round(pack.charge_pct)),
        "charge_state": 1,
    }


def system_status(packs: ParallelPacks, loss_pct: float) -> Fields:
    """SYS_STATUS: mV of the bus and cA of all packs; loss in hundredths of a per cent."""
    return {
        "onboard_control_sensors_present": _SENSORS,
        "onboard_control_sensors_enabled": _SENSORS,
        "onboard_control_sensors_health": _SENSORS,
        "load": 320,
        "voltage_battery": min(65534, round(packs.voltage_v * 1000)),
        "current_battery": min(_MOST_CA, round(packs.current_a * 100)),
        "battery_remaining": max(0, round(packs.charge_pct)),
        "drop_rate_comm": round(loss_pct * 100),
    }


def wind(moment: Moment) -> Fields:
    """WIND_COV: the air's motion along north and east; what is not known is NaN."""
    return {
        "wind_x": moment.wind_north_m_s,
        "wind_y": moment.wind_east_m_s,
        "wind_z": math.nan,
        "var_horiz": 1.0,
        "var_vert": math.nan,
        "wind_alt": math.nan,
        "horiz_accuracy": 1.0,
        "vert_accuracy": math.nan,
    }


def home_position(home: tuple[float, float], altitude_m: float) -> Fields:
    """HOME_POSITION: 1e-7 deg and mm; level ground, no way of approach."""
    return {
        "latitude": round(home[0] * 1e7),
        "longitude": round(home[1] * 1e7),
        "altitude": round(altitude_m * 1000),
        "q": [1.0, 0.0, 0.0, 0.0],
        "approach_x": math.nan,
        "approach_y": math.nan,
        "approach_z": math.nan,
    }


def mission_current(item: int, items: int, mode: str, *, armed: bool) -> Fields:
    """MISSION_CURRENT: which item of the plan is flown, if there is a plan."""
    if not items:
        return {"total": _NO_PLAN, "mission_state": _PLAN_NONE}
    flown = mode == "mission"
    state = _PLAN_RUNS if flown else _PLAN_PAUSED if armed and item else _PLAN_WAITING
    return {"seq": item, "total": items, "mission_state": state, "mission_mode": 1 if flown else 2}


def channels(boot_ms: int) -> Fields:
    """RC_CHANNELS: eight channels in the middle, quality unknown (control comes over another link)."""
    raw = {f"chan{i}_raw": 1500 if i <= 8 else 65535 for i in range(1, 19)}
    return {"time_boot_ms": boot_ms, "chancount": 8, "rssi": 255, **raw}


def radio_status(margin_db: float, shake: float) -> Fields:
    """RADIO_STATUS in steps of 1/1.9 dB (approximate, by the firmware's guide); the far end is the weaker."""
    far = _NOISE_STEPS + _STEPS_PER_DB * margin_db + shake
    return {
        "rssi": max(1, min(_MOST_STEPS, round(far + 2))),
        "remrssi": max(1, min(_MOST_STEPS, round(far))),
        "txbuf": 95,
        "noise": _NOISE_STEPS,
        "remnoise": _NOISE_STEPS,
    }
