"""A broker that takes the connection and refuses messages: entered as lost, said once, and said when it ends."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import structlog

from tests.conftest import RequireProgram
from tests.edges.mqtt_parts import Broker, Listener, Running, Told, change
from watchkeeper.edges.mqtt.health import Health
from watchkeeper.edges.mqtt.trouble import Trouble

REFUSES = "Broker refuses messages, no permission. Check its access rules."
ALERT = "watchkeeper/field-1/42/alert/link-lost"
READ_ONLY = "topic read #\n"
EVERYTHING = "topic readwrite #\n"
NO_CALLOUTS = (
    "topic read #\ntopic write watchkeeper/+/status\ntopic write watchkeeper/+/+/event\n"
    "topic write watchkeeper/+/+/alert/+\n"
)


class Guarded:
    """A broker with access rules (format: manual page mosquitto.conf, acl_file)."""

    def __init__(self, program: str, folder: Path) -> None:
        self._rules = folder / "access"
        self._rules.write_text(READ_ONLY)
        self.broker = Broker(program, folder, f"allow_anonymous true\nacl_file {self._rules}")

    def rule(self, rules: str) -> None:
        self._rules.write_text(rules)
        self.broker.reload()


@pytest.fixture
def guarded(require_program: RequireProgram, tmp_path: Path) -> Iterator[Guarded]:
    guarded = Guarded(require_program("mosquitto"), tmp_path)
    guarded.broker.start()
    yield guarded
    guarded.broker.stop()


async def test_refused_messages_are_lost_said_once_and_said_when_it_ends(
    guarded: Guarded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """MQTT 5 section 3.4.2.1: a PUBACK with reason code 135, not authorised."""
    monkeypatch.setattr("watchkeeper.edges.mqtt.session.STATUS_EVERY_S", 1.0)
    told = Told()
    told.readings = {42: {"battery.voltage": 22.5}}
    outlet = told.outlet(guarded.broker.url)
    listener = Listener(guarded.broker.port)
    await listener.ready()
    said = change(spoken=True)
    with structlog.testing.capture_logs() as logs:
        async with Running(outlet):
            outlet.put(said)
            await told.until(lambda: len(told.delivered) == 2)
            outlet.put(change(rule="other"))
            await told.until(lambda: len(told.delivered) == 3)
            assert told.delivered[:2] == [
                (said, "lost", "event: refused by the broker: not authorized"),
                (said, "lost", "callout: refused by the broker: not authorized"),
            ]
            assert told.reports == [("mqtt", False, REFUSES)]
            guarded.rule(EVERYTHING)
            await told.until(lambda: len(told.reports) == 2)
            assert told.reports[1] == ("mqtt", True, "message broker takes messages again")
            await listener.on(ALERT, state="unacknowledged")  # the state that was refused, without a new change
            await listener.on("watchkeeper/field-1/status", state="watching")
            outlet.put(change(rule="third"))
            await told.until(lambda: len(told.delivered) == 4)
    listener.close()
    assert told.delivered[3][1:] == ("published", "event")
    assert [log["event"] for log in logs] == ["mqtt broker refuses messages", "mqtt broker takes messages again"]


async def test_callouts_alone_refused_are_entered_by_kind(guarded: Guarded) -> None:
    guarded.rule(NO_CALLOUTS)
    told = Told()
    outlet = told.outlet(guarded.broker.url)
    async with Running(outlet):
        outlet.put(change(spoken=True))
        await told.until(lambda: len(told.delivered) == 2)
    assert sorted((outcome, detail) for _, outcome, detail in told.delivered) == [
        ("lost", "callout: refused by the broker: not authorized"),
        ("published", "event"),
    ]
    assert told.reports == [("mqtt", False, REFUSES)]


def test_not_reached_and_refused_are_told_apart() -> None:
    reports: list[tuple[str, bool, str]] = []
    health = Health("mqtt", "mqtt://h", lambda *said: reports.append(said), 1.0)
    away, refuses = Trouble("away", "Away."), Trouble("no", "Refuses.")
    health.failed(away, 0.0)
    health.failed(away, 1.0)
    health.connected(2.0)
    health.refused("a", refuses)
    health.refused("b", refuses)
    health.taken(3.0)
    assert [text for _, _, text in reports] == ["Away.", "Refuses."]
    health.failed(away, 60.0)  # a connection that held: not said yet
    health.failed(away, 61.0)
    health.connected(62.0)
    health.refused("a", refuses)
    assert [text for _, _, text in reports[2:]] == ["Away.", "Refuses."]
    health.accepted("c")
    health.taken(63.0)
    assert len(reports) == 4  # what is accepted was never refused: nothing is known to be mended
    health.accepted("a")
    health.taken(64.0)
    assert reports[4:] == [("mqtt", True, "message broker takes messages again")]
