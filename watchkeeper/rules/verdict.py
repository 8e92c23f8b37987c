"""The four verdicts a condition can give."""

from __future__ import annotations

from enum import IntEnum


class Verdict(IntEnum):
    """What a condition says. Only MET and NOT_MET raise or clear anything."""

    NOT_MET = 0
    MET = 1
    BLIND = 2
    """An input was never received or is too old."""
    FAULT = 3
    """An input is not a number, or evaluation failed."""
