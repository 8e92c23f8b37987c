"""How far a return has come: which of its legs are behind, and how long it has held.

Nobody says so in MAVLink; it is seen by how the aircraft moves. In the phase `landing` only the way down is left,
and over home the hold on the way, if there is one: a descent to it looks like a landing.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.home.homeway import OVERHEAD_M
from watchkeeper.estimate.home.returnplan import ReturnPlan

_AT_HEIGHT_M: Final = 1.5
_CLOSED_M: Final = 5.0
_STOPPED_M_S: Final = 1.0
_SINKS_M_S: Final = 0.25
_SINKING_S: Final = 1.5
_LONGEST_STEP_S: Final = 5.0


class Progress:
    """Follows one return. `done` holds the names of legs behind, `held_s` how long it has held."""

    def __init__(self) -> None:
        self.done: frozenset[str] = frozenset()
        self.held_s = 0.0
        self._farthest_m = 0.0
        self._sinking_s = 0.0
        self._begun = False
        self._last_us = 0

    def follow(
        self,
        phase: str,
        distance_m: float,
        height_m: float,
        climb_m_s: float,
        speed_m_s: float,
        plan: ReturnPlan,
        now_us: int,
    ) -> None:
        """Take in how it moves now; `speed_m_s` over ground."""
        step_s = (now_us - self._last_us) / 1e6
        self._last_us = now_us
        if phase not in {"returning", "landing"}:
            if self._begun:
                self.__init__()  # type: ignore[misc]  # a return broken off leaves nothing behind
                self._last_us = now_us
            return
        if not self._begun or step_s > _LONGEST_STEP_S:
            self._begun, self._farthest_m, step_s = True, distance_m, 0.0
        self._farthest_m = max(self._farthest_m, distance_m)
        self._sinking_s = self._sinking_s + step_s if climb_m_s < -_SINKS_M_S else 0.0
        sinks = self._sinking_s >= _SINKING_S
        done = set(self.done)
        near = distance_m < OVERHEAD_M and ("cruise" in done or speed_m_s < _STOPPED_M_S)
        top_m = plan.top_m(height_m, distance_m) if plan.height_m is not None else height_m
        if phase == "landing" or near or height_m >= top_m - _AT_HEIGHT_M or self._closed(distance_m):
            done.add("climb")
        if near and (phase == "landing" or "climb" in done):
            done.add("cruise")
        if phase == "landing":
            done |= {"climb", "cruise"}
            if not (distance_m < OVERHEAD_M and self._sinks_to_hold(plan, height_m)):
                done.add("hold")
            if plan.hold_m is None or height_m < plan.hold_m:
                done.add("descend")
        if "cruise" in done and "hold" not in done:
            self._hold(plan, done, height_m, step_s, sinks=sinks)
        self.done = frozenset(done)

    @staticmethod
    def _sinks_to_hold(plan: ReturnPlan, height_m: float) -> bool:
        """Whether what looks like a landing may be the descent to a hold that is still to come."""
        order = plan.order
        if plan.hold_m is None or "descend" not in order or "hold" not in order:
            return False
        return order.index("descend") < order.index("hold") and height_m > plan.hold_m - _AT_HEIGHT_M

    def _closed(self, distance_m: float) -> bool:
        return self._farthest_m - distance_m > _CLOSED_M

    def _hold(self, plan: ReturnPlan, done: set[str], height_m: float, step_s: float, *, sinks: bool) -> None:
        """Count the hold while it is level over home, in the place that the plan's order gives it."""
        order = plan.order
        if "hold" not in order:
            return
        at = order.index("hold")
        before = [name for name in order[:at] if name not in done]
        low = plan.hold_m is None or height_m <= plan.hold_m + 2 * _AT_HEIGHT_M
        if "descend" in before and low and not sinks:
            done.add("descend")
            before = [name for name in before if name != "descend"]
        if before:
            return
        if sinks and self.held_s > 0.0:
            done.add("hold")
        elif "hold" not in done:
            self.held_s += step_s
