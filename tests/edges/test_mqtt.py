"""The MQTT outlet against a real mosquitto, looked at by an independent subscriber (topics and flags: README)."""

from __future__ import annotations

import asyncio
import re
import signal
import subprocess
import sys
import time

import pytest

from tests.conftest import ROOT
from tests.edges.mqtt_parts import START_US, Broker, Listener, Running, Told, change, late
from watchkeeper.alerts.events import Change, Level, RoutineCall, State


@pytest.mark.parametrize(("older", "version"), [(False, 5), (True, 4)], ids=["MQTT 5", "MQTT 3.1.1"])
async def test_says_state_event_callout_and_readings(
    broker: Broker, listener: Listener, older: bool, version: int
) -> None:
    told = Told()
    told.readings = {42: {"battery.voltage": 22.5, "link.margin": None, "battery.2.voltage": None}}
    outlet = told.outlet(broker.url, only_3_1_1=older)
    async with Running(outlet):
        outlet.put(change(spoken=True))
        outlet.put(RoutineCall(START_US, 0, 42, "armed", "Armed.", {}))
        outlet.put(change(aircraft=None, rule="watch-voice", level=Level.CAUTION))
        state = (await listener.on("watchkeeper/field-1/42/alert/link-lost")).json()
        event = (await listener.on("watchkeeper/field-1/42/event", rule="link-lost")).json()
        callout = (await listener.on("watchkeeper/field-1/42/callout", rule="link-lost")).json()
        call = (await listener.on("watchkeeper/field-1/42/callout", rule="armed")).json()
        await listener.on("watchkeeper/field-1/watch/alert/watch-voice", aircraft=None)
        measured = await listener.on("watchkeeper/field-1/42/readings")
        readings = measured.json()
        await told.until(lambda: len(told.delivered) == 4)
        assert outlet.version == version
        assert state["state"] == event["state"] == "unacknowledged"
        assert event["change"] == "raised"
        assert event["time"] == "2026-05-04T09:30:00.000000Z"
        assert event["evidence"] == {
            "link.age": 3.25, "link.margin": None, "link.fading": True, "flight.mode": None
        }  # fmt: skip
        assert callout["callout"] == "Warning. Link lost."
        assert callout["valid_until"] == "2026-05-04T09:30:30.000000Z"
        assert (call["callout"], call["level"]) == ("Armed.", "routine")
        assert measured.qos == 1
        assert readings["readings"] == {"battery.voltage": 22.5, "link.margin": None}
        for payload in (state, event, callout, call, readings):
            assert payload["exercise"] is True
            assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", payload["message_id"])
            assert payload["sent_at"].endswith("Z")
        after = late(broker)
        await after.on("watchkeeper/field-1/42/readings")
        kept = {one.topic for one in after.heard if one.retain}
        after.close()
    assert kept == {
        "watchkeeper/field-1/status",
        "watchkeeper/field-1/42/alert/link-lost",
        "watchkeeper/field-1/watch/alert/watch-voice",
    }
    assert [(item.rule, outcome, detail) for item, outcome, detail in told.delivered] == [
        ("link-lost", "published", "event"),
        ("link-lost", "published", "callout"),
        ("armed", "published", "callout"),
        ("watch-voice", "published", "event"),
    ]
    assert told.reports == []


async def test_stopping_leaves_status_stopped_within_half_a_second(broker: Broker, listener: Listener) -> None:
    async with Running(Told().outlet(broker.url)) as task:
        watching = (await listener.on("watchkeeper/field-1/status")).json()
        assert watching["state"] == "watching"
        assert watching["since"] == "2026-05-04T09:30:00.000000Z"
        began_s = time.monotonic()
        task.cancel()
        await asyncio.wait([task])
        assert time.monotonic() - began_s < 0.5
    await listener.on("watchkeeper/field-1/status", state="stopped")
    after = late(broker)
    assert (await after.on("watchkeeper/field-1/status", state="stopped")).retain
    after.close()
    assert not [one for one in listener.heard if one.payload and one.json().get("state") == "lost"]


_CHILD = """
import asyncio, sys, time
from watchkeeper.edges.mqtt.outlet import Mqtt
asyncio.run(Mqtt(sys.argv[1], station="field-1", exercise=False, report=lambda *_: None, delivered=lambda *_: None,
    on_order=lambda _: [], clock=lambda: time.time_ns() // 1000, readings=dict).run())
"""


def start_watch(broker: Broker) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", _CHILD, broker.url], cwd=ROOT)


async def test_killing_the_watch_publishes_its_will(broker: Broker, listener: Listener) -> None:
    child = start_watch(broker)
    try:
        await listener.on("watchkeeper/field-1/status", state="watching")
        child.send_signal(signal.SIGKILL)
        killed_s = time.monotonic()
        lost = (await listener.on("watchkeeper/field-1/status", state="lost")).json()
        assert time.monotonic() - killed_s < 1.0  # the socket closes with the process: no keep-alive to wait for
    finally:
        child.kill()
        child.wait()
    assert lost["exercise"] is False
    after = late(broker)
    assert (await after.on("watchkeeper/field-1/status", state="lost")).retain
    after.close()


async def test_broker_restart_brings_all_states_back(broker: Broker) -> None:
    told = Told()
    outlet = told.outlet(broker.url)
    first = Listener(broker.port)
    await first.ready()
    async with Running(outlet):
        outlet.put(change())
        before = (await first.on("watchkeeper/field-1/42/event")).json()
        first.close()
        broker.stop()
        outlet.put(change(State.ACKNOWLEDGED, Change.ACKNOWLEDGED, by="pilot"))
        await told.until(lambda: bool(told.reports))  # the broker is missed
        broker.start()
        second = Listener(broker.port)
        state = (await second.on("watchkeeper/field-1/42/alert/link-lost", state="acknowledged")).json()
        await second.on("watchkeeper/field-1/status", state="watching")
        await told.until(lambda: len(told.delivered) >= 2 and len(told.reports) >= 2)
        second.close()
    assert state["by"] == "pilot"
    assert before["change"] == "raised"
    assert told.reports == [
        (
            "mqtt",
            False,
            "Broker lost, connection broken. Check network and broker.",
        ),
        ("mqtt", True, "message broker reached"),
    ]


async def test_an_event_of_the_time_away_is_not_lost(broker: Broker) -> None:
    told = Told()
    outlet = told.outlet(broker.url, first_pause_s=0.5)
    async with Running(outlet):
        broker.stop()
        for number in range(20):
            outlet.put(change(rule=f"rule-{number}"))
        broker.start()
        listener = Listener(broker.port)
        await listener.ready()
        await listener.on("watchkeeper/field-1/42/event", rule="rule-19")
        listener.close()
    heard = [one.json()["rule"] for one in listener.heard if one.topic.endswith("/event")]
    assert heard == [f"rule-{number}" for number in range(20)]


async def test_what_no_longer_holds_is_emptied_at_connect(broker: Broker, listener: Listener) -> None:
    stale = ["watchkeeper/field-1/42/alert/old", "watchkeeper/field-1/7/alert/link-lost"]
    others = ["watchkeeper/field-2/42/alert/old", "watchkeeper/field-1/42/alert/old/order"]
    for topic in (*stale, *others):
        listener.publish(topic, b"{}", retain=True)
    for topic in (*stale, *others):
        await listener.on(topic)
    outlet = Told().outlet(broker.url)
    outlet.put(change())
    async with Running(outlet):
        for topic in stale:
            await listener.until(lambda one, topic=topic: one.topic == topic and not one.payload)  # type: ignore[misc]
        after = late(broker)
        await after.on("watchkeeper/field-1/42/alert/link-lost")
        await after.on("watchkeeper/field-1/status")
        await after.ready()
        for topic in others:
            await after.on(topic)
        after.close()
    assert not {one.topic for one in after.heard} & set(stale)


async def test_an_alert_that_is_over_stays_as_normal_for_a_while(broker: Broker, listener: Listener) -> None:
    told = Told()
    outlet = told.outlet(broker.url, keep_over_s=600.0)
    topic = "watchkeeper/field-1/42/alert/link-lost"
    async with Running(outlet):
        outlet.put(change())
        outlet.put(change(State.NORMAL, Change.CLEARED))
        await listener.on(topic, state="normal")
        told.now_us += 599_000_000
        outlet.put(change(rule="other"))
        await listener.on("watchkeeper/field-1/42/alert/other")
        assert not [one for one in listener.heard if not one.payload]
        told.now_us += 2_000_000
        await listener.until(lambda one: one.topic == topic and not one.payload)
