"""What becomes of each alert of an aircraft when other rules take the place of those in use.

State survives by rule id. A rule that is gone ends its alert ("rule removed"). One that is unchanged goes on in
every respect: its delays, its windows, its alert. One that was changed keeps its alert where its level is the
same and its conditions still hold, as far as they can be judged; else it ends ("rule changed"), and the new rule
is judged anew.
"""

from __future__ import annotations

from collections.abc import Sequence

from watchkeeper.aircraft.readings import Readings
from watchkeeper.alerts.events import State
from watchkeeper.alerts.ruling import Ruling
from watchkeeper.rules.schema import Rule

REMOVED, CHANGED = "rule removed", "rule changed"


def sort_out(
    before: Sequence[Ruling], rules: Sequence[Rule], readings: Readings, aircraft: int, now_us: int
) -> tuple[list[tuple[Ruling, str]], tuple[Ruling, ...]]:
    """Return whose alerts end and why, effects before their causes; and the rulings of the new rules, in order."""
    old = {ruling.rule.id: ruling for ruling in before}
    staying: list[Ruling] = []
    going = dict.fromkeys(old, REMOVED)
    for i, rule in enumerate(rules):
        ruling = Ruling(rule, i, readings, aircraft)
        staying.append(ruling)
        earlier = old.get(rule.id)
        if earlier is None:
            continue
        if _keeps(earlier, ruling, now_us):
            ruling.take_over(earlier)
            del going[rule.id]
        else:
            going[rule.id] = CHANGED
    return [(r, going[r.rule.id]) for r in reversed(before) if r.rule.id in going], tuple(staying)


def _keeps(earlier: Ruling, ruling: Ruling, now_us: int) -> bool:
    own, before, alert = ruling.rule, earlier.rule, earlier.alert
    if own.definition == before.definition:
        return True
    if own.level is not before.level or own.trial is not before.trial:
        return False
    if alert.core in (State.LATCHED, State.LATCHED_ACKNOWLEDGED) and not own.latch:
        return False
    return not alert.stands or ruling.holds(now_us)
