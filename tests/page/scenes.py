"""Invented pictures for the tests of the page: calm, warning, link lost, before a take-off, a board of five."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from watchkeeper.alerts.events import Level, State
from watchkeeper.picture.models import (
    AircraftPicture,
    Answer,
    Check,
    History,
    Limit,
    Place,
    Said,
    ShownAlert,
    Spot,
    StationPicture,
    Surroundings,
    Zone,
)

START: Final = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
ELAPSED_S: Final = 412.0


def stamp(after_s: float) -> str:
    """Return the time so long after the start, as a picture has it."""
    return (START + timedelta(seconds=after_s)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


GROUND: Final = Surroundings(
    home=(52.1, 9.4),
    points=[
        Spot(name="point 1", north_m=420, east_m=180, height_m=60),
        Spot(name="point 2", north_m=640, east_m=-120, height_m=60),
    ],
    obstacles=[
        Spot(name="mast", north_m=300, east_m=310, height_m=42, radius_m=10),
        Spot(name="silo", north_m=-180, east_m=-260, height_m=28, radius_m=25),
    ],
    places=[Spot(name="meadow", north_m=210, east_m=-330), Spot(name="quarry floor", north_m=520, east_m=420)],
    zones=[
        Zone(name="site", kind="boundary", corners=[(900, -620), (900, 640), (-380, 640), (-380, -620)]),
        Zone(name="yard", kind="keep_out", corners=[(120, 330), (120, 520), (-60, 520), (-60, 330)]),
        Zone(name="path", kind="people", corners=[(560, -420), (620, -420), (620, -250), (560, -250)]),
    ],
)


def alert(rule: str, level: Level, callout: str, **more: Any) -> ShownAlert:
    """Return an alert with what most of them have."""
    given: dict[str, Any] = {
        "aircraft": 42,
        "state": State.UNACKNOWLEDGED,
        "since": stamp(ELAPSED_S - 47),
        "reason": "",
        "evidence": {},
        "stale": False,
        "over": False,
        "acknowledged_by": [],
    }
    return ShownAlert(rule=rule, level=level, callout=callout, **(given | more))


def curve(
    first: float, last: float, wave: float = 0.0, gap: tuple[int, int] = (0, 0)
) -> list[tuple[float, float | None]]:
    """Return the points of a history from the first value to the last."""
    points: list[tuple[float, float | None]] = []
    for k in range(200):
        value = first + (last - first) * k / 199 + wave * math.sin(k / 9)
        points.append((ELAPSED_S - 398 + 2 * k, None if gap[0] <= k < gap[1] else round(value, 3)))
    return points


def histories(
    reserve: float = 46.0, cell: float = 3.71, margin: float = 21.0, gap: tuple[int, int] = (0, 0)
) -> list[History]:
    """Return the four histories that every aircraft has."""
    caution, warning = Level.CAUTION, Level.WARNING
    return [
        History(
            reading="return.reserve",
            words="charge at landing",
            unit="%",
            points=curve(61, reserve, 0.4),
            low=curve(52, reserve - 8, 0.5),
            limits=[Limit(value=25, words="turn back", level=warning)],
        ),
        History(
            reading="battery.cell_voltage",
            words="cell voltage",
            unit="V",
            points=curve(4.02, cell, 0.02),
            low=[],
            limits=[
                Limit(value=3.5, words="cells low", level=caution),
                Limit(value=3.3, words="cell floor", level=warning),
            ],
        ),
        History(
            reading="link.margin",
            words="link margin",
            unit="dB",
            points=curve(34, margin, 1.5, gap),
            low=[],
            limits=[Limit(value=10, words="link fades", level=caution)],
        ),
        History(
            reading="satellites.used",
            words="satellites",
            unit="count",
            points=[(t, None if v is None else round(v)) for t, v in curve(17, 16, 1.2)],
            low=[],
            limits=[Limit(value=9, words="few satellites", level=caution)],
        ),
    ]


def answer(**more: Any) -> Answer:
    """Return the answer of a calm flight, with what is to be another."""
    given: dict[str, Any] = {
        "standing": "yes",
        "words": "It can get home.",
        "reserve_pct": 46.2,
        "reserve_low_pct": 38.4,
        "floor_pct": 25.0,
        "turn_back_in_s": 402.0,
        "turn_back_before": "charge",
        "time_home_s": 71.0,
        "distance_m": 512.0,
        "bearing_deg": 24.0,
        "nearest": "meadow, 380 m, bearing 301°",
    }
    return Answer(**(given | more))


def aircraft(**more: Any) -> AircraftPicture:
    """Return an aircraft on a calm flight, with what is to be another."""
    track = [(470 * math.sin(k / 76), 90 * k / 120 + 130 * math.sin(k / 20)) for k in range(120)]
    north, east = track[-1]
    given: dict[str, Any] = {
        "system": 42,
        "name": "Heron 1",
        "phase": "airborne",
        "mode": "mission",
        "armed": True,
        "heard_s": 0.3,
        "answer": answer(),
        "alerts": [],
        "blind": [],
        "place": Place(
            north_m=north,
            east_m=east,
            height_m=61.0,
            speed_m_s=7.8,
            course_deg=38.0,
            climb_m_s=0.1,
            age_s=0.2,
            forecast=False,
            doubt_m=None,
            falls=Spot(name="falls", north_m=north + 24, east_m=east + 20, radius_m=18),
        ),
        "track": track,
        "reach_m": [820 + 160 * math.cos(math.radians(10 * k - 250)) for k in range(36)],
        "wind_speed_m_s": 6.8,
        "wind_from_deg": 250.0,
        "surroundings": GROUND,
        "histories": histories(),
        "readings": {
            "battery.cell_voltage": 3.71,
            "flight.phase": "airborne",
            "wind.speed": 6.8,
            "link.loss": None,
        },
        "waits": [],
        "checklist": [],
        "roles": [],
    }
    return AircraftPicture(**(given | more))


def station(*craft: AircraftPicture, **more: Any) -> StationPicture:
    """Return a station with these aircraft."""
    given: dict[str, Any] = {
        "station": "north-field",
        "exercise": False,
        "state": "watching",
        "since": stamp(0),
        "time": stamp(ELAPSED_S),
        "elapsed_s": ELAPSED_S,
        "alerts": [],
        "aircraft": list(craft),
        "said": [
            Said(time=stamp(380), aircraft=42, level=Level.ADVISORY, words="Wind. Seven metres per second."),
            Said(
                time=stamp(301), aircraft=42, level=Level.CAUTION, words="Caution. Link. Fading. Turn the antenna."
            ),
        ],
        "hearing": {"pilot": None, "observer": True, "post": None},
    }
    return StationPicture(**(given | more))


def calm() -> list[StationPicture]:
    """Return a flight with nothing wrong."""
    return [station(aircraft())]


def returning() -> list[StationPicture]:
    """Return a flight on its way home: nothing is left to be turned back."""
    way = answer(words="On its way home.", turn_back_in_s=None, turn_back_before=None)
    return [station(aircraft(phase="returning", answer=way))]


def warning() -> list[StationPicture]:
    """Return a flight that has to turn back now, with a caution and what is not seen."""
    craft = aircraft(
        answer=answer(
            standing="now",
            words="Turn back now.",
            reserve_pct=26.1,
            reserve_low_pct=24.6,
            turn_back_in_s=-12.0,
        ),
        alerts=[
            alert(
                "return-now",
                Level.WARNING,
                "Warning. Return. Turn back now.",
                reason="the lower bound of the charge at landing is under the reserve",
                evidence={"return.turn_back_in": -12.0, "return.reserve_low": 24.6},
            ),
            alert(
                "voltage-sag",
                Level.CAUTION,
                "Caution. Battery. Voltage sag. 3.4 volts. Slow down, avoid climbing.",
                since=stamp(ELAPSED_S - 131),
                reason="voltage under load lower than current explains",
                evidence={"battery.sag": 0.17, "battery.cell_voltage": 3.41},
            ),
            alert(
                "link-trend",
                Level.CAUTION,
                "Caution. Link. Fading. Turn the antenna.",
                state=State.ACKNOWLEDGED,
                acknowledged_by=["pilot", "observer"],
                since=stamp(ELAPSED_S - 300),
            ),
        ],
        blind=["packs unequal: no reading of battery.2.voltage", "traffic: no receiver heard"],
        histories=histories(reserve=26.0, cell=3.41, margin=11.0),
    )
    return [
        station(
            craft,
            alerts=[
                alert(
                    "watch-observer-deaf",
                    Level.CAUTION,
                    "Caution. Watch. The observer does not hear it.",
                    aircraft=None,
                )
            ],
            hearing={"pilot": True, "observer": False, "post": True},
        )
    ]


def link_lost() -> list[StationPicture]:
    """Return a flight whose link is lost: a forecast place with its doubt."""
    calm_craft = aircraft()
    assert calm_craft.place is not None
    place = Place(
        **(
            calm_craft.place.model_dump()
            | {"north_m": 260, "east_m": 60, "forecast": True, "doubt_m": 85.0, "age_s": 34.0, "falls": None}
        )
    )
    craft = aircraft(
        phase="returning",
        heard_s=34.0,
        place=place,
        answer=answer(
            standing="unknown",
            words="Not known: link lost for 34 seconds.",
            turn_back_in_s=None,
            turn_back_before=None,
        ),
        alerts=[
            alert(
                "link-lost",
                Level.WARNING,
                "Warning. Link lost. It should be overhead in one minute.",
                evidence={"link.age": 34.0},
            ),
            alert("voltage-sag", Level.CAUTION, "Caution. Battery. Voltage sag.", stale=True),
            alert(
                "home-unreachable",
                Level.WARNING,
                "Warning. Cannot reach home. Nearest place meadow.",
                state=State.RETURNED,
                over=True,
            ),
        ],
        blind=["everything of this aircraft: not heard for 34 s"],
        histories=histories(gap=(150, 200)),
    )
    return [station(craft)]


def before() -> list[StationPicture]:
    """Return an aircraft on the ground, an exercise, with reasons to wait."""
    craft = aircraft(
        phase="on_ground",
        mode="standby",
        armed=False,
        answer=answer(
            standing="home",
            words="It is at home.",
            turn_back_in_s=None,
            turn_back_before=None,
            time_home_s=0,
            distance_m=2.0,
            bearing_deg=None,
            reserve_pct=None,
            reserve_low_pct=None,
        ),
        place=Place(
            north_m=1,
            east_m=1,
            height_m=0.0,
            speed_m_s=0.0,
            course_deg=None,
            climb_m_s=0.0,
            age_s=0.3,
            forecast=False,
            doubt_m=None,
            falls=None,
        ),
        track=[],
        waits=[
            "Battery. Packs cold, 6 degrees. Warm them before take-off.",
            "Crew. The post has not confirmed to hear the watch.",
        ],
        checklist=[
            Check(words="rotor latches", done=True),
            Check(words="pack connectors", done=False),
            Check(words="antennas down", done=False),
        ],
        roles=[
            Check(words="pilot", done=True),
            Check(words="observer", done=True),
            Check(words="post", done=False),
        ],
    )
    return [station(craft, exercise=True, said=[])]


def board() -> list[StationPicture]:
    """Return five aircraft of two stations, one of which is lost."""
    warned = warning()[0].aircraft[0]
    north = [
        aircraft(system=7, name="Tern 7"),
        warned,
        aircraft(system=9, name="Tern 9", phase="landed", answer=answer(standing="home", words="It is at home.")),
    ]
    south = [
        aircraft(
            system=11,
            name="Petrel 11",
            answer=answer(standing="soon", words="Turn back within one minute.", turn_back_in_s=48.0),
            alerts=[
                alert(
                    "return-reserve", Level.CAUTION, "Caution. Return. Turn back within one minute.", aircraft=11
                )
            ],
        ),
        aircraft(system=12, name="Petrel 12"),
    ]
    return [
        station(*north),
        station(*south, station="south-quarry", state="lost", since=stamp(ELAPSED_S - 75)),
    ]


HOSTILE: Final = '<img src=x onerror="window.bitten=1"><script>window.bitten=1</script>'


def hostile() -> list[StationPicture]:
    """Return a picture whose every text is meant to do harm."""
    long = "W" * 100_000
    turned = "\u202egnp.live\u2066 \u0627\u0644\u0637\u0627\u0626\u0631\u0629 \U0001f681\U0001f469\u200d\U0001f692"
    stacked = "a" + "\u0301\u0489" * 400
    bad = [HOSTILE, long, turned, stacked, "", "\x00\x1b[31m\n\n\n"]
    craft = aircraft(
        name=HOSTILE + turned,
        mode=long,
        answer=answer(words=long, nearest=HOSTILE, turn_back_before=stacked),
        alerts=[
            alert(f"text-{k}", Level.WARNING, text or "x", reason=text, evidence={text[:500] or "e": text})
            for k, text in enumerate(bad)
        ],
        blind=bad,
        surroundings=Surroundings(
            home=None,
            points=[Spot(name=text, north_m=1e12, east_m=-1e12) for text in bad],
            obstacles=[Spot(name=text, north_m=100, east_m=100, height_m=1e9, radius_m=1e9) for text in bad],
            places=[Spot(name=text, north_m=0, east_m=0) for text in bad],
            zones=[Zone(name=HOSTILE, kind="people", corners=[(1e15, 0), (0, 1e15), (-1e15, 0)])],
        ),
        histories=[
            History(
                reading=HOSTILE,
                words=long,
                unit=HOSTILE,
                points=[(0, 1e300), (1, None), (2, -1e300)],
                low=[(0, None)],
                limits=[Limit(value=1e18, words=long, level=Level.WARNING)],
            ),
            History(reading="empty", words="", unit="", points=[], low=[], limits=[]),
        ],
        readings={HOSTILE: HOSTILE, "long": long},
    )
    return [
        station(craft, station=HOSTILE, said=[Said(time=HOSTILE, aircraft=1, level=Level.WARNING, words=long)])
    ]


SCENES: Final[Mapping[str, Callable[[], list[StationPicture]]]] = {
    "calm": calm,
    "warning": warning,
    "link_lost": link_lost,
    "before": before,
    "board": board,
}
