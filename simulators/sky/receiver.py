"""A satellite receiver on an aircraft: the satellites it holds, and the fix and dilution that follow from them."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

from simulators.sky.channels import Channels
from simulators.sky.geometry import Place, Vector, dilution, level_dilution
from simulators.sky.orbits import GALILEO, GLONASS, GPS, Constellation, Orbits
from simulators.sky.pull import PullOff
from simulators.sky.signals import CAPTURE_DB, Signals

NO_FIX: Final = 1
FIX_2D: Final = 2
FIX_3D: Final = 3
"""GPS_FIX_TYPE of MAVLink; 0 is for a receiver that is not there."""
NO_DILUTION: Final = 99.99
"""What receivers give for a dilution that they do not know."""
NOMINAL_HDOP: Final = 0.7
"""Dilution at which the position errors of the simulated sensors are stated."""
_EARLY_S: Final = 1e-6


@dataclass(frozen=True, slots=True)
class SkyModel:
    """Sky and receiver of a flight. Raises ValueError for what no receiver has."""

    constellations: tuple[Constellation, ...] = (GPS, GLONASS, GALILEO)
    mask_deg: float = 10.0
    """Satellites below this elevation are not used."""
    multipath_db: float = 2.0
    """Standard deviation of a signal at the horizon; at the zenith it is a quarter."""
    common_clock: bool = False
    """Whether the clocks of all systems count as one unknown, not as one each."""
    cold_start_s: float = 0.0
    """Time until the first fix of a receiver that knows nothing yet; 0 for one that has been on for long."""
    refix_s: float = 3.0
    """Time from satellites that would do to the fix, once it was lost."""
    most_dilution: float = 25.0
    """A solution with a greater dilution (of position; level in 2D) is not given out."""

    def __post_init__(self) -> None:
        if not self.constellations:
            raise ValueError("constellations: needs at least one")
        if not 0.0 <= self.mask_deg < 90.0:
            raise ValueError(f"mask {self.mask_deg} deg is outside 0 to 90")
        for name in ("multipath_db", "cold_start_s", "refix_s", "most_dilution"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name} {getattr(self, name)} is below zero or no number")


class Seen(NamedTuple):
    """What the receiver tells: satellites held, dilutions (99.99 unknown), and GPS_FIX_TYPE."""

    used: int
    hdop: float
    vdop: float
    fix: int


class Sky:
    """The receiver of one aircraft near one place, the same for the same seed. `look` drives it once a second.

    The place is taken as fixed: over a flight of 10 km the directions turn by less than 0.15 degrees.
    """

    __slots__ = (
        "_channels", "_fixed", "_jam_db", "_letting_go", "_model", "_now_s", "_orbits", "_place", "_pull",
        "_second", "_signals", "_solving_s", "_start_unix_s", "error_scale", "seen", "strengths_db_hz",
    )  # fmt: skip

    def __init__(
        self, model: SkyModel, start_unix_s: float, latitude_deg: float, longitude_deg: float, seed: int | str
    ) -> None:
        self._model = model
        self._start_unix_s = start_unix_s
        self._orbits = Orbits(model.constellations)
        self._place = Place(latitude_deg, longitude_deg)
        received_dbw = [model.constellations[owner].received_dbw for owner in self._orbits.owners]
        dice = random.Random(f"multipath {seed}")
        self._signals = Signals(received_dbw, model.mask_deg, model.multipath_db, dice)
        # dice of their own: how many satellites multipath draws for must not change what is drawn here
        self._channels = Channels(len(received_dbw), model.cold_start_s, random.Random(f"channels {seed}"))
        self._fixed = model.cold_start_s == 0.0
        self._solving_s = 0
        self._second = -1
        self._now_s = 0.0
        self._jam_db = 0.0
        self._pull: PullOff | None = None
        self._letting_go = False
        self.error_scale = 1.0
        """How much greater position errors are than at the nominal dilution, by the last fix."""
        self.strengths_db_hz: dict[int, float] = {}
        """Strength of each satellite held, by its index in the orbits, at the last look; 0 while it is hidden."""
        self.seen = Seen(0, NO_DILUTION, NO_DILUTION, NO_FIX)

    @property
    def jam_db(self) -> float:
        """By how many dB jamming raises the noise over the band; 0 is none. Raises ValueError for less."""
        return self._jam_db

    @jam_db.setter
    def jam_db(self, value: float) -> None:
        if not 0.0 <= value < math.inf:
            raise ValueError(f"jamming {value} dB is below zero or no number")
        self._jam_db = value

    def pull(self, north_m_s: float, east_m_s: float, up_m_s: float) -> None:
        """Lead the position away, at a rate that eases in to the one given; call again to change the rate.

        The receiver then hears the false signals: strong, and over every obstacle. Jamming still drowns them.
        """
        pull = self._pull or PullOff()
        pull.start(self._now_s, (north_m_s, east_m_s, up_m_s))
        self._pull = pull
        self._letting_go = False

    def release(self) -> None:
        """End the pull: at the next look the receiver has lost the false signals and searches the true ones."""
        self._letting_go = self._pull is not None

    def offset(self, now_s: float) -> tuple[Vector, Vector]:
        """Return the pull-off (north, east, up) in m and its rate in m/s, smooth at any step; zeros without."""
        if self._pull is None:
            return (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)
        return self._pull.at(now_s)

    def look(
        self,
        now_s: float,
        skyline: Callable[[float], float] | None,
        tilt_north: float = 0.0,
        tilt_east: float = 0.0,
    ) -> Seen:
        """Return what the receiver tells at `now_s` after the start; between whole seconds the last answer.

        `skyline` gives the elevation of what hides the sky for an azimuth clockwise of north, both in rad; the
        tilts are the level parts of the unit vector along the antenna. Raises ValueError if time goes back.
        """
        if not now_s >= self._now_s - _EARLY_S:
            raise ValueError("the sky cannot go back in time")
        self._now_s = now_s
        if now_s + _EARLY_S >= self._second + 1:
            second = math.floor(now_s + _EARLY_S)
            first, elapsed_s = self._second < 0, second - self._second
            self._second = second
            self._look(0 if first else elapsed_s, first, skyline, tilt_north, tilt_east)
        return self.seen

    def _look(
        self,
        elapsed_s: int,
        first: bool,
        skyline: Callable[[float], float] | None,
        tilt_north: float,
        tilt_east: float,
    ) -> None:
        if self._letting_go:
            self._letting_go = self._fixed = False
            self._pull = None
            self._channels.lose()
        above = self._place.above(self._orbits.positions(self._start_unix_s + self._second))
        gain_db = -self._jam_db
        if self._pull is not None:
            skyline = None
            gain_db += CAPTURE_DB
        strengths = self._signals.hear(above, elapsed_s, skyline, tilt_north, tilt_east)
        if gain_db:
            strengths = [strength + gain_db for strength in strengths]
        if first and self._fixed:
            self._channels.take(strengths)
        self._channels.follow(strengths, elapsed_s)
        held = self._channels.held
        self.strengths_db_hz = {index: max(0.0, strengths[index]) for index, yes in enumerate(held) if yes}
        used = [(index, (north, east, up)) for index, north, east, up in above if held[index]]
        self._solve([index for index, _ in used], [direction for _, direction in used], elapsed_s)

    def _solve(self, used: list[int], directions: list[Vector], elapsed_s: int) -> None:
        model = self._model
        owners = self._orbits.owners
        clocks = None if model.common_clock else [owners[index] for index in used]
        full = dilution(directions, clocks)
        seen = Seen(len(used), NO_DILUTION, NO_DILUTION, NO_FIX)
        if full is not None and full.pdop <= model.most_dilution:
            seen = Seen(len(used), full.hdop, full.vdop, FIX_3D)
        else:
            # the height of the last fix, or of the start, is held
            level = level_dilution(directions, clocks)
            if level is not None and level <= model.most_dilution:
                seen = Seen(len(used), level, NO_DILUTION, FIX_2D)
        if seen.fix == NO_FIX:
            self._fixed = False
            self._solving_s = 0
        elif not self._fixed:
            self._solving_s += elapsed_s
            self._fixed = self._solving_s >= model.refix_s and self._second >= model.cold_start_s
            if not self._fixed:
                seen = Seen(len(used), NO_DILUTION, NO_DILUTION, NO_FIX)
        if self._fixed:
            self.error_scale = seen.hdop / NOMINAL_HDOP
        self.seen = seen
