"""The airframe: vibration, motors, sensors, its own words."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

AIRFRAME: tuple[R, ...] = ()
