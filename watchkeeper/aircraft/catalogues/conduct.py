"""What the aircraft does: phase, mode, arming, and what is out of order about them."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import MODE_CAUSES, MODES, PHASES
from watchkeeper.aircraft.readingtypes import ReadingType as R

CONDUCT: tuple[R, ...] = (
    R(
        "flight.phase",
        "",
        "what part of a flight the aircraft is in",
        "landed state, else inferred",
        words=PHASES,
        held=True,
    ),
    R(
        "flight.mode",
        "",
        "mode, in MAVLink's standard modes where they fit",
        "CURRENT_MODE, else HEARTBEAT",
        words=MODES,
        held=True,
    ),
    R("flight.armed", "", "motors armed", "HEARTBEAT", boolean=True, held=True),
    R("flight.armed_for", "s", "time since it was armed", "HEARTBEAT", held=True, rate=1.0),
    R(
        "flight.restarted",
        "",
        "powered up anew in flight, until a landing is seen",
        "time_boot_ms of the messages, height",
        boolean=True,
        held=True,
    ),
    R(
        "flight.disarmed_in_air",
        "",
        "disarmed in the air, until armed again or a landing is seen",
        "HEARTBEAT, height",
        boolean=True,
        held=True,
    ),
    R(
        "flight.mode_cause",
        "",
        "why the mode last changed in flight, as far as the stream shows it",
        "estimate: orders, acknowledgements, channels, plan, CURRENT_MODE, MAV_STATE",
        words=MODE_CAUSES,
        held=True,
        estimate=True,
    ),
    R("flight.tilt", "deg", "angle between its thrust and the vertical", "ATTITUDE, ATTITUDE_QUATERNION"),
    R(
        "flight.lean_speed",
        "m/s",
        "speed over ground along the direction in which it leans; negative where it is carried backwards",
        "estimate: ATTITUDE, GLOBAL_POSITION_INT",
        estimate=True,
    ),
    R(
        "flight.tilt_limit",
        "deg",
        "how far it leans at most in the mode flown",
        "estimate: its parameters, aircraft file, else 45 degrees",
        held=True,
        estimate=True,
    ),
    R(
        "flight.descent_limit",
        "m/s",
        "how fast it can be told to descend in the mode flown; unknown while its vertical speed cannot be trusted",
        "estimate: its parameters, aircraft file, else 5 m/s",
        held=True,
        estimate=True,
    ),
    R(
        "return.standstill",
        "s",
        "for how long a return has neither closed nor done what else a return does",
        "estimate: motion, its return settings",
        estimate=True,
    ),
    R(
        "hold.moved_away",
        "m",
        "how far it has left the place it holds, with no stick or order for it; 0 while it holds or is flown",
        "estimate: motion, channels, lean",
        held=True,
        estimate=True,
    ),
)
