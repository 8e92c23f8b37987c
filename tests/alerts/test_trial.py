"""A rule on trial records and does not speak, and is shown as such everywhere (ISA-18.2: out of service)."""

from __future__ import annotations

import json

from tests.alerts.driver import Driver, rule
from watchkeeper.alerts.events import AlertChange
from watchkeeper.edges.console import console_line
from watchkeeper.edges.records.jsonlines import alert_line, decision_line

PLAIN = rule('id: late\nlevel: caution\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."')


def trial(level: str) -> str:
    return rule(
        f'id: windy\nlevel: {level}\nwhen: wind.speed > high\ntrial: true\nsay: "Wind. Strong. Turn back."'
    )


def changes(drive: Driver) -> list[AlertChange]:
    return [h for h in drive.happenings if isinstance(h, AlertChange)]


def test_it_is_shown_as_such() -> None:
    drive = Driver(trial("caution"), PLAIN)
    drive.hold("wind.speed", 12.0)
    drive.hold("link.lag", 5.0)
    on_trial, plain = changes(drive)
    assert console_line(on_trial).endswith("Caution. Wind. Strong. Turn back.  [on trial]")
    line = json.loads(alert_line(on_trial, exercise=True))
    assert (line["state"], line["trial"]) == ("out-of-service", True)
    assert json.loads(decision_line(on_trial, exercise=True))["trial"] is True
    assert "trial" not in json.loads(alert_line(plain, exercise=True))
    assert drive.spoken == ["Caution. Link. Late. Wait."]


def test_a_warning_on_trial_is_not_left_on_the_list() -> None:
    drive = Driver(trial("warning"))
    drive.hold("wind.speed", 12.0)
    drive.order("acknowledge")  # of all that was told, and this was not
    drive.hold("wind.speed", 1.0)
    assert [(h.change.value, h.state.value) for h in changes(drive)] == [
        ("raised", "out-of-service"),
        ("cleared", "normal"),
    ]
    assert drive.book.alerts() == []


def test_a_latched_alert_is_reset_by_order_and_only_once_seen() -> None:
    # OPC 10000-9 3.1.13: what latches stays in alarm until the operator resets it
    drive = Driver(rule('id: late\nlevel: caution\nlatch: true\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."'))
    drive.hold("link.lag", 5.0)
    drive.order("reset", "late")
    drive.hold("link.lag", 0.0)
    drive.run(30)
    drive.order("reset", "late")
    drive.order("acknowledge", "late", role="post")
    drive.order("reset", "late")
    drive.order("acknowledge", "late")
    drive.order("reset", "late", role="post", afar=True)
    assert [c for _, _, c in drive.changes] == [
        "raised", "refused", "cleared", "refused", "acknowledged", "refused", "acknowledged", "reset",
    ]  # fmt: skip
    assert drive.book.alerts() == []
