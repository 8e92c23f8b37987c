"""How urgent an alert is, and what can become of it."""

from __future__ import annotations

from enum import StrEnum


class Level(StrEnum):
    """How urgent an alert is (14 CFR 25.1322(a)-(d)); `routine` is spoken information, no alert."""

    WARNING = "warning"
    CAUTION = "caution"
    ADVISORY = "advisory"
    ROUTINE = "routine"

    @property
    def urgency(self) -> int:
        """Higher is more urgent."""
        return ("routine", "advisory", "caution", "warning").index(self.value)


class Change(StrEnum):
    """What became of an alert."""

    RAISED = "raised"
    ESCALATED = "escalated"
    REPEATED = "repeated"
    STALE = "stale"
    FRESH = "fresh"
    ACKNOWLEDGED = "acknowledged"
    CLEARED = "cleared"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    UNSUPPRESSED = "unsuppressed"
    RESET = "reset"
