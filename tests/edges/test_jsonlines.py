"""JSON lines against the contract: keys, their order, times, numbers (RFC 8259: no NaN, no infinity)."""

from __future__ import annotations

import json
import math

import pytest

from watchkeeper.alerts.events import (
    AlertChange,
    Change,
    Level,
    Order,
    Preparation,
    Refusal,
    RoutineCall,
    State,
    Step,
)
from watchkeeper.edges.records.jsonlines import alert_line, decision_line, order_record, rounded

KEYS = [
    "time",
    "elapsed_s",
    "exercise",
    "aircraft",
    "rule",
    "level",
    "change",
    "state",
    "callout",
    "reason",
    "evidence",
]


def raised(**evidence: float | str | bool | None) -> AlertChange:
    return AlertChange(
        time_us=1_777_887_000_500_000,
        elapsed_us=12_345_678,
        aircraft=42,
        rule="voltage-sag",
        level=Level.CAUTION,
        change=Change.RAISED,
        state=State.UNACKNOWLEDGED,
        callout="Caution. Battery. Voltage sag.",
        reason="battery.sag > 0.15 V",
        evidence=evidence,
        spoken=True,
    )


def test_a_line_has_the_keys_of_the_contract_in_their_order() -> None:
    line = alert_line(raised(**{"battery.sag": 0.1666666}), exercise=False)
    assert "\n" not in line
    record = json.loads(line)
    assert list(record) == KEYS
    assert record == {
        "time": "2026-05-04T09:30:00.500000Z",
        "elapsed_s": 12.345678,
        "exercise": False,
        "aircraft": 42,
        "rule": "voltage-sag",
        "level": "caution",
        "change": "raised",
        "state": "unacknowledged",
        "callout": "Caution. Battery. Voltage sag.",
        "reason": "battery.sag > 0.15 V",
        "evidence": {"battery.sag": 0.1667},
    }


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (1234.56789, 1234.5679),
        (0.000123456, 0.0001235),
        (-0.0, 0.0),
        (math.nan, None),
        (math.inf, None),
        (7, 7),
        (True, True),
        ("hold", "hold"),
        (None, None),
    ],
)
def test_numbers_are_rounded_so_that_lines_are_stable(value: object, shown: object) -> None:
    assert repr(rounded(value)) == repr(shown)


def test_hostile_text_stays_on_its_line() -> None:
    line = alert_line(raised(**{"flight.mode": "a\nb\u2028\x1b[31m\ud800"}), exercise=True)
    assert line.isascii()
    assert line.isprintable()
    assert json.loads(line)["evidence"]["flight.mode"] == "a\nb\u2028\x1b[31m\ud800"


def test_the_watch_log_has_a_line_for_everything_the_engine_says() -> None:
    alert = json.loads(decision_line(raised(), exercise=True))
    assert list(alert) == [*KEYS, "kind", "spoken", "trial", "by"]
    call = json.loads(
        decision_line(RoutineCall(0, 0, 7, "take-off", "Taking off.", {"x": math.nan}), exercise=True)
    )
    assert list(call)[: len(KEYS)] == KEYS
    assert (call["kind"], call["level"], call["change"], call["callout"]) == (
        "call",
        "routine",
        None,
        "Taking off.",
    )
    assert call["evidence"] == {"x": None}
    no = json.loads(decision_line(Refusal(0, 0, None, None, "shelve", "in flight", "observer"), exercise=False))
    assert list(no)[: len(KEYS)] == KEYS
    assert (no["kind"], no["action"], no["by"], no["reason"]) == ("refusal", "shelve", "observer", "in flight")
    done = json.loads(
        decision_line(Preparation(0, 0, 7, Step.NOT_GIVEN, "voice", "pilot", None, "late"), exercise=False)
    )
    assert list(done) == [*KEYS, "kind", "step", "role", "item", "by"]
    assert (done["kind"], done["aircraft"], done["step"], done["reason"]) == (
        "preparation",
        7,
        "not_given",
        "late",
    )


def test_an_order_survives_being_written() -> None:
    order = Order(
        "shelve", "link-trend", 42, "observer", "Q", 5.0, ok=False, text="why", level=Level.WARNING, afar=True
    )
    record = json.loads(json.dumps(order_record(order)))
    assert Order(**{**record, "level": Level(record["level"])}) == order
