"""What the crew orders of the alerts of one aircraft: acknowledge, shelve, unshelve, reset."""

from __future__ import annotations

from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.events import Change, Level, Order, State
from watchkeeper.alerts.lifecycle import Alert, Signal
from watchkeeper.alerts.ruling import Ruling
from watchkeeper.alerts.teller import Teller

MAX_SHELVE_MIN = 30.0
"""The longest an alert can be shelved: longer than any sortie, far short of a forgotten one."""
SHELVE_MIN = 10.0
NAME_IT = "name the alert"


def carry_out(
    book: AlertBook, teller: Teller, order: Order, now_us: int, *, told_by_us: int | None = None
) -> None:
    """Carry out an order, or tell why not. Without a rule, an acknowledgement is of all that was told.

    `told_by_us`: what was told later is not meant.
    """

    def refuse(reason: str) -> None:
        teller.refusal(order.action, order.rule, book.aircraft, reason, order.role, now_us)

    if order.rule is None:
        if order.action != "acknowledge":
            refuse(NAME_IT)
            return
        for alert in book.told():  # what was not told cannot have been meant
            if told_by_us is None or alert.told_by(told_by_us):
                acknowledge(teller, alert, order, now_us, all_at_once=True)
        return
    named = book.ruling(order.rule)
    if named is None:
        refuse("no such alert")
    elif order.action == "acknowledge":
        acknowledge(teller, named.alert, order, now_us)
    elif order.action == "reset":
        if named.alert.signal(Signal.RESET) is None:
            refuse("not latched and acknowledged")
        else:
            teller.change(named.alert, Change.RESET, now_us, by=order.role)
    elif order.action == "shelve":
        reason = _shelve(book, teller, named, order, now_us)
        if reason:
            refuse(reason)
    elif named.alert.shelved_until_us is None:
        refuse("not shelved")
    else:
        book.unshelve(named, now_us, by=order.role)


def _shelve(book: AlertBook, teller: Teller, named: Ruling, order: Order, now_us: int) -> str:
    """Shelve an alert; returns why not, if not."""
    minutes = SHELVE_MIN if order.minutes is None else order.minutes
    afar = order.afar or order.role != "pilot"
    if not 0 < minutes <= MAX_SHELVE_MIN:
        return f"shelve for up to {MAX_SHELVE_MIN:.0f} minutes"
    if named.alert.level is Level.WARNING and not book.grounded and afar:
        return "a warning is not shelved from afar in flight"
    named.alert.shelved_until_us = now_us + round(minutes * 60e6)
    named.alert.shelved_afar = afar
    teller.change(named.alert, Change.SHELVED, now_us, by=order.role)
    return ""


def acknowledge(teller: Teller, alert: Alert, order: Order, now_us: int, *, all_at_once: bool = False) -> None:
    """Acknowledge for a role. Only the pilot's quiets the alert itself; another's is noted and told."""
    waiting = alert.core in (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED)
    if not waiting or order.role in alert.roles:
        if not all_at_once:
            teller.refusal(order.action, alert.rule, alert.aircraft, "nothing to acknowledge", order.role, now_us)
        return
    alert.roles.add(order.role)
    if order.role == "pilot":
        alert.signal(Signal.ACKNOWLEDGE)
    teller.change(alert, Change.ACKNOWLEDGED, now_us, by=order.role, reason=f"by {order.by or order.role}")
