"""Others in the air."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

TRAFFIC: tuple[R, ...] = ()
