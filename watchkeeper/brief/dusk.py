"""Sunset and twilight against today's flight. What flying at night asks for is the local rules' to say.

The end of civil twilight is the sun at -6 degrees; some rules take the clock instead: 14 CFR 107.29 counts 30
minutes after sunset (outside Alaska). Both are shown, and the earlier is kept to.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Final, NamedTuple

from watchkeeper.brief.findings import DuskToday, Remark
from watchkeeper.estimate.surroundings.sun import CIVIL_DEG, DAY_S, RISE_DEG, crossing, position

CLOCK_S: Final = 1800.0
"""Twilight by the clock, 14 CFR 107.29: before sunrise and after sunset."""
SPARE_S: Final = 600.0
"""Between the landing and sunset, for what takes longer than planned (common practice)."""
_DO: Final = "Take off earlier or carry what local rules ask for then (lights, permission); they decide"


class Light(NamedTuple):
    """The sun of one local solar day, seconds since 1970; None where it does not cross that altitude."""

    dawn_s: float | None
    rise_s: float | None
    set_s: float | None
    dusk_s: float | None
    noon_deg: float
    """Its greatest altitude."""


def light(unix_s: float, home: tuple[float, float]) -> Light:
    """Return the sun of the local solar day that holds a time."""
    ways = ((CIVIL_DEG, -1), (RISE_DEG, -1), (RISE_DEG, 1), (CIVIL_DEG, 1))
    dawn_s, rise_s, set_s, dusk_s = (crossing(unix_s, *home, altitude, side) for altitude, side in ways)
    noon_s = math.floor((unix_s + home[1] * 240) / DAY_S) * DAY_S + DAY_S / 2 - home[1] * 240
    declination_deg = math.degrees(position(noon_s)[0])
    return Light(dawn_s, rise_s, set_s, dusk_s, 90.0 - abs(home[0] - declination_deg))


def dusk_today(
    home: tuple[float, float],
    *,
    start_s: float | None,
    now_s: float,
    lands_after_s: float,
    spare_s: float = SPARE_S,
) -> DuskToday:
    """Return today's dusk for a flight of `lands_after_s` from `start_s` (seconds since 1970).

    Without a start, of the next evening from `now_s`, and the latest take-off that lands before sunset with
    `spare_s` left.
    """
    today = light(now_s if start_s is None else start_s, home)
    if start_s is None and (today.dusk_s or today.set_s or math.inf) < now_s:
        today = light(now_s + DAY_S, home)
    latest_s = None if today.set_s is None else today.set_s - lands_after_s - spare_s
    lands_s = None if start_s is None else start_s + lands_after_s
    if start_s is None or lands_s is None:
        remarks = _without_start(today, latest_s, now_s, lands_after_s)
    else:
        remarks = (*_morning(today, start_s), *_evening(today, start_s, lands_s, spare_s, latest_s))
    return DuskToday(
        sunset=_iso(today.set_s),
        twilight_ends=_iso(today.dusk_s),
        take_off=_iso(start_s),
        lands_at=_iso(lands_s),
        remarks=(*remarks, *_twilight(today)),
        latest_take_off=_iso(latest_s),
    )


def dark_s(today: Light) -> float | None:
    """Return when it counts as dark: the earlier of twilight by the sun and by the clock."""
    ends = [
        one for one in (today.dusk_s, None if today.set_s is None else today.set_s + CLOCK_S) if one is not None
    ]
    return min(ends, default=None)


def _without_start(today: Light, latest_s: float | None, now_s: float, lands_after_s: float) -> tuple[Remark, ...]:
    if latest_s is None:
        return _no_sunset(today)
    flight = f"a flight of {math.ceil(lands_after_s / 60)} min"
    if latest_s < now_s:
        what = f"For {flight} it is too late to land before sunset, {_clock(today.set_s)}"
        return (Remark("caution", "dusk", what, _DO),)
    what = f"For {flight} the latest take-off is {_clock(latest_s)}, to land before sunset, {_clock(today.set_s)}"
    return (Remark("advisory", "dusk", what, "Name the start to have it checked"),)


def _no_sunset(today: Light) -> tuple[Remark, ...]:
    if today.noon_deg > RISE_DEG:
        return (Remark("advisory", "dusk", "The sun does not set today"),)
    if today.noon_deg > CIVIL_DEG:
        what = (
            f"The sun does not rise today; civil twilight is from {_clock(today.dawn_s)} to {_clock(today.dusk_s)}"
        )
        return (Remark("caution", "dusk", what, _DO),)
    return (Remark("caution", "dusk", "The sun does not rise today, nor is there civil twilight", _DO),)


def _morning(today: Light, start_s: float) -> tuple[Remark, ...]:
    if today.rise_s is None or start_s >= today.rise_s:
        return ()
    ends = [one for one in (today.dawn_s, today.rise_s - CLOCK_S) if one is not None]
    light_word = "before the morning's twilight" if start_s < max(ends) else "in the morning's twilight"
    what = f"Take-off is {light_word}; sunrise is {_clock(today.rise_s)}"
    return (Remark("caution", "dusk", what, "Take off later" + _DO.removeprefix("Take off earlier")),)


def _evening(
    today: Light, start_s: float, lands_s: float, spare_s: float, latest_s: float | None
) -> tuple[Remark, ...]:
    if today.set_s is None:
        return _no_sunset(today)
    ends_s = dark_s(today)
    if start_s >= today.set_s:
        what = f"Take-off is after sunset, {_clock(today.set_s)}"
    elif ends_s is not None and lands_s > ends_s:
        what = f"It lands {_clock(lands_s)}, after twilight, which ends {_clock(ends_s)}"
    elif lands_s > today.set_s:
        what = f"It lands {_clock(lands_s)}, after sunset, {_clock(today.set_s)}"
    elif lands_s + spare_s > today.set_s:
        left = math.floor((today.set_s - lands_s) / 60)
        what = f"It lands {left} min before sunset, {_clock(today.set_s)}: less than {spare_s / 60:g} min to spare"
    else:
        return ()
    return (Remark("caution", "dusk", f"{what}; latest take-off {_clock(latest_s)}", _DO),)


def _twilight(today: Light) -> tuple[Remark, ...]:
    if today.set_s is None:
        return ()
    by_sun = (
        f"{_clock(today.dusk_s)} by the sun at -6 degrees" if today.dusk_s is not None else "not before morning"
    )
    by_clock = f"{_clock(today.set_s + CLOCK_S)} by the clock (30 min after sunset, as 14 CFR 107.29)"
    return (
        Remark("advisory", "dusk", f"Civil twilight ends {by_sun}, {by_clock}", "Keep to your local rules' way"),
    )


def _iso(unix_s: float | None) -> str | None:
    return None if unix_s is None else datetime.fromtimestamp(round(unix_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _clock(unix_s: float | None) -> str:
    """Return hours and minutes, UTC: the minute it is in, so that a limit is never said late."""
    return "never" if unix_s is None else datetime.fromtimestamp(unix_s, UTC).strftime("%H:%MZ")
