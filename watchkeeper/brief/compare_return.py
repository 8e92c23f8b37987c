"""The aircraft's return and landing against what today asks: a judgement each."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.brief.asked import Asked, Window
from watchkeeper.brief.compare_judge import Check, Judged, Row, Wish, Wrong, amount, over, shown, under

_FAR_M: Final = 150.0
"""A return height so far above the least, with no ceiling named, is rather a wrong unit."""
_HOLD_S: Final = 10.0
"""Over home, where one has to be named (common practice: ten to fifty seconds)."""
_ORDERS: Final = (("climb", "cruise", "hold", "land"), ("climb", "cruise", "descend", "hold", "land"))


def return_rows(asked: Asked) -> Iterator[Row]:
    """Yield the rows of return and landing."""
    height = asked.return_height_m
    yield "return height", _within(height, "m"), lambda settings: return_height(settings, asked)
    away = amount(asked.free_around_m, "m") if math.isfinite(asked.free_around_m) else "any distance"
    yield (
        "return from near home",
        f"no lower than {amount(height.least, 'm')}, or only within {away}",
        lambda settings: return_near(settings, asked),
    )
    speed = asked.return_speed_m_s
    if speed is not None:
        yield "return speed", _within(speed, "m/s"), lambda settings: return_speed(settings, speed)
    most_s = asked.hold_most_s
    hold = "no endless hold" if most_s is None else f"a hold of {amount(most_s, 's')} at most"
    yield "end of the return", f"home and onto the ground, {hold}", lambda settings: return_ends(settings, asked)
    yield "return to", "home", return_to
    least_m = asked.hold_least_m
    if least_m is not None:
        words = f"{amount(least_m, 'm')} or more"
        yield "height of the hold over home", words, lambda settings: hold_height(settings, least_m)
    words = f"{amount(asked.landing_most_m_s, 'm/s')} or less from {amount(asked.landing_slow_from_m, 'm')} down"
    yield "landing speed", words, lambda settings: landing(settings, asked)


def return_height(settings: Settings, asked: Asked) -> Judged:
    """Judge the height of the way home, and whether a return goes up to it."""
    window, height, climb = asked.return_height_m, settings.return_height_m, settings.return_climb_m

    def high() -> Wrong | None:
        ways = _to_window("return_height_m", height.number, window, up=True)
        number = height.number
        if number is None:
            why = (
                f"it flies home as high as it then is, which may be too low for {window.least_for or 'obstacles'}"
            )
            return Wrong(why, "warning", ways)
        if under(number, window.least):
            return Wrong(f"too low for {window.least_for or 'obstacles'}", "warning", ways)
        if window.greatest is not None and over(number, window.greatest):
            return Wrong(f"above {window.greatest_for or 'the ceiling'}", "caution", ways)
        if window.greatest is None and number > max(3.0 * window.least, window.least + _FAR_M):
            return Wrong("far higher than anything asks for: is it a wrong unit?", "caution", ways)
        return None

    def climbs() -> Wrong | None:
        if (settings.return_order.words or ())[:2] == ("climb", "cruise"):
            return None
        why = "its return does not first climb and then fly home, so that its height counts for nothing"
        return Wrong(why, "warning", _orders())

    def more() -> Wrong | None:
        top_m = asked.plan_highest_m + (climb.number or 0.0)
        if window.greatest is None or not over(top_m, window.greatest):
            return None
        room_m = window.greatest - asked.plan_highest_m
        why = f"a return from {amount(asked.plan_highest_m, 'm')} climbs by {shown(climb)} first, above "
        ways = ((Wish("return_climb_m", room_m, "down"),),) if room_m >= 0.0 else ()
        return Wrong(why + (window.greatest_for or "the ceiling"), "caution", ways)

    checks = [Check((height,), high), Check((settings.return_order,), climbs)]
    if window.greatest is not None:
        checks.append(Check((climb,), more))
    return Judged(shown(height), tuple(checks), height.note)


def return_near(settings: Settings, asked: Asked) -> Judged:
    """Judge what a return from near home does not climb to."""
    near, low, slope = settings.return_near_m, settings.return_near_height_m, settings.return_cone_slope
    within, least_m, free_m = settings.return_cone_within_m, asked.return_height_m.least, asked.free_around_m

    def too_low() -> Wrong | None:
        if low.number is not None and not under(low.number, least_m):
            return None
        ways = ((Wish("return_near_m", "off"),), (Wish("return_near_height_m", least_m, "up"),))
        return Wrong(f"nearer than {shown(near)} it flies home at {shown(low)}", "warning", ways)

    def cone() -> Wrong | None:
        number, end_m = slope.number, math.inf if within.number is None else within.number
        if number is None or within.word == "off":
            return None
        far_m = min(end_m, least_m / number if number > 0.0 else math.inf)
        if not over(far_m, free_m):
            return None
        where = f"nearer than {amount(far_m, 'm')}" if math.isfinite(far_m) else "at any distance"
        return Wrong(f"{where} it flies home in a cone, lower", "warning", ((Wish("return_cone_slope", "off"),),))

    checks = [Check((near,), lambda: None)]
    if near.number is not None and over(near.number, free_m):
        checks.append(Check((near, low), too_low))
    checks.append(Check((slope,), lambda: None))
    if slope.word != "off":
        checks.append(Check((slope, within), cone))
    has = f"within {shown(near)} at {shown(low)}" if near.number is not None else shown(near)
    return Judged(has if slope.word == "off" else f"{has}; cone {shown(slope)}", tuple(checks))


def return_speed(settings: Settings, window: Window) -> Judged:
    """Judge the speed of the way home."""
    speed = settings.return_speed_m_s

    def check() -> Wrong | None:
        number = speed.number or 0.0
        if under(number, window.least):
            why = f"too slow for {window.least_for or 'coming home'}"
            return Wrong(why, "warning", _to_window("return_speed_m_s", number, window, up=True))
        if window.greatest is not None and over(number, window.greatest):
            why = f"too fast for {window.greatest_for or 'the wind'}"
            return Wrong(why, "caution", _to_window("return_speed_m_s", number, window, up=False))
        return None

    return Judged(shown(speed), (Check((speed,), check),), speed.note)


def return_ends(settings: Settings, asked: Asked) -> Judged:
    """Judge whether a return comes home and ends on the ground."""
    order, hold, final = settings.return_order, settings.return_hold_s, settings.return_final_height_m
    words = order.words or ()
    hold_s = _HOLD_S if asked.hold_most_s is None else min(_HOLD_S, asked.hold_most_s)
    ending = (Wish("return_hold_s", hold_s),)

    def lands() -> Wrong | None:
        if "cruise" not in words:
            return Wrong("it does not fly home", "warning", _orders())
        if "land" not in words:
            return Wrong(
                "it stays in the air over home until the battery is empty", "warning", (*_orders(), ending)
            )
        if words[-1] != "land":
            return Wrong("it goes on after it has landed, so that its end is not clear", "warning", _orders())
        return None

    def holds() -> Wrong | None:
        if hold.word == "endless":
            return Wrong("it holds over home until the battery is empty", "warning", (ending,))
        most_s = math.inf if asked.hold_most_s is None else asked.hold_most_s
        if over(hold.number or 0.0, most_s):
            why = "it holds longer than the energy was reckoned for"
            return Wrong(why, "caution", ((Wish("return_hold_s", most_s, "down"),),))
        return None

    def down() -> Wrong | None:
        if final.number is not None and final.number <= 0.0:
            return None
        way = (Wish("return_final_height_m", 0.0),)
        return Wrong(f"it ends in the air, at {shown(final)}", "warning", (way, *_orders()))

    checks = [Check((order,), lands), Check((final,), down)]
    if order.words is None or "hold" in words:
        checks.append(Check((order, hold), holds))
    has = shown(order) + (f"; holds {shown(hold)}" if "hold" in words else "")
    return Judged(has, tuple(checks), final.note)


def return_to(settings: Settings) -> Judged:
    """Judge where a return goes."""
    to = settings.return_to

    def check() -> Wrong | None:
        if to.word == "home":
            return None
        why = "with safe points stored in the aircraft it may fly to one of them: see that none is old"
        return Wrong(why, "advisory", ((Wish("return_to", "home"),),))

    return Judged(shown(to), (Check((to,), check),), to.note)


def hold_height(settings: Settings, least_m: float) -> Judged:
    """Judge the height of a hold, for the load beneath."""
    order, hold, height = settings.return_order, settings.return_hold_height_m, settings.return_height_m
    if order.words is not None and "hold" not in order.words:
        return Judged("does not hold", (Check((order,), lambda: None),))
    deciding = height if hold.word == "present" else hold

    def check() -> Wrong | None:
        if deciding.number is None:
            return Wrong("it holds as high as it then is", "caution")
        if not under(deciding.number, least_m):
            return None
        name = "return_height_m" if hold.word == "present" else "return_hold_height_m"
        return Wrong("the load would touch the ground", "caution", ((Wish(name, least_m, "up"),),))

    has = shown(hold) if hold.word != "present" else f"as it comes home: {shown(height)}"
    needs = (order, hold, height) if hold.word == "present" else (order, hold)
    return Judged(has, (Check(needs, check),), hold.note)


def landing(settings: Settings, asked: Asked) -> Judged:
    """Judge how fast it touches down."""
    slow, fast, change = settings.landing_low_m_s, settings.landing_high_m_s, settings.landing_change_m
    most, least, from_m = asked.landing_most_m_s, asked.landing_least_m_s, asked.landing_slow_from_m

    def speed() -> Wrong | None:
        if over(slow.number or 0.0, most):
            return Wrong("it lands hard", "caution", ((Wish("landing_low_m_s", most, "down"),),))
        if under(slow.number or 0.0, least):
            why = "so slow that it costs energy: is it a wrong unit?"
            return Wrong(why, "advisory", ((Wish("landing_low_m_s", least, "up"),),))
        return None

    def from_where() -> Wrong | None:
        if not under(change.number or 0.0, from_m) or not over(fast.number or 0.0, most):
            return None
        why = f"it comes down at {shown(fast)} to {shown(change)} above the ground"
        return Wrong(why, "caution", ((Wish("landing_change_m", from_m, "up"),),))

    checks = (Check((slow,), speed), Check((change, fast), from_where))
    return Judged(f"{shown(slow)} below {shown(change)}", checks)


def _to_window(name: str, number: float | None, window: Window, *, up: bool) -> tuple[tuple[Wish, ...], ...]:
    """Return how a number gets into its window: to what is advised, else to the nearer end."""
    if window.greatest is not None and window.greatest < window.least:
        return ()
    too_high = window.greatest is not None and number is not None and number > window.greatest
    wanted = window.advised if window.advised is not None else window.greatest if too_high else window.least
    assert wanted is not None
    first, second = (Wish(name, wanted, "up"),), (Wish(name, wanted, "down"),)
    return (
        (first, second, (Wish(name, wanted),)) if up and not too_high else (second, first, (Wish(name, wanted),))
    )


def _orders() -> tuple[tuple[Wish, ...], ...]:
    """Return the orders of a return that end on the ground."""
    return tuple((Wish("return_order", order),) for order in _ORDERS)


def _within(window: Window, unit: str) -> str:
    if window.greatest is None:
        return f"{amount(window.least, unit)} or more"
    if window.greatest < window.least:
        return f"{amount(window.least, unit)} or more and {amount(window.greatest, unit)} or less: nothing fits"
    return f"{amount(window.least, unit)} to {amount(window.greatest, unit)}"
