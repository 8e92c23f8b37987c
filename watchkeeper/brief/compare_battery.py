"""The aircraft's low-battery stages against the crew's threshold.

One stage has to send it home in time and not on the way out; no other may land it or stop it before it is home.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

from watchkeeper.aircraft.own_values import Safe
from watchkeeper.aircraft.vocabulary import LowStage, Setting, Settings, Status
from watchkeeper.brief.asked import Asked, LowBattery, Quantity
from watchkeeper.brief.compare_judge import Check, Judge, Judged, Row, Wish, Wrong, amount, over, shown
from watchkeeper.brief.compare_scale import Scale, later, scale_of
from watchkeeper.brief.findings import Verdict

RETURN: Final = "low battery: return"
_HARMLESS: Final = frozenset({"nothing", "report"})
_UNITS: Final = {"voltage": "V", "compensated_voltage": "V", "gauge": "%", "charge_used": "mAh"}
_WORDS: Final = {
    "voltage": "as measured",
    "compensated_voltage": "compensated",
    "gauge": "of the gauge",
    "charge_used": "used",
    "charge_left": "left",
}


def battery_rows(settings: Settings, asked: Asked) -> Iterator[Row]:
    """Yield the row of the return at low battery, and one for each stage that acts or is not understood."""
    low = asked.low_battery
    yield RETURN, _asked_words(low), lambda now: returns(now, low)
    for stage in settings.low_battery or ():
        if not _is_idle(stage):
            yield f"low battery: {stage.name} not too early", _stage_words(stage), _stage_judge(stage.name, low)


def returns(settings: Settings, low: LowBattery | None) -> Judged:
    """Judge whether one stage sends it home in time: the one that comes nearest to that is shown."""
    stages = settings.low_battery
    if low is None:
        return Judged("see the stages", (_blind("today's threshold could not be worked out"),))
    if stages is None:
        return Judged("not understood", (_blind("nothing is known of what it does at a low battery"),))
    found: dict[Verdict, list[tuple[LowStage, Judged]]] = {"fits": [], "not understood": [], "differs": []}
    for stage in stages:
        judged = _as_return(stage, settings, low)
        found[judged.found()[0]].append((stage, judged))
    if found["fits"]:
        return found["fits"][0][1]
    for stage, judged in found["not understood"]:
        if not _is_idle(stage):
            return judged
    promising = sorted((*found["differs"], *found["not understood"]), key=lambda one: _rank(one[0]))
    ways = tuple(way for stage, _ in promising for way in _to_return(stage, settings, low))
    nearest, judged = promising[0]
    if _rank(nearest) == 0:
        return replace(judged, checks=tuple(one._replace(wrong=_mended(one, ways)) for one in judged.checks))
    parts = [part for stage in stages for part in (stage.threshold, stage.action)]
    needs = tuple(one for one in parts if one.status is Status.UNDERSTOOD)
    idle = all(_is_idle(stage) for stage in stages)
    why = "it does nothing at a low battery" if idle else "at a low battery it does not return"
    why += "" if ways else ", and none of its stages can be set to what today asks"
    return Judged("no return", (Check(needs, lambda: Wrong(why, "warning", ways)),))


def _stage_judge(name: str, low: LowBattery | None) -> Judge:
    def judge(settings: Settings) -> Judged:
        stage = next((one for one in settings.low_battery or () if one.name == name), None)
        if stage is None or _is_idle(stage):
            return Judged("off", (Check((), lambda: None),))
        return _stage(stage, settings, low)

    return judge


def _stage(stage: LowStage, settings: Settings, low: LowBattery | None) -> Judged:
    """Judge a stage by itself: whether it acts where it must not."""
    has = _has(stage)
    parts = Check((stage.threshold, stage.action, stage.quantity), lambda: _stops(stage))
    if low is None:
        return Judged(has, (parts, _blind("today's threshold could not be worked out")))
    scale = scale_of(stage, settings, low)
    number = stage.threshold.number
    if scale.why or number is None or stage.action.word is None:
        return Judged(has, (parts, _blind(scale.why)) if scale.why else (parts,))
    trigger, planned, home = scale.trigger, scale.trigger.planned, scale.trigger.way_home
    home_bound = stage.action.word == "return"

    def too_early() -> Wrong | None:
        if planned is None:
            return None if trigger.usable else Wrong(trigger.why or "it may act on the planned flight", "caution")
        if later(number, planned, scale):
            return None
        ways = tuple(_to_return(stage, settings, low)) if home_bound else _after(stage, home, scale)
        return Wrong(
            "it acts on the planned flight, before the way home", "caution" if home_bound else "warning", ways
        )

    def on_the_way() -> Wrong | None:
        assert home is not None
        if later(number, home, scale):
            return None
        far = trigger.at is not None and not later(number, trigger.at, scale)
        why = "before it would return" if far else "on the way home"
        words = shown(stage.action)
        return Wrong(f"it may act ({words}) {why}", "warning" if far else "caution", _after(stage, home, scale))

    checks = [parts, Check((stage.threshold, *scale.needs), too_early)]
    if not home_bound:
        unknown = _blind("how far it gets on the way home could not be worked out")
        checks.append(unknown if home is None else Check((stage.threshold, *scale.needs), on_the_way))
    return Judged(has, tuple(checks), stage.action.note)


def _stops(stage: LowStage) -> Wrong | None:
    if stage.action.word != "stop_motors":
        return None
    ways = ((Wish("threshold", "off", None, stage.name),), (Wish("action", "return", None, stage.name),))
    return Wrong("it stops its motors in the air", "warning", ways)


def _as_return(stage: LowStage, settings: Settings, low: LowBattery) -> Judged:
    """Judge a stage as the one that has to send it home in time."""
    scale = scale_of(stage, settings, low)
    trigger, number, at = scale.trigger, stage.threshold.number, scale.trigger.at

    def acts() -> Wrong | None:
        if number is None:
            return Wrong("it is off", "warning")
        if stage.action.word != "return":
            return Wrong("it does not return", "warning")
        return None

    def in_time() -> Wrong | None:
        if number is None or at is None or not later(number, at, scale):
            return None
        return Wrong("it returns too late to come home with the reserve", "warning")

    def not_on_the_way_out() -> Wrong | None:
        if not trigger.usable:
            return Wrong(trigger.why or "today no return is to hang on this", "caution")
        if number is None or trigger.planned is None or later(number, trigger.planned, scale):
            return None
        return Wrong("it returns on the planned flight, before the way home", "caution")

    def at_once() -> Wrong | None:
        if not over(stage.delay_s.number or 0.0, low.delay_most_s):
            return None
        return Wrong(f"it waits {shown(stage.delay_s)} before it acts", "caution")

    checks = [Check((stage.threshold, stage.action), acts)]
    if scale.why:
        checks.append(_blind(scale.why, (stage.quantity, *scale.needs)))
    elif at is None:
        checks.append(_blind("today's threshold in this quantity could not be worked out", (stage.quantity,)))
    else:
        needs = (stage.threshold, stage.quantity, *scale.needs)
        checks += [
            Check(needs, in_time),
            Check(needs, not_on_the_way_out),
            Check((stage.delay_s,), at_once, "for how long it must hold"),
        ]
    return Judged(_has(stage), tuple(checks), stage.action.note)


def _to_return(stage: LowStage, settings: Settings, low: LowBattery) -> Iterator[tuple[Wish, ...]]:
    """Yield how a stage can become the one that sends it home in time."""
    for word in (stage.quantity.word, "compensated_voltage", "voltage"):
        one = replace(stage, quantity=replace(stage.quantity, value=word))
        if word is None or (word != stage.quantity.word and stage.threshold.unit != _UNITS.get(word)):
            continue
        scale = scale_of(one, settings, low)
        if scale.why or not scale.trigger.usable or scale.trigger.at is None or scale.trigger.at <= 0.0:
            continue
        safe: Safe = "up" if scale.sign > 0 else "down"
        number = stage.threshold.number
        in_time = number is not None and not later(number, scale.trigger.at, scale)
        planned = scale.trigger.planned
        fits = in_time and (planned is None or number is None or later(number, planned, scale))
        wishes = [Wish("quantity", word, None, stage.name)] if word != stage.quantity.word else []
        wishes += [] if fits else [Wish("threshold", scale.trigger.at, safe, stage.name)]
        wishes.append(Wish("action", "return", None, stage.name))
        if over(stage.delay_s.number or 0.0, low.delay_most_s):
            wishes.append(Wish("delay_s", low.delay_most_s, "down", stage.name))
        yield tuple(wishes)


def _rank(stage: LowStage) -> int:
    """Return 0 for a stage that returns, 1 for one that is to be switched on, 2 for any other."""
    if stage.action.word == "return" and stage.threshold.number is not None:
        return 0
    return 1 if _is_idle(stage) else 2


def _after(stage: LowStage, home: float | None, scale: Scale) -> tuple[tuple[Wish, ...], ...]:
    """Return how a stage acts only once it should be down: a step beyond, for at the value itself it acts."""
    off = (Wish("threshold", "off", None, stage.name),)
    if home is None:
        return (off,)
    step = 0.1 if stage.threshold.unit == "V" else 1.0 if stage.threshold.unit == "%" else 10.0
    safe: Safe = "down" if scale.sign > 0 else "up"
    return ((Wish("threshold", home - scale.sign * step, safe, stage.name),), off)


def _mended(check: Check, ways: tuple[tuple[Wish, ...], ...]) -> Callable[[], Wrong | None]:
    def wrong() -> Wrong | None:
        said = check.wrong()
        return None if said is None else said._replace(ways=ways)

    return wrong


def _blind(why: str, needs: tuple[Setting, ...] = ()) -> Check:
    """Return a check that cannot be made."""
    return Check((*needs, Setting(None, "", (), Status.NOT_UNDERSTOOD, why)), lambda: None)


def _is_idle(stage: LowStage) -> bool:
    return stage.threshold.word == "off" or stage.action.word in _HARMLESS


def _has(stage: LowStage) -> str:
    what = _WORDS.get(stage.quantity.word or "", shown(stage.quantity))
    held = f", held for {shown(stage.delay_s)}" if stage.delay_s.number else ""
    return f"{shown(stage.action)} at {shown(stage.threshold)} {what}{held}"


def _asked_words(low: LowBattery | None) -> str:
    if low is None:
        return "a return in time"
    told = [
        f"{_careful(one.at, name)} {_WORDS[name]}"
        for name, one in low.triggers.items()
        if one.usable and one.at is not None
    ]
    return f"return at {' or '.join(told)}, or before" if told else "a return in time"


def _careful(at: float, name: Quantity) -> str:
    """Return a threshold as words, rounded to where it acts earlier."""
    step = 0.1 if name in {"voltage", "compensated_voltage"} else 1.0
    steps = round(at / step, 6)
    whole = math.floor(steps) if name == "charge_used" else math.ceil(steps)
    return amount(whole * step, _UNITS[name])


def _stage_words(stage: LowStage) -> str:
    if stage.action.word == "return":
        return "not before the way home"
    return "not before it is home"
