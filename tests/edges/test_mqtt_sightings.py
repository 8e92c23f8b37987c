"""What the crew sees, by message: given to a real engine over a real broker, answered, told on every topic.

Payloads are held to the shipped schemas by the library jsonschema (draft 2020-12).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker

from tests.alerts.driver import pack, rule
from tests.edges.mqtt_parts import START_US, Broker, Listener, Running, Told, order
from tests.test_engine import Plane
from watchkeeper.alerts.events import Happening, Order
from watchkeeper.edges.mqtt.outlet import Mqtt
from watchkeeper.engine import Engine
from watchkeeper.resources import shipped_schemas

RULES = pack(rule('id: high\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Strong. Land soon."'))
BASE = "watchkeeper/field-1"


def valid(name: str, payload: Any) -> bool:
    schema = json.loads((shipped_schemas() / f"{name}.json").read_text())
    return bool(Draft202012Validator(schema, format_checker=FormatChecker()).is_valid(payload))


class Watch:
    """An engine with one aircraft behind the outlet."""

    def __init__(self, broker: Broker) -> None:
        self.told = Told()
        self.engine = Engine(RULES)
        self.engine.tick(START_US / 1e6)
        self.plane = Plane(42)
        for n in range(8):
            self.engine.receive("a", self.plane.frames(n / 4), START_US / 1e6 + n / 4)
        self.now_us = START_US + 2_000_000
        self.outlet: Mqtt = self.told.outlet(broker.url)
        self.told.says = self._says

    def _says(self, given: Order) -> Sequence[Happening]:
        happened = self.engine.order(given, self.now_us / 1e6)
        for item in happened:
            self.outlet.put(item)  # as the watch does
        return happened


def sight(listener: Listener, what: str, topic: str = "42", role: str = "observer", **keys: Any) -> str:
    return order(listener, topic, action="sighted", role=role, sight=what, **keys)


async def test_it_is_answered_and_told_as_event_state_and_callout(broker: Broker, listener: Listener) -> None:
    watch = Watch(broker)
    async with Running(watch.outlet):
        await listener.on(f"{BASE}/status")
        sent = sight(listener, "stop")
        event = (await listener.on(f"{BASE}/42/event", in_reply_to=sent)).json()
        state = (await listener.on(f"{BASE}/42/alert/sighted-stop")).json()
        callout = (await listener.on(f"{BASE}/42/callout", rule="sighted-stop")).json()
        [alert] = watch.engine.alerts()
        sent = order(listener, "42/alert/sighted-stop")
        done = (await listener.on(f"{BASE}/42/event", in_reply_to=sent)).json()
    assert (event["change"], event["level"], event["spoken"], event["by"]) == (
        "raised",
        "warning",
        True,
        "observer",
    )
    assert (state["state"], state["acknowledged_by"]) == ("unacknowledged", ["observer"])
    assert callout["callout"] == "Warning. Observer. Calls stop. Stop now, hold position."
    assert (done["change"], alert.state.value) == ("acknowledged", "acknowledged")
    assert valid("AlertEvent", event)
    assert valid("AlertState", state)
    assert valid("Callout", callout)


async def test_a_double_tap_and_a_clear_are_answered_too(broker: Broker, listener: Listener) -> None:
    watch = Watch(broker)
    async with Running(watch.outlet):
        await listener.on(f"{BASE}/status")
        sight(listener, "people", "watch")
        again = sight(listener, "people", "watch")
        answer = (await listener.on(f"{BASE}/watch/event", in_reply_to=again)).json()
        assert (answer["change"], answer["spoken"], answer["aircraft"]) == ("repeated", False, None)
        clear = sight(listener, "clear", "watch", role="post")
        over = (await listener.on(f"{BASE}/watch/event", in_reply_to=clear)).json()
        assert (over["change"], over["rule"]) == ("cleared", "sighted-people")
        said = (await listener.on(f"{BASE}/watch/callout", rule="sighted-clear")).json()
    assert said["callout"] == "Post. All clear."
    assert valid("AlertEvent", over)
    assert valid("Callout", said)


@pytest.mark.parametrize(
    ("what", "topic", "keys", "refused"),
    [
        ("people", "42", {"at_us": START_US - 16_000_000}, "older than 15 s"),
        ("people", "42", {"role": "pilot"}, "observer and post tell the pilot what they see"),
        ("people", "43", {}, "no such aircraft"),
        ("clear", "42", {}, "nothing seen that could be clear again"),
    ],
)
async def test_what_is_refused_says_why(
    broker: Broker, listener: Listener, what: str, topic: str, keys: dict[str, Any], refused: str
) -> None:
    watch = Watch(broker)
    async with Running(watch.outlet):
        await listener.on(f"{BASE}/status")
        sent = sight(listener, what, topic, **keys)
        answer = (await listener.on(f"{BASE}/{topic}/event", in_reply_to=sent)).json()
    assert answer["refused"] == refused
    assert valid("RefusalEvent", answer)
    assert watch.engine.alerts() == []


async def test_one_of_fourteen_seconds_is_still_told(broker: Broker, listener: Listener) -> None:
    watch = Watch(broker)
    async with Running(watch.outlet):
        await listener.on(f"{BASE}/status")
        sent = sight(listener, "people", at_us=START_US - 14_000_000)
        answer = (await listener.on(f"{BASE}/42/event", in_reply_to=sent)).json()
    assert answer["change"] == "raised"
