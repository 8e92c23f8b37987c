"""The airframe: vibration, motors, sensors, its own words."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

OTHER_PARTS = (
    "none", "recovery_system", "leak_sensor", "airspeed_sensor", "optical_flow", "vision", "height_laser",
    "ground_truth", "yaw_control", "height_control", "position_control", "fence", "obstacle_avoidance",
    "satellite_link", "proximity_sensors", "terrain_data", "logging",
)  # fmt: skip
"""Parts of MAV_SYS_STATUS_SENSOR that no flight hangs on at once, the gravest first."""

_ESC = "ESC telemetry"
_OUTPUTS = "ESC telemetry, SERVO_OUTPUT_RAW, ACTUATOR_OUTPUT_STATUS"
_STEEP_S = (120.0, 300.0)
"""Balance is not judged while it leans or climbs steeply; its last word holds for so long."""
_TEXT_AGE_S = 10.0


def _part(name: str, meaning: str) -> R:
    return R(f"unhealthy.{name}", "", f"{meaning}: enabled, and not healthy", "SYS_STATUS", boolean=True)


def _words(name: str, meaning: str) -> R:
    # shown for one fixed time, however often texts come; so nothing stretches it
    return R(f"text.{name}", "", meaning, "STATUSTEXT", _TEXT_AGE_S, _TEXT_AGE_S, text=True, estimate=True)


AIRFRAME: tuple[R, ...] = (
    R("vibration.level", "m/s2", "vibration of the worst axis, smoothed", "VIBRATION", estimate=True),
    R(
        "vibration.limit",
        "m/s2",
        "what is too much: by the aircraft file, else by this flight's own hover",
        "aircraft file, VIBRATION",
        held=True,
        estimate=True,
    ),
    R("vibration.clipping", "count", "clipped accelerations in the last 10 s", "VIBRATION", estimate=True),
    R("motors.throttle", "%", "throttle", "VFR_HUD, HIGH_LATENCY2", estimate=True),
    R("motors.peak", "%", "highest output of a motor, by its range", "SERVO_OUTPUT_RAW", estimate=True),
    R(
        "motors.uneven",
        "%",
        "how far one motor stands out above the others, against this flight's own hover; 100: one stands still",
        _OUTPUTS,
        *_STEEP_S,
        estimate=True,
    ),
    R("motors.odd", "count", "number of the motor that stands out most", _OUTPUTS, *_STEEP_S, estimate=True),
    R("motors.still", "count", "motors that stand still in flight", _OUTPUTS, estimate=True),
    R("motors.current_over", "%", "current of one motor above the others, against hover", _ESC, estimate=True),
    R("motors.hottest", "degC", "temperature of the hottest motor controller", _ESC, estimate=True),
    R("motors.heat_over", "degC", "the hottest controller above the others, against hover", _ESC, estimate=True),
    R("motors.heat_limit", "degC", "what is too hot", "aircraft file", held=True, estimate=True),
    R("motors.esc_fault", "count", "number of a motor whose controller reports a failure; 0: none", "ESC_INFO",
      estimate=True),
    _part("inertial", "gyroscopes or accelerometers"),
    _part("compass", "magnetometers"),
    _part("pressure", "absolute pressure sensor"),
    _part("satellites", "satellite receiver"),
    _part("attitude", "attitude: reference or stabilisation"),
    _part("motors", "motor outputs or propulsion"),
    _part("battery", "battery"),
    _part("prearm", "the aircraft's own checks before arming"),
    R("unhealthy.other", "", "another part that is enabled and not healthy", "SYS_STATUS", words=OTHER_PARTS),
    _words("urgent", "the aircraft's own words at severity emergency or alert"),
    _words("caution", "the aircraft's own words at severity critical or error"),
    _words("advisory", "the aircraft's own words at severity warning; on the ground all of these"),
    _words("battery", "the aircraft's own words at severity critical or error, about its battery"),
    _words("link", "the aircraft's own words at severity critical or error, about its links"),
    _words("position", "the aircraft's own words at severity critical or error, about its position"),
)  # fmt: skip
