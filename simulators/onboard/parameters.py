"""The aircraft's parameters: names of its own, with units, bounds and what they do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from simulators.onboard.guards import STAGES
from simulators.wire.parameters import Parameter, ParameterSet

_ACTIONS: Final = "0 report, 1 hold, 2 return, 3 land, 4 height hold, 5 stop motors"
Row = tuple[str, float, float, float, bool, str, str]

_ROWS: Final[tuple[Row, ...]] = (
    ("fly.speed_m_s", 8.0, 1.0, 20.0, False, "m/s", "speed over ground of a plan"),
    ("fly.climb_m_s", 2.5, 0.5, 6.0, False, "m/s", "climb"),
    ("fly.sink_m_s", 1.5, 0.3, 6.0, False, "m/s", "descent"),
    ("fly.accel_m_s2", 1.8, 0.5, 4.0, False, "m/s2", "acceleration over ground"),
    ("fly.tilt_deg", 30.0, 5.0, 45.0, False, "deg", "greatest tilt"),
    ("lift.height_m", 8.0, 2.0, 100.0, False, "m", "height of a take-off that names none"),
    ("arm.wait_s", 20.0, 0.0, 600.0, False, "s", "motors stop when nothing follows arming; 0 never"),
    ("arm.needs_fix", 1.0, 0.0, 1.0, True, "", "1: arms only with a position"),
    ("land.fast_m_s", 1.5, 0.3, 4.0, False, "m/s", "descent of a landing, high"),
    ("land.slow_m_s", 0.7, 0.2, 2.0, False, "m/s", "descent of a landing, low"),
    ("land.slow_m", 6.0, 1.0, 50.0, False, "m", "height under which a landing is slow"),
    ("land.off_s", 2.0, 0.5, 20.0, False, "s", "time on the ground until motors stop"),
    ("return.order", 123456.0, 1.0, 654321.0, True, "", "1 climb 2 turn 3 cruise 4 descend 5 hold 6 land"),
    ("return.height_m", 40.0, 3.0, 400.0, False, "m", "least height above home"),
    ("return.speed_m_s", 8.0, 1.0, 20.0, False, "m/s", "speed over ground"),
    ("return.near_m", 10.0, 0.0, 100.0, False, "m", "nearer than this it does not climb to return.height"),
    ("return.low_m", 8.0, 2.0, 100.0, False, "m", "least height of a return from near"),
    ("return.hold_m", 8.0, 2.0, 100.0, False, "m", "height of the hold over home"),
    ("return.hold_s", 10.0, -1.0, 600.0, False, "s", "length of the hold; negative: for ever"),
    ("return.places", 0.0, 0.0, 1.0, True, "", "1: to the nearest of home and safe points"),
    ("low.pack_ohm", 0.016, 0.0, 0.2, False, "ohm", "a pack's resistance, to compensate its voltage for current"),
    ("control.lost_s", 3.0, 0.0, 60.0, False, "s", "silence of the control link; 0 off"),
    ("control.action", 2.0, 0.0, 5.0, True, "", _ACTIONS),
    ("station.lost_s", 0.0, 0.0, 600.0, False, "s", "silence of the ground station; 0 off"),
    ("station.action", 2.0, 0.0, 5.0, True, "", _ACTIONS),
    ("fence.radius_m", 0.0, 0.0, 10000.0, False, "m", "greatest distance from home; 0 off"),
    ("fence.height_m", 0.0, 0.0, 1000.0, False, "m", "greatest height above home; 0 off"),
    ("fence.delay_s", 0.5, 0.0, 10.0, False, "s", "time outside before it acts"),
    ("fence.action", 2.0, 0.0, 5.0, True, "", _ACTIONS),
    ("position.lost_s", 1.0, 0.0, 30.0, False, "s", "time without position before it acts"),
    ("position.action", 4.0, 0.0, 5.0, True, "", _ACTIONS),
    ("plan.arms", 1.0, 0.0, 1.0, True, "", "1: starting a plan arms"),
)  # fmt: skip
_STAGE: Final = ((44.0, 2.0, 5.0), (42.6, 3.0, 5.0), (0.0, 0.0, 5.0))
"""Of each stage: volts of the whole pack (common practice for twelve cells), action, delay in s."""


def _rows() -> list[Row]:
    rows = list(_ROWS)
    for stage, (volts, action, delay_s) in zip(STAGES, _STAGE, strict=True):
        name = f"low{stage}"
        rows += [
            (f"{name}.volt_v", volts, 0.0, 60.0, False, "V", "voltage under which the stage holds; 0 off"),
            (f"{name}.compensate", 1.0, 0.0, 1.0, True, "", "0 voltage as measured, 1 compensated for current"),
            (f"{name}.gauge_pct", 0.0, 0.0, 90.0, False, "%", "gauge under which the stage holds; 0 off"),
            (f"{name}.delay_s", delay_s, 0.0, 60.0, False, "s", "time it must hold"),
            (f"{name}.action", action, 0.0, 5.0, True, "", _ACTIONS),
            (f"{name}.latch", 1.0, 0.0, 1.0, True, "", "1: acts once a flight"),
        ]
    return rows


def parameters(changed: Mapping[str, float] | None = None) -> ParameterSet:
    """Return the aircraft's parameters, some changed. KeyError for a name it does not have."""
    changed = dict(changed or {})
    made = [
        Parameter(name, changed.pop(name, value), least, most, integer, unit, about)
        for name, value, least, most, integer, unit, about in _rows()
    ]
    if changed:
        raise KeyError(f"no parameter {', '.join(sorted(changed))}")
    return ParameterSet(made)
