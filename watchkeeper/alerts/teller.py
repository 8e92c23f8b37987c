"""Turns changes of alerts into events, stamped with recorded time and engine time."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.alerts import wording
from watchkeeper.alerts.events import (
    AlertChange,
    Change,
    Evidence,
    Happening,
    Level,
    Preparation,
    Refusal,
    RoutineCall,
    Step,
)
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.alerts.measures import FloodGauge, counts
from watchkeeper.rules.spoken_units import METRIC

FLOOD, CHANGING = "watch-flood", "watch-changing"
ABOUT_ALERTS: Final = frozenset({FLOOD, CHANGING})
"""What the watch says of its own alerts is not counted among them."""


class Teller:
    """Collects what happened in `out`, which the engine takes away after each call.

    `offset_us` is engine time less recorded time in the present segment; `first_us` the engine time of the
    first frame of any source. `flood` gauges what the crew is told, of all aircraft together; `language` and
    `units` are those in which the crew hears it.
    """

    __slots__ = ("first_us", "flood", "language", "offset_us", "out", "several", "units")

    def __init__(self, language: Language = ENGLISH, units: CrewUnits = METRIC) -> None:
        self.language = language
        self.out: list[Happening] = []
        self.several = False
        self.units = units
        self.flood = FloodGauge()
        self.offset_us = 0
        self.first_us: int | None = None

    def take(self) -> list[Happening]:
        """Return all that happened since the last call."""
        out, self.out = self.out, []
        return out

    def words(self, level: Level, said: str, aircraft: int | None) -> str:
        """Return the whole callout of words in the crew's language."""
        return wording.callout(level, said, aircraft, several=self.several, language=self.language)

    def elapsed_us(self, now_us: int) -> int:
        """Return engine time since the first frame; 0 before it."""
        return now_us - self.first_us if self.first_us is not None else 0

    def change(
        self,
        alert: Alert,
        change: Change,
        now_us: int,
        *,
        spoken: bool = False,
        reason: str | None = None,
        by: str = "",
    ) -> None:
        """Tell of one change of one alert."""
        if spoken:
            if alert.untold:
                alert.told_us = now_us
            alert.said_us = now_us
            alert.untold = False
        told = AlertChange(
            time_us=now_us - self.offset_us,
            elapsed_us=self.elapsed_us(now_us),
            aircraft=alert.aircraft,
            rule=alert.rule,
            level=alert.level,
            change=change,
            state=alert.state,
            callout=alert.callout,
            reason=alert.reason if reason is None else reason,
            evidence=alert.evidence,
            spoken=spoken,
            trial=alert.trial,
            by=by or None,
            eyes=alert.eyes,
            acknowledged_by=tuple(sorted(alert.roles)),
        )
        self.out.append(told)
        if counts(told) and alert.rule not in ABOUT_ALERTS:
            self.flood.told(now_us)
        alert.rest()

    def routine(
        self,
        rule: str,
        aircraft: int | None,
        said: str,
        evidence: Evidence,
        now_us: int,
        *,
        eyes: bool = False,
    ) -> None:
        """Tell of words to be spoken once."""
        words = self.words(Level.ROUTINE, said, aircraft)
        self.out.append(
            RoutineCall(now_us - self.offset_us, self.elapsed_us(now_us), aircraft, rule, words, evidence, eyes)
        )

    def prepared(
        self,
        step: Step,
        aircraft: int,
        by: str,
        now_us: int,
        *,
        role: str | None = None,
        item: str | None = None,
        reason: str = "",
    ) -> None:
        """Tell of a step of getting an aircraft ready."""
        at_us, elapsed_us = now_us - self.offset_us, self.elapsed_us(now_us)
        self.out.append(Preparation(at_us, elapsed_us, aircraft, step, by, role, item, reason))

    def refusal(
        self, action: str, rule: str | None, aircraft: int | None, reason: str, by: str, now_us: int
    ) -> None:
        """Tell that an order was not carried out, and why."""
        self.out.append(
            Refusal(now_us - self.offset_us, self.elapsed_us(now_us), aircraft, rule, action, reason, by)
        )
