"""The crew's page: roles, checklist, the emergency card, customary cautions, and what the watch will not see."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.vocabulary import Setting, Settings
from watchkeeper.brief.findings import CrewToday, Emergency

ROLES: Final = (
    ("pilot", "hears everything, decides, acknowledges"),
    ("observer", "looks at the sky and the ground; says traffic, people, lost sight, stop at once"),
    ("command post", "reads the messages; keeps the landing places free; calls for help"),
)
CAUTIONS: Final = (
    "Height: smaller aircraft customarily stay under 120 m, or 400 ft, over the ground. Your permit decides.",
    "Keep it in sight with the naked eye the whole flight, unless your permit says otherwise.",
    "Heavier than 25 kg it is outside the rules for small aircraft: fly under the permit for this aircraft only.",
    "Nobody who takes no part is under the load or the way home.",
    "In twilight and at night a light that can be seen from afar is customary, and often required.",
    "First hover low, at 3 to 5 m, and look: attitude, vibration, load.",
    "A plan already in the aircraft spins the motors when it is started: clear it if no take-off is meant.",
    "Controller on first and off last. After landing hold the throttle down until the motors stand.",
)
"""Customary, from rules for smaller aircraft and common practice; none of them is the limit for this flight."""
_WORDS: Final = {
    "nothing": "does nothing",
    "report": "only reports it",
    "hold": "holds its place",
    "height_hold": "holds its height and drifts",
    "return": "returns home",
    "retrace": "flies back the way it came",
    "return_or_land": "returns, or lands where it is if it cannot",
    "land": "lands where it is",
    "stop_motors": "stops its motors: it falls",
}
_NOT_SEEN: Final = "not known: its parameters were not seen"
_CUSTOM: Final = {
    "control link lost": "hands off; watch it begin its return; take over only with control surely back",
    "telemetry lost": "fly by sight; the watch says where it should be; land at the nearest place if in doubt",
    "low battery": "turn back at the first call; at the second land at the nearest place",
    "position lost": "fly by hand, stop the drift first, then height, then the nearest place",
    "one pack out": "no climb, slow, straight to the nearest place",
    "motor or rotor fails": "let the load go if it can be; land at once where nobody is",
    "people below": "stop and hold; move the aircraft, not the load over them",
    "traffic": "descend and give way",
    "lost sight": "stop and hold; the observer guides; else return",
    "load caught": "descend to slacken the line, then free it or let it go",
}
"""Common practice, where the crew has agreed on nothing else."""


def crew_today(file: AircraftFile | None, sortie: SortieFile, settings: Settings | None) -> CrewToday:
    """Return the crew's page."""
    return CrewToday(
        roles=ROLES,
        checklist=sortie.checklist,
        emergencies=tuple(_emergencies(sortie, settings)),
        cautions=CAUTIONS,
        blind=tuple(blind(file, sortie, settings)),
    )


def _emergencies(sortie: SortieFile, settings: Settings | None) -> list[Emergency]:
    agreed = {name.casefold(): (name, words) for name, words in sortie.emergencies.items()}
    found: list[Emergency] = []
    for failure, custom in _CUSTOM.items():
        own = agreed.pop(failure, None)
        found.append(Emergency(failure, _by_itself(failure, settings), own[1] if own else custom))
    found += [Emergency(name, "", words) for name, words in agreed.values()]
    return found


def _by_itself(failure: str, settings: Settings | None) -> str:
    """Return what the aircraft is set to do about a failure; empty where it does nothing that is set."""
    if failure not in {"control link lost", "telemetry lost", "low battery", "position lost"}:
        return ""
    if settings is None:
        return _NOT_SEEN
    if failure == "low battery":
        return _low_battery(settings)
    name = {"control link lost": "control_lost", "telemetry lost": "station_lost"}.get(failure, "position_lost")
    action, after = settings[f"{name}_action"], settings[f"{name}_s"]
    if after.word == "off":
        return "does nothing: that fail-safe is off"
    if action.word is None:
        return f"not known: {action.why}"
    done = _WORDS.get(action.word, action.word)
    return f"after {after.number:g} s {done}" if after.number is not None else f"{done}; when is not known"


def _low_battery(settings: Settings) -> str:
    if settings.low_battery is None:
        return "not known: nothing of its low-battery action was seen"
    told: list[str] = []
    for stage in settings.low_battery:
        if stage.threshold.word == "off":
            continue
        told.append(
            f"at {_value(stage.threshold)} {_WORDS.get(stage.action.word or '', 'does what is not known')}"
        )
    return "; ".join(told) or "does nothing: no stage is on"


def _value(setting: Setting) -> str:
    return f"{setting.number:g} {setting.unit}" if setting.number is not None else "a threshold not understood"


def blind(file: AircraftFile | None, sortie: SortieFile, settings: Settings | None) -> list[str]:
    """Return what the watch will not see today, as far as the files tell."""
    packs = file.packs if file is not None else None
    found: list[str] = []
    if packs is None or packs.cells is None or packs.capacity_ah is None:
        found.append(
            "charge and whether it gets home: the aircraft file names no cells or no capacity of its packs"
        )
    elif packs.count > 1 and not packs.monitors:
        found.append("which pack is which: the aircraft file names no monitors")
    if settings is None:
        found.append("its own low-battery action, until its parameters come by in the stream")
    if not sortie.obstacles:
        found.append("obstacles on the way home: none is named")
    if not sortie.ground:
        found.append("the height of the ground away from home: none is named")
    if not sortie.areas:
        found.append("areas: no boundary, none to keep out of, none with people is named")
    if not sortie.landing_places:
        found.append("where else it can land: no place is named")
    if sortie.weather.wind is None:
        found.append("wind, until it has flown two headings or tells it: no forecast is named")
    if sortie.radio.control is None:
        found.append("whether control is lost with the telemetry link: radio.control is not named")
    found.append("other traffic: it is not watched; that is the observer's")
    found.append("people, birds, wires and trees, and how the load hangs: that is the observer's")
    return found
