"""What flying costs: hover power, inflow and drag of this aircraft with this load, learned in flight with doubt.

An extended Kalman filter over the logarithms of three numbers: hover power (grows with the mass), the hover's
induced velocity, and the body's drag power at 1 m/s (cubed with the airspeed). Each stretch of some seconds is
one measurement. Power is as the packs' monitors measure it: their scale is in all that is learned and all that
is left. A load dropped or picked up is a power that keeps off to one side by more than all of that explains.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.estimate.home.rotorcraft import GRAVITY, hover_inflow, mass_of_power, power_ratio
from watchkeeper.estimate.matrix import cholesky, diagonal

STRETCH_S: Final = 4.0
STRETCH_DOUBT: Final = 0.05  # of the mean over a stretch: gusts and corrections
WALK: Final = 0.0005  # of hover power a root second: density, voltage, and what is not modelled
UNKNOWN_W: Final = 0.30  # of a power that no file tells, as a logarithm
LOADED_W: Final = 0.25  # mass between empty and full
KNOWN_W: Final = 0.10
INFLOW_M_S: Final = 6.0  # of craft from 1 to 35 kg: 5 to 7.5 m/s
INFLOW_DOUBT: Final = 0.25
INFLOW_KNOWN: Final = 0.10
DRAG: Final = 1.0e-4  # s3/m3 of hover power: 0.6 m2 at 4.1 kW, drive 0.85 (and 0.02 m2 at 150 W)
DRAG_DOUBT: Final = 0.5
FIGURE: Final = 0.55  # ideal over electric power in hover: figure of merit 0.65, drive 0.85
MODEL: Final = 0.025  # of the model itself, at airspeeds flown today
UNFLOWN: Final = 0.012  # more for each m/s away from them
CHANGE_SIGMA: Final = 3.5
CHANGE_LEAST: Final = 0.10  # of power: 7 % of the weight
CHANGE_STRETCHES: Final = 3
_CLIP: Final = 3.0
_LEARNED: Final = 0.06
_LEAST_SHARE: Final = (
    0.75  # of the power at the empty mass: thin or dense air, and a measured point of another day
)
_MOST_SHARE: Final = 1.5  # of that at the greatest mass: overloaded, high up, worn
_LONGEST_S: Final = 12.0
_LEAST_W: Final = 1.0


class PowerModel(NamedTuple):
    """What flying costs: hover power in W, the hover's induced velocity in m/s, drag power in W/(m/s)^3."""

    hover_w: float
    inflow_m_s: float
    drag: float

    def rotors_w(self, airspeed_m_s: float, climb_m_s: float = 0.0) -> float:
        """Return what the rotors take at an airspeed and a climb, W."""
        return self.hover_w * power_ratio(airspeed_m_s, climb_m_s, self.inflow_m_s)

    def power_w(self, airspeed_m_s: float, climb_m_s: float = 0.0) -> float:
        """Return the whole electric power, W."""
        return self.rotors_w(airspeed_m_s, climb_m_s) + self.drag * float(airspeed_m_s) ** 3


class Seen(NamedTuple):
    """A power and the flight that it drove: W, m/s with its standard deviation, m/s up, m/s2 up."""

    power_w: float
    airspeed_m_s: float
    airspeed_doubt_m_s: float
    climb_m_s: float
    up_m_s2: float = 0.0

    @property
    def lift(self) -> float:
        """Rotor power over that at a steady height: thrust to 3/2 (momentum theory)."""
        return float(max(0.5, 1.0 + self.up_m_s2 / GRAVITY) ** 1.5)


class PowerLearner:
    """Learns one aircraft's power; `weight_change` tells of a load dropped or picked up."""

    def __init__(self, file: AircraftFile | None, sortie: SortieFile | None = None) -> None:
        self._prior(file if file is not None else AircraftFile(), sortie)
        self._flown: tuple[float, float] | None = None
        self._settled = False
        """What is expected has once been seen."""
        self._off: list[float] = []
        self._changed: tuple[float, int] | None = None
        self._clear()

    def _prior(self, file: AircraftFile, sortie: SortieFile | None) -> None:
        """Set what the file tells."""
        mass, rotors, point = file.mass, file.rotors, file.hover_power
        load_kg = sortie.payload.mass_kg if sortie is not None else 0.0
        kg: float | None = None
        known = False
        if mass.empty_kg is not None and load_kg > 0.0:
            kg, known = mass.empty_kg + load_kg, True
        elif mass.empty_kg is not None and mass.maximum_kg is not None:
            kg = 0.5 * (mass.empty_kg + mass.maximum_kg)
        disc_m2 = None
        if rotors.count is not None and rotors.diameter_m is not None:
            disc_m2 = rotors.count * math.pi / 4.0 * rotors.diameter_m**2
        hover_w: float | None = None
        if point is not None:
            at_kg = point.mass_kg
            hover_w = (
                point.power_w * (kg / at_kg) ** 1.5 if kg is not None and at_kg is not None else point.power_w
            )
            if kg is None:
                kg = at_kg
        elif kg is not None and disc_m2 is not None:
            thrust_n = kg * GRAVITY
            hover_w = thrust_n * hover_inflow(thrust_n, disc_m2) / FIGURE
        inflow_m_s, inflow_doubt = INFLOW_M_S, INFLOW_DOUBT
        if kg is not None and disc_m2 is not None:
            inflow_m_s, inflow_doubt = hover_inflow(kg * GRAVITY, disc_m2), INFLOW_KNOWN
        self._told = hover_w is not None
        self._x = [math.log(hover_w or 1.0), math.log(inflow_m_s), 0.0]
        doubt = KNOWN_W if known and point is not None else LOADED_W if self._told else UNKNOWN_W
        self._x[2] = math.log(DRAG) + self._x[0]
        self._p = diagonal(doubt**2, inflow_doubt**2, DRAG_DOUBT**2)
        self._plausible = _plausible(file, load_kg)
        self._reference = (hover_w, kg) if hover_w is not None and kg is not None else None

    def _clear(self) -> None:
        self._energy_j = self._way_m = self._doubt_m = self._up_m = self._risen_m_s = self._time_s = 0.0

    @property
    def known(self) -> bool:
        """Whether anything is known of the power yet."""
        return self._told

    @property
    def implausible(self) -> bool:
        """Whether the power learned is none with which an aircraft of this file can hover at any allowed mass."""
        if self._plausible is None or not self._settled or self._p[0][0] > _LEARNED**2:
            return False
        least_w, most_w = self._plausible[self._changed is not None], self._plausible[2]
        return not least_w <= math.exp(self._x[0]) <= most_w

    @property
    def mass_kg(self) -> float | None:
        """Take-off mass by the measured point of the file; None without one."""
        if self._reference is None:
            return None
        return mass_of_power(math.exp(self._x[0]), *self._reference)

    def forget_flight(self) -> None:
        """Begin a flight: the load may be another one."""
        self._clear()
        self._off.clear()
        self._changed = None
        if self._flown is not None:
            self._flown = None
            self._p[0][0] += LOADED_W**2

    def see(self, seen: Seen, step_s: float, now_us: int) -> None:
        """Take one sample of the power of all packs, with the flight that it drove, over the last `step_s`."""
        if not 0.0 < step_s <= _LONGEST_S or seen.power_w < _LEAST_W:
            self._clear()
            return
        if not self._told:
            self._first(seen)
        self._energy_j += seen.power_w * step_s
        self._way_m += seen.airspeed_m_s * step_s
        self._doubt_m += seen.airspeed_doubt_m_s * step_s
        self._up_m += seen.climb_m_s * step_s
        self._risen_m_s += seen.up_m_s2 * step_s
        self._time_s += step_s
        if self._time_s >= STRETCH_S:
            time_s = self._time_s
            sums = (self._energy_j, self._way_m, self._doubt_m, self._up_m, self._risen_m_s)
            self._learn(Seen(*(one / time_s for one in sums)), time_s, now_us)
            self._clear()

    def _first(self, seen: Seen) -> None:
        """Begin from the first power that is seen, where no file tells one."""
        self._told = True
        ratio = power_ratio(seen.airspeed_m_s, seen.climb_m_s, math.exp(self._x[1]))
        self._x[0] = math.log(seen.power_w / ratio / seen.lift)
        self._x[2] = math.log(DRAG) + self._x[0]

    def _learn(self, seen: Seen, time_s: float, now_us: int) -> None:
        x, p = self._x, self._p
        p[0][0] += WALK**2 * time_s
        model = self.model()
        airspeed_m_s, climb_m_s, lift = seen.airspeed_m_s, seen.climb_m_s, seen.lift
        drag_w = model.drag * airspeed_m_s**3
        rotors_w = lift * model.rotors_w(airspeed_m_s, climb_m_s)
        expected_w = rotors_w + drag_w
        step = 0.02
        moved = model._replace(inflow_m_s=model.inflow_m_s * (1.0 + step))
        moved_w = lift * moved.rotors_w(airspeed_m_s, climb_m_s) + drag_w
        faster_w = lift * model.rotors_w(airspeed_m_s + 0.2, climb_m_s) + model.drag * (airspeed_m_s + 0.2) ** 3
        row = [rotors_w / expected_w, (moved_w - expected_w) / expected_w / step, drag_w / expected_w]
        by_speed = (faster_w - expected_w) / expected_w / 0.2 * seen.airspeed_doubt_m_s
        noise = STRETCH_DOUBT**2 * max(1.0, STRETCH_S / time_s) + by_speed**2 + self.model_doubt(airspeed_m_s) ** 2
        error = math.log(seen.power_w / expected_w)
        gains = [sum(p[i][j] * row[j] for j in range(3)) for i in range(3)]
        spread = sum(row[i] * gains[i] for i in range(3)) + noise
        doubt = math.sqrt(spread)
        if not self._settled and abs(error) > _CLIP * doubt:
            # what the file says of the weight is not today's: as after a change, but nothing has changed
            x[0] += error
            p[0][0] += LOADED_W**2
            return
        self._settled = True
        if self._judge_change(error, doubt, now_us):
            p[0][0] += LOADED_W**2
            return
        if self._off:
            return  # it may be another weight: nothing is learned until that is decided
        most = _CLIP * doubt
        clipped = max(-most, min(most, error))
        for i in range(3):
            x[i] += gains[i] / spread * clipped
        for i in range(3):
            for j in range(3):
                p[i][j] -= gains[i] * gains[j] / spread
        low, high = self._flown or (airspeed_m_s, airspeed_m_s)
        self._flown = min(low, airspeed_m_s), max(high, airspeed_m_s)

    def _judge_change(self, error: float, doubt: float, now_us: int) -> bool:
        """Tell whether the weight has changed: stretches in a row off to one side by more than can be."""
        off = self._off
        if abs(error) < max(CHANGE_LEAST, CHANGE_SIGMA * doubt):
            off.clear()
            return False
        if off and (off[-1] > 0.0) != (error > 0.0):
            off.clear()
        off.append(error)
        if len(off) < CHANGE_STRETCHES:
            return False
        change = sum(off) / len(off)
        self._changed = 100.0 * (math.exp(change * 2.0 / 3.0) - 1.0), now_us
        self._x[0] += change
        self._p[2][2] += LOADED_W**2  # what hangs on it has its own drag
        off.clear()
        return True

    @property
    def weight_change(self) -> tuple[float, int] | None:
        """The last change of weight, in % of what it was, and when it was found; None without one."""
        return self._changed

    def model(self) -> PowerModel:
        """Return what is expected."""
        return _model(self._x)

    def doubtful(self, airspeed_m_s: float) -> list[PowerModel]:
        """Return one model for each independent error, off by one deviation so that this airspeed costs more."""
        factor = cholesky(self._p)
        plain_w = self.model().power_w(airspeed_m_s)
        models: list[PowerModel] = []
        for j in range(3):
            column = [factor[i][j] for i in range(3)]
            more = _model([a + b for a, b in zip(self._x, column, strict=True)])
            less = _model([a - b for a, b in zip(self._x, column, strict=True)])
            models.append(more if more.power_w(airspeed_m_s) >= plain_w else less)
        return models

    def model_doubt(self, airspeed_m_s: float) -> float:
        """Return the standard deviation of the model itself at an airspeed, as a part of the power."""
        if self._flown is None:
            return MODEL
        low, high = self._flown
        away = max(0.0, low - airspeed_m_s, airspeed_m_s - high)
        return MODEL + UNFLOWN * away

    def learned(self) -> Mapping[str, Any]:
        """Return what was learned, to be kept over a restart of the watch."""
        if not self._told:
            return {}
        return {
            "x": list(self._x), "p": [v for row in self._p for v in row], "flown": list(self._flown or ()),
        }  # fmt: skip

    def resume(self, kept: Mapping[str, Any]) -> None:
        """Take up what was kept. ValueError, KeyError or TypeError if it cannot be that."""
        if not kept:
            return
        x, p, flown = ([float(v) for v in kept[name]] for name in ("x", "p", "flown"))
        if (len(x), len(p)) != (3, 9) or len(flown) not in (0, 2) or not all(map(math.isfinite, [*x, *p, *flown])):
            raise ValueError("no power that was kept")
        if any(abs(v) > 20.0 for v in x) or any(p[4 * i] < 0.0 for i in range(3)):
            raise ValueError("no power model")
        self._settled = True
        self._x, self._p, self._told = x, [p[0:3], p[3:6], p[6:9]], True
        self._flown = (flown[0], flown[1]) if flown else None


def _plausible(file: AircraftFile, load_kg: float) -> tuple[float, float, float] | None:
    """Return bounds of hover power by the file's measured point: least, least after the load has changed, most.

    None without a point. A load that the sortie file names may be another one, so half of it counts.
    """
    point, mass = file.hover_power, file.mass
    if point is None or point.mass_kg is None or mass.empty_kg is None or mass.maximum_kg is None:
        return None
    masses = (mass.empty_kg + 0.5 * load_kg, mass.empty_kg, mass.maximum_kg)
    loaded_w, empty_w, most_w = (point.power_w * (kg / point.mass_kg) ** 1.5 for kg in masses)
    return _LEAST_SHARE * loaded_w, _LEAST_SHARE * empty_w, _MOST_SHARE * most_w


def _model(x: Sequence[float]) -> PowerModel:
    return PowerModel(math.exp(x[0]), math.exp(x[1]), math.exp(x[2]))
