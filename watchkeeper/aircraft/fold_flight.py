"""Heartbeat, modes, landed state and plan: what the aircraft is doing."""

from __future__ import annotations

from typing import Any, Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.seen import LANDING, UNDEFINED
from watchkeeper.aircraft.state import ARMED, ARMED_FOR, INTERVAL, MODE, PLACE, UPSETS, Aircraft

HEARTBEAT: Final = 0
HIGH_LATENCY: Final = 235
PLAN_MESSAGES: Final = frozenset({39, 44, 45, 73})
"""MISSION_ITEM, MISSION_COUNT, MISSION_CLEAR_ALL, MISSION_ITEM_INT"""
_ARMED_FLAG: Final = 128
"""MAV_MODE_FLAG_SAFETY_ARMED"""
_FLIGHT_PLAN: Final = 0
"""MAV_MISSION_TYPE_MISSION; fences and rally points go through the same messages"""
_EVERY_PLAN: Final = 255
_NOT_AIRCRAFT: Final = frozenset(
    {
        dialect.MAV_TYPE_ANTENNA_TRACKER, dialect.MAV_TYPE_GCS, dialect.MAV_TYPE_ONBOARD_CONTROLLER,
        dialect.MAV_TYPE_GIMBAL, dialect.MAV_TYPE_ADSB, dialect.MAV_TYPE_CAMERA, dialect.MAV_TYPE_CHARGING_STATION,
        dialect.MAV_TYPE_FLARM, dialect.MAV_TYPE_SERVO, dialect.MAV_TYPE_ODID, dialect.MAV_TYPE_BATTERY,
        dialect.MAV_TYPE_LOG, dialect.MAV_TYPE_OSD, dialect.MAV_TYPE_IMU, dialect.MAV_TYPE_GPS,
        dialect.MAV_TYPE_WINCH, dialect.MAV_TYPE_PARACHUTE, dialect.MAV_TYPE_ILLUMINATOR, dialect.MAV_TYPE_GRIPPER,
    }
)  # fmt: skip


def is_autopilot(vehicle: int, autopilot: int) -> bool:
    """Whether a heartbeat is of an aircraft's autopilot: not of a station, a gimbal, a companion."""
    return autopilot != dialect.MAV_AUTOPILOT_INVALID and vehicle not in _NOT_AIRCRAFT


@folds(HEARTBEAT, MODE, ARMED, ARMED_FOR, INTERVAL, also=PLACE | UPSETS)
def _heartbeat(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    custom_mode, vehicle, autopilot, base_mode, state, _ = values
    if not is_autopilot(vehicle, autopilot):
        return  # somebody else under the same ids
    aircraft.autopilot = autopilot
    aircraft.vehicle = vehicle
    stream = aircraft.streams.heartbeat
    stream.mark(now_us)
    aircraft.readings.put(INTERVAL, stream.interval_us / 1e6, stream)
    aircraft.intended.stated(state, now_us)
    aircraft.set_armed(armed=bool(base_mode & _ARMED_FLAG), stream=stream)
    aircraft.set_mode(aircraft.modes.heartbeat(autopilot, vehicle, base_mode, custom_mode), stream)
    aircraft.update_phase(now_us)


@folds(436, MODE, also=UPSETS)
def _current_mode(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    custom_mode, intended, standard = values
    stream = aircraft.streams.mode
    stream.mark(now_us)
    aircraft.set_mode(aircraft.modes.current(standard, custom_mode, intended), stream)
    aircraft.update_phase(now_us)


@folds(435)
def _available_modes(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    custom_mode, standard = values[0], values[4]
    aircraft.modes.learn(custom_mode, standard)


@folds(245, also=UPSETS)
def _extended_system_state(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    landed = values[1]
    aircraft.seen.landed = landed if landed <= LANDING else UNDEFINED
    aircraft.streams.landed.mark(now_us)
    aircraft.update_phase(now_us)


@folds(42, also=UPSETS)
def _mission_current(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    number, total, state = values[:3]
    if aircraft.plan.go_to(number, total, state):
        aircraft.update_phase(now_us)


def fold_plan(aircraft: Aircraft, message: int, values: tuple[Any, ...]) -> None:
    """Fold a plan as it is read from the aircraft or written to it."""
    plan = aircraft.plan
    if message == 44:
        if values[3] == _FLIGHT_PLAN:
            plan.count(values[0])
    elif message == 45:
        if values[2] in {_FLIGHT_PLAN, _EVERY_PLAN}:
            plan.count(0)
    elif values[14] == _FLIGHT_PLAN:
        scale = 1e7 if message == 73 else 1
        plan.add(values[7], values[8], values[4] / scale, values[5] / scale)


def plan_target(message: int, values: tuple[Any, ...]) -> int:
    """Return the system that a message of a plan is for."""
    target: int = values[{44: 1, 45: 0}.get(message, 9)]
    return target


@folds(39)
def _mission_item(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    fold_plan(aircraft, 39, values)


@folds(73)
def _mission_item_int(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    fold_plan(aircraft, 73, values)


@folds(44)
def _mission_count(aircraft: Aircraft, values: tuple[Any, ...], _: int) -> None:
    fold_plan(aircraft, 44, values)
