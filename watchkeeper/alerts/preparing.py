"""Getting one aircraft ready: carries out what the crew orders before a take-off, and gives the test calls.

A test call is a routine call to one role: "Test. Watch to observer, confirm that you hear." It goes by the way by
which that role is reached (the outlets know which); an outlet that has given it says so by an order `given`.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.readings import Readings
from watchkeeper.alerts import wording
from watchkeeper.alerts.audience import TEST_CALL
from watchkeeper.alerts.checks import Checks
from watchkeeper.alerts.events import Order, Step
from watchkeeper.alerts.readiness import GROUND, SILENT_S, Readiness
from watchkeeper.alerts.teller import Teller

SETTLED_US: Final = 10_000_000
"""Heard for so long on the ground, the link is taken to stand; by then the crew is around the aircraft."""
APART_US: Final = 10_000_000
"""Between two rounds of test calls: as long as words may wait to be spoken."""
_PHASE: Final = INDEX["flight.phase"]
_LINK_AGE: Final = INDEX["link.age"]
_DONE: Final = {"check": Step.CHECKED, "uncheck": Step.UNCHECKED, "confirm": Step.CONFIRMED}


class Preparing:
    """Keeps the checks of one aircraft, and tells everybody of each step."""

    __slots__ = ("_aircraft", "_automatic", "_called_for_us", "_called_us", "_readings", "_teller", "readiness")

    def __init__(self, aircraft: int, readings: Readings, sortie: SortieFile | None, teller: Teller) -> None:
        """Take checklist and roles from the sortie, and whether the crew wants test calls without asking."""
        self._aircraft = aircraft
        self._readings = readings
        self._teller = teller
        self._automatic = sortie is not None and sortie.crew.test_calls
        self._called_us: int | None = None
        self._called_for_us: int | None = None
        checks = Checks() if sortie is None else Checks(sortie.checklist, sortie.crew.roles)
        self.readiness = Readiness(readings, checks, teller.language)

    def take(self, order: Order, now_us: int) -> None:
        """Carry out an order of `checks.ACTIONS`, or tell why not."""
        checks = self.readiness.checks
        if order.action == "settings":
            checks.compare(order)
            return
        if order.action == "given":
            if checks.give(order.role, now_us, ok=order.ok):
                step = Step.GIVEN if order.ok else Step.NOT_GIVEN
                self._tell(step, order.by, now_us, role=order.role, reason=order.text)
            return
        item = role = None
        if order.action == "test":
            reason = self._call(order.role, now_us)
        elif order.action == "confirm":
            role = order.role
            reason = checks.confirm(role, now_us)
        else:
            item = order.text
            reason = checks.tick_off(item, done=order.action == "check")
        if reason:
            self._teller.refusal(order.action, order.rule, self._aircraft, reason, order.role, now_us)
        elif order.action in _DONE:
            self._tell(_DONE[order.action], order.role, now_us, role=role, item=item)

    def follow(self, heard_since_us: int, now_us: int) -> bool:
        """Follow the phase; returns whether there is a take-off to wait with."""
        wanted = self.readiness.wanted()
        if self.readiness.landed() and self.readiness.checks.begin_anew():
            self._tell(Step.ANEW, "watch", now_us)
        if self._automatic and self._called_for_us != heard_since_us and self._settled(heard_since_us, now_us):
            self._called_for_us = heard_since_us
            if not self.readiness.checks.all_confirmed:
                self._call("watch", now_us)
        return wanted

    def _settled(self, heard_since_us: int, now_us: int) -> bool:
        age_s = self._readings.read(_LINK_AGE, now_us)
        return (
            now_us - heard_since_us >= SETTLED_US
            and self._readings.values[_PHASE] == "on_ground"
            and isinstance(age_s, float)
            and age_s <= SILENT_S
        )

    def _call(self, by: str, now_us: int) -> str:
        """Give the test calls; returns why not, if not."""
        if self._readings.values[_PHASE] not in GROUND:  # an unknown phase counts as in flight
            return "test calls are given on the ground"
        if self._called_us is not None and now_us - self._called_us < APART_US:
            return "test calls are being given"
        self._called_us = now_us
        roles = self.readiness.checks.roles
        self.readiness.checks.call(roles)
        self._tell(Step.CALLED, by, now_us)
        for role in roles:
            words = wording.call_to(role, self._teller.language)
            self._teller.routine(TEST_CALL + role, self._aircraft, words, {}, now_us)
        return ""

    def _tell(
        self,
        step: Step,
        by: str,
        now_us: int,
        *,
        role: str | None = None,
        item: str | None = None,
        reason: str = "",
    ) -> None:
        self._teller.prepared(step, self._aircraft, by, now_us, role=role, item=item, reason=reason)
