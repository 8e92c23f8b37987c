"""The charge of one pack, with its doubt: what was drawn is counted, and the voltage corrects where it can tell.

An extended Kalman filter (Plett, Battery Management Systems, vol. 2, ch. 3; from memory) over four states: the
charge; the logarithm of the resistance against what was expected; by how much the cell's curve is off here, which
keeps to one side over `CURVE_MEMORY` of charge and is as large as published cells differ there; the logarithm of
the charge that an Ah draws, in which age, capacity and the current sensor's scale lie together (a forecast reckons
in the same measured Ah, so they need no parting). On the flat of the curve a voltage tells little, for then the
curve's own doubt is as large as what it would tell.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.matrix import Matrix, cholesky, diagonal, is_covariance
from watchkeeper.estimate.packs.beginning import GAUGE, believed, by_voltage
from watchkeeper.estimate.packs.belief import Belief, Unbooked
from watchkeeper.estimate.packs.cell import (
    COLDEST_DEGC,
    HOTTEST_DEGC,
    RELAXING,
    RESISTANCE_CAPACITY,
    SETTLED,
    PackState,
    aged_resistance,
    charge_factor,
    temperature_factor,
)
from watchkeeper.estimate.packs.charge import REST_RATE
from watchkeeper.estimate.packs.curve import CURVE_MEMORY, MEASURED_V
from watchkeeper.estimate.packs.leaning import NONE, Lean, MonitorVolts, Vector
from watchkeeper.estimate.packs.owncurve import CHARGER, curve_of, unseen
from watchkeeper.estimate.packs.packtoday import FittedPack, held, scale_of, usual_age

SAMPLE_V: Final = 0.010  # of a cell; together with `INDEPENDENT_S`
INDEPENDENT_S: Final = 8.0  # errors of a voltage under load keep to one side for so long
TRANSIENT: Final = 0.12  # of the drop that a change of current makes, not explained by two relaxing parts
WRONG_SCALE: Final = 0.5  # of one that was never set: half to twice as much
STATED_OHM: Final = 0.3  # of a stated resistance, as a logarithm
GUESSED_OHM: Final = 1.0  # small cold packs have been seen with seven times what their size suggests
LOADED_PCT: Final = 10.0  # of a start under load beyond what the resistance explains
WALK_OHM: Final = 0.002  # of ln R a root second; with a temperature told much of that is known
OHM_BOUND: Final = 2.5
DRAW_BOUND: Final = 1.0
SAME_V: Final = 0.001
_FAR: Final = 2.5
"""Deviations."""
_GAP_S: Final = 30.0
_LEAST_REACH: Final = 0.005
_MOST_CURVE_V: Final = 0.5
_MOST_VARIANCE: Final = 100.0  # of anything that was kept; the widest doubt of a charge begins far below

Z, R, B, K = range(4)


class ChargeFilter:
    """Charge, resistance, curve and draw of one pack; V of a cell, A positive out of the pack."""

    def __init__(self, packs: Packs, cells: int, capacity_ah: float) -> None:
        self.cells = cells
        self.capacity_ah = capacity_ah
        self.curve = curve_of(packs)
        stated = packs.resistance_ohm
        whole_ohm = stated / cells if stated is not None else RESISTANCE_CAPACITY / capacity_ah
        ohm_doubt = STATED_OHM if stated is not None else GUESSED_OHM
        more = aged_resistance(usual_age(packs))
        if isinstance(packs, FittedPack) and packs.resistance_doubt is not None:
            more, ohm_doubt = 1.0, packs.resistance_doubt
        self._fast_ohm = whole_ohm * more / SETTLED
        left, held_doubt = held(packs)
        self._unseen = held_doubt if packs.charged else 0.0
        """Of what the pack holds: one deviation that a curve measured in Ah cannot show."""
        self._scale = scale = scale_of(packs)
        # a charger's own scale is in both, what it put back and what the monitor counted of that
        ah_doubt = held_doubt if not packs.charged else 0.0 if len(packs.counted) == 1 else CHARGER
        draw_doubt = math.hypot(ah_doubt, scale.doubt)
        self._x = [0.0, 0.0, 0.0, -math.log(left) - scale.off]
        self._p = diagonal(0.0, ohm_doubt**2, self._spread(1.0) ** 2, draw_doubt**2)
        self._unbooked = self._now()
        self._parts_a = [0.0 for _ in RELAXING]
        self._time_us = 0
        self._degc: float | None = None
        self._drawn = 0.0
        self.loose = 0.0
        """One deviation of charge: what a beginning under load, a gauge and holes leave open."""
        self._volts = MonitorVolts()
        self.at_rest = False
        """It began at rest, and no load has come since: nothing shows that it is on the bus."""
        self.leaning: Lean | None = None
        """How others of the bus leave what is told of it; None: as its own monitor has it."""
        self.started = False

    @property
    def charge(self) -> float:
        """Charge left, as a part of what the pack holds at its age."""
        return self._told()[0][Z]

    @property
    def charge_doubt(self) -> float:
        """Its standard deviation."""
        return math.sqrt(max(0.0, self._told()[1][Z][Z]))

    @property
    def counted(self) -> float:
        """The same charge by this pack's own monitor alone."""
        return self._x[Z]

    def own_errors(self, shared: float) -> list[Vector]:
        """Return the errors that are this pack's alone: its monitor's Ah, and what is loose beyond `shared`."""
        scale, loose = self._scale.doubt, math.sqrt(max(0.0, self.loose**2 - shared**2))
        return [(-scale * self._drawn, 0.0, 0.0, scale), (-loose, 0.0, 0.0, 0.0)]

    def volts_error(self) -> tuple[Matrix, Vector]:
        """Return the covariance of the state, and what that lacks if one deviation too much is shown of a cell."""
        return self._p, self._volts.error()

    def _told(self) -> tuple[list[float], Matrix]:
        """Return state and covariance as they are told."""
        x, p = self._x, self._p
        if self.leaning is not None:
            x, p = self.leaning.of(x, p)
            x[Z] = max(0.0, min(1.0, x[Z]))
        return x, unseen(p, x[Z], self._unseen) if self._unseen else p

    def drop_v(self, current_a: float, moved: Vector = NONE) -> float:
        """Return the settled drop over a cell's resistance at a current, V, with the state moved by so much."""
        return self._ohm_now(self._x[Z]) * math.exp(moved[R]) * SETTLED * current_a

    @property
    def resistance_off(self) -> tuple[float, float]:
        """The logarithm of the resistance over what was expected, and its standard deviation."""
        return self._x[R], math.sqrt(max(0.0, self._p[R][R]))

    @property
    def degc(self) -> float | None:
        """Temperature as last told, degrees C."""
        return self._degc

    def _spread(self, charge: float) -> float:
        return self.curve.spread_at(100.0 * charge)

    def _now(self) -> Unbooked:
        return Unbooked(Belief(self._x[R], self._p[R][R]), Belief(self._x[K], self._p[K][K]))

    @property
    def drawn_ah(self) -> float:
        """Drawn since the last `book`."""
        return self._unbooked.drawn_ah

    def resistance_shown(self) -> tuple[float, float] | None:
        """Return what was shown since the last `book` of a cell's settled resistance, ohm, and its doubt.

        At mid charge and the temperature told; the doubt is of the logarithm. None if nothing was shown.
        """
        shown = self._now().resistance.without(self._unbooked.resistance)
        if shown is None:
            return None
        warm = temperature_factor(self._degc) if self._degc is not None else 1.0
        return self._fast_ohm * SETTLED * warm * math.exp(shown.value), math.sqrt(shown.variance)

    def capacity_shown(self) -> tuple[float, float] | None:
        """Return the same of the capacity, in Ah as measured, less what the monitor is known to be off.

        A curve that was measured in Ah shows none of it.
        """
        shown = self._now().draw.without(self._unbooked.draw)
        if shown is None or self._unseen:
            return None
        return self.capacity_ah * math.exp(-shown.value - self._scale.off), math.sqrt(shown.variance)

    def book(self) -> None:
        """Take it that what was drawn and shown up to now is written down elsewhere."""
        self._unbooked = self._now()

    def begin(
        self,
        rest_cell_v: float | None,
        gauge_pct: float | None,
        *,
        resting: bool,
        load_a: float,
        cell_v: float | None = None,
    ) -> bool:
        """Start from what the first sample tells; return whether it told enough.

        `rest_cell_v` is a cell's voltage with the load's drop taken out, `cell_v` with it. What was learned of
        resistance and draw stays; charge and curve begin anew, and with them what tied them to the rest.
        """
        if rest_cell_v is None and gauge_pct is None:
            return False
        self._drawn, self.loose, self.leaning = 0.0, 0.0, None
        self.at_rest = rest_cell_v is not None and resting
        self._volts.begin(0.0)
        for i in range(4):
            self._p[Z][i] = self._p[i][Z] = self._p[B][i] = self._p[i][B] = 0.0
        if rest_cell_v is None:
            assert gauge_pct is not None
            self.loose = 2.0 * GAUGE
            self._x[Z], self._p[Z][Z] = gauge_pct / 100.0, self.loose**2
            self._x[B], self._p[B][B] = 0.0, self._spread(self._x[Z]) ** 2
        else:
            drop_v = 0.0
            if not resting and cell_v is not None:
                # by the resistance that is expected here: voltages will be compared with that from now on
                drop_v = self._fast_ohm * math.exp(self._x[R]) * SETTLED * load_a
                rest_cell_v = cell_v + drop_v
            ohm_doubt = self._p[R][R]
            told = by_voltage(self.curve, rest_cell_v, drop_v * math.sqrt(ohm_doubt), resting=resting)
            self._x[Z], self._x[B], self._p[B][B] = told.charge, 0.0, told.curve_v**2
            self.loose = 0.0 if resting else LOADED_PCT / 100.0
            self._volts.begin(MEASURED_V / told.slope_v)
            # the voltage is curve, its error and the drop together: too much in one is too little in the others
            self._p[Z][Z] = told.doubt**2 + self.loose**2
            self._p[Z][B] = self._p[B][Z] = -(told.curve_v**2) / told.slope_v
            self._p[Z][R] = self._p[R][Z] = drop_v * ohm_doubt / told.slope_v
            if gauge_pct is not None:
                off = gauge_pct / 100.0 - self._x[Z]
                if believed(gauge_pct / 100.0, off, self._p[Z][Z], resting=resting):
                    part = self._p[Z][Z] / (self._p[Z][Z] + GAUGE**2)
                    self.loose = math.hypot((1.0 - part) * self.loose, part * GAUGE)
                    self._correct([1.0, 0.0, 0.0, 0.0], off, GAUGE**2, by_volts=False)
        self.started = True
        return True

    def at_degc(self, degc: float) -> None:
        """Take the pack to be so warm, degrees C, until it tells."""
        self._degc = max(COLDEST_DEGC, min(HOTTEST_DEGC, degc))

    def distrust_current(self, drawn_ah: float) -> None:
        """Take it that the current is grossly wrong, and was for what was drawn up to now."""
        p = self._p
        p[K][K] += WRONG_SCALE**2
        p[R][R] += WRONG_SCALE**2
        p[Z][Z] += (WRONG_SCALE * drawn_ah / self.capacity_ah) ** 2

    def draw(self, drawn_ah: float, doubt: float) -> None:
        """Take off what was drawn since the last call, Ah as measured; `doubt` (of full charge) is added to it."""
        x, p = self._x, self._p
        self._unbooked = self._unbooked._replace(drawn_ah=self._unbooked.drawn_ah + drawn_ah)
        per_ah = math.exp(x[K]) / self.capacity_ah
        step = drawn_ah * per_ah
        self._drawn += step
        # z falls by e^k used / Q; the curve's error forgets as charge goes by, and goes with how cells differ
        there_v = self._spread(x[Z] - step)
        keep = math.exp(-abs(step) / CURVE_MEMORY)
        shrink = keep * there_v / self._spread(x[Z])
        for i in range(4):
            p[Z][i] -= step * p[K][i]
        for i in range(4):
            p[i][Z] -= step * p[i][K]
        for i in range(4):
            p[B][i] *= shrink
            p[i][B] *= shrink
        p[B][B] += (1.0 - keep * keep) * there_v**2
        p[Z][Z] += doubt * doubt
        self.loose = math.hypot(self.loose, doubt)
        x[Z] -= step
        x[B] *= shrink
        self._volts.drawn(step, shrink)
        self._bound()

    def hear(self, cell_v: float, current_a: float, degc: float | None, time_us: int) -> None:
        """Correct by a cell's mean voltage, V, under a current, A, at a temperature (None: not told)."""
        if self.at_rest and abs(current_a) > REST_RATE * self.capacity_ah:
            self.at_rest = False
            at_pct = 100.0 * self._x[Z]
            self._p[B][B] += self.curve.spread_at(at_pct) ** 2 - self.curve.rest_spread_at(at_pct) ** 2
        step_s = (time_us - self._time_us) / 1e6
        first = not self._time_us or not 0.0 <= step_s < _GAP_S
        self._time_us = time_us
        if first:
            self._parts_a = [current_a for _ in RELAXING]
            return
        changed_a = current_a - self._parts_a[0]
        for i, (_, tau_s) in enumerate(RELAXING):
            self._parts_a[i] += (current_a - self._parts_a[i]) * (1.0 - math.exp(-step_s / tau_s))
        if degc is not None and COLDEST_DEGC <= degc <= HOTTEST_DEGC:
            self._degc = degc
        x, p = self._x, self._p
        p[R][R] += WALK_OHM**2 * step_s
        load_a = current_a + sum(share * amp for (share, _), amp in zip(RELAXING, self._parts_a, strict=True))
        ohm = self._ohm_now(x[Z])
        drop_v = ohm * load_a
        slope = self._slope()
        error_v = cell_v - (self.curve.rest_voltage_at(100.0 * x[Z]) + x[B] - drop_v)
        changing_v = TRANSIENT * ohm * changed_a
        noise = SAMPLE_V**2 * max(1.0, INDEPENDENT_S / max(step_s, 0.05)) + changing_v**2
        self._correct([slope, -drop_v, 1.0, 0.0], error_v, noise)

    def _slope(self) -> float:
        """Return the curve's slope, V for the whole charge, over as much of it as is in doubt.

        The tangent would take a kink that may or may not lie behind for knowledge of which side it is.
        """
        charge, reach = self._x[Z], max(_LEAST_REACH, math.sqrt(max(0.0, self._p[Z][Z])))
        up, down = min(1.0, charge + reach), max(0.0, charge - reach)
        rise_v = self.curve.rest_voltage_at(100.0 * up) - self.curve.rest_voltage_at(100.0 * down)
        return rise_v / (up - down)

    def _ohm_now(self, charge: float) -> float:
        """Return a cell's fast resistance at a charge and the present temperature."""
        warm = temperature_factor(self._degc) if self._degc is not None else 1.0
        return self._fast_ohm * warm * charge_factor(charge) * math.exp(self._x[R])

    def _correct(self, row: list[float], error: float, noise: float, *, by_volts: bool = True) -> None:
        """Take one measurement in: its row of derivatives, its innovation, its variance."""
        p = self._p
        gains = [sum(p[i][j] * row[j] for j in range(4)) for i in range(4)]
        spread = sum(row[i] * gains[i] for i in range(4)) + noise
        # what is far out says the less the further: a joint that gives way is not a charge that falls
        beyond = abs(error) / (_FAR * math.sqrt(spread))
        weight = 1.0 if beyond <= 1.0 else 1.0 / (beyond * beyond)
        self._volts.corrected(row, [weight * gain / spread for gain in gains], by_volts=by_volts)
        for i in range(4):
            self._x[i] += weight * gains[i] / spread * error
        for i in range(4):
            for j in range(4):
                p[i][j] -= weight * gains[i] * gains[j] / spread
        self._bound()

    def _bound(self) -> None:
        x = self._x
        x[Z] = max(0.0, min(1.0, x[Z]))
        x[R] = max(-OHM_BOUND, min(OHM_BOUND, x[R]))
        x[K] = max(-DRAW_BOUND, min(DRAW_BOUND, x[K]))

    def state(self) -> PackState:
        """Return what a forecast needs, at the expected values."""
        return self._state(self._told()[0])

    def doubtful(self) -> list[PackState]:
        """Return one state for each independent error, off by one standard deviation to the dear side.

        The columns of the covariance's Cholesky factor are independent errors of one deviation each.
        """
        middle, p = self._told()
        factor = cholesky(p)
        states: list[PackState] = []
        for j in range(4):
            column = [factor[i][j] for i in range(4)]
            # dear is less charge, or, where that stays, more resistance or a greater draw
            sign = -1.0 if (column[Z] or -(column[R] + column[K] - column[B])) > 0.0 else 1.0
            states.append(self._state([x + sign * d for x, d in zip(middle, column, strict=True)]))
        return states

    def _state(self, x: list[float]) -> PackState:
        warm = temperature_factor(self._degc) if self._degc is not None else 1.0
        ohm = self._fast_ohm * SETTLED * warm * math.exp(x[R])
        off = x[B] / self._spread(x[Z])
        return PackState(self.curve, self.cells, x[Z], ohm, math.exp(x[K]) / self.capacity_ah, off)

    def _measured_since(self, change: float) -> None:
        """Take it that less is drawn by an Ah than was supposed, by so much; what was shown since stays shown."""
        before = self._unbooked.draw
        self._x[K] += change * min(1.0, self._p[K][K] / before.variance)
        self._unbooked = self._unbooked._replace(draw=before._replace(value=before.value + change))

    def learned(self) -> Mapping[str, list[float]]:
        """Return what was learned, to be kept over a restart of the watch."""
        return {
            "x": list(self._x),
            "p": [v for row in self._p for v in row],
            "parts_a": list(self._parts_a),
            "begun": [self._drawn, self.loose, float(self.at_rest)],
            "volts": self._volts.learned(),
            "scale_off": [self._scale.off],
            "unbooked": self._unbooked.values(),
            "curve_v": [self.curve.rest_voltage_at(100.0 * self._x[Z])],
        }

    def resume(self, kept: Mapping[str, list[float]]) -> None:
        """Take up what was kept. ValueError if it cannot be that."""
        names = "x", "p", "parts_a", "begun", "curve_v", "scale_off"
        x, flat, parts, begun, curve_v, scale_off = (kept[key] for key in names)
        shape = len(x), len(flat), len(parts), len(begun), len(curve_v), len(scale_off)
        finite = map(math.isfinite, [*x, *flat, *parts, *begun, *curve_v, *scale_off])
        if shape != (4, 16, len(RELAXING), 3, 1, 1) or not all(finite):
            raise ValueError("no charge that was kept")
        p = [list(flat[4 * i : 4 * i + 4]) for i in range(4)]
        if abs(x[B]) > _MOST_CURVE_V or abs(scale_off[0]) > DRAW_BOUND or not is_covariance(p, _MOST_VARIANCE):
            raise ValueError("no state that was kept")
        volts = MonitorVolts.kept(kept["volts"])
        self._unbooked, self._volts = Unbooked.kept(kept["unbooked"]), volts
        self._x, self._p = list(x), p
        self._parts_a = list(parts)
        self._drawn, self.loose, rested = (max(0.0, min(1.0, one)) for one in begun)
        self.at_rest = rested > 0.5
        self._measured_since(scale_off[0] - self._scale.off)
        self._bound()
        if abs(curve_v[0] - self.curve.rest_voltage_at(100.0 * self._x[Z])) > SAME_V:  # the crew has told another
            self._x[B] = 0.0
            for i in range(4):
                self._p[B][i] = self._p[i][B] = 0.0
            spread_at = self.curve.rest_spread_at if self.at_rest else self.curve.spread_at
            self._p[B][B] = spread_at(100.0 * self._x[Z]) ** 2
            self._volts.forget_curve()
        self.started = True
