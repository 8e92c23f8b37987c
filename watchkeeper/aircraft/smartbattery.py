"""What a battery with electronics of its own says of itself: MAVLink's charge states, faults, age."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

STATES: Final = ("undefined", "ok", "low", "critical", "emergency", "failed", "unhealthy", "charging")
"""MAV_BATTERY_CHARGE_STATE by number."""
GRAVITY: Final = {"undefined": 0, "ok": 1, "charging": 2, "low": 3, "unhealthy": 4, "critical": 5, "emergency": 6,
                  "failed": 7}  # fmt: skip
"""Which state counts of several packs."""
FAULTS: Final = (
    (4, "cell_failed"),
    (16, "too_hot"),
    (8, "too_much_current"),
    (1, "discharged_too_deep"),
    (2, "voltage_spikes"),
    (64, "voltage_does_not_fit"),
    (256, "cells_do_not_fit"),
    (128, "firmware_does_not_fit"),
    (32, "too_cold"),
)
"""MAV_BATTERY_FAULT by bit, the gravest first."""
FAULT_WORDS: Final = ("none", *(word for _, word in FAULTS), "other")
_LEAST_AH: Final = 0.1
_MOST_HEALTH_PCT: Final = 150.0


class SmartBattery(NamedTuple):
    """Charge cycles and capacity (Ah) full today and when new; None is not told."""

    cycles: int | None
    full_ah: float | None
    new_ah: float | None

    @property
    def health_pct(self) -> float | None:
        """What it holds of what it held new, %; None where not told, or where it cannot be."""
        if self.full_ah is None or self.new_ah is None:
            return None
        pct = 100.0 * self.full_ah / self.new_ah
        return pct if pct <= _MOST_HEALTH_PCT else None


def smart_battery(values: Sequence[Any]) -> SmartBattery:
    """Return what SMART_BATTERY_INFO tells, from its values in wire order."""
    new_mah, full_mah, cycles = values[0], values[1], values[2]
    return SmartBattery(
        None if cycles == 65535 else cycles,
        full_mah / 1000 if full_mah > 1000 * _LEAST_AH else None,
        new_mah / 1000 if new_mah > 1000 * _LEAST_AH else None,
    )


def fault_word(faults: int) -> str:
    """Return the gravest of the faults that a battery reports."""
    if not faults:
        return "none"
    return next((word for bit, word in FAULTS if faults & bit), "other")


def state_word(state: int) -> str:
    """Return a charge state as a word; one that MAVLink does not know is undefined."""
    return STATES[state] if 0 <= state < len(STATES) else "undefined"
