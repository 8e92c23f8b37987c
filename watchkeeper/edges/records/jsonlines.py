"""What happened as JSON lines: for `--json`, and for the `decisions` of the watch log.

A line is plain ASCII with keys in a fixed order. Numbers are rounded (four decimals; four significant digits
below one), so that lines are stable; what is no number becomes null.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from watchkeeper.alerts.events import AlertChange, Happening, Order, Preparation, RoutineCall
from watchkeeper.edges.clock import utc_text


def rounded(value: Any) -> Any:
    """Return a value as it stands in JSON: floats rounded, infinities and not-a-number as None."""
    if not isinstance(value, float):
        return value
    if not math.isfinite(value):
        return None
    near = round(value, 4) if abs(value) >= 1.0 else float(f"{value:.4g}")
    return near + 0.0  # a negative zero becomes zero


def json_line(record: Mapping[str, Any]) -> str:
    """Return one record as one line, without its end of line."""
    return json.dumps(record, separators=(",", ":"), allow_nan=False)


def alert_record(change: AlertChange, *, exercise: bool) -> dict[str, Any]:
    """Return the keys and values of a `--json` line."""
    return {
        "time": utc_text(change.time_us),
        "elapsed_s": round(change.elapsed_us / 1e6, 6),
        "exercise": exercise,
        "aircraft": change.aircraft,
        "rule": change.rule,
        "level": change.level.value,
        "change": change.change.value,
        "state": change.state.value,
        "callout": change.callout,
        "reason": change.reason,
        "evidence": {name: rounded(value) for name, value in change.evidence.items()},
    }


def alert_line(change: AlertChange, *, exercise: bool) -> str:
    """Return the `--json` line of one change of an alert. Only one on trial has a key more: `trial`, true."""
    record = alert_record(change, exercise=exercise)
    return json_line(record | {"trial": True} if change.trial else record)


def decision_line(happening: Happening, *, exercise: bool) -> str:
    """Return the line of the watch log for anything that the engine says.

    The keys of a `--json` line come first, then `kind`: `alert` (with `spoken`, `trial`, `by`), `call` (spoken
    information, level routine; `change` and `state` are null), `refusal` (an order that was not carried out;
    `level`, `change`, `state` and `callout` are null; with `action` and `by`) or `preparation` (a step before a
    take-off; the same are null, and so is `rule`; with `step`, `role`, `item` and `by`).
    """
    if isinstance(happening, AlertChange):
        record = alert_record(happening, exercise=exercise)
        record |= {"kind": "alert", "spoken": happening.spoken, "trial": happening.trial, "by": happening.by}
        return json_line(record)
    call = isinstance(happening, RoutineCall)
    record = {
        "time": utc_text(happening.time_us),
        "elapsed_s": round(happening.elapsed_us / 1e6, 6),
        "exercise": exercise,
        "aircraft": happening.aircraft,
        "rule": happening.rule,
        "level": "routine" if call else None,
        "change": None,
        "state": None,
        "callout": None,
        "reason": "",
        "evidence": {},
    }
    if isinstance(happening, RoutineCall):
        record["callout"] = happening.callout
        record["evidence"] = {name: rounded(value) for name, value in happening.evidence.items()}
        record["kind"] = "call"
    elif isinstance(happening, Preparation):
        record["reason"] = happening.reason
        record |= {"kind": "preparation", "step": happening.step.value, "role": happening.role}
        record |= {"item": happening.item, "by": happening.by}
    else:
        record["reason"] = happening.reason
        record |= {"kind": "refusal", "action": happening.action, "by": happening.by}
    return json_line(record)


def order_record(order: Order) -> dict[str, Any]:
    """Return an order as it stands in `actions.jsonl`."""
    record: dict[str, Any] = {
        "action": order.action,
        "rule": order.rule,
        "aircraft": order.aircraft,
        "role": order.role,
        "by": order.by,
        "minutes": order.minutes if order.minutes is not None and math.isfinite(order.minutes) else None,
        "ok": order.ok,
        "text": order.text,
        "level": order.level.value,
        "afar": order.afar,
    }
    if order.kept is not None:
        record["kept"] = order.kept
    if order.packs:
        record["packs"] = [[name, text] for name, text in order.packs]
    return record
