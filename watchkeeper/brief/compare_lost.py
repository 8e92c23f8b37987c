"""What the aircraft does when a link or its position is lost, and at its fences, against what today asks."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from watchkeeper.aircraft.vocabulary import Setting, Settings
from watchkeeper.brief.asked import Asked, Fence, LinkLost
from watchkeeper.brief.compare_judge import Check, Judge, Judged, Row, Wish, Wrong, amount, over, shown, under

_FAR_TIMES: Final = 10.0
"""A fence so many times farther out than it must be guards nothing today, or is in a wrong unit."""


def lost_rows(asked: Asked) -> Iterator[Row]:
    """Yield the rows of links, fences and position."""
    for link, lost in (("control", asked.control_lost), ("station", asked.station_lost)):
        if lost is not None:
            yield f"{link} link lost", _link_words(lost), _link_judge(link, lost)
    fence = asked.fence
    if fence is not None:
        yield "fence radius", _fence_words(fence, "radius"), lambda settings: fence_radius(settings, fence)
        yield "fence height", _fence_words(fence, "height"), lambda settings: fence_height(settings, fence)
        yield "fence action", "return or hold", fence_action
    yield "position lost", "land, or hold the height", lambda settings: position_lost(settings, asked)


def _link_judge(link: str, lost: LinkLost) -> Judge:
    return lambda settings: link_lost(settings, link, lost)


def link_lost(settings: Settings, link: str, lost: LinkLost) -> Judged:
    """Judge what it does when a link is lost: "control" or "station"."""
    act, after, kept = (settings[f"{link}_lost_{part}"] for part in ("action", "s", "kept"))
    to_return = (Wish(f"{link}_lost_action", "return"),)

    def action() -> Wrong | None:
        word = act.word
        if word == "return" and lost.moving_crew:
            why = "a return goes to where home was set, and the crew moves on: hold or land may be better, decide"
            return Wrong(why, "caution")
        if word == "return" or (lost.moving_crew and word in {"hold", "land"}):
            return None
        ways = () if lost.moving_crew else (to_return,)
        if word in {"nothing", "report"}:
            return Wrong("it flies on as if nothing were lost", "warning", ways)
        if word == "stop_motors":
            return Wrong("it stops its motors in the air", "warning", ways)
        return Wrong("it does not come home", "caution", ways)

    def time() -> Wrong | None:
        number, least_s = after.number, lost.least_s
        if number is None:
            why = "it never takes the link for lost"
            return Wrong(why, "warning", ((Wish(f"{link}_lost_s", lost.within_s, "down"),), to_return))
        if over(number, lost.within_s):
            return Wrong("it waits too long", "caution", ((Wish(f"{link}_lost_s", lost.within_s, "down"),),))
        if under(number, least_s):
            why = "it acts at every short gap: is it a wrong unit?"
            return Wrong(why, "caution", ((Wish(f"{link}_lost_s", min(1.0, lost.within_s), "up"),),))
        return None

    def disregarded() -> Wrong | None:
        words = [word for word in kept.words or () if word in lost.flown]
        if not words:
            return None
        left = tuple(word for word in kept.words or () if word not in words)
        why = f"it does nothing about it in this flight: {', '.join(words).replace('_', ' ')}"
        return Wrong(why, "warning", ((Wish(f"{link}_lost_kept", left),),))

    notes = [after.note, act.note]
    if lost.moving_crew:
        notes.append("the crew moves: agree on where it is to come down")
    has = shown(act) + (f" after {shown(after)}" if after.number is not None else "")
    checks = (
        Check((act,), action),
        Check((after,), time, "after how long"),
        Check((kept,), disregarded, "in which flight"),
    )
    return Judged(has, checks, "; ".join(filter(None, notes)))


def fence_radius(settings: Settings, fence: Fence) -> Judged:
    """Judge how far out the fence stands."""
    radius = settings.fence_radius_m

    def check() -> Wrong | None:
        most_m = math.inf if fence.radius_most_m is None else fence.radius_most_m
        return _fenced(settings, radius, "fence_radius_m", (fence.radius_least_m, most_m), wanted=fence.wanted)

    return Judged(shown(radius), (Check((radius,), check),), radius.note)


def fence_height(settings: Settings, fence: Fence) -> Judged:
    """Judge how high the fence stands, the return that is set included."""
    top, height = settings.fence_height_m, settings.return_height_m

    def check() -> Wrong | None:
        most_m = math.inf if fence.height_most_m is None else fence.height_most_m
        return _fenced(settings, top, "fence_height_m", (fence.height_least_m, most_m), wanted=fence.wanted)

    def above_return() -> Wrong | None:
        if top.number is None or height.number is None or top.number > height.number:
            return None
        ways = ((Wish("fence_height_m", max(fence.height_least_m, height.number + 1.0), "up"),),)
        return Wrong(f"a return at {shown(height)} breaks through it", "warning", ways)

    checks = [Check((top,), check)]
    if top.word != "off":
        checks.append(Check((top, height), above_return))
    return Judged(shown(top), tuple(checks), top.note)


def fence_action(settings: Settings) -> Judged:
    """Judge what it does at the fence."""
    act, radius, height = settings.fence_action, settings.fence_radius_m, settings.fence_height_m
    if radius.word == "off" and height.word == "off":
        return Judged("no fence", (Check((radius, height), lambda: None),))

    def check() -> Wrong | None:
        word = act.word
        if word in {"return", "return_or_land", "hold"}:
            return None
        ways = ((Wish("fence_action", "return"),), (Wish("fence_action", "return_or_land"),))
        if word == "stop_motors":
            return Wrong("it stops its motors in the air", "warning", ways)
        if word in {"nothing", "report"}:
            return Wrong("the fence does not hold it back", "caution", ways)
        return Wrong("it does not come home from there", "caution", ways)

    return Judged(shown(act), (Check((act,), check),), act.note)


def position_lost(settings: Settings, asked: Asked) -> Judged:
    """Judge what it does when it does not know any more where it is."""
    act, after = settings.position_lost_action, settings.position_lost_s
    ways = ((Wish("position_lost_action", "height_hold"),), (Wish("position_lost_action", "land"),))

    def check() -> Wrong | None:
        word = act.word
        if word in {"land", "height_hold"}:
            return None
        if word in {"return", "return_or_land", "retrace", "hold"}:
            return Wrong("that needs to know where it is", "warning", ways)
        if word == "stop_motors":
            return Wrong("it stops its motors in the air", "warning", ways)
        return Wrong("it flies on by a position that it has not", "warning", ways)

    def time() -> Wrong | None:
        most_s = asked.position_lost_within_s
        if not over(after.number or 0.0, most_s):
            return None
        return Wrong("it waits too long", "caution", ((Wish("position_lost_s", most_s, "down"),),))

    checks = [Check((act,), check)]
    if math.isfinite(asked.position_lost_within_s):
        checks.append(Check((after,), time, "after how long"))
    return Judged(shown(act), tuple(checks), act.note)


def _fenced(
    settings: Settings, fence: Setting, name: str, bounds: tuple[float, float], *, wanted: bool
) -> Wrong | None:
    """Judge a fence that must stand beyond the plan, and should stand within a bound."""
    least_m, most_m = bounds
    ways = ((Wish(name, least_m, "up"),),) if least_m <= most_m else ()
    if fence.number is None:
        return Wrong("there is none", "advisory", ways) if wanted else None
    if under(fence.number, least_m):
        kills = settings.fence_action.word == "stop_motors"
        return Wrong("the planned flight runs into it", "warning" if kills else "caution", ways)
    if over(fence.number, most_m):
        return Wrong("it lets the aircraft beyond what is allowed", "caution", ways)
    if fence.number > _FAR_TIMES * least_m:
        return Wrong("so far out that it guards nothing today: is it a wrong unit?", "advisory", ways)
    return None


def _link_words(lost: LinkLost) -> str:
    action = "return, hold or land: the crew decides" if lost.moving_crew else "return"
    return f"{action}, after {amount(lost.least_s, 's')} to {amount(lost.within_s, 's')}"


def _fence_words(fence: Fence, which: str) -> str:
    least, most = (
        (fence.radius_least_m, fence.radius_most_m)
        if which == "radius"
        else (fence.height_least_m, fence.height_most_m)
    )
    words = amount(least, "m") + (" or more" if most is None else f" to {amount(most, 'm')}")
    return words if fence.wanted else f"off, or {words}"
