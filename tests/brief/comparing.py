"""What the tests of `compare` share: a list of the simulated aircraft that fits, and what today asks."""

from __future__ import annotations

from collections.abc import Mapping

from tests.aircraft.feeder import GENERIC
from tests.aircraft.test_settings import simulated
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.brief.asked import Asked, Fence, LinkLost, LowBattery, Quantity, Trigger, Window
from watchkeeper.brief.compare import compare
from watchkeeper.brief.findings import SettingRow

TRIGGERS: dict[Quantity, Trigger] = {
    "voltage": Trigger(44.2, planned=43.9, way_home=42.6, usable=False, why="a climb takes it there"),
    "compensated_voltage": Trigger(45.16, planned=46.0, way_home=43.9),
    "gauge": Trigger(31.2, planned=55.0, way_home=21.0),
    "charge_used": Trigger(29_000.0, planned=19_000.0, way_home=34_000.0),
}
LOW = LowBattery(TRIGGERS, pack_ohm=0.016, capacity_mah=22_000.0, used_share={0: 0.5, 1: 0.5})
ASKED = Asked(
    Window(46.0, 120.0, 48.0, "the mast", "the ceiling"),
    Window(5.0, 12.0, 8.0, "coming home with the reserve", "today's wind"),
    plan_highest_m=60.0,
    free_around_m=20.0,
    hold_least_m=10.0,
    hold_most_s=30.0,
    landing_most_m_s=0.8,
    low_battery=LOW,
    control_lost=LinkLost(5.0),
    station_lost=LinkLost(60.0),
    fence=Fence(320.0, 70.0, None, 120.0, wanted=True),
    position_lost_within_s=10.0,
)
FITTING: dict[str, float | None] = {
    **simulated(),
    "return.height_m": 48.0,
    "return.hold_m": 12.0,
    "low1.volt_v": 45.2,
    "station.lost_s": 20.0,
    "fence.radius_m": 400.0,
    "fence.height_m": 90.0,
}
RETURN = "low battery: return"


def seen_of(
    values: Mapping[str, float | None], autopilot: int = GENERIC, *, told: int | None = None, complete: bool = True
) -> SeenParameters:
    return SeenParameters("own.txt", autopilot, told, 2, values, complete)


def rows_of(seen: SeenParameters, asked: Asked = ASKED) -> dict[str, SettingRow]:
    return {row.name: row for row in compare(seen, settings_of(seen), asked).rows}


def of(changed: Mapping[str, float | None], asked: Asked = ASKED) -> dict[str, SettingRow]:
    return rows_of(seen_of({**FITTING, **changed}), asked)


def changed_by(values: Mapping[str, float | None], rows: Mapping[str, SettingRow]) -> dict[str, float | None]:
    """Return the parameters after every proposed change, taken from its words."""
    after = dict(values)
    for row in rows.values():
        for change in row.changes:
            name, _, told = change.partition(": ")
            after[name] = float(told.split(" -> ")[1].split()[0])
    return after
