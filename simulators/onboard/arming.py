"""What speaks against starting the motors."""

from __future__ import annotations

from simulators.onboard.command import InCommand
from simulators.onboard.modes import Mode


def unfit(pilot: InCommand, *, plan: bool) -> str | None:
    """Return why the aircraft does not arm, or None; `plan` says whether it has one."""
    if not pilot.sensors.has_fix and pilot.values["arm.needs_fix"]:
        return "no position"
    if pilot.mode in {Mode.LAND, Mode.SAFE_RECOVERY}:
        return f"mode {pilot.mode.words}"
    if pilot.mode is Mode.MISSION and not plan:
        return "no plan"
    if pilot.gauges.voltage_v < pilot.values["low1.volt_v"]:
        return "battery low"
    return None
