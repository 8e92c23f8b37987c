"""Everything the watch knows of one aircraft beyond its readings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.ackswitch import AckSwitch
from watchkeeper.aircraft.below import Below
from watchkeeper.aircraft.boot import BootClock
from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.control import Control
from watchkeeper.aircraft.downsign import DownSign
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.filterhealth import FilterHealth
from watchkeeper.aircraft.geodesy import is_place
from watchkeeper.aircraft.health import Health
from watchkeeper.aircraft.home import Home
from watchkeeper.aircraft.intended import Intended
from watchkeeper.aircraft.labels import Labels
from watchkeeper.aircraft.modes import ModeTracker
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.motors import Motors
from watchkeeper.aircraft.others import Others
from watchkeeper.aircraft.packs import PackTable
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.phase import DOWN, FLYING, PhaseTracker
from watchkeeper.aircraft.plan import Plan
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.aircraft.receivers import Receivers
from watchkeeper.aircraft.seen import UNDEFINED, Seen
from watchkeeper.aircraft.texts import Texts
from watchkeeper.link.sequence import SequenceTracker

PHASE: Final = INDEX["flight.phase"]
MODE: Final = INDEX["flight.mode"]
ARMED: Final = INDEX["flight.armed"]
ARMED_FOR: Final = INDEX["flight.armed_for"]
RESTARTED: Final = INDEX["flight.restarted"]
DISARMED: Final = INDEX["flight.disarmed_in_air"]
DISTANCE: Final = INDEX["position.home_distance"]
BEARING: Final = INDEX["position.home_bearing"]
HOME_SOURCE: Final = INDEX["position.home_source"]
UPSETS: Final = frozenset({RESTARTED, DISARMED})
"""Readings that are written with the phase."""
AGE: Final = INDEX["link.age"]
INTERVAL: Final = INDEX["link.interval"]
LAG: Final = INDEX["link.lag"]
PLACE: Final = frozenset({DISTANCE, BEARING, HOME_SOURCE})
"""Readings that a position or a home writes."""

_LIVE_US: Final = 3 * US
_MISSED: Final = 4
_SLOWEST_US: Final = 30 * US
_DOUBT_US: Final = 4 * US
"""A start shows within three seconds of its first message; until then that message tells nothing of the flight."""
_PHASE_EVERY_US: Final = 150_000
_DOUBT_MS: Final = 1000
_BOOT_EVERY_US: Final = 200_000
"""Attitude may come fifty times a second; its time need not be looked at each time."""


class Streams:
    """The series of messages of one power-up, as far as they bring readings."""

    __slots__ = (
        "armed", "gps", "heartbeat", "high_latency", "home", "hud", "lag", "landed", "mode", "phase", "position",
        "radio", "radio_old", "wind",
    )  # fmt: skip

    def __init__(self) -> None:
        self.armed = Stream()
        self.gps = Stream()
        self.heartbeat = Stream()
        self.high_latency = Stream()
        self.home = Stream()
        self.hud = Stream()
        self.lag = Stream()
        self.landed = Stream()
        self.mode = Stream()
        self.phase = Stream()
        self.position = Stream()
        self.radio = Stream()
        self.radio_old = Stream()
        self.wind = Stream()


def is_live(stream: Stream, now_us: int) -> bool:
    """Whether a stream has brought something within three seconds, or four of its intervals (30 s at most)."""
    if not stream.count:
        return False
    age_us = now_us - stream.time_us
    return age_us <= _LIVE_US or age_us <= min(_MISSED * stream.interval_us, _SLOWEST_US)


class Aircraft:
    """One aircraft, by MAVLink system id. `component` is that of its autopilot."""

    def __init__(
        self,
        system: int,
        component: int,
        files: Sequence[AircraftFile] = (),
        sortie: SortieFile | None = None,
        labels: Labels | None = None,
        others: Others | None = None,
    ) -> None:
        self.system = system
        self.component = component
        self.autopilot = 0
        """MAV_AUTOPILOT"""
        self.vehicle = 0
        """MAV_TYPE"""
        self.file = _file_of(system, files)
        self.sortie = sortie
        self.labels = labels if labels is not None else Labels(None, ())
        """Its packs by the crew's ledger."""
        self.others = others if others is not None else Others()
        """Who else is heard."""
        self.readings = Readings()
        self.trackers: dict[tuple[str, int], SequenceTracker] = {}
        """Frame counters by source and component."""
        self.sources: set[str] = set()
        self.several = False
        """Heard over more than one source."""
        self.link = Stream()
        self.power_up = 0
        self._begin(None)

    def _begin(self, before: BootClock | None) -> None:
        """Set what a power-up sets."""
        self.power_up += 1
        self.readings.put(AGE, 0.0, self.link)
        self.readings.put(INTERVAL, 0.0, self.link)  # until it is known, silence is measured by the clock alone
        self.streams = Streams()
        self.boot = BootClock(before)
        self.seen = Seen()
        self.tracker = PhaseTracker(self.seen)
        self.modes = ModeTracker()
        self.packs = PackTable(self.readings, self.file)
        self.parameters = Parameters()
        self.texts = Texts()
        self.plan = Plan()
        self.homing: Home = Home(self.homing if before is not None else None)
        self.receivers = Receivers()
        self.filter = FilterHealth()
        self.motion = Motion()
        self.intended = Intended()
        self.control = Control()
        self.switch = AckSwitch(self.sortie.crew.acknowledge_channel if self.sortie is not None else None)
        self.health = Health()
        self.motors = Motors()
        self.below = Below()
        self.position: tuple[float, float] | None = None
        """Where it is: latitude and longitude in degrees."""
        self.fixed = False
        """Satellites give a position in three dimensions."""
        self.down = DownSign()
        self.boot_us = 0
        """When its clock was last looked at."""
        self._doubted_us: int | None = None
        """Since when its clock says that it was started anew, until that is sure."""
        if self.sortie is not None and self.sortie.home is not None:
            self.set_home(*self.sortie.home, "sortie", 0)

    def restart(self, now_us: int) -> None:
        """Begin anew: the aircraft was powered up again, and nothing said before holds, but a flight goes on."""
        for index in range(len(CATALOGUE)):
            self.readings.forget(index)
        before = self.tracker
        if before.phase not in FLYING:
            self.labels.powered_anew()
        self._begin(self.boot)
        if before.phase in FLYING:
            self.tracker.carry_on(before)
            self._put_phase(now_us)

    def why_not_by_sticks(self) -> str:
        """Return why the crew's switch acknowledges nothing; empty where it does, or where none was named."""
        return self.switch.why_off(self.autopilot, self.vehicle, self.parameters)

    @property
    def home(self) -> tuple[float, float] | None:
        """Home: latitude and longitude in degrees."""
        return self.homing.position

    @property
    def home_source(self) -> str | None:
        """Where home is known from, in the catalogue's words."""
        return self.homing.source

    @property
    def home_moved_m(self) -> float:
        """How far home was moved by its source since it was known, m."""
        return self.homing.moved_m

    @property
    def armed(self) -> bool | None:
        """Motors armed; None before the first heartbeat of this power-up."""
        return self.seen.armed

    @property
    def placed(self) -> bool:
        """Whether it ever sent a position, as far as it can be told."""
        return self.power_up > 1 or bool(self.streams.position.count or self.streams.high_latency.count)

    @property
    def flying(self) -> bool:
        """Armed, and in flight as far as is known."""
        return bool(self.seen.armed) and self.tracker.phase not in (*DOWN, None)

    def set_home(self, latitude_deg: float, longitude_deg: float, source: str, now_us: int) -> None:
        """Take a home position, unless a better source has given one."""
        if self.homing.take(latitude_deg, longitude_deg, source):
            stream = self.streams.home
            stream.mark(now_us)
            self.readings.put(HOME_SOURCE, source, stream)
            if self.position is not None:
                self._place(self.streams.position)

    def set_position(self, latitude_deg: float, longitude_deg: float, stream: Stream) -> None:
        """Take where it is; what is no place on Earth is unknown."""
        known = is_place(latitude_deg, longitude_deg)
        self.position = (latitude_deg, longitude_deg) if known else None
        self._place(stream)

    def _place(self, stream: Stream) -> None:
        values, streams = self.readings.values, self.readings.streams
        around = self.homing.around
        if self.position is None or around is None:
            distance_m = bearing_deg = None
        else:
            distance_m, bearing_deg = around.to(*self.position)
        values[DISTANCE] = self.seen.home_m = distance_m
        values[BEARING] = bearing_deg
        streams[DISTANCE] = streams[BEARING] = stream

    def set_armed(self, *, armed: bool, stream: Stream) -> None:
        """Take whether it is armed; at an arming that is seen, and not in the air, it is at home."""
        starts = armed and self.seen.armed is False and self.tracker.phase in DOWN
        if starts and self.position is not None and self.fixed:
            self.set_home(*self.position, "arming", stream.time_us)
        if armed is not self.seen.armed:
            since = self.streams.armed
            since.mark(stream.time_us)
            self.readings.put(ARMED_FOR, 0.0 if armed else None, since)
        self.seen.armed = armed
        self.readings.put(ARMED, armed, stream)

    def set_mode(self, word: str, stream: Stream) -> None:
        """Take the mode."""
        self.seen.mode = word
        self.readings.put(MODE, word, stream)

    def note_boot(self, boot_ms: int, now_us: int) -> None:
        """Take the aircraft's own time (0: not known), and begin anew if it was started again."""
        if not boot_ms or 0 <= now_us - self.boot_us < _BOOT_EVERY_US:
            return
        if self.boot.starts_anew(boot_ms, now_us):
            self.restart(now_us)
        if boot_ms >= self.boot.newest_ms:
            self._doubted_us = None
        elif boot_ms < self.boot.newest_ms - _DOUBT_MS and self._doubted_us is None:
            self._doubted_us = now_us
        self.boot.note(boot_ms, now_us)
        self.boot_us = now_us
        stream = self.streams.lag
        stream.mark(now_us)
        self.readings.put(LAG, self.boot.lag_s, stream)

    def motion_seen(self, now_us: int) -> None:
        """Judge the phase after height or speeds came; not more often than flight changes."""
        self.seen.motion_us = now_us
        if now_us - self.tracker.now_us >= _PHASE_EVERY_US:
            self.update_phase(now_us)

    def update_phase(self, now_us: int) -> None:
        """Judge the phase anew and write it."""
        seen, tracker = self.seen, self.tracker
        if self._doubted_us is not None and now_us - self._doubted_us < _DOUBT_US:
            return
        seen.base_m = self.homing.height_m
        if seen.landed != UNDEFINED and not is_live(self.streams.landed, now_us):
            seen.landed = UNDEFINED
        planned = seen.mode == "mission"
        seen.plan_returns = planned and self.plan.returns()
        seen.plan_lands = planned and self.plan.lands(self.position)
        upset = tracker.upset
        before, disarmed = tracker.phase, upset.disarmed
        phase = tracker.update(now_us)
        # `restarted` is set with a new tracker and ends with a change of phase
        if phase is not before or upset.disarmed is not disarmed or not self.streams.phase.count:
            self._put_phase(now_us)

    def _put_phase(self, now_us: int) -> None:
        stream, readings, upset = self.streams.phase, self.readings, self.tracker.upset
        stream.mark(now_us)
        readings.put(PHASE, self.tracker.phase, stream)
        readings.put(RESTARTED, upset.restarted, stream)
        readings.put(DISARMED, upset.disarmed, stream)


def _file_of(system: int, files: Sequence[AircraftFile]) -> AircraftFile | None:
    """Return the file that names this system, else one that names none."""
    named = [file for file in files if file.system == system]
    free = [file for file in files if file.system is None]
    return next(iter((*named, *free)), None)
