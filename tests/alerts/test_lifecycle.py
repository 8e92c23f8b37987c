"""The life of an alert against the transitions of ANSI/ISA-18.2 and OPC 10000-9."""

from __future__ import annotations

import pytest

from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.alerts.lifecycle import TRANSITIONS, Alert, Ending, Signal

RAISE, CLEAR, ACK, RESET = Signal.RAISE, Signal.CLEAR, Signal.ACKNOWLEDGE, Signal.RESET


def walk(alert: Alert, *signals: Signal) -> list[tuple[State, Change | None]]:
    return [(alert.core, change) for signal in signals for change in [alert.signal(signal)]]


def test_a_warning_goes_the_non_latching_way_of_isa_18_2() -> None:
    # ISA-18.2 (facts: N->Unack, Unack->Acked, Acked->N, Unack->RTN-Unack, RTN-Unack->N, RTN-Unack->Unack)
    alert = Alert("x", Level.WARNING, 1)
    assert walk(alert, RAISE, CLEAR, RAISE, CLEAR, ACK, RAISE, ACK, CLEAR) == [
        (State.UNACKNOWLEDGED, Change.RAISED),
        (State.RETURNED, Change.CLEARED),
        (State.UNACKNOWLEDGED, Change.RAISED),
        (State.RETURNED, Change.CLEARED),
        (State.NORMAL, Change.ACKNOWLEDGED),
        (State.UNACKNOWLEDGED, Change.RAISED),
        (State.ACKNOWLEDGED, Change.ACKNOWLEDGED),
        (State.NORMAL, Change.CLEARED),
    ]


@pytest.mark.parametrize("level", [Level.CAUTION, Level.ADVISORY])
def test_cautions_and_advisories_leave_the_list_when_their_condition_ends(level: Level) -> None:
    # 14 CFR 25.1322: an alert is removed when its condition ends
    alert = Alert("x", level, 1)
    assert walk(alert, RAISE, CLEAR) == [
        (State.UNACKNOWLEDGED, Change.RAISED),
        (State.NORMAL, Change.CLEARED),
    ]
    assert not alert.listed


def test_a_latched_alert_stays_until_it_is_reset() -> None:
    # OPC 10000-9 3.1.13: after clear stays in alarm until the operator resets it
    alert = Alert("x", Level.WARNING, 1, latch=True)
    assert walk(alert, RAISE, CLEAR, RESET, ACK, RESET) == [
        (State.UNACKNOWLEDGED, Change.RAISED),
        (State.LATCHED, Change.CLEARED),
        (State.LATCHED, None),  # not before somebody has acknowledged it
        (State.LATCHED_ACKNOWLEDGED, Change.ACKNOWLEDGED),
        (State.NORMAL, Change.RESET),
    ]


def test_every_state_can_be_left_and_a_raise_always_leads_to_unacknowledged() -> None:
    for ending in Ending:
        table = TRANSITIONS[ending]
        for (_, signal), (after, _) in table.items():
            if signal is RAISE:
                assert after is State.UNACKNOWLEDGED
        reached = {State.NORMAL} | {after for after, _ in table.values()}
        assert reached == {before for before, _ in table}


def test_shelved_and_suppressed_are_shown_over_the_condition() -> None:
    alert = Alert("x", Level.CAUTION, 1)
    alert.signal(RAISE)
    shown: list[State] = []
    alert.suppressed = True
    shown.append(alert.state)
    alert.shelved_until_us = 5
    shown.append(alert.state)
    assert shown == [State.SUPPRESSED, State.SHELVED]
    assert alert.core is State.UNACKNOWLEDGED
