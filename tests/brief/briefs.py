"""An invented brief to show, and variants of it: parts missing, names far too long, hostile text."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from watchkeeper.brief.findings import (
    BatteryToday,
    Brief,
    CrewToday,
    Deepest,
    Difference,
    DuskToday,
    Emergency,
    HeightToday,
    LegToday,
    PackToday,
    PlaceToday,
    PointReach,
    RadioToday,
    ReachToday,
    Remark,
    SettingRow,
    SettingsToday,
    StageToday,
    Threshold,
)

HOSTILE = "<script>alert(1)</script>\" onload='x' &amp; ]]> \x1b[31m\x07\u202ered\n\u0000{}%s"
LONG = "a name that goes on and on, like the ridge behind the second meadow " * 6 + "slope" * 30


def _threshold(place: str, volt_v: float, gauge_pct: float) -> Threshold:
    return Threshold(place, volt_v, volt_v + 1.27, gauge_pct, 440.0 * (100 - gauge_pct), gauge_pct - 4.6)


def _leg(
    name: str, takes_s: float, end_s: float, away_m: float, up_m: float, now_pct: float, back: Any
) -> LegToday:
    home_pct = now_pct - 21.4 * away_m / 940
    return LegToday(
        name, takes_s, end_s, takes_s * 1.19, away_m, up_m, 44.1 + now_pct / 16, now_pct + 4, now_pct,
        home_pct, home_pct - 6.3, back,
    )  # fmt: skip


BATTERY = BatteryToday(
    packs=(
        PackToday(1, "blue 3", 12, 22.0, 19.8, 17.2, 84.0, 12.0, 50.17, "the pack ledger"),
        PackToday(2, "blue 4", 12, 22.0, 19.1, 19.6, 91.0, 12.0, 50.14, "the pack ledger"),
    ),
    required_pct=20.0,
    legs=(
        _leg("climb to 60 m", 24, 24, 0, 60, 97.2, _threshold("home", 44.61, 29.2)),
        _leg("to point 1, lower slope", 74, 98, 520, 60, 89.7, _threshold("point 1", 45.37, 37.8)),
        _leg("to point 2, upper slope", 58, 156, 940, 85, 82.1, _threshold("point 2", 46.23, 46.2)),
        _leg("stay at point 2: lower the poles", 150, 306, 940, 85, 65.0, _threshold("point 2", 46.19, 45.8)),
    ),
    threshold=_threshold("point 2, upper slope", 46.23, 46.2),
    deepest=(
        Deepest("as planned", 46.88, "to point 2, upper slope", 151.0, stays_above=True),
        Deepest("in a gust", 45.61, "to point 2, upper slope", 151.0, stays_above=False),
        Deepest("one pack out", 43.02, "stay at point 2: lower the poles", 306.0, stays_above=False),
    ),
    stages=(
        StageToday(
            "low", "44.0 V as measured", "return", 611.0, "after the plan, at the turn-back of point 2",
            before_turn_back=False, lands_with_pct=9.4,
        ),
        StageToday(
            "critical", "42.6 V as measured", "land where it is", None, "", before_turn_back=False,
            lands_with_pct=None, note="not reached on this plan",
        ),
    ),
    on_station_s=391.0,
    rest_difference_v=0.187,
    rest_difference_why="a greater one drives more than 1 C from one pack into the other",
    home_s=262.0,
)  # fmt: skip

HEIGHT = HeightToday(
    required_m=57.4,
    required_by="the wire mast, 49 m, with 15 % over it",
    allowed_m=120.0,
    allowed_by="the ceiling of the sortie",
    set_m=40.0,
    set_by="its parameters",
    advised_m=60.0,
    hold_m=10.0,
    hold_least_m=8.0,
    remarks=(
        Remark(
            "warning", "return height", "40 m is set; the wire mast needs 58 m at least",
            "set the return height to 60 m",
        ),
    ),
)  # fmt: skip


def _contour(count: int = 36) -> tuple[tuple[float, float], ...]:
    """Less upwind (from 250 degrees)."""
    step = 360 / count
    return tuple(
        (
            k * step,
            1290.0 - 330.0 * math.cos(math.radians(k * step - 250)) - 60 * math.sin(math.radians(2 * k * step)),
        )
        for k in range(count)
    )


RADIO = RadioToday(
    "point 2, upper slope", 940.0, 91.2, 17.4, "budget of the sortie file less the path loss", 8.8, 0.42,
    "the rise before the upper slope",
    remarks=(
        Remark(
            "caution", "radio", "the rise before the upper slope cuts into the path: 0.42 of the zone is free, "
            "0.6 is asked for", "raise the station antenna to 4 m, or stay above 95 m at point 2",
        ),
    ),
)  # fmt: skip
DUSK = DuskToday(
    "2031-03-04T17:02:00Z",
    "2031-03-04T17:33:00Z",
    "2031-03-04T16:20:00Z",
    "2031-03-04T16:29:28Z",
    (),
    "2031-03-04T16:37:00Z",
)
REACH = ReachToday(
    bearings=_contour(),
    height_m=60.0,
    points=(
        PointReach("point 1, lower slope", 520.0, 312.0, 60.0, 1180.0, 61.3),
        PointReach("point 2, upper slope", 940.0, 301.0, 85.0, 1110.0, 37.3),
    ),
    places=(
        PlaceToday("point 1, lower slope", "meadow", 250.0, 190.0, 78.0),
        PlaceToday("point 2, upper slope", "forest road", 410.0, 64.0, 54.2),
    ),
    radio=RADIO,
    dusk=DUSK,
)

SETTINGS = SettingsToday(
    source="parameters heard in the recording of 2031-03-02",
    autopilot="MAV_AUTOPILOT 3",
    count=1043,
    complete=True,
    rows=(
        SettingRow(
            "return height", ("RTL_ALT",), "40 m", "58 to 120 m", "differs",
            "must clear the wire mast", ("RTL_ALT 6000 cm",), "warning",
        ),
        SettingRow(
            "low-battery voltage", ("BATT_LOW_VOLT",), "44.0 V", "46.3 V", "differs",
            "acts only after the turn-back of point 2", ("BATT_LOW_VOLT 46.3 V", "BATT_FS_VOLTSRC 1"),
        ),
        SettingRow(
            "pack capacity", ("BATT_CAPACITY",), "40 Ah", "44 Ah", "differs", "the gauge would read low",
            ("BATT_CAPACITY 44000 mAh",), "advisory",
        ),
        SettingRow("lost control link", ("FS_THR_ENABLE",), "return", "return", "fits"),
        SettingRow("lost station", ("FS_GCS_ENABLE",), "return", "return", "fits"),
        SettingRow("fence", ("FENCE_ENABLE", "FENCE_ACTION"), "on, returns", "on", "fits"),
        SettingRow("hold before landing", ("RTL_LOIT_TIME",), "45 s", "any", "fits"),
        SettingRow(
            "position lost", ("FS_EKF_ACTION",), "7", "land or hold height", "not understood",
            "this value has no meaning that is known here",
        ),
    ),
    differences=(
        Difference("WPNAV_SPEED", "800", "1000", "speed between points, cm/s"),
        Difference("BATT2_MONITOR", "", "4", ""),
    ),
)  # fmt: skip

CREW = CrewToday(
    roles=(
        ("pilot in command", "flies, decides, looks at the aircraft"),
        ("observer", "air space, people, the load; says what the pilot cannot see"),
        ("command post", "watches the numbers, keeps time, calls for help"),
    ),
    checklist=(
        "site: obstacles as in the sortie file, nobody in the landing place",
        "rotor latches locked",
        "packs at the same rest voltage, connectors home",
        "antennas down",
        "controller on before the aircraft",
        "settings changed as written here, read back",
        "no plan loaded that is not meant to start",
        "load line free, release tried",
        "satellite fix, home where the aircraft stands",
        "telemetry live at the command post",
        "who says 'turn back', and the word for it",
    ),
    emergencies=(
        Emergency("control link lost", "returns at 60 m, holds, lands", "hands off; keep the landing place free"),
        Emergency("telemetry lost", "flies on", "pilot by eye; turn back unless seen and heard again in 30 s"),
        Emergency("battery low", "returns at 46.3 V", "do not cancel it; release the load if over free ground"),
        Emergency("position lost", "not understood", "fly by attitude towards home, land on the meadow"),
        Emergency("one pack out", "nothing by itself", "nearest landing place at once"),
        Emergency("load swings or catches", "nothing by itself", "stop, let it settle; release if it pulls"),
    ),
    cautions=(
        "31 kg is above what many small-aircraft rules cover (25 kg, 55 lb); check which hold for you.",
        "Customary greatest height: 120 m, or 400 ft, above ground.",
        "In sight without aids, all the flight.",
        "In twilight: an anti-collision light.",
    ),
    blind=(
        "the load on its line: no sensor tells of it",
        "people and other aircraft",
        "motor temperatures: not in this aircraft's telemetry",
    ),
)

FULL = Brief(
    sortie="poles to the upper slope",
    aircraft="Ox",
    made_at="2031-03-04T15:41:12Z",
    conditions=(
        ("mass", "31.2 kg with 6 kg on a 12 m line"),
        ("wind", "7 m/s from 250°, gusts 11 m/s (sortie file)"),
        ("air", "8 °C, field at 640 m"),
        ("reserve", "20 % (sortie file)"),
        ("return speed", "8 m/s (parameters)"),
    ),
    battery=BATTERY,
    height=HEIGHT,
    reach=REACH,
    settings=SETTINGS,
    crew=CREW,
    obstacles=(("wire mast", 610.0, 285.0, 49.0, 25.0), ("chimney", 330.0, 20.0, 31.0, 10.0)),
    areas=(
        ("work site", "boundary", ((250, 180), (620, 215), (1250, 272), (1330, 330), (760, 20), (420, 80))),
        ("hut and yard", "keep_out", ((640, 335), (820, 340), (850, 352), (660, 350))),
        ("footpath", "people", ((240, 235), (520, 248), (540, 256), (230, 252))),
    ),
    places=(("meadow", 380.0, 350.0), ("forest road", 760.0, 322.0)),
    remarks=(
        HEIGHT.remarks[0],
        Remark(
            "warning", "low battery", "the aircraft would return at 44.0 V and land with 9 % usable", "set 46.3 V"
        ),
        RADIO.remarks[0],
        Remark("caution", "daylight", "33 min from landing to sunset", "be down by 17:02 UTC"),
        Remark("advisory", "packs", "pack 2 gives 0.7 Ah less than pack 1; it is the one that counts"),
    ),
    wind=(7.0, 250.0),
)

NO_BATTERY = dataclasses.replace(
    FULL,
    battery=None,
    remarks=(
        *FULL.remarks,
        Remark("warning", "battery", "nothing can be said: hover power is not known", "name it"),
    ),
)
NO_SETTINGS = dataclasses.replace(FULL, settings=None)
NO_WINDOW = dataclasses.replace(
    FULL, height=dataclasses.replace(HEIGHT, required_m=131.0, advised_m=None, set_m=None, set_by="")
)
NO_REACH = dataclasses.replace(FULL, reach=None)
CLEAN = dataclasses.replace(
    FULL,
    remarks=(),
    height=dataclasses.replace(HEIGHT, set_m=60.0, remarks=()),
    reach=dataclasses.replace(REACH, radio=dataclasses.replace(RADIO, remarks=())),
)
OUT_OF_REACH = dataclasses.replace(
    FULL,
    reach=dataclasses.replace(
        REACH, points=(REACH.points[0], dataclasses.replace(REACH.points[1], distance_m=1430.0, home_low_pct=8.0))
    ),
)
BARE = Brief(
    sortie="",
    aircraft="",
    made_at="",
    conditions=(),
    battery=None,
    height=HeightToday(0.0, "", None, "", None, "", None, None, 0.0),
    reach=None,
    settings=None,
    crew=CrewToday((), (), (), (), ()),
    obstacles=(),
    areas=(),
    places=(),
    remarks=(),
)
EMPTY_PARTS = dataclasses.replace(
    BARE,
    battery=BatteryToday((), 20.0, (), None, (), (), None, None),
    reach=ReachToday((), 0.0, (), (), None, DuskToday(None, None, None, None)),
    settings=SettingsToday("", "", 0, complete=False, rows=(), differences=()),
)

_KEPT = {"weight", "verdict", "case"}
"""Closed lists of words, written by the program itself."""


def with_text(value: Any, text: str) -> Any:
    """Return a copy in which every free text is `text`."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return dataclasses.replace(
            value,
            **{
                field.name: with_text(getattr(value, field.name), text)
                for field in dataclasses.fields(value)
                if field.name not in _KEPT
            },
        )
    if isinstance(value, tuple):
        return tuple(with_text(item, text) for item in value)
    return text if isinstance(value, str) else value


def with_numbers(value: Any, number: float) -> Any:
    """Return a copy in which every float is `number`."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return dataclasses.replace(
            value,
            **{
                field.name: with_numbers(getattr(value, field.name), number) for field in dataclasses.fields(value)
            },
        )
    if isinstance(value, tuple):
        return tuple(with_numbers(item, number) for item in value)
    return number if isinstance(value, float) else value


ALL: dict[str, Brief] = {
    "full": FULL,
    "no battery": NO_BATTERY,
    "no settings": NO_SETTINGS,
    "no window of heights": NO_WINDOW,
    "no reach": NO_REACH,
    "nothing to remark": CLEAN,
    "a point out of reach": OUT_OF_REACH,
    "nothing at all": BARE,
    "empty parts": EMPTY_PARTS,
    "long names": with_text(FULL, LONG),
    "hostile text": with_text(FULL, HOSTILE),
    "not a number": with_numbers(FULL, math.nan),
    "infinite": with_numbers(FULL, math.inf),
    "very large": with_numbers(FULL, 1e12),
    "negative": with_numbers(FULL, -1e6),
}
