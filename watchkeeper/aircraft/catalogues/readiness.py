"""What speaks against a take-off."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

READINESS: tuple[R, ...] = ()
