"""Others in the air, and the crew's own aircraft among each other."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

OCTANTS = ("north", "north_east", "east", "south_east", "south", "south_west", "west", "north_west")
"""Clockwise from north, 45 degrees each."""
MOTIONS = ("converging", "passing", "leaving")
"""Closes by more than a metre a second; neither; opens by more."""
LEVELS = ("above", "level", "below", "height_unknown")
ADVICE = ("descend", "hold", "avoid")
"""Hold: it passes below. One word each, so that a callout has room for the rest."""
KINDS = ("aircraft", "drone")
AVOIDING = ("nothing", "report", "climb_or_descend", "sideways", "across", "return", "hover")
"""MAV_COLLISION_ACTION."""
THREATS = ("none", "low", "high")
"""MAV_COLLISION_THREAT_LEVEL."""

_TOLD = "ADSB_VEHICLE, OPEN_DRONE_ID_LOCATION"


def _worst(name: str, unit: str, meaning: str, words: tuple[str, ...] = ()) -> R:
    return R(f"traffic.{name}", unit, meaning, _TOLD, 3, 12, words=words, estimate=True)


TRAFFIC: tuple[R, ...] = (
    _worst("count", "count", "others in the air that are told of; unknown while no receiver is heard"),
    _worst("kind", "", "the one to look out for: the most urgent by time, distance and height", KINDS),
    _worst("distance", "m", "how far it is from the aircraft, horizontally"),
    _worst("height", "m", "how far above the aircraft it is, by matched or compared heights"),
    _worst("closest_in", "s", "time until it is closest, 0 if it does not come closer"),
    _worst("closest_distance", "m", "horizontal distance when it is closest, as expected"),
    _worst("closest_least", "m", "the same at least, with all doubts (95 %)"),
    _worst("closest_height", "m", "least difference in height when it is closest (95 %); 0 where unknown"),
    _worst("octant", "", "where to look for it from the crew (its place of the sortie file, else home)", OCTANTS),
    _worst("crew_distance", "m", "how far it is from the crew, in steps for speech"),
    _worst("motion", "", "whether it comes closer to the aircraft", MOTIONS),
    _worst("level", "", "whether it is above or below the aircraft by 30 m for certain", LEVELS),
    _worst("advice", "", "what keeps the aircraft clear of it", ADVICE),
    R("traffic.avoidance", "", "what the aircraft itself does about another in the air", "COLLISION", 3, 12,
      words=AVOIDING, estimate=True),  # the aircraft's own: never missed, for most send none
    R("traffic.threat", "", "how the aircraft itself judges another in the air", "COLLISION", 3, 12,
      words=THREATS, estimate=True),
    R("separation.other", "count", "system id of the crew's other aircraft that comes closest",
      "GLOBAL_POSITION_INT of both", 3, 12, estimate=True),
    R("separation.closest_in", "s", "time until the two are closest", "GLOBAL_POSITION_INT of both", 3, 12,
      estimate=True),
    R("separation.closest_least", "m", "least horizontal distance then (95 %)", "GLOBAL_POSITION_INT of both",
      3, 12, estimate=True),
    R("separation.closest_height", "m", "least difference in height then (95 %); 0 where unknown",
      "GLOBAL_POSITION_INT of both", 3, 12, estimate=True),
)  # fmt: skip
