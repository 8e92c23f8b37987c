"""Everything the watch knows of one aircraft beyond its readings."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.boot import BootClock
from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.geodesy import distance_bearing
from watchkeeper.aircraft.packs import PackTable
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.phase import UNDEFINED, Facts, PhaseTracker
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.aircraft.texts import Texts
from watchkeeper.link.sequence import SequenceTracker

PHASE: Final = INDEX["flight.phase"]
MODE: Final = INDEX["flight.mode"]
ARMED: Final = INDEX["flight.armed"]
DISTANCE: Final = INDEX["position.home_distance"]
BEARING: Final = INDEX["position.home_bearing"]
HOME_SOURCE: Final = INDEX["position.home_source"]
HEIGHT: Final = INDEX["position.height"]
SPEED: Final = INDEX["position.ground_speed"]
CLIMB: Final = INDEX["position.climb_rate"]
AGE: Final = INDEX["link.age"]
LAG: Final = INDEX["link.lag"]

_LIVE_US: Final = 3 * US
_RETURN_COMMAND: Final = 20
"""MAV_CMD_NAV_RETURN_TO_LAUNCH"""
_LAND_COMMAND: Final = 21
"""MAV_CMD_NAV_LAND"""
_MOST_ITEMS: Final = 2000
_RANK: Final = {None: 0, "sortie": 1, "arming": 2, "aircraft": 3}

MADE_FROM_POSITION: Final = frozenset({DISTANCE, BEARING, HOME_SOURCE})


class Aircraft:
    """One aircraft, by MAVLink system id. `component` is that of its autopilot."""

    def __init__(
        self,
        system: int,
        component: int,
        files: list[AircraftFile] | None = None,
        sortie: SortieFile | None = None,
    ) -> None:
        self.system = system
        self.component = component
        self.autopilot = 0
        self.vehicle = 0
        self.file = _file_of(system, files or [])
        self.sortie = sortie
        self.readings = Readings()
        self.trackers: dict[tuple[str, int], SequenceTracker] = {}
        self.sources: set[str] = set()
        self.several = False
        """Heard over more than one source."""
        self.streams: dict[str, Stream] = {}
        self.link = Stream()
        self.readings.put(AGE, 0.0, self.link)
        self.power_up = 0
        self._begin()

    def _begin(self) -> None:
        """Set what a power-up sets."""
        self.power_up += 1
        self.boot = BootClock()
        self.boot_us = 0
        """When its clock was last looked at."""
        self.tracker = PhaseTracker()
        self.packs = PackTable(self.readings, self.file)
        self.parameters = Parameters()
        self.texts = Texts()
        self.plan: dict[int, int] = {}
        """Commands of the plan's items by number, as far as seen."""
        self.plan_current: int | None = None
        self.plan_total: int | None = None
        self.position: tuple[float, float] | None = None
        self.home: tuple[float, float] | None = None
        self.home_source: str | None = None
        self.home_height_m: float | None = None
        self.home_moved_m = 0.0
        self.mode_name = ""
        self.mode = "other"
        self.intended_mode: int | None = None
        self.standard_mode_us: int | None = None
        self.armed: bool | None = None
        self.landed = UNDEFINED
        self.landed_us = 0
        self.throttle_pct: float | None = None
        self.fixed = False
        if self.sortie is not None and self.sortie.home is not None:
            self.set_home(*self.sortie.home, "sortie", 0)

    def restart(self) -> None:
        """Begin anew: the aircraft was powered up again, and nothing said before holds."""
        for index in range(len(CATALOGUE)):
            self.readings.forget(index)
        self.readings.put(AGE, 0.0, self.link)
        self.streams.clear()
        self._begin()

    def stream(self, name: str, now_us: int) -> Stream:
        """Return the stream of that name, marked with a sample now."""
        stream = self.streams.get(name)
        if stream is None:
            stream = self.streams[name] = Stream()
        stream.mark(now_us)
        return stream

    def live(self, name: str, now_us: int) -> bool:
        """Whether a stream has brought something within the last three seconds, or four of its intervals."""
        stream = self.streams.get(name)
        return stream is not None and now_us - stream.time_us <= max(_LIVE_US, 4 * stream.interval_us)

    def set_home(self, latitude_deg: float, longitude_deg: float, source: str, now_us: int) -> None:
        """Take a home position, unless a better source has given one."""
        if _RANK[source] < _RANK[self.home_source]:
            return
        if self.home is not None and self.home_source == source:
            self.home_moved_m += distance_bearing(*self.home, latitude_deg, longitude_deg)[0]
        self.home = (latitude_deg, longitude_deg)
        self.home_source = source
        self.readings.put(HOME_SOURCE, source, self.stream("home", now_us))

    def set_position(self, latitude_deg: float, longitude_deg: float, stream: Stream) -> None:
        """Take where it is; 0, 0 is what autopilots send without a fix."""
        put = self.readings.put
        if latitude_deg == 0.0 and longitude_deg == 0.0:
            self.position = None
            put(DISTANCE, None, stream)
            put(BEARING, None, stream)
            return
        self.position = (latitude_deg, longitude_deg)
        if self.home is None:
            put(DISTANCE, None, stream)
            put(BEARING, None, stream)
            return
        distance_m, bearing_deg = distance_bearing(*self.home, latitude_deg, longitude_deg)
        put(DISTANCE, distance_m, stream)
        put(BEARING, bearing_deg, stream)

    def set_armed(self, *, armed: bool, stream: Stream) -> None:
        """Take whether it is armed; at an arming that is seen, it is at home."""
        if armed and self.armed is False and self.position is not None and self.fixed:
            self.set_home(*self.position, "arming", stream.time_us)
        self.armed = armed
        self.readings.put(ARMED, armed, stream)

    def note_boot(self, boot_ms: int, now_us: int) -> bool:
        """Take the aircraft's own time; begin anew (and return True) if it was started again."""
        if self.boot.note(boot_ms, now_us):
            self.restart()
            self.boot.note(boot_ms, now_us)
            return True
        self.boot_us = now_us
        self.readings.put(LAG, self.boot.lag_s, self.stream("lag", now_us))
        return False

    def update_phase(self, now_us: int) -> None:
        """Judge the phase anew and write it."""
        if self.armed is None:
            return
        values = self.readings.values
        in_plan = self.mode == "mission" and self.plan_current is not None
        command = self.plan.get(self.plan_current) if in_plan and self.plan_current is not None else None
        facts = Facts(
            armed=self.armed,
            mode=self.mode,
            landed=self.landed if self.live("landed", now_us) else UNDEFINED,
            height_m=values[HEIGHT],
            climb_m_s=values[CLIMB],
            speed_m_s=values[SPEED],
            throttle_pct=self.throttle_pct,
            plan_returns=command == _RETURN_COMMAND,
            plan_lands=command == _LAND_COMMAND,
        )
        before = self.tracker.phase
        phase = self.tracker.update(facts, now_us)
        if phase != before and phase is not None:
            self.readings.put(PHASE, phase, self.stream("phase", now_us))

    def add_plan_item(self, number: int, command: int) -> None:
        """Remember what an item of the plan commands."""
        if number in self.plan or len(self.plan) < _MOST_ITEMS:
            self.plan[number] = command


def _file_of(system: int, files: list[AircraftFile]) -> AircraftFile | None:
    """Return the file that names this system, else one that names none."""
    named = [file for file in files if file.system == system]
    free = [file for file in files if file.system is None]
    return next(iter((*named, *free)), None)
