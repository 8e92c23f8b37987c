"""How much of the speed home the wind takes; what a gust took is held until it is over."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import US
from watchkeeper.estimate.home.homeway import LEAST_SPEED_M_S, HomeWind, speed_home
from watchkeeper.estimate.home.returnplan import ReturnPlan

GUST_US: Final = 30 * US
"""Gusts 200 m long (MIL-F-8785C at 50 m) are over by then; what lasts longer is a mean wind."""


class HeadWind:
    """The most that was taken within `GUST_US`."""

    def __init__(self) -> None:
        self._most_pct = 0.0
        self._most_us = -GUST_US

    def takes_pct(self, plan: ReturnPlan, wind: HomeWind, now_us: int) -> float:
        """Return it in % of the speed that is asked for; 100 where there is no way home."""
        asked_m_s = max(LEAST_SPEED_M_S, plan.speed_m_s)
        now_pct = 100.0 * max(0.0, 1.0 - max(0.0, speed_home(plan, wind)) / asked_m_s)
        if now_pct >= self._most_pct or now_us - self._most_us > GUST_US:
            self._most_pct, self._most_us = now_pct, now_us
        return self._most_pct
