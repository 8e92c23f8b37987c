"""Words and number formats that card and page share.

Numbers that a crew acts on are rounded to the careful side: a voltage or percentage to turn back at upwards, a
charge used, a time to stay or a reach downwards, a least height upwards, a greatest downwards. What is missing
or no finite number reads NOT_KNOWN.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Final

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.findings import NOT_HOME_PCT, WEIGHTS, Brief, Remark
from watchkeeper.units import UNITS

NOT_KNOWN: Final = "not known"
NONE: Final = "-"
"""In a table, where there is nothing to be known."""
STANDING: Final = (
    "Watchkeeper advises; the crew decides. It is an aid and is not certified. It replaces no duty of the pilot "
    "in command, no manual, checklist or licence, and local rules come before anything written here."
)
CUSTOMARY: Final = "Your local rules and your licence say what holds; none of these is the limit."
NO_BATTERY: Final = (
    "The packs could not be reckoned with: no threshold, no turn-back, no time on station. Why stands above."
)
NO_THRESHOLD: Final = "No low-battery threshold could be worked out. Why stands above."
NO_REACH: Final = "The reach could not be worked out. Why stands above."
NO_SETTINGS: Final = (
    "The aircraft's settings were not seen, so nothing is compared. Read them out and set them by hand."
)
NO_CHANGES: Final = "Nothing to change among the settings that were understood."
_SMALL: Final = 1e-6
"""What arithmetic leaves over must not turn 40 m into 41 m."""


def plain(text: str) -> str:
    """Return text on one line in which nothing can steer a terminal, a page or the direction of reading."""
    return "".join(c if c.isprintable() else " " if c in "\t\n\r" else "\N{REPLACEMENT CHARACTER}" for c in text)


def columns(text: str) -> int:
    """Return how many columns of a terminal a text takes (wide characters two, combining ones none)."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text
    )


def sentence(text: str) -> str:
    """Return text that begins with a capital and ends with a stop; nothing for nothing."""
    text = plain(text).strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def known(value: float | None) -> bool:
    """Return whether there is a finite number."""
    return value is not None and math.isfinite(value)


def rounded_up(value: float, step: float) -> float:
    """Return the least multiple of `step` not below `value`."""
    return math.ceil(value / step - _SMALL) * step


def rounded_down(value: float, step: float) -> float:
    """Return the greatest multiple of `step` not above `value`."""
    return math.floor(value / step + _SMALL) * step


def number(value: float | None, unit: str = "", decimals: int = 0) -> str:
    """Return a number to the nearest, with its unit if one is given."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    shown = f"{value:.{decimals}f}"
    if not any(c in "123456789" for c in shown):
        shown = shown.lstrip("-")  # a negative zero
    return f"{shown} {unit}".rstrip()


def up(value: float | None, unit: str = "", decimals: int = 0) -> str:
    """Return a number rounded upwards, with its unit."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    return number(rounded_up(value, 10.0**-decimals), unit, decimals)


def left_at_home(value: float | None, unit: str = "") -> str:
    """Return what is left at home, rounded downwards; in words where it does not get there."""
    return "not home" if value is not None and value <= NOT_HOME_PCT else down(value, unit)


def down(value: float | None, unit: str = "", decimals: int = 0) -> str:
    """Return a number rounded downwards, with its unit."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    return number(rounded_down(value, 10.0**-decimals), unit, decimals)


def charge_mah(value: float | None) -> str:
    """Return a charge used, in mAh, down to a hundred, or to ten below a thousand; digits as they are typed in."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    return f"{rounded_down(value, 100.0 if abs(value) >= 1000.0 else 10.0):.0f} mAh"


def minutes(value_s: float | None) -> str:
    """Return a time as "12:40", minutes and seconds, to the nearest second; for a column that says so."""
    if value_s is None or not math.isfinite(value_s):
        return NOT_KNOWN
    whole_s = round(abs(value_s))
    return f"{'-' if value_s < 0 and whole_s else ''}{whole_s // 60}:{whole_s % 60:02d}"


def lasting(value_s: float | None) -> str:
    """Return a time that may be used up, e.g. "12 min 40 s", down to 5 s."""
    if value_s is None or not math.isfinite(value_s):
        return NOT_KNOWN
    whole_s = max(0, round(rounded_down(value_s, 5.0)))
    parts = (f"{whole_s // 60} min" if whole_s >= 60 else "", f"{whole_s % 60} s" if whole_s % 60 else "")
    return " ".join(filter(None, parts)) or "none"


def distance(value_m: float | None) -> str:
    """Return a distance over ground: metres, from 10 km on kilometres."""
    if value_m is None or not math.isfinite(value_m):
        return NOT_KNOWN
    return f"{value_m / 1000:.1f} km" if abs(value_m) >= 10_000 else number(value_m, "m")


def reach(value_m: float | None) -> str:
    """Return a distance that must not be exceeded, down to 10 m."""
    if value_m is None or not math.isfinite(value_m):
        return NOT_KNOWN
    return (
        f"{rounded_down(value_m, 100.0) / 1000:.1f} km"
        if value_m >= 10_000
        else number(rounded_down(value_m, 10.0), "m")
    )


def bearing(value_deg: float | None) -> str:
    """Return a bearing as three digits, 000 to 359."""
    if value_deg is None or not math.isfinite(value_deg):
        return NOT_KNOWN
    return f"{round(value_deg) % 360:03d}°"


def _in(value_m: float, symbol: str) -> float:
    return value_m / UNITS[symbol].factor


def height(value_m: float | None, units: CrewUnits) -> str:
    """Return a height in the crew's unit, to the nearest."""
    return NOT_KNOWN if value_m is None else number(_in(value_m, units.height), units.height)


def height_as_set(value_m: float | None, units: CrewUnits) -> str:
    """Return a height that somebody has set: a tenth is kept where there is one."""
    if value_m is None or not math.isfinite(value_m):
        return NOT_KNOWN
    value = round(_in(value_m, units.height), 1)
    return number(value, units.height, 0 if value == round(value) else 1)


def height_least(value_m: float | None, units: CrewUnits) -> str:
    """Return a height that must not be undercut."""
    return NOT_KNOWN if value_m is None else up(_in(value_m, units.height), units.height)


def height_most(value_m: float | None, units: CrewUnits) -> str:
    """Return a height that must not be exceeded."""
    return NOT_KNOWN if value_m is None else down(_in(value_m, units.height), units.height)


def speed(value_m_s: float | None, units: CrewUnits) -> str:
    """Return a speed in the crew's unit, to the nearest."""
    return NOT_KNOWN if value_m_s is None else number(value_m_s / UNITS[units.speed].factor, units.speed)


def moment(text: str | None) -> str:
    """Return an ISO 8601 time as "2031-03-04 17:42 UTC"; words that are none as they are."""
    if not text:
        return NOT_KNOWN
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return plain(text)
    if at.tzinfo is not None:
        at = at.astimezone(UTC)
    return f"{at:%Y-%m-%d %H:%M} UTC"


def clock(text: str | None, day: str) -> str:
    """Return an ISO 8601 time as `moment` does, without the date where it is the day of `day`."""
    shown, today = moment(text), moment(day)[: len("2031-03-04")]
    return shown.removeprefix(f"{today} ") if shown != NOT_KNOWN else shown


def by_weight(remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    """Return each remark once, most weighty first, otherwise in their order."""
    return tuple(sorted(dict.fromkeys(remarks), key=lambda remark: WEIGHTS.index(remark.weight)))


def all_remarks(brief: Brief) -> tuple[Remark, ...]:
    """Return what is to be said, from the brief and every part of it."""
    remarks = [*brief.remarks, *brief.height.remarks]
    if brief.reach is not None:
        for part in (brief.reach.radio, brief.reach.dusk):
            remarks += part.remarks if part is not None else ()
    if brief.settings is not None:
        remarks += brief.settings.remarks
    return by_weight(remarks)


def no_remarks(brief: Brief) -> str:
    """Return what is said where there is no remark: never more than was looked at."""
    parts = {"packs": brief.battery, "reach": brief.reach, "settings": brief.settings}
    missing = [name for name, part in parts.items() if part is None]
    if missing:
        return (
            f"Nothing can be said for flying either: not looked at are {', '.join(missing)}. This is no clearance."
        )
    return "Nothing that this brief looked at speaks against flying. This is no clearance."


def counted(count: int, one: str, several: str) -> str:
    """Return e.g. "1 warning", "3 cautions"."""
    return f"{count} {one if count == 1 else several}"


def tally(remarks: Iterable[Remark]) -> str:
    """Return how many remarks there are of each weight, e.g. "1 warning, 2 cautions"."""
    weights = [remark.weight for remark in remarks]
    names = {
        "warning": ("warning", "warnings"),
        "caution": ("caution", "cautions"),
        "advisory": ("advisory", "advisories"),
    }
    return ", ".join(counted(weights.count(w), *names[w]) for w in WEIGHTS if w in weights)
