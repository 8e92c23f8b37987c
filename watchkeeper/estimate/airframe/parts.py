"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.files import Limits
from watchkeeper.estimate.airframe.balance import MotorBalance, MotorStill
from watchkeeper.estimate.airframe.controllers import MotorControllers
from watchkeeper.estimate.airframe.saying import OwnWords
from watchkeeper.estimate.airframe.speeds import MotorSpeeds
from watchkeeper.estimate.airframe.throttle import Throttle
from watchkeeper.estimate.airframe.vibration import VibrationLevel
from watchkeeper.estimate.part import Known, Part

NEEDS: Final[frozenset[int]] = frozenset(
    {
        36,  # SERVO_OUTPUT_RAW
        74,  # VFR_HUD
        241,  # VIBRATION
        290,  # ESC_INFO
        291,  # ESC_STATUS
        375,  # ACTUATOR_OUTPUT_STATUS
        *(11030, 11031, 11032, 11040, 11041, 11042, 11043, 11044),  # ESC_TELEMETRY_…
    }
)
"""Messages that call for a run."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    aircraft = known.aircraft
    file = aircraft.file
    limits = file.limits if file is not None else Limits()
    speeds = MotorSpeeds(aircraft.readings, aircraft.motors, file, lambda: aircraft.vehicle)
    return [
        Throttle(aircraft),
        MotorStill(speeds),
        MotorBalance(speeds, aircraft.motion),
        MotorControllers(speeds, aircraft.motors, aircraft.motion, limits.motor_degc),
        VibrationLevel(aircraft.readings, aircraft.motors.vibration, limits.vibration_m_s2),
        OwnWords(aircraft),
    ]
