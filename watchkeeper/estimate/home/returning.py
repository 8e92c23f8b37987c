"""Can it get home: time, energy and charge left with their bounds, and how long until that is no longer so.

Twice a second the expected return, once a second its bounds. The last moment to turn back is where the lower bound
of the charge at home meets the required reserve, or the lowest cell voltage of a leg meets the floor, whichever is
sooner, if the aircraft goes on as it now does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final, Protocol

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.readings import BLIND as BLIND_READING
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.air.airwind import WindState, at_height
from watchkeeper.estimate.home.forecast import BOUND, Answer, Costs, answer, fly
from watchkeeper.estimate.home.homeway import HomeWind, Start, WindDoubt, speed_home, way_home
from watchkeeper.estimate.home.limits import (
    LONGEST_S,
    Case,
    aborted_pct,
    binds,
    lowest_one_out,
    reaches,
    turn_back_s,
)
from watchkeeper.estimate.home.lostlink import LastSeen
from watchkeeper.estimate.home.lulls import Lulls
from watchkeeper.estimate.home.places import OPEN_M, Post, clearance_m, nearest_place, posts
from watchkeeper.estimate.home.power import PowerLearner, PowerModel, Seen
from watchkeeper.estimate.home.progress import Progress
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import BatteryEstimates, Supply
from watchkeeper.estimate.packs.pack import number

LEAST_RESERVE_PCT: Final = 20.0
POWER_SMOOTH_S: Final = 20.0
RADIAL_SMOOTH_S: Final = 3.0
NEAR_HOME_M: Final = 20.0
"""Position error and drift; over so little, wind that leaves no way home decides nothing."""
UNTOLD_WIND_M_S: Final = 5.0
"""Standard deviation of a wind that nothing tells: a fresh breeze is not rare."""
BEARINGS: Final = 24
_BOUND_EVERY_US: Final = 1_000_000
_GAP_S: Final = 10.0
_HARDEST_M_S2: Final = 3.0
_CHANGE_SHOWN_US: Final = 60_000_000

_PHASE: Final = INDEX["flight.phase"]
_POWER: Final = INDEX["battery.power"]
_DISTANCE: Final = INDEX["position.home_distance"]
_BEARING: Final = INDEX["position.home_bearing"]
_HEIGHT: Final = INDEX["position.height"]
_SPEED: Final = INDEX["position.ground_speed"]
_CLIMB: Final = INDEX["position.climb_rate"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
NAMES: Final = (
    "return.time", "return.energy", "return.reserve", "return.reserve_low", "return.turn_back_in", "return.reach",
    "return.reach_least", "return.reach_least_bearing", "return.lowest_cell", "return.lowest_cell_one_out",
    "return.doubt", "return.worsening", "return.reserve_lull", "return.reserve_mostly", "return.lands",
    "load.change", "return.clearance", "place.distance", "place.bearing", "place.reserve",
)  # fmt: skip
Row = list[float | bool | None]


class WindSource(Protocol):
    """What the return wants of the wind."""

    @property
    def state(self) -> WindState | None:
        """The mean wind."""

    @property
    def scale_doubt(self) -> float:
        """Standard deviation, as a part, of all airspeeds that come of the drag."""

    def airspeed_m_s(self) -> tuple[float, float] | None:
        """Return the present airspeed and its standard deviation."""

    def top_airspeed_m_s(self, tilt_deg: float) -> float:
        """Return the airspeed that a tilt gives."""

    def load_changed(self) -> None:
        """Take it that another load hangs in the wind."""


class ReturnHome:
    """All `return.*` readings; blind on the ground, and without charge of all packs, place or power."""

    indexes = tuple(INDEX[name] for name in NAMES)

    def __init__(
        self,
        readings: Readings,
        file: AircraftFile | None,
        sortie: SortieFile | None,
        batteries: BatteryEstimates,
        wind: WindSource,
        plan: Callable[[], ReturnPlan],
        *,
        where: Callable[[], tuple[float, float] | None] = lambda: None,
        home: Callable[[], tuple[float, float] | None] = lambda: None,
        multirotor: Callable[[], bool] = lambda: True,
    ) -> None:
        """`plan` gives the return as it is set, as far as that is known; `where` and `home` are positions."""
        self._sortie = sortie
        self._where = where
        self._home = home
        self._posts: tuple[tuple[float, float] | None, list[Post]] = (None, [])
        self._line_m = sortie.payload.line_m if sortie is not None else 0.0
        self._multirotor = multirotor
        self.why = ""
        """In plain words why there is no answer; empty where there is one, or none is wanted."""
        self._readings = readings
        self._batteries = batteries
        self._wind = wind
        self._plan = plan
        reserve = sortie.reserve_pct if sortie is not None else None
        self._reserve_pct = max(LEAST_RESERVE_PCT, reserve or 0.0)
        self.power = PowerLearner(file, sortie)
        self.progress = Progress()
        self._power_w: float | None = None
        self._power_us = 0
        self._power_count = 0
        self._climb_m_s = 0.0
        self._distance_m = 0.0
        self._distance_us = 0
        self._outward_m_s = 0.0
        self._bound_us = -_BOUND_EVERY_US
        self._answer: Answer | None = None
        self._row: Row = [None] * len(NAMES)
        self._best_pct: float | None = None
        self._flying = False
        self._root_s = 60.0
        self._case: tuple[Case, float] | None = None
        self._bearing_deg = 0.0
        self._aloft: tuple[WindState, float, WindState] | None = None
        self.seen: LastSeen | None = None
        """What was last known in flight."""
        self._turn_back_s: float | None = None
        self._lulls = Lulls()
        self.contour: tuple[float, ...] = ()
        """Reach in m by bearing from home, evenly from north; empty while it is not known."""
        self.stream = Stream()

    @property
    def power_w(self) -> float | None:
        """The power of all packs, smoothed; None while it is unknown."""
        return self._power_w

    @property
    def required_pct(self) -> float:
        """The usable charge that has to be left after landing, as last reckoned with, %."""
        return self._case[0].required_pct if self._case is not None else self._reserve_pct

    def turn_back_before(self) -> str | None:
        """Return what sets the last moment to turn back: charge, voltage or wind; None where none is near."""
        if self._case is None:
            return None
        if not math.isfinite(self._case[0].found.expected.time_s):
            return "wind"  # against it there is no way home
        return binds(*self._case, self._root_s)

    @property
    def model(self) -> PowerModel:
        """What flying costs."""
        return self.power.model()

    def run(self, now_us: int) -> Row:
        """Return the answers for `indexes`."""
        readings = self._readings
        phase = readings.values[_PHASE]
        if phase not in _IN_FLIGHT:
            if self._flying:
                self._land()
            return self._blind("" if phase is not None else "what part of a flight it is in is not known")
        if not self._multirotor():
            return self._blind("it is no multirotor")
        if not self._flying:
            self._flying = True
            self.power.forget_flight()
        plan = self._plan()
        # what binds is how far it can lean; a limit in a file is for the crew, and no autopilot knows of it
        plan = plan._replace(airspeed_m_s=self._wind.top_airspeed_m_s(plan.tilt_deg))
        distance_m = number(readings, _DISTANCE, now_us)
        height_m = number(readings, _HEIGHT, now_us)
        climb_m_s = number(readings, _CLIMB, now_us) or 0.0
        self._learn_power(climb_m_s, phase, now_us)
        if distance_m is None or height_m is None:
            return self._blind(
                "its height is not told" if height_m is None else "its place or its home is not known"
            )
        self._learn_motion(distance_m)
        speed_m_s = number(readings, _SPEED, now_us) or 0.0
        self.progress.follow(str(phase), distance_m, height_m, climb_m_s, speed_m_s, plan, now_us)
        outward_m_s = self._outward_m_s if phase != "landing" else 0.0
        start = Start(distance_m, height_m, outward_m_s, climb_m_s, self.progress.done, self.progress.held_s)
        self._note(plan, start, str(phase), now_us)
        if self.power.implausible:
            self._batteries.distrust_current()
        supplies = self._batteries.supplies()
        if not supplies:
            return self._blind(self._batteries.why_unknown())
        if not self.power.known or self._power_w is None:
            return self._blind("the power of its packs is not measured")
        self.why = ""
        self._answer_now(plan, start, supplies, now_us)
        return self._row

    def _note(self, plan: ReturnPlan, start: Start, phase: str, now_us: int) -> None:
        """Note what a forecast begins from, should it not be heard any more."""
        bearing_deg = number(self._readings, _BEARING, now_us) or 0.0
        wind, _ = self._home_wind(bearing_deg, plan.top_m(start.height_m, start.distance_m))
        self.seen = LastSeen(start, plan, wind, phase in {"returning", "landing"}, now_us)

    def _answer_now(self, plan: ReturnPlan, start: Start, supplies: list[Supply], now_us: int) -> None:
        """Fill the row in: bounds once a second, what is expected each time."""
        bearing_deg = self._bearing_deg = number(self._readings, _BEARING, now_us) or 0.0
        top_m = plan.top_m(start.height_m, start.distance_m)
        wind, wind_doubt = self._home_wind(bearing_deg, top_m)
        model = self.power.model()
        if now_us - self._bound_us >= _BOUND_EVERY_US or self._answer is None:
            self._bound_us = now_us
            speed_m_s = max(0.0, speed_home(plan, wind))
            airspeed_m_s = math.hypot(speed_m_s + wind.head_m_s, wind.cross_m_s)
            costs = Costs(model, self.power.doubtful(airspeed_m_s), self.power.model_doubt(airspeed_m_s))
            self._answer, worst = answer(plan, start, wind, wind_doubt, supplies, costs)
            required_pct = max(self._reserve_pct, aborted_pct(worst, model))
            case = Case(self._answer, worst, plan, start, wind, model, required_pct)
            self._bounds(case, costs, wind_doubt, supplies)
            return
        legs = way_home(plan, start, wind)
        now = min((fly(legs, one.state, one, model) for one in supplies), key=lambda one: one.left_pct)
        row = self._row
        if math.isfinite(now.time_s):
            row[0], row[1] = now.time_s, now.energy_wh
        row[2] = now.left_pct
        row[3] = now.left_pct - BOUND * self._answer.doubt_pct
        if self._turn_back_s is not None:
            row[4] = self._turn_back_s - (now_us - self._bound_us) / 1e6

    def _bounds(self, case: Case, costs: Costs, wind_doubt: WindDoubt, supplies: list[Supply]) -> None:
        """Fill the row in anew."""
        found, expected = case.found, case.found.expected
        reachable = math.isfinite(expected.time_s)
        power_w = self._power_w or case.model.hover_w
        self._case = case, power_w
        if self._best_pct is None or "climb" not in case.start.done:
            self._best_pct = expected.left_pct
        self._best_pct = max(self._best_pct, expected.left_pct)
        self._root_s = turn_back_s(case, power_w, self._root_s) if reachable else 0.0
        self._turn_back_s = min(LONGEST_S, self._root_s)
        top_m = case.plan.top_m(case.start.height_m, max(case.start.distance_m, case.plan.near_m))
        winds = [self._home_wind(360.0 / BEARINGS * i, top_m) for i in range(BEARINGS)]
        here, *around = reaches(case, costs, [(case.wind, wind_doubt), *winds])
        self.contour = tuple(around)
        least = min(range(BEARINGS), key=lambda i: self.contour[i])
        lull = way_home(case.plan, case.start, self._lulls.weakest(case.wind, self._bound_us))
        self._row = [
            expected.time_s if reachable else None,
            expected.energy_wh if reachable else None,
            expected.left_pct,
            found.low_pct,
            self._turn_back_s,
            here if reachable else min(here, NEAR_HOME_M),
            self.contour[least],
            360.0 / BEARINGS * least,
            expected.lowest_v if reachable else None,
            lowest_one_out(case, supplies),
            found.doubt_pct,
            self._best_pct - expected.left_pct,
            fly(lull, case.worst.state, case.worst, case.model).left_pct,
            self._lulls.mostly(expected.left_pct, self._bound_us),
            case.plan.lands,
            self._load_change(),
            self._clearance(case),
            *self._elsewhere(case, supplies),
        ]

    def _clearance(self, case: Case) -> float | None:
        """Return by how much the way home clears the sortie's obstacles, m."""
        home = self._home()
        if home is None or self._sortie is None or not self._sortie.obstacles:
            return OPEN_M if home is not None else None
        if self._posts[0] != home:
            self._posts = home, posts(self._sortie, home)
        start = case.start
        done = "climb" in start.done or "climb" not in case.plan.order
        height_m = start.height_m if done else case.plan.top_m(start.height_m, start.distance_m)
        return clearance_m(self._posts[1], start.distance_m, self._bearing_deg, height_m, self._line_m)

    def _elsewhere(self, case: Case, supplies: list[Supply]) -> tuple[float | None, float | None, float | None]:
        """Return distance, bearing and the charge left on landing at the nearest landing place."""
        place = nearest_place(self._sortie, self._where())
        if place is None:
            return None, None, None
        wind, _ = self._home_wind(place.bearing_deg + 180.0, case.start.height_m)
        plan = case.plan._replace(order=("cruise", "land"), height_m=None, hold_s=0.0)
        height_m = max(0.0, case.start.height_m - place.height_m)
        legs = way_home(plan, Start(place.distance_m, height_m), wind)
        left_pct = min(fly(legs, one.state, one, case.model).left_pct for one in supplies)
        return place.distance_m, place.bearing_deg, left_pct

    def _home_wind(self, bearing_deg: float, height_m: float) -> tuple[HomeWind, WindDoubt]:
        """Return the wind on the way home from a bearing, and its doubt."""
        state = self._wind.state
        if state is None:
            return HomeWind(), WindDoubt(0.0, UNTOLD_WIND_M_S)
        if self._aloft is None or self._aloft[0] is not state or self._aloft[1] != height_m:
            self._aloft = state, height_m, at_height(state, height_m)
        aloft = self._aloft[2]
        angle = math.radians(bearing_deg + 180.0)
        north, east = math.cos(angle), math.sin(angle)
        tail_m_s = aloft.north_m_s * north + aloft.east_m_s * east
        cross_m_s = -aloft.north_m_s * east + aloft.east_m_s * north
        along = aloft.var_nn * north**2 + 2.0 * aloft.var_ne * north * east + aloft.var_ee * east**2
        scale = self._wind.scale_doubt if state.source == "attitude" else 0.0
        rest = max(0.0, along - (scale * tail_m_s) ** 2)
        speed_m_s = math.hypot(aloft.north_m_s, aloft.east_m_s)
        return HomeWind(speed_m_s, -tail_m_s, cross_m_s, aloft.gust_m_s), WindDoubt(scale, math.sqrt(rest))

    def _learn_power(self, climb_m_s: float, phase: Any, now_us: int) -> None:
        """Smooth the power of all packs, and learn from it; nothing flies on no power: then it is not measured."""
        readings = self._readings
        power_w = number(readings, _POWER, now_us)
        stream = readings.streams[_POWER]
        step_s = (now_us - self._power_us) / 1e6
        if power_w is None or power_w <= 0.0 or stream is None:
            if step_s > _GAP_S:
                self._power_w = None
            return
        if stream.count == self._power_count:
            return
        self._power_count = stream.count
        self._power_us = now_us
        if self._power_w is None or step_s > _GAP_S:
            self._power_w = power_w
        self._power_w += (power_w - self._power_w) * (1.0 - math.exp(-step_s / POWER_SMOOTH_S))
        if phase not in {"airborne", "returning"}:
            return
        air = self._wind.airspeed_m_s()
        if air is None:
            speed_m_s = number(readings, _SPEED, now_us)
            if speed_m_s is None:
                return
            air = speed_m_s, UNTOLD_WIND_M_S
        if readings.read(_CLIMB, now_us) is not BLIND_READING:
            up_m_s2 = (climb_m_s - self._climb_m_s) / step_s if 0.0 < step_s < _GAP_S else 0.0
            up_m_s2 = max(-_HARDEST_M_S2, min(_HARDEST_M_S2, up_m_s2))
            before = self.power.weight_change
            self.power.see(Seen(power_w, *air, climb_m_s, up_m_s2), step_s, now_us)
            if self.power.weight_change is not before:
                self._wind.load_changed()
        self._climb_m_s = climb_m_s

    def _learn_motion(self, distance_m: float) -> None:
        """Smooth the speed away from home out of the distances, each with its own time."""
        stream = self._readings.streams[_DISTANCE]
        assert stream is not None
        step_s = (stream.time_us - self._distance_us) / 1e6
        if step_s <= 0:
            return
        if self._distance_us and step_s < _GAP_S:
            speed_m_s = (distance_m - self._distance_m) / step_s
            self._outward_m_s += (speed_m_s - self._outward_m_s) * (1 - math.exp(-step_s / RADIAL_SMOOTH_S))
        else:
            self._outward_m_s = 0.0
        self._distance_m, self._distance_us = distance_m, stream.time_us

    def _load_change(self) -> float:
        """Return by how much the weight was found to change within the last minute, in %; 0 without a change."""
        change = self.power.weight_change
        return change[0] if change is not None and self._bound_us - change[1] < _CHANGE_SHOWN_US else 0.0

    def _land(self) -> None:
        self._flying = False
        self._distance_us = 0
        self._power_w = self._best_pct = None
        self.progress = Progress()
        self._lulls = Lulls()
        self.seen = None

    def _blind(self, why: str) -> Row:
        self.why = why
        self._answer = self._case = None
        self.contour = ()
        self._row = [None] * len(NAMES)
        return self._row

    def learned(self) -> Mapping[str, Any]:
        """Return what was learned, to be kept over a restart of the watch."""
        return {"power": dict(self.power.learned())}

    def resume(self, kept: Mapping[str, Any]) -> None:
        """Take up what was kept. Raises what a bad value raises."""
        self.power.resume(kept["power"])
        self._flying = True
