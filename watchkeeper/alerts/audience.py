"""Who of the crew is told what by voice.

The pilot hears everything. The observer, whose eyes are on the aircraft and its surroundings, hears warnings, and
what eyes can help with (`eyes` of a rule). The post is told by message only. What a role has acknowledged is not
said to it again; another role's acknowledgement changes nothing for it.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.alerts.events import AlertChange, Happening, Level, RoutineCall

TEST_CALL: Final = "watch-test-"
"""Begins the rule of a test call; the role that is called follows."""
PILOT, OBSERVER = "pilot", "observer"
_VOICES: Final = (PILOT, OBSERVER)


def called_role(item: Happening) -> str | None:
    """Return whom a test call is for; None for all else."""
    if isinstance(item, RoutineCall) and item.rule.startswith(TEST_CALL):
        return item.rule.removeprefix(TEST_CALL)
    return None


def told(item: Happening, role: str) -> bool:
    """Whether what happened, if it is to be spoken at all, is spoken to that role.

    The pilot's voice also calls the observer: two who stand together need but one.
    """
    if role not in _VOICES:
        return False
    if (called := called_role(item)) is not None:
        return called == role or (role == PILOT and called == OBSERVER)
    if isinstance(item, RoutineCall):
        return role == PILOT or item.eyes or item.aircraft is None
    if not isinstance(item, AlertChange):
        return False
    return role not in item.acknowledged_by and (role == PILOT or item.eyes or item.level is Level.WARNING)
