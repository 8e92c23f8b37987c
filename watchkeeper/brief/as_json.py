"""A brief as JSON: one object on one line of ASCII, for `--json`.

Keys are a contract: they keep their names and their order; new ones may come. Units stand in the keys; what
could not be worked out is null; numbers are rounded as in all JSON of the watch. The keys, by object:

    top          format sortie aircraft made_at advice conditions battery height reach settings crew obstacles
                 areas places remarks wind
    remark       weight about what do
    condition    name value
    battery      packs required_pct legs threshold deepest stages on_station_s rest_difference_v
                 rest_difference_why home_s
    pack         number label cells capacity_ah usable_ah resistance_mohm cycles temperature_degc rest_v source
    leg          name time_s end_s energy_wh distance_m height_m volt_v gauge_pct usable_pct home_pct home_low_pct
                 turn_back
    threshold    place volt_v compensated_v gauge_pct used_mah usable_pct        (also a leg's turn_back)
    deepest      case volt_v leg at_s stays_above
    stage        name threshold action acts_s leg before_turn_back lands_with_pct note
    height       required_m required_by allowed_m allowed_by set_m set_by advised_m hold_m hold_least_m remarks
    reach        bearings height_m points places radio dusk
    reach.bearing  bearing_deg distance_m
    point        name distance_m bearing_deg height_m reach_m home_low_pct inside
    reach.place  point place distance_m bearing_deg left_pct
    radio        point distance_m path_loss_db margin_db margin_how fresnel_m clear_share clear_over remarks
    dusk         sunset twilight_ends take_off lands_at remarks latest_take_off
    settings     source autopilot count complete rows differences remarks
    row          name own has asked verdict why changes weight
    difference   name here baseline means
    crew         roles checklist emergencies cautions blind
    role         role duty
    emergency    failure aircraft crew
    obstacle     name distance_m bearing_deg top_m radius_m
    area         name kind corners
    corner       distance_m bearing_deg
    place        name distance_m bearing_deg
    wind         speed_m_s from_deg
"""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any, Final

from watchkeeper.brief.findings import Brief, PointReach
from watchkeeper.brief.wording import STANDING

FORMAT: Final = 1
_POLAR: Final = ("distance_m", "bearing_deg")


def as_json(brief: Brief) -> str:
    """Return the brief as one line of JSON, without its end of line."""
    return json.dumps(brief_record(brief), separators=(",", ":"), allow_nan=False)


def brief_record(brief: Brief) -> dict[str, Any]:
    """Return the keys and values of a brief; the unnamed pairs of `findings` get names."""
    record: dict[str, Any] = {"format": FORMAT, **_value(brief)}
    head = {key: record.pop(key) for key in ("format", "sortie", "aircraft", "made_at")}
    record = {**head, "advice": STANDING, **record}
    record["conditions"] = _named(brief.conditions, ("name", "value"))
    record["obstacles"] = _named(brief.obstacles, ("name", *_POLAR, "top_m", "radius_m"))
    record["areas"] = [
        {"name": name, "kind": kind, "corners": _named(corners, _POLAR)} for name, kind, corners in brief.areas
    ]
    record["places"] = _named(brief.places, ("name", *_POLAR))
    record["wind"] = None if brief.wind is None else _named([brief.wind], ("speed_m_s", "from_deg"))[0]
    record["crew"]["roles"] = _named(brief.crew.roles, ("role", "duty"))
    if brief.reach is not None:
        record["reach"]["bearings"] = _named(brief.reach.bearings, ("bearing_deg", "distance_m"))
    return record


def _value(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        record = {field.name: _value(getattr(value, field.name)) for field in dataclasses.fields(value)}
        return record | {"inside": value.inside} if isinstance(value, PointReach) else record
    if isinstance(value, tuple | list):
        return [_value(item) for item in value]
    return _rounded(value) if isinstance(value, float) else value


def _rounded(value: float) -> float | None:
    """Four decimals, below one four significant digits; no number for what is none; no negative zero."""
    if not math.isfinite(value):
        return None
    return (round(value, 4) if abs(value) >= 1.0 else float(f"{value:.4g}")) + 0.0


def _named(rows: Any, names: tuple[str, ...]) -> list[dict[str, Any]]:
    return [dict(zip(names, map(_value, row), strict=True)) for row in rows]
