"""What the aircraft's own monitoring says of its sensors and controls: MAV_SYS_STATUS_SENSOR.

A part is unhealthy where it is present, enabled, and its health bit is not set. The receiver of the control
link is left out: that link is told of by itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream

_D: Final = dialect
_PARTS: Final[Mapping[str, int]] = {
    "inertial": (
        _D.MAV_SYS_STATUS_SENSOR_3D_GYRO | _D.MAV_SYS_STATUS_SENSOR_3D_ACCEL
        | _D.MAV_SYS_STATUS_SENSOR_3D_GYRO2 | _D.MAV_SYS_STATUS_SENSOR_3D_ACCEL2
    ),
    "compass": _D.MAV_SYS_STATUS_SENSOR_3D_MAG | _D.MAV_SYS_STATUS_SENSOR_3D_MAG2,
    "pressure": _D.MAV_SYS_STATUS_SENSOR_ABSOLUTE_PRESSURE,
    "satellites": _D.MAV_SYS_STATUS_SENSOR_GPS,
    "attitude": (
        _D.MAV_SYS_STATUS_AHRS | _D.MAV_SYS_STATUS_SENSOR_ATTITUDE_STABILIZATION
        | _D.MAV_SYS_STATUS_SENSOR_ANGULAR_RATE_CONTROL
    ),
    "motors": (
        _D.MAV_SYS_STATUS_SENSOR_MOTOR_OUTPUTS | _D.MAV_SYS_STATUS_REVERSE_MOTOR
        | _D.MAV_SYS_STATUS_SENSOR_PROPULSION
    ),
    "battery": _D.MAV_SYS_STATUS_SENSOR_BATTERY,
    "prearm": _D.MAV_SYS_STATUS_PREARM_CHECK,
}  # fmt: skip
_OTHER: Final[Mapping[str, int]] = {
    "airspeed_sensor": _D.MAV_SYS_STATUS_SENSOR_DIFFERENTIAL_PRESSURE,
    "optical_flow": _D.MAV_SYS_STATUS_SENSOR_OPTICAL_FLOW,
    "vision": _D.MAV_SYS_STATUS_SENSOR_VISION_POSITION,
    "height_laser": _D.MAV_SYS_STATUS_SENSOR_LASER_POSITION,
    "ground_truth": _D.MAV_SYS_STATUS_SENSOR_EXTERNAL_GROUND_TRUTH,
    "yaw_control": _D.MAV_SYS_STATUS_SENSOR_YAW_POSITION,
    "height_control": _D.MAV_SYS_STATUS_SENSOR_Z_ALTITUDE_CONTROL,
    "position_control": _D.MAV_SYS_STATUS_SENSOR_XY_POSITION_CONTROL,
    "fence": _D.MAV_SYS_STATUS_GEOFENCE,
    "obstacle_avoidance": _D.MAV_SYS_STATUS_OBSTACLE_AVOIDANCE,
    "satellite_link": _D.MAV_SYS_STATUS_SENSOR_SATCOM,
    "proximity_sensors": _D.MAV_SYS_STATUS_SENSOR_PROXIMITY,
    "terrain_data": _D.MAV_SYS_STATUS_TERRAIN,
    "logging": _D.MAV_SYS_STATUS_LOGGING,
}
_EXTENDED: Final[Mapping[str, int]] = {
    "recovery_system": _D.MAV_SYS_STATUS_RECOVERY_SYSTEM,
    "leak_sensor": _D.MAV_SYS_STATUS_SENSOR_LEAK,
}
_EXTENSION_USED: Final = _D.MAV_SYS_STATUS_EXTENSION_USED
_INDEXES: Final = tuple((INDEX[f"unhealthy.{name}"], bits) for name, bits in _PARTS.items())
_OTHER_INDEX: Final = INDEX["unhealthy.other"]
HEALTH: Final = frozenset({_OTHER_INDEX, *(index for index, _ in _INDEXES)})


class Health:
    """Of one power-up."""

    __slots__ = ("_last", "_stream")

    def __init__(self) -> None:
        self._stream = Stream()
        self._last: tuple[int, ...] | None = None

    def take(self, readings: Readings, values: tuple[Any, ...], now_us: int) -> None:
        """Take the bits of a SYS_STATUS in: values in wire order."""
        stream = self._stream
        stream.mark(now_us)
        bits = (*values[:3], *values[13:16])
        if bits == self._last:
            return  # as it nearly always is; the stream has told that it still holds
        self._last = bits
        present, enabled, healthy, more_present, more_enabled, more_healthy = bits
        put = readings.put
        for index, mask in _INDEXES:
            # a part that is not there is nobody's fault, and nobody's word that it works
            put(index, bool(present & enabled & ~healthy & mask) if present & mask else None, stream)
        if not present:
            put(_OTHER_INDEX, None, stream)
            return
        faulty = present & enabled & ~healthy
        more = more_present & more_enabled & ~more_healthy if present & _EXTENSION_USED else 0
        word = next((name for name, bit in _EXTENDED.items() if more & bit), None)
        if word is None:
            word = next((name for name, bit in _OTHER.items() if faulty & bit), "none")
        put(_OTHER_INDEX, word, stream)
