"""The closed list of what callouts may speak of: their first words, and what a crew learns to expect of each.

One subject, one matter: a pilot who hears only the first words knows where to look and what to think of.
"""

from __future__ import annotations

from typing import Final

SUBJECTS: Final[dict[str, str]] = {
    "aircraft": "the aircraft as a whole: whether it is heard",
    "aircraft says": "words of the aircraft itself, passed on",
    "attitude": "how it leans, and whether it knows that",
    "autopilot": "the aircraft's own computer",
    "battery": "packs, cells, voltage, charge, gauge, current",
    "before take-off": "the aircraft's own checks before arming",
    "boundary": "the area of the sortie that is not to be left",
    "ceiling": "the greatest height allowed",
    "compass": "heading",
    "control": "the pilot's transmitter and its link",
    "crew": "where the crew stands",
    "descent": "how fast it comes down",
    "drift": "it moves off with nothing to hold it in place",
    "dusk": "daylight",
    "fence": "the border set in the aircraft itself",
    "height": "height, and falling",
    "height sensor": "the pressure sensor",
    "hold": "a hover that was ordered",
    "home": "the place to which a return goes",
    "keep-out area": "an area that is not to be entered",
    "landing place": "where to land other than home",
    "link": "telemetry from the aircraft",
    "load": "what it carries",
    "mode": "flight mode, and who changed it",
    "motion sensors": "gyroscopes and accelerometers",
    "motors": "motors and their controllers, armed or stopped",
    "observer": "what the observer sees, and has pressed",
    "obstacle": "a known obstacle",
    "own action": "what the aircraft is about to do by itself",
    "people": "people below",
    "plan": "a flight plan in the aircraft",
    "post": "what the post sees, and has pressed",
    "position": "whether it knows where it is",
    "radio": "the telemetry radio on the ground",
    "receiver": "one satellite receiver of several",
    "return": "getting home",
    "satellites": "satellite reception",
    "sensors": "any other sensor or part",
    "separation": "two of our own aircraft",
    "sight": "how far away it can be seen",
    "station": "the ground station",
    "take-off": "whether to take off",
    "time": "time left",
    "traffic": "other aircraft",
    "vibration": "vibration",
    "watch": "the watch itself",
    "wind": "wind and gusts",
}

TO_DO: Final = frozenset(
    {
        *("add", "be", "bring", "check", "choose", "clear", "climb", "descend", "do", "expect", "find"),
        *("fly", "gain", "hold", "judge", "keep", "land", "leave", "look", "move", "plan", "prepare", "search"),
        *("see", "set", "slow", "stay", "stop", "take", "trust", "turn", "warm"),
    }
)
"""Words with which what to do begins."""
BEFORE_TO_DO: Final = frozenset({"now", "observer", "pilot", "then"})
"""Words that may stand before them: who is to do it, or when."""
