"""Fading: slow, with the place, and fast, with every half wavelength.

Slow: normal in dB, its likeness falling as exp(-distance / length) (Gudmundson, Electronics Letters 27, 1991).
Fast: Rice, a steady part and a scattered one of normal numbers, the two ways apart since radios hop about. Both
live on a grid of 0.1 s, so that callers at 10 and at 50 Hz meet the same, and both follow from their seed and the
way flown, not from how many frames were sent.
"""

from __future__ import annotations

import math
import random
from typing import Final

from simulators.radio.model import FadingModel

STEP_S: Final = 0.1
_ROUNDING: Final = 1e-6
_MOST_FADE_DB: Final = -40.0
_LEAST_RICE: Final = 1.0
_Place = tuple[float, float, float]


class Fading:
    """What to add to the mean signal, dB: `down_db` at the station, `up_db` at the aircraft."""

    __slots__ = ("_at", "_gauss", "_model", "_point", "_rice", "_scatter", "_slow", "_wave_m", "down_db", "up_db")

    def __init__(self, model: FadingModel, wave_m: float, seed: str | int) -> None:
        self._model = model
        self._wave_m = wave_m
        self._gauss = random.Random(f"fading {seed}").gauss
        self._rice = 10.0 ** (0.1 * model.rice_db)
        self._point: float = -math.inf
        self._at: _Place = (0.0, 0.0, 0.0)
        self._slow = 0.0
        self._scatter = (0.0, 0.0, 0.0, 0.0)
        self.down_db = self.up_db = 0.0

    def step(self, now_s: float, at: _Place, blocked_db: float) -> bool:
        """Go on to the last grid point; tells whether there was one since the last call. Time never goes back.

        Behind something that takes `blocked_db` the steady part is weaker, and the fades are deeper.
        """
        point = math.floor(now_s / STEP_S + _ROUNDING)
        if point <= self._point:
            return False
        elapsed_s = (point - self._point) * STEP_S
        flown_m = math.dist(at, self._at)
        self._point = point
        self._at = at
        model, gauss = self._model, self._gauss
        keep = math.exp(-flown_m / model.along_m - elapsed_s / model.along_s)
        self._slow = keep * self._slow + math.sqrt(1.0 - keep * keep) * gauss(0.0, 1.0)
        keep = math.exp(-flown_m / (0.5 * self._wave_m) - elapsed_s / model.scatter_s)
        new = math.sqrt(1.0 - keep * keep)
        a, b, c, d = self._scatter
        a = keep * a + new * gauss(0.0, 1.0)
        b = keep * b + new * gauss(0.0, 1.0)
        c = keep * c + new * gauss(0.0, 1.0)
        d = keep * d + new * gauss(0.0, 1.0)
        self._scatter = (a, b, c, d)
        rice = self._rice
        if blocked_db > 0.0:
            rice = min(rice, max(_LEAST_RICE, rice * 10.0 ** (-0.1 * blocked_db)))
        steady, scattered = math.sqrt(rice / (rice + 1.0)), math.sqrt(0.5 / (rice + 1.0))
        slow_db = model.sigma_db * self._slow
        self.down_db = slow_db + _power_db(steady + scattered * a, scattered * b)
        self.up_db = slow_db + _power_db(steady + scattered * c, scattered * d)
        return True


def _power_db(real: float, imaginary: float) -> float:
    power = real * real + imaginary * imaginary
    return 10.0 * math.log10(power) if power > 1e-4 else _MOST_FADE_DB
