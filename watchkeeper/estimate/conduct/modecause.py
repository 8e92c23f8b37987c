"""Why the mode changed in flight: whoever ordered it, the plan, the aircraft by itself, or nobody who can be seen.

MAVLink's CURRENT_MODE says it best: the mode last commanded stands beside the one that is flown, and they differ
where a fail-safe took the aircraft out of it. Where that is not sent, orders and acknowledgements, switches of the
radio control and the aircraft's own state near the change tell. Many mirrors carry no orders: then the cause is
unknown, and that is not the same as nobody having asked.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.plan import LAND_COMMANDS, RETURN_COMMAND
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.part import Known

BEFORE_US: Final = 3 * US
"""So long before a change is told its order was given: a heartbeat a second, and a slow link's delay."""
SETTLE_US: Final = 3 * US
"""What tells the cause may come after the change: CURRENT_MODE every two seconds, an acknowledgement."""
MOST_SETTLE_US: Final = 20 * US
"""A slow radio sends CURRENT_MODE every ten seconds (common practice)."""
LOST_US: Final = 15 * US
"""A lost control link acts after some seconds (common practice: 1 to 10)."""
DUE_S: Final = 5.0
"""A low-battery stage foretold nearer than this has acted."""
WARNING: Final = 4
"""MAV_SEVERITY_WARNING; what is more severe has a lower number."""
INFORMATION: Final = 6
"""MAV_SEVERITY_INFO"""
NAMED_US: Final = 10 * US
"""A number that no table has is named by CURRENT_MODE only, some seconds later: one change, not two."""
FOLLOWS: Final = frozenset(
    {
        ("takeoff", "position_hold"), ("takeoff", "mission"), ("takeoff", "external"),
        ("safe_recovery", "land"), ("safe_recovery", "position_hold"),
    }
)  # fmt: skip
"""How one mode ends in another by itself."""
_PLAN_ENDS: Final = frozenset({"position_hold", "safe_recovery", "land"})
_LAST_STATE: Final = 5
"""MISSION_STATE_COMPLETE"""
_RETURNS: Final = frozenset({"return", "retrace", "return_or_land"})
_ACTS: Final = {
    "safe_recovery": _RETURNS,
    "land": frozenset({"land", "return_or_land"}),
    "position_hold": frozenset({"hold"}),
    "altitude_hold": frozenset({"height_hold"}),
}
_NAMELESS: Final = "other"
_OWN: Final = {"safe_recovery": "own_return", "land": "own_landing"}
_PHASE: Final = INDEX["flight.phase"]
_MODE: Final = INDEX["flight.mode"]
_ACTION: Final = INDEX["own.action"]
_ACTION_IN: Final = INDEX["own.action_in"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]


class ModeCause:
    """`flight.mode_cause`."""

    indexes = (INDEX["flight.mode_cause"],)

    def __init__(self, known: Known) -> None:
        self._aircraft = known.aircraft
        self._mode: str | None = None
        self._before: str | None = None
        self._changed_us = 0
        self._open = False
        self._cause = ""
        self._due = False
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[str] | None:
        """Return the cause, or None while it is the same."""
        values = self._aircraft.readings.values
        mode: str | None = values[_MODE]
        if values[_PHASE] not in _IN_FLIGHT or mode is None or self._mode is None:
            self._mode, self._open = mode, False
            return self._say("none")
        if mode != self._mode:
            if self._mode != _NAMELESS or now_us - self._changed_us > NAMED_US:
                self._before, self._changed_us = self._mode, now_us
            self._mode, self._open = mode, True
            self._due = self._own_action_due(mode)
        if self._open:
            cause = self._found(mode, now_us)
            if cause is None:
                return self._say("none")
            self._open = False
            return self._say(_OWN.get(mode, cause) if cause == "own" else cause)
        if self._cause.startswith("own") and self._told() is False:
            return self._say("ordered")  # it was ordered since
        return None

    def _say(self, cause: str) -> tuple[str] | None:
        if cause == self._cause:
            return None
        self._cause = cause
        return (cause,)

    def _told(self) -> bool | None:
        """Whether the aircraft itself says that it left the mode it was ordered into; None: it has not told."""
        modes, stream = self._aircraft.modes, self._aircraft.streams.mode
        if modes.intended is None or stream.time_us < self._changed_us:
            return None
        return modes.apart

    def _found(self, mode: str, now_us: int) -> str | None:
        """Return the cause as soon as it is seen; None while something may still come."""
        before, intended = self._before, self._aircraft.intended
        if (before, mode) in FOLLOWS or (before == "mission" and self._plan_ends(mode)):
            return "planned"
        told = self._told()
        if told:
            return "own"
        since_us = self._since_us()
        if intended.ordered_us(mode) > since_us:
            return "ordered"
        if told is False:
            return "ordered"
        if mode == _NAMELESS and now_us - self._changed_us < self._settle_us():
            return None  # which mode it is will be told
        if self._trouble(since_us):
            return "own"
        if intended.switch_us > since_us:
            return "switched"
        if now_us - self._changed_us < self._settle_us():
            return None
        if self._warned(since_us):
            return "own"
        return "unasked" if intended.orders and self._radio_seen(now_us) else "unknown"

    def _settle_us(self) -> int:
        """Return how long what tells the cause is waited for: CURRENT_MODE as it comes, where it tells."""
        if self._aircraft.modes.intended is None:
            return SETTLE_US
        return max(SETTLE_US, min(MOST_SETTLE_US, 2 * self._aircraft.streams.mode.interval_us))

    def _since_us(self) -> int:
        return self._changed_us - BEFORE_US - 2 * self._aircraft.streams.heartbeat.interval_us

    def _plan_ends(self, mode: str) -> bool:
        """Whether the plan leads to a mode: a return or a landing due in it, or its end, if that is known."""
        plan = self._aircraft.plan
        if mode not in _PLAN_ENDS or plan.current is None:
            return False
        last = plan.total is not None and plan.current >= plan.total - 1
        if mode == "position_hold":
            return plan.state == _LAST_STATE or plan.total is None or last
        due = {item.command for n in (0, 1) if (item := plan.items.get(plan.current + n)) is not None}
        return RETURN_COMMAND in due if mode == "safe_recovery" else not due.isdisjoint(LAND_COMMANDS)

    def _own_action_due(self, mode: str) -> bool:
        """Whether the aircraft's next own low-battery action was about to come, and is this."""
        values = self._aircraft.readings.values
        due_s = values[_ACTION_IN]
        return due_s is not None and due_s < DUE_S and values[_ACTION] in _ACTS.get(mode, ())

    def _trouble(self, since_us: int) -> bool:
        """Whether the aircraft is in a trouble that it acts upon by itself."""
        intended = self._aircraft.intended
        lost_us = intended.radio_lost_us
        lost = lost_us > 0 and self._changed_us - lost_us < LOST_US
        return self._due or lost or intended.state_us > since_us

    def _warned(self, since_us: int) -> bool:
        """Whether it said something of weight in its own words as it changed.

        Old firmware counts severity the other way, up to five; one that says "info" counts as the standard does.
        """
        texts = self._aircraft.texts.latest
        warned = any(text.severity <= WARNING and text.time_us > since_us for text in texts)
        return warned and any(text.severity >= INFORMATION for text in texts)

    def _radio_seen(self, now_us: int) -> bool:
        """Whether a switch of the radio control would have been seen."""
        intended = self._aircraft.intended
        return intended.radio_us == 0 or (intended.sticks_seen(now_us) and intended.switch_us > 0)
