"""No change is lost while the broker or the watch is away: whole drills, a real broker stopped, the watch killed.

What the watch log says was decided is the truth; what subscribers have heard, once each by message id, is held
against it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import pytest

from tests.conftest import RequireProgram
from tests.edges.broker_parts import Embedded
from tests.edges.mqtt_crowd import KEYS, Drill, Speaks, Subscriber, changes, left_in, retained
from tests.edges.mqtt_parts import Broker
from watchkeeper.edges.mqtt.address import rule_level
from watchkeeper.edges.mqtt.spool_file import lock_beside, spool_file

SPEED = 12.0
STATION = "watchkeeper/drill-field-1"
KINDS = [
    Speaks("mosquitto, MQTT 5", older=False),
    Speaks("mosquitto, MQTT 3.1.1", older=True),
    Speaks("embedded, MQTT 3.1.1", older=True),
]


class AnyBroker(Protocol):
    """A broker that can be stopped, and started again on the same port. Others than mosquitto fit in here."""

    port: int
    url: str

    def start(self) -> None: ...
    def stop(self) -> None: ...


class Scene:
    """A broker, and two subscribers that were there all along: one with a session that lasts, one without."""

    def __init__(self, folder: Path, broker: AnyBroker, speaks: Speaks) -> None:
        self.folder, self.broker, self.speaks = folder, broker, speaks
        self.crowd = [Subscriber(broker.port, speaks, session=session) for session in (True, False)]
        self.drills: list[Drill] = []

    def drill(self) -> Drill:
        self.drills.append(Drill(self.folder, self.broker.url, self.speaks, SPEED))
        return self.drills[-1]

    def hold_against(self, decided: list[list[dict[str, Any]]]) -> None:
        """Compare what was heard, and what still waits, with the decisions of each run."""
        expected: dict[tuple[Any, Any], list[tuple[Any, ...]]] = {}
        for number, run in enumerate(decided):
            for alert, became in changes(run).items():
                expected.setdefault(alert, []).extend(became)
                standing = became[-1][KEYS.index("state")] != "normal"
                if standing and number < len(decided) - 1:
                    expected[alert].append(("ended",))
        for one in self.crowd:
            heard = one.events()
            ids = {event["message_id"] for event in heard}
            heard += [event for event in left_in(self.folder) if event["message_id"] not in ids]
            told = {
                alert: [("ended",) if change[-1] == "watch" else change for change in became]
                for alert, became in changes(heard).items()
            }
            for alert in {**told, **expected}:
                assert told.get(alert) == expected.get(alert), alert

    def hold_retained_against(self, decided: list[dict[str, Any]]) -> None:
        """Compare what the broker holds with how alerts stood last. Those of earlier runs alone are gone."""
        expected = {
            f"{STATION}/{'watch' if one['aircraft'] is None else one['aircraft']}/alert/{rule_level(one['rule'])}":
                one["state"] for one in decided
        }  # fmt: skip
        assert retained(self.broker.port, self.speaks) == expected | {f"{STATION}/status": "stopped"}


@contextmanager
def scene_on(broker: AnyBroker, folder: Path, speaks: Speaks) -> Iterator[Scene]:
    broker.start()
    scene = Scene(folder, broker, speaks)
    try:
        yield scene
    finally:
        for drill in scene.drills:
            if drill.process.poll() is None:
                drill.kill()
        for one in scene.crowd:
            one.close()
        broker.stop()


@pytest.fixture(params=KINDS, ids=lambda speaks: speaks.name)
def scene(request: pytest.FixtureRequest, require_program: RequireProgram, tmp_path: Path) -> Iterator[Scene]:
    speaks: Speaks = request.param
    embedded = speaks.name.startswith("embedded")
    broker: AnyBroker = Embedded() if embedded else Broker(require_program("mosquitto"), tmp_path)
    with scene_on(broker, tmp_path, speaks) as scene:
        yield scene


@pytest.mark.timeout(180)
def test_the_broker_is_away_for_a_minute_of_a_drill(scene: Scene) -> None:
    drill = scene.drill()
    gone_s = drill.until(rule="aircraft-advises", change="raised")
    scene.broker.stop()
    back_s = drill.until(rule="link-trend", change="raised")
    assert back_s - gone_s > 60.0
    scene.broker.start()
    for one in scene.crowd:
        one.until_event(rule="link-trend", change="raised")
    drill.until(rule="voltage-sag", change="cleared")
    drill.stop()
    decided = drill.decisions()
    for one in scene.crowd:
        one.until_status("stopped")
    missed = [one for one in decided if gone_s < one["elapsed_s"] <= back_s]
    assert len(missed) >= 8
    scene.hold_against([decided])
    scene.hold_retained_against(decided)
    assert all(one.connected == 2 for one in scene.crowd)


@pytest.mark.timeout(180)
def test_the_watch_is_killed_in_a_drill_and_started_again(scene: Scene) -> None:
    first = scene.drill()
    first.until(rule="link-trend", change="raised")
    first.kill()
    before = first.decisions()
    assert any(one["rule"] == "link-trend" for one in before)
    for one in scene.crowd:
        one.until_status("lost")
    second = scene.drill()
    second.until(rule="satellite-loss", change="cleared")
    for one in scene.crowd:
        one.until_event(rule="link-trend", by="watch", change="cleared", state="normal")
    second.stop()
    for one in scene.crowd:
        one.until_status("stopped")
    after = second.decisions()
    scene.hold_against([before, after])
    scene.hold_retained_against(after)


@pytest.mark.timeout(180)
def test_the_watch_is_killed_while_the_broker_is_away(scene: Scene) -> None:
    """What was never answered comes first, with the ids that it had, though the broker has forgotten all."""
    first = scene.drill()
    gone_s = first.until(rule="satellite-loss", change="raised")
    scene.broker.stop()
    first.until(rule="link-trend", change="raised")
    first.kill()
    before = first.decisions()
    waiting = left_in(scene.folder)
    assert len(waiting) >= sum(one["elapsed_s"] > gone_s for one in before) >= 8
    scene.broker.start()
    second = scene.drill()
    second.until(rule="satellite-loss", change="cleared")
    for one in scene.crowd:
        one.until_event(rule="satellite-loss", time=second.decisions()[-1]["time"], change="cleared")
    second.stop()
    for one in scene.crowd:
        one.until_status("stopped")
        ids = [event["message_id"] for event in one.events()]
        late = [event["message_id"] for event in waiting]
        assert [message_id for message_id in ids if message_id in late] == late
    after = second.decisions()
    scene.hold_against([before, after])
    scene.hold_retained_against(after)


@pytest.mark.timeout(120)
def test_another_watch_on_the_same_outbox_is_an_advisory(tmp_path: Path) -> None:
    folder = tmp_path / "watchkeeper"
    folder.mkdir()
    held = lock_beside(spool_file(folder, "drill-field-1", exercise=True))
    drill = Drill(tmp_path, "mqtt://127.0.0.1:1", KINDS[0], SPEED)
    try:
        drill.until(rule="watch-outbox", change="raised", level="advisory")
    finally:
        drill.kill()
        os.close(held)
