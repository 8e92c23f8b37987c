"""What the aircraft does: phase, mode, arming, and what is out of order about them."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import MODES, PHASES
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
)
