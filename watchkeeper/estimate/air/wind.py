"""The wind: as told by the aircraft, else worked out of attitude and motion, else as the sortie file has it."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile, SortieFile, Weather
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.estimate.air.airdrag import density_kg_m3, drag_of
from watchkeeper.estimate.air.airwind import (
    GUST_SHARE,
    WEATHER_HEIGHT_M,
    WindState,
    blows_to,
    comes_from,
    forecast,
    gust_sd_m_s,
    larger_axis,
)
from watchkeeper.estimate.air.leanfilter import AirWind, numbers
from watchkeeper.estimate.air.stretches import Stretches

_SPEED: Final = INDEX["wind.speed"]
_FROM: Final = INDEX["wind.from"]
_DOUBT: Final = INDEX["wind.doubt"]
_GUST: Final = INDEX["wind.gust"]
_PHASE: Final = INDEX["flight.phase"]
_HEIGHT: Final = INDEX["position.height"]
_CLIMB: Final = INDEX["position.climb_rate"]
_FIX: Final = INDEX["satellites.fix"]

_FREE: Final = frozenset({"airborne", "returning"})
"""Phases in which nothing but the air holds it: no take-off, no landing."""
_HIGH_M: Final = 10.0
"""Higher than this it flies, where the phase is not known."""
_SETTLE_US: Final = 5 * US
_UNSEEN_US: Final = 4 * US
"""Without a look for so long, doubt grows."""
_CALM_M_S: Final = 2.0
_UNSEEN: Final = frozenset({"none", "no_fix", "fix_2d"})
_CLEAR_M_S: Final = 3.0
_SHOWN_M_S: Final = 4.0
_TURNED_M_S: Final = 6.0
"""Doubt under which the wind is shown: at first, then, and after a second heading."""
_CLEAR_PART: Final = 0.1
"""By so much of itself a strong wind may be in more doubt, up to the last of these: whether it is 12 or 15 m/s,
the crew is to hear of it."""
_STEEPEST_DEG: Final = 60.0
_STEP: Final = 0.1
"""Change of the logarithm of height at which the mean wind is taken to another height."""
_LEAST_HEIGHT_M: Final = 10.0
"""Home may lie on a hill: below this, height over home says little of height over ground."""
_TOLD_SHARE: Final = 0.15
_TOLD_SD_M_S: Final = 1.0
"""How well autopilots tell the wind (common practice)."""
_PRESSURE_US: Final = 30 * US
_FEWEST: Final = 10
_TURNED: Final = math.cos(math.radians(45))
_ALL: Final = (_SPEED, _FROM, _DOUBT, _GUST)
_BESIDE: Final = (_DOUBT, _GUST)
_Local = tuple[float, float, float, float, float]
"""Wind with its gust, north and east, and its covariance."""
_GUST_US: Final = 3 * US
_PEAK_US: Final = 600 * US


class WindEstimate:
    """`wind.speed`, `wind.from`, `wind.doubt`, `wind.gust`; beside them `state` and `airspeed_m_s`."""

    def __init__(
        self, readings: Readings, motion: Motion, file: AircraftFile | None, sortie: SortieFile | None
    ) -> None:
        self._readings = readings
        self._motion = motion
        self._weather = sortie.weather if sortie is not None else Weather()
        self._drag = drag_of(file, sortie)
        self._tilt_deg = file.limits.tilt_deg if file is not None else None
        self._expected = forecast(self._weather)
        self.stream = Stream()
        self.indexes: tuple[int, ...] = _ALL
        self.state: WindState | None = None
        """The mean wind as far as it is known."""
        self._local: _Local | None = None
        self._stretches = Stretches()
        self._passed_us: int | None = None
        self._free_us: int | None = None
        self._told_us = -1
        self._late: deque[tuple[int, float]] = deque()
        self._peaks: deque[tuple[int, float]] = deque()
        self._begin()

    def _begin(self) -> None:
        """Let the filter know nothing but the files."""
        expected = self._expected
        prior = None
        gusty = GUST_SHARE
        if expected is not None:
            prior = expected.north_m_s, expected.east_m_s, math.sqrt(expected.var_nn)
            gusty = expected.gust_m_s / max(_CALM_M_S, math.hypot(*prior[:2]))
        self.filter = AirWind(self._drag, prior, gusty, self._tilt_deg)
        self._height_m = WEATHER_HEIGHT_M
        self._looks = 0
        self._heading: tuple[float, float] | None = None
        self._turned = False
        self._shown = False

    def run(self, now_us: int) -> Sequence[float | None] | None:
        """Return speed, direction, doubt and gust; doubt and gust alone where a message tells the wind."""
        moved = self._follow(now_us)
        told = self._told(now_us)
        if told is not None:
            return self._tell(*told, now_us)
        if moved:
            self._shown = self._is_clear()
        if self._shown:
            return self._work_out(now_us) if moved else None
        return self._take_weather()

    # --- sources ---------------------------------------------------------------------------------------------

    def _told(self, now_us: int) -> tuple[float, float, int] | None:
        """Return speed, direction and time as a message has them, or None."""
        readings = self._readings
        stream = readings.streams[_SPEED]
        if stream is None or stream is self.stream or readings.streams[_FROM] is self.stream:
            return None
        speed, from_deg = readings.read(_SPEED, now_us), readings.read(_FROM, now_us)
        if not isinstance(speed, (float, int)) or not isinstance(from_deg, (float, int)):
            return None
        return float(speed), float(from_deg), stream.time_us

    def _tell(self, speed: float, from_deg: float, time_us: int, now_us: int) -> Sequence[float | None] | None:
        if time_us == self._told_us:
            return None
        self._told_us = time_us
        self.indexes = _BESIDE
        height_m = self._height()
        sd = max(_TOLD_SD_M_S, _TOLD_SHARE * speed)
        north, east = blows_to(speed, from_deg)
        gust = gust_sd_m_s(speed, 0.0)
        self._switch("message")
        self.state = WindState(north, east, sd * sd, 0.0, sd * sd, height_m, gust, "message")
        self._local = (north, east, sd * sd, 0.0, sd * sd)
        return sd, max(speed, self._peak(speed, now_us))

    def _work_out(self, now_us: int) -> Sequence[float | None]:
        self.indexes = _ALL
        self._switch("attitude")
        found = self.filter
        north, east, nn, ne, ee = found.mean()
        self.state = WindState(north, east, nn, ne, ee, self._height_m, found.gust_sd_m_s, "attitude")
        self._local = local = found.local()
        peak = self._peak(math.hypot(local[0], local[1]), now_us)
        speed = math.hypot(north, east)
        return speed, comes_from(north, east), larger_axis(nn, ne, ee), max(speed, peak)

    def _take_weather(self) -> Sequence[float | None] | None:
        wind = self.state = self._expected
        if wind is None:
            self._local = None
            return None
        self.indexes = _ALL
        spread = wind.var_nn + wind.gust_m_s**2
        self._local = (wind.north_m_s, wind.east_m_s, spread, 0.0, spread)
        speed = math.hypot(wind.north_m_s, wind.east_m_s)
        told = self._weather.wind
        from_deg = told.from_deg if told is not None else None
        return speed, from_deg, math.sqrt(wind.var_nn), self._weather.gusts_m_s

    def _switch(self, source: str) -> None:
        """Begin the gusts anew where another source tells them."""
        if self.state is None or self.state.source != source:
            self._late.clear()
            self._peaks.clear()

    def _peak(self, speed_m_s: float, now_us: int) -> float:
        """Return the highest mean over three seconds of the last ten minutes."""
        late, peaks = self._late, self._peaks
        late.append((now_us, speed_m_s))
        while now_us - late[0][0] > _GUST_US:
            late.popleft()
        mean = sum(speed for _, speed in late) / len(late)
        while peaks and peaks[-1][1] <= mean:
            peaks.pop()
        peaks.append((now_us, mean))
        while now_us - peaks[0][0] > _PEAK_US:
            peaks.popleft()
        return peaks[0][1]

    # --- the filter ------------------------------------------------------------------------------------------

    def _is_clear(self) -> bool:
        """Tell whether the wind is known: its mean at first, then that at the aircraft, for a mean may change."""
        if self._looks < _FEWEST:
            return False
        known_m_s = _TURNED_M_S if self._turned else _SHOWN_M_S if self._shown else _CLEAR_M_S
        north, east, *doubt = self.filter.local() if self._shown else self.filter.mean()
        part_m_s = _CLEAR_PART * known_m_s * math.hypot(north, east)
        return larger_axis(*doubt) < max(known_m_s, min(part_m_s, _TURNED_M_S))

    def _follow(self, now_us: int) -> bool:
        """Let the filter look at a stretch when one is whole. Tells whether there is something new to say."""
        climb = self._readings.values[_CLIMB]
        stretch = self._stretches.take(self._motion, climb if isinstance(climb, float) else None, now_us)
        if stretch is None or not self._is_free(now_us):
            return self._pass(now_us, _UNSEEN_US)
        self._pass(now_us, 0)
        self._move()
        altitude_m = self._motion.altitude_m
        density = density_kg_m3(altitude_m if altitude_m is not None else 0.0, *self._air(now_us))
        self.filter.look(stretch, density)
        if not self.filter.is_sound:
            self._begin()
            return False
        self._looks += 1
        if self._heading is None:
            self._heading = (stretch.cos, stretch.sin)
        elif self._heading[0] * stretch.cos + self._heading[1] * stretch.sin < _TURNED:
            self._turned = True
        return True

    def _pass(self, now_us: int, least_us: int) -> bool:
        """Let time pass for the filter."""
        if self._passed_us is None:
            self._passed_us = now_us
        elapsed_us = now_us - self._passed_us
        if elapsed_us <= least_us:
            return False
        self._passed_us = now_us
        known = self.airspeed_m_s()
        self.filter.pass_time(elapsed_us / US, known[0] if known is not None else 0.0, self._height_m)
        return True

    def _is_free(self, now_us: int) -> bool:
        """Tell whether it has been flying freely for a while, and knows how it moves."""
        values = self._readings.values
        phase = values[_PHASE]
        free = phase in _FREE if phase is not None else self._height() > _HIGH_M
        if not free or values[_FIX] in _UNSEEN:
            self._free_us = None
            return False
        if self._free_us is None:
            self._free_us = now_us
        return now_us - self._free_us >= _SETTLE_US

    def _height(self) -> float:
        height = self._readings.values[_HEIGHT]
        if isinstance(height, (float, int)) and math.isfinite(height):
            return max(_LEAST_HEIGHT_M, float(height))
        return self._height_m

    def _move(self) -> None:
        height_m = self._height()
        if abs(math.log(height_m / self._height_m)) > _STEP:
            self.filter.move_to(height_m, self._height_m)
            self._height_m = height_m

    def _air(self, now_us: int) -> tuple[float | None, float | None]:
        motion = self._motion
        pressure = motion.pressure_hpa if now_us - motion.air_us < _PRESSURE_US else None
        return pressure, self._weather.temperature_degc

    # --- what others ask -------------------------------------------------------------------------------------

    def load_changed(self) -> None:
        """Take it that another load hangs in the wind."""
        self.filter.load_changed()

    @property
    def scale_doubt(self) -> float:
        """Standard deviation, as a part, of all airspeeds that come of the drag."""
        return self.filter.scale_doubt

    def top_airspeed_m_s(self, tilt_deg: float) -> float:
        """Return the airspeed that a tilt gives, m/s."""
        altitude_m = self._motion.altitude_m
        density = density_kg_m3(
            altitude_m if altitude_m is not None else 0.0, None, self._weather.temperature_degc
        )
        return self.filter.airspeed_at(math.radians(min(tilt_deg, _STEEPEST_DEG)), density)

    def felt(self) -> _Local | None:
        """Return the measured wind at the aircraft, gusts included; None where only a forecast tells it."""
        return self._local if self.state is not None and self.state.source != "sortie" else None

    def airspeed_m_s(self) -> tuple[float, float] | None:
        """Return the present airspeed and its standard deviation, or None while wind or motion are unknown."""
        local, motion = self._local, self._motion
        if local is None or motion.north_m_s is None or motion.east_m_s is None:
            return None
        n, e = motion.north_m_s - local[0], motion.east_m_s - local[1]
        _, _, nn, ne, ee = local
        square = n * n + e * e
        along = (nn * n * n + 2 * ne * n * e + ee * e * e) / square if square > 1e-6 else nn + ee
        return math.sqrt(square), math.sqrt(max(along, 0.0))

    def learned(self) -> dict[str, list[float] | float]:
        """Return what the filter has learned, with when and at what height; nothing before it has."""
        if not self._looks or self._passed_us is None or self._heading is None:
            return {}
        return {
            **self.filter.learned(),
            "heading": list(self._heading),
            "turned": float(self._turned),
            "looks": float(self._looks),
            "height_m": self._height_m,
            "passed_us": float(self._passed_us),
        }

    def resume(self, kept: Mapping[str, Any]) -> None:
        """Go on with what `learned` gave. ValueError if it cannot be that."""
        if not kept:
            return
        names = ("turned", "looks", "height_m", "passed_us")
        turned, looks, height_m, passed_us = numbers([kept.get(name) for name in names], len(names))
        cos, sin = numbers(kept.get("heading"), 2)
        if not (
            turned in {0.0, 1.0} and 1 <= looks < 1e9 and abs(passed_us) < 1e17 and max(abs(cos), abs(sin)) <= 1
        ) or not (_LEAST_HEIGHT_M <= height_m < 1e5):
            raise ValueError("not what the wind has learned")
        self.filter.resume(kept)
        self._turned, self._looks, self._height_m = bool(turned), int(looks), height_m
        self._heading, self._passed_us = (cos, sin), int(passed_us)
