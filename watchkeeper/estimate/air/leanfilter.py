"""The wind out of how a multirotor leans while it flies a known path: an extended Kalman filter.

Horizontal thrust over mass is what accelerates the aircraft and what holds it against the air:

    (g + climb acceleration) * lean = acceleration + (k1 + k2 |u|) u,    u = velocity over ground - wind

k1 (1/s) is the drag of the rotors, which grows with the airspeed; k2 (1/m) that of body and load, with its square.
The lean is seen with a constant tilt error in the body's axes and turned by a constant error of the compass. In
hover at one heading wind and tilt error look alike; the second heading tells them apart. In hover a greater drag
and a lesser wind look alike too; flying along and against the wind tells them apart.

So the filter counts winds in units of drag: of a speed that would, with the drag as first thought, need the lean
that is seen. In hover the drag is then out of the equation, and no error of linearity can pretend to have seen it.
With wind in m/s as the state it did: the drag's doubt shrank in hover, and the bound held 80 % of the time.
How drag is shared between k1 and k2 is never learned, only reckoned with (a considered state, Schmidt).

The mean wind walks at random, and moves with gusts that last (steady.py); the gust is a Gauss-Markov process with
the length of Dryden's model (MIL-F-8785C, 3.7.3.4) along the flow. Filter: Kalman's equations, one measured axis
after the other (Bar-Shalom, Li and Kirubarajan, Estimation with Applications to Tracking and Navigation, ch. 5 and
10; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import product
from operator import mul
from typing import Any, Final

from watchkeeper.estimate.air.airdrag import DENSITY_KG_M3, Drag, flow
from watchkeeper.estimate.air.airwind import GUST_SHARE, WindState, at_height, growth, gust_length_m, gust_sd_m_s
from watchkeeper.estimate.air.gustiness import Gustiness
from watchkeeper.estimate.air.steady import Steady
from watchkeeper.estimate.air.stretches import Stretch
from watchkeeper.estimate.matrix import cholesky, diagonal

G_M_S2: Final = 9.80665
STATES: Final = 9
N, E, GUST_N, GUST_E, AHEAD, RIGHT, COMPASS, SCALE, SHAPE = range(STATES)
"""Mean wind and gust (where the air moves to, m/s in units of drag), tilt errors (tangent), compass error (rad),
log of the units of drag in a m/s, log of the linear drag."""

TILT_SD: Final = math.tan(math.radians(1.5))
"""How well a machine's level is set, common practice: 1 to 2 degrees with the frame's own bending."""
COMPASS_SD_RAD: Final = math.radians(3.0)
"""Common practice for a compass calibrated in the field."""
WIND_SD_M_S: Final = 8.0
LEAN_SD: Final = 0.008
"""Of a mean over a second: attitude noise, and the controller's hunting between two velocities."""
UNEVEN: Final = 0.08
"""Share of an acceleration that falls to the wrong stretch."""
RAGGED: Final = 0.35
"""Share of the gusts that a lean does not follow: those up and down, and shorter than the aircraft answers to."""
MEAN_WALK_M2_S3: Final = 0.5**2 / 120.0
"""The mean wind of a minute or two changes by about half a metre a second in that time (common practice)."""
WALKS: Final = (
    (AHEAD, math.radians(0.1) ** 2 / 600),
    (RIGHT, math.radians(0.1) ** 2 / 600),
    (COMPASS, math.radians(1.0) ** 2 / 600),
    (SCALE, 0.05**2 / 600),
    (SHAPE, 0.05**2 / 600),
)
"""What is nearly constant changes by about this in ten minutes: temperature, place, a load that turns."""
SUDDEN: Final = 3
SUDDEN_M_S: Final = 5.0
"""Looks in a row that are far out are no errors of theirs: the wind has jumped, by about so much in a squall."""
QUIET_M_S2: Final = 1.0
QUIET_LOOKS: Final = 5
"""Who speeds up or brakes harder, or did just now, is seen badly: what then looks like another wind is none."""
RESTLESS: Final = 1.0
"""By how much more than its usual walk a mean has to move to say nothing of the drag."""
UNUSUAL: Final = 2.0
"""Standard deviations of a gust which may be the beginning of another mean."""
HARD: Final = 0.9
"""Of the greatest lean: at that the aircraft goes where the gusts take it."""
USUAL_TILT_DEG: Final = 25.0
"""How far an aircraft of unknown settings leans at most (common practice: 25 to 35)."""
LOAD_SCALE: Final = 0.15
"""Of the airspeed that a lean tells, when a load is put down or picked up."""
TYPICAL_M_S: Final = 8.0
"""Airspeed at which the drag is taken for known in its shape: the shares are turned about it."""
LEAST_SQUARE: Final = 0.1
MOST_DOUBT_M2_S2: Final = 9.0
"""Of the wind, as far as it bends the drag curve: the first looks must not be linear about a gale."""
LEAST_MEAN_M_S: Final = 2.0
"""Under this, gusts are judged by it."""
_CLIP: Final = 3.0
_BOUNDS: Final = (200.0, 200.0, 100.0, 100.0, 0.3, 0.3, 0.8, 3.0, 5.0)


class AirWind:
    """The filter. `x` and `p` are state and covariance, in the order of the names above."""

    def __init__(
        self,
        drag: Drag,
        wind: tuple[float, float, float] | None = None,
        gusty: float = GUST_SHARE,
        tilt_deg: float | None = None,
    ) -> None:
        """Take the drag, an expected wind (north, east, deviation, m/s), its gusts' share, the greatest lean."""
        self._linear, self._square = drag.linear_1_s, drag.square_1_m
        self.begun = wind is not None
        north, east, sd = wind or (0.0, 0.0, WIND_SD_M_S)
        self.x = [north, east, *[0.0] * (STATES - 2)]
        self.gusts = Gustiness(gusty)
        self._gust_s = 0.0
        self._steady = Steady()
        self._told = tilt_deg is not None
        self._hard = HARD * math.tan(math.radians(tilt_deg if tilt_deg is not None else USUAL_TILT_DEG))
        self._considered: tuple[int, ...] = (SHAPE,)
        self._far_out = False
        self._sudden = self._quiet = 0
        gust = self.gust_sd_m_s
        first = (sd, sd, gust, gust, TILT_SD, TILT_SD, COMPASS_SD_RAD, drag.scale_sd, drag.shape_sd)
        self.p = diagonal(*(one * one for one in first))
        # A wind that is known in m/s is less known in units of drag.
        for i, m_s in ((N, north), (E, east)):
            self.p[i][SCALE] = self.p[SCALE][i] = m_s * drag.scale_sd**2
            for j, other_m_s in ((N, north), (E, east)):
                self.p[i][j] += m_s * other_m_s * drag.scale_sd**2

    @property
    def gust_sd_m_s(self) -> float:
        """Standard deviation of the gusts along a horizontal axis, with some more while little was seen."""
        unit = math.exp(-self.x[SCALE])
        return gust_sd_m_s(unit * self.x[N], unit * self.x[E], self.gusts.cautious)

    def pass_time(self, seconds: float, airspeed_m_s: float, height_m: float) -> None:
        """Let time pass without looking: what is known of the mean grows old, of the gust it is soon forgotten."""
        x, p = self.x, self.p
        self.gusts.pass_time(seconds)
        self._gust_s = gust_length_m(height_m) / max(airspeed_m_s, 1.0)
        keep = math.exp(-seconds / self._gust_s)
        self._scale(GUST_N, GUST_E, keep)
        unit = math.exp(2 * x[SCALE])
        fresh = unit * self.gust_sd_m_s**2 * (1 - keep * keep)
        p[GUST_N][GUST_N] += fresh
        p[GUST_E][GUST_E] += fresh
        most = unit * WIND_SD_M_S * WIND_SD_M_S
        walk = unit * MEAN_WALK_M2_S3 * seconds + self._steady.pass_time(seconds)
        for i in (N, E):
            p[i][i] = max(p[i][i], min(p[i][i] + walk, most))
        for i, walk in WALKS:
            p[i][i] += walk * seconds

    def move_to(self, height_m: float, from_m: float) -> None:
        """Take the mean wind to another height."""
        x, p = self.x, self.p
        after = at_height(WindState(x[N], x[E], p[N][N], p[N][E], p[E][E], from_m, 0.0, ""), height_m)
        factor = growth(height_m, from_m)[0]
        self._scale(N, E, factor)
        p[N][N], p[N][E], p[E][N], p[E][E] = after.var_nn, after.var_ne, after.var_ne, after.var_ee

    def _scale(self, i: int, j: int, factor: float) -> None:
        """Take two states by a factor, with all that goes with them."""
        for k in (i, j):
            self.x[k] *= factor
            self.p[k] = [factor * value for value in self.p[k]]
        for row in self.p:
            row[i] *= factor
            row[j] *= factor

    def look(self, seen: Stretch, density_kg_m3: float) -> None:
        """Learn from one stretch."""
        if not self.begun:
            self._begin(seen, density_kg_m3)
        x, p = self.x, self.p
        gravity = G_M_S2 + seen.up_m_s2
        linear = self._linear * math.exp(x[SHAPE])
        square = self._square_at(density_kg_m3, linear)
        unit = math.exp(x[SCALE])
        v_n, v_e = unit * seen.north_m_s, unit * seen.east_m_s
        u_n, u_e = v_n - x[N] - x[GUST_N], v_e - x[E] - x[GUST_E]
        # Linear on the mean over what the wind may be, not at one point: near calm the slope is next to none.
        pn, pe = p[N], p[E]
        doubt = pn[N] + pe[E] + 2 * (pn[GUST_N] + pe[GUST_E]) + p[GUST_N][GUST_N] + p[GUST_E][GUST_E]
        s = math.sqrt(u_n * u_n + u_e * u_e + max(1e-6, min(doubt, MOST_DOUBT_M2_S2)))
        scale = (linear + square * s) / gravity
        l_n = seen.north_m_s2 / gravity + scale * u_n
        l_e = seen.east_m_s2 / gravity + scale * u_e
        c, d = math.cos(x[COMPASS]), math.sin(x[COMPASS])
        z_n, z_e = c * l_n - d * l_e, d * l_n + c * l_e
        bend = square / (s * gravity)
        j_nn, j_ne, j_ee = scale + bend * u_n * u_n, bend * u_n * u_e, scale + bend * u_e * u_e
        w_nn, w_ne = d * j_ne - c * j_nn, d * j_ee - c * j_ne
        w_en, w_ee = -d * j_nn - c * j_ne, -d * j_ne - c * j_ee
        share = linear * (1 - s / TYPICAL_M_S) / gravity
        r_n, r_e = share * (c * u_n - d * u_e), share * (d * u_n + c * u_e)
        h_n = (w_nn, w_ne, w_nn, w_ne, seen.cos, -seen.sin, -z_e, -w_nn * v_n - w_ne * v_e, r_n)
        h_e = (w_en, w_ee, w_en, w_ee, seen.sin, seen.cos, z_n, -w_en * v_n - w_ee * v_e, r_e)
        uneven = UNEVEN * math.hypot(seen.north_m_s2, seen.east_m_s2) / G_M_S2
        ragged = RAGGED * scale * unit * self.gust_sd_m_s
        noise = LEAN_SD * LEAN_SD + uneven * uneven + ragged * ragged
        lean = math.hypot(seen.lean_n, seen.lean_e)
        if not self._told:
            self._hard = max(self._hard, HARD * lean)
        self._considered = (SCALE, SHAPE) if lean > self._hard or self._is_restless(unit) else (SHAPE,)
        self._far_out = False
        moved = self._correct(h_n, seen.lean_n - z_n - seen.cos * x[AHEAD] + seen.sin * x[RIGHT], noise)
        z_e += seen.sin * x[AHEAD] + seen.cos * x[RIGHT] + sum(map(mul, h_e, moved))
        self._correct(h_e, seen.lean_e - z_e, noise)
        self._judge_gusts(seen.seconds)
        quiet = math.hypot(seen.north_m_s2, seen.east_m_s2, seen.up_m_s2) < QUIET_M_S2
        self._quiet = self._quiet + 1 if quiet else 0
        self._judge_jump(unit)
        self._judge_mean(seen.seconds)

    def _is_restless(self, unit: float) -> bool:
        """Tell whether the mean wind changes, or may begin to."""
        if self._steady.unrest > RESTLESS * unit * unit * MEAN_WALK_M2_S3:
            return True
        return math.hypot(self.x[GUST_N], self.x[GUST_E]) > UNUSUAL * unit * self.gust_sd_m_s

    def _judge_jump(self, unit: float) -> None:
        """Let the gust jump when one look after the other is far out."""
        self._sudden = self._sudden + 1 if self._far_out and self._quiet >= QUIET_LOOKS else 0
        if self._sudden >= SUDDEN:
            self._sudden = 0
            for i in (GUST_N, GUST_E):
                self.p[i][i] += (unit * SUDDEN_M_S) ** 2

    def _judge_mean(self, seconds: float) -> None:
        """Take what is no gust any more to the mean. What is unsure then is which of the two has it, not both."""
        x, p = self.x, self.p
        gust_sd = math.exp(x[SCALE]) * self.gust_sd_m_s
        moved = self._steady.moved(
            (x[GUST_N], x[GUST_E]), gust_sd, self._gust_s, seconds, quiet=self._quiet >= QUIET_LOOKS
        )
        if moved is None:
            return
        for mean, gust, by in ((N, GUST_N, moved.north), (E, GUST_E, moved.east)):
            x[mean] += by
            x[gust] -= by
            p[mean][mean] += moved.variance
            p[gust][gust] += moved.variance
            p[mean][gust] -= moved.variance
            p[gust][mean] -= moved.variance

    def load_changed(self) -> None:
        """Take it that another load hangs in the wind."""
        self.p[SCALE][SCALE] += LOAD_SCALE**2

    @property
    def scale_doubt(self) -> float:
        """Standard deviation, as a part, of the airspeed that a lean tells."""
        return math.sqrt(max(0.0, self.p[SCALE][SCALE]))

    def airspeed_at(self, tilt_rad: float, density_kg_m3: float) -> float:
        """Return the airspeed at which a tilt holds the drag, m/s."""
        linear = self._linear * math.exp(self.x[SHAPE])
        square = self._square_at(density_kg_m3, linear)
        return math.exp(-self.x[SCALE]) * flow(G_M_S2 * math.tan(tilt_rad), linear, square)

    @property
    def is_sound(self) -> bool:
        """Whether state and variances are such as could be; nonsense from outside may have spoilt them."""
        within = all(abs(value) < most for value, most in zip(self.x, _BOUNDS, strict=True))
        return within and all(0.0 <= self.p[i][i] < 1e6 for i in range(STATES))

    def _correct(self, h: tuple[float, ...], off: float, noise: float) -> list[float]:
        """Take one measured axis in; returns by how much the state moved. What is far out counts as less far.

        Considered states stay as they are: the drag's shape always; its scale where the aircraft leans as far as
        it can, and its speed therefore comes of the gusts, which the filter takes for unlike; and while the mean
        wind changes, for what it leans more by then is the wind's.
        """
        p = self.p
        ph = [sum(map(mul, row, h)) for row in p]
        spread = sum(map(mul, ph, h)) + noise
        limit = _CLIP * math.sqrt(spread)
        self._far_out |= abs(off) > limit
        gain = max(-limit, min(limit, off)) / spread
        moved = [gain * value for value in ph]
        kept = [(i, j, p[i][j]) for i in self._considered for j in self._considered]
        for i in self._considered:
            moved[i] = 0.0
        self.x = [a + b for a, b in zip(self.x, moved, strict=True)]
        less = [value / spread for value in ph]
        self.p = [[a - k * b for a, b in zip(row, ph, strict=True)] for row, k in zip(p, less, strict=True)]
        for i, j, value in kept:
            self.p[i][j] = value
        return moved

    def _judge_gusts(self, seconds: float) -> None:
        """Learn how strong the gusts are."""
        x = self.x
        mean = max(math.hypot(x[N], x[E]), LEAST_MEAN_M_S * math.exp(x[SCALE]))
        self.gusts.look(x[N] + x[GUST_N], x[E] + x[GUST_E], mean, self._gust_s, seconds)

    def _square_at(self, density_kg_m3: float, linear_1_s: float) -> float:
        """Return k2 in units of drag: what the linear part has more, it has less at the typical speed."""
        square = self._square * density_kg_m3 / DENSITY_KG_M3
        return max(square + (self._linear - linear_1_s) / TYPICAL_M_S, LEAST_SQUARE * square)

    def _begin(self, seen: Stretch, density_kg_m3: float) -> None:
        """Take the wind that explains the first lean, so that the filter starts where it is right to be linear."""
        x, p = self.x, self.p
        gravity = G_M_S2 + seen.up_m_s2
        n, e = seen.lean_n * gravity - seen.north_m_s2, seen.lean_e * gravity - seen.east_m_s2
        size = math.hypot(n, e)
        square = self._square_at(density_kg_m3, self._linear)
        speed = flow(size, self._linear, square) / size if size > 1e-6 else 0.0
        x[N], x[E] = seen.north_m_s - speed * n, seen.east_m_s - speed * e
        p[GUST_N][GUST_N] = p[GUST_E][GUST_E] = self.gust_sd_m_s**2
        self.begun = True

    def mean(self) -> tuple[float, float, float, float, float]:
        """Return the mean wind: north, east in m/s, and its covariance (north, both, east)."""
        x, p = self.x, self.p
        return self._in_m_s(x[N], x[E], p[N][N], p[N][E], p[E][E], p[N][SCALE], p[E][SCALE])

    def local(self) -> tuple[float, float, float, float, float]:
        """Return the wind where it is now, gust included, in the same way."""
        x, (pn, pe, gn, ge, *_) = self.x, self.p
        return self._in_m_s(
            x[N] + x[GUST_N],
            x[E] + x[GUST_E],
            pn[N] + 2 * pn[GUST_N] + gn[GUST_N],
            pn[E] + pn[GUST_E] + gn[E] + gn[GUST_E],
            pe[E] + 2 * pe[GUST_E] + ge[GUST_E],
            pn[SCALE] + gn[SCALE],
            pe[SCALE] + ge[SCALE],
        )

    def _in_m_s(
        self, n: float, e: float, nn: float, ne: float, ee: float, ns: float, es: float
    ) -> tuple[float, float, float, float, float]:
        """Return a wind in units of drag in m/s; `ns` and `es` are its covariances with the scale."""
        unit, ss = math.exp(-self.x[SCALE]), self.p[SCALE][SCALE]
        square = unit * unit
        return (
            unit * n,
            unit * e,
            square * (nn - 2 * n * ns + n * n * ss),
            square * (ne - n * es - e * ns + n * e * ss),
            square * (ee - 2 * e * es + e * e * ss),
        )

    def learned(self) -> dict[str, list[float] | float]:
        """Return state and covariance, row by row."""
        return {"state": list(self.x), "covariance": [value for row in self.p for value in row]}

    def resume(self, kept: Mapping[str, Any]) -> None:
        """Go on with what `learned` gave. ValueError if it cannot be that."""
        state, flat = numbers(kept.get("state"), STATES), numbers(kept.get("covariance"), STATES * STATES)
        p = [flat[i : i + STATES] for i in range(0, STATES * STATES, STATES)]
        low = cholesky(p)
        for i, j in product(range(STATES), repeat=2):
            off = sum(map(mul, low[i], low[j])) - p[i][j]
            if abs(off) > 1e-6 * math.sqrt(abs(p[i][i] * p[j][j])) + 1e-15:
                raise ValueError("no covariance")
        before = self.x, self.p
        self.x, self.p = state, p
        if not self.is_sound:
            self.x, self.p = before
            raise ValueError("no wind, tilt or drag that could be")
        self.begun = True


def numbers(found: object, count: int) -> list[float]:
    """Return a list of so many finite numbers. ValueError if it is none."""
    if not isinstance(found, list | tuple) or len(found) != count:
        raise ValueError(f"not {count} numbers")
    if not all(isinstance(one, int | float) and not isinstance(one, bool) for one in found):
        raise ValueError("not numbers")
    values = [float(one) for one in found]
    if not all(map(math.isfinite, values)):
        raise ValueError("not finite")
    return values
