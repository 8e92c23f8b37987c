"""The one large answer: can it get home, in words, out of the rules that stand and the readings of now.

Where the rules are silent because they cannot see, the answer is that it is not known, and why. No answer is kept
for longer than the readings that it is made of.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.alerts.language import Language
from watchkeeper.estimate.home.homeway import OVERHEAD_M
from watchkeeper.picture.models import Answer, Standing, Value
from watchkeeper.picture.values import finite
from watchkeeper.watched import QUIET_US, Watched

IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
GROUND: Final = frozenset({"on_ground", "armed", "landed"})
OUTWARD: Final = frozenset({"taking_off", "airborne"})
"""Phases in which turning back is still to be decided."""
DUSK: Final = "dusk-home"
_VALID: Final = INDEX["position.valid"]
_PHASE: Final = INDEX["flight.phase"]


class Facts(NamedTuple):
    """What the answer is made of: readings of now by name; rules that stand and are told, and all there are."""

    readings: Mapping[str, Value]
    stands: frozenset[str]
    known_rules: frozenset[str]
    landing_floor_pct: float | None


def position_lost(one: Watched) -> bool:
    """Whether the last that was told is that it does not know its position; what is not told is not lost."""
    return one.aircraft.readings.values[_VALID] is False


def answer(one: Watched, facts: Facts, language: Language, now_us: int) -> Answer:
    """Return the answer for one aircraft."""
    phase = one.aircraft.readings.values[_PHASE]
    standing, words = _standing(one, phase, facts, language, now_us)
    read = facts.readings
    told = standing != "unknown"
    lost = position_lost(one)
    turn_back_s, before = _turn_back(one, facts) if told and phase in OUTWARD else (None, None)
    return Answer(
        standing=standing,
        words=words,
        reserve_pct=finite(read.get("return.reserve"), 1) if told else None,
        reserve_low_pct=finite(read.get("return.reserve_low"), 1) if told else None,
        floor_pct=finite(one.suite.required_pct, 1),
        turn_back_in_s=finite(turn_back_s, 1),
        turn_back_before=language.tell(before) if before is not None else None,
        time_home_s=finite(read.get("return.time"), 1) if told else None,
        distance_m=None if lost else finite(read.get("position.home_distance"), 1),
        bearing_deg=None if lost else finite(read.get("position.home_bearing"), 1),
        nearest=_nearest(one, facts, language) if told and phase in IN_FLIGHT else None,
    )


def _standing(
    one: Watched, phase: str | None, facts: Facts, language: Language, now_us: int
) -> tuple[Standing, str]:
    say = language.phrase
    silent_s = one.silent_us(now_us) / 1e6
    if phase in GROUND:
        if one.silent_us(now_us) > QUIET_US:  # switched off there, as a rule; but nobody would hear it take off
            return "home", say("On the ground. Not heard for {} s.", *_whole(silent_s))
        return "home", say("On the ground.")
    unseen = "link-lost" in facts.stands or "return.reserve" not in facts.readings
    if unseen and one.silent_us(now_us) > QUIET_US:
        due_s = _number(facts.readings, "forecast.overhead_in")
        if due_s is not None and due_s > 0.0:
            return "unknown", say("Not heard for {} s. Should be over home in {} s.", *_whole(silent_s, due_s))
        return "unknown", say("Not known. Not heard for {} s.", *_whole(silent_s))
    if position_lost(one):
        return "unknown", say("Not known. Its position is lost.")
    if "home-unreachable" in facts.stands:
        return "no", say("Cannot reach home.")
    if "return-now" in facts.stands:
        return "now", say("Turn back now.")
    reserve_pct = _number(facts.readings, "return.reserve")
    if reserve_pct is None:
        why = one.suite.why
        return "unknown", say("Not known. {}.", _begun(language.tell(why))) if why else say("Not known yet.")
    turn_back_s = _number(facts.readings, "return.turn_back_in")
    untold = "return-now" not in facts.known_rules and phase in OUTWARD
    if untold and turn_back_s is not None and turn_back_s < 0.0:
        return "now", say("Turn back now.")  # that rule is not loaded: the reading itself says it
    if "return-reserve" in facts.stands:
        return "soon", say("Turn back soon.")
    last_s, before = _turn_back(one, facts) if phase in OUTWARD else (None, None)
    if DUSK in facts.stands or (before == "dusk" and last_s is not None and last_s < 0.0):
        return "soon", say("Turn back before dark.")
    distance_m = _number(facts.readings, "position.home_distance")
    if distance_m is not None and distance_m <= OVERHEAD_M:
        return "home", say("Over home.")
    if facts.landing_floor_pct is not None and reserve_pct < facts.landing_floor_pct:
        return "no", say("Cannot reach home.")  # beside home, where no rule says so of a wind
    if phase in ("returning", "landing"):
        return "yes", say("On its way home.") if phase == "returning" else say("It is landing.")
    return "yes", say("Can get home.")


def _turn_back(one: Watched, facts: Facts) -> tuple[float | None, str | None]:
    """Return the seconds to the last moment to turn back, and what sets it, in English.

    Dusk counts where the rules hold a return against it: civil twilight is to last until it has landed.
    """
    turn_back_s = _number(facts.readings, "return.turn_back_in")
    dusk_s, home_s = _number(facts.readings, "time.to_dusk"), _number(facts.readings, "return.time")
    if DUSK in facts.known_rules and dusk_s is not None and home_s is not None and dusk_s > 0.0:
        before_dusk_s = dusk_s - home_s
        if turn_back_s is None or before_dusk_s < turn_back_s:
            return before_dusk_s, "dusk"
    return turn_back_s, one.suite.turn_back_before() if turn_back_s is not None else None


def _nearest(one: Watched, facts: Facts, language: Language) -> str | None:
    """Return the nearest landing place in words, if the charge on arrival there is over the landing floor."""
    sortie, position = one.aircraft.sortie, one.aircraft.position
    left_pct = _number(facts.readings, "place.reserve")
    if sortie is None or position is None or left_pct is None or left_pct < (facts.landing_floor_pct or 0.0):
        return None
    return nearest_words(sortie, position, language)


def nearest_words(sortie: SortieFile, position: tuple[float, float], language: Language) -> str | None:
    """Return the nearest landing place: its name, how far, and in which bearing from the aircraft."""
    if not sortie.landing_places:
        return None
    around = Around(*position)
    ways = [(*around.to(*place.at), place.name) for place in sortie.landing_places]
    distance_m, bearing_deg, name = min(ways, key=lambda way: way[0])
    bearing = f"{round(bearing_deg) % 360:03d}"
    return language.phrase("{}, {} m, bearing {}", name, round(distance_m), bearing)


def _number(readings: Mapping[str, Value], name: str) -> float | None:
    value = readings.get(name)
    if isinstance(value, bool) or not isinstance(value, float | int) or not math.isfinite(value):
        return None
    return float(value)


def _whole(*numbers: float) -> list[int]:
    return [round(number) for number in numbers]


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]
