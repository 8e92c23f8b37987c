"""Turns changes of alerts into events, stamped with recorded time and engine time."""

from __future__ import annotations

from typing import Final

from watchkeeper.alerts import wording
from watchkeeper.alerts.events import AlertChange, Change, Evidence, Happening, Level, Refusal, RoutineCall
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.alerts.measures import FloodGauge, counts

FLOOD, CHANGING = "watch-flood", "watch-changing"
ABOUT_ALERTS: Final = frozenset({FLOOD, CHANGING})
"""What the watch says of its own alerts is not counted among them."""


class Teller:
    """Collects what happened in `out`, which the engine takes away after each call.

    `offset_us` is engine time less recorded time in the present segment; `first_us` the engine time of the
    first frame of any source. `flood` gauges what the crew is told, of all aircraft together; `language` is the
    crew's.
    """

    __slots__ = ("first_us", "flood", "language", "offset_us", "out", "several")

    def __init__(self, language: Language = ENGLISH) -> None:
        self.language = language
        self.out: list[Happening] = []
        self.several = False
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
        )
        self.out.append(told)
        if counts(told) and alert.rule not in ABOUT_ALERTS:
            self.flood.told(now_us)
        alert.rest()

    def routine(self, rule: str, aircraft: int | None, said: str, evidence: Evidence, now_us: int) -> None:
        """Tell of words to be spoken once."""
        words = self.words(Level.ROUTINE, said, aircraft)
        self.out.append(
            RoutineCall(now_us - self.offset_us, self.elapsed_us(now_us), aircraft, rule, words, evidence)
        )

    def refusal(
        self, action: str, rule: str | None, aircraft: int | None, reason: str, by: str, now_us: int
    ) -> None:
        """Tell that an order was not carried out, and why."""
        self.out.append(
            Refusal(now_us - self.offset_us, self.elapsed_us(now_us), aircraft, rule, action, reason, by)
        )
