"""Roles, end to end: the real engine, a real broker, and voices that are the real queue without a sound device.

That an acknowledgement belongs to a role, and that only the pilot's or the end of the condition quiets the pilot's
warning, is design section 9's; that words are repeated until then is MIL-STD-411F 5.3.6 (facts.md section 2).
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import uuid4

import pytest

from tests.alerts.driver import pack
from tests.edges.mqtt_parts import START_US, Broker, Listener, Running, Told
from tests.test_before_take_off import Ground
from tests.test_engine import Plane
from watchkeeper.aircraft.files import load_sortie_file
from watchkeeper.alerts.callqueue import CallQueue
from watchkeeper.alerts.events import Happening, Order
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.mqtt.orders import MAX_ORDER_BYTES
from watchkeeper.edges.reached import Reached, ways
from watchkeeper.engine import Engine

RULES = pack(
    """
  - id: too-high
    level: warning
    when: position.height > 100 m
    repeat: 5 s
    say: "Height. Too high. Descend."
    why: for tests
    cases:
      - {given: {position.height: 1 m}, expect: not met}
      - {given: {position.height: 200 m}, expect: met}
""",
    """
  - id: fix-lost
    level: caution
    when: satellites.used < 5 count
    repeat: 5 s
    say: "Satellites. Few. Fly by hand."
    why: for tests
    cases:
      - {given: {satellites.used: 9 count}, expect: not met}
      - {given: {satellites.used: 3 count}, expect: met}
""",
)
EVENT = "watchkeeper/field-1/7/event"
WARNING = "Warning. Height. Too high. Descend."
SORTIE = load_sortie_file("checklist: [rotor latches]\ncrew: {roles: [pilot, observer, post]}", "s.yaml")


class Voice:
    """Speaks at once, into a list."""

    def __init__(self, role: str) -> None:
        self.queue = CallQueue(role)
        self.said: list[str] = []
        self.stopped = 0
        self.holds = False
        """A sentence that has begun and is not over yet."""

    def put(self, item: Happening, now_us: int) -> list[Happening]:
        """Take what happened; returns what was spoken to its end."""
        self.stopped += self.queue.offer(item, now_us).stop
        spoken: list[Happening] = []
        while not self.holds and (call := self.queue.take(now_us)[0]) is not None:
            self.said.append(call.words)
            spoken.append(call.item)
            self.queue.finish(spoken=True)
        return spoken


class Station(Told):
    """A watch of one aircraft: engine, messages, the pilot's voice and, on another machine, the observer's."""

    def __init__(self, broker: Broker) -> None:
        super().__init__()
        self.engine = Engine(RULES, (), SORTIE)
        self.plane = Plane()
        self.pilot, self.observer = Voice("pilot"), Voice("observer")
        self.second = 0.0
        self.reached = Reached(self.carry_out, ways(mute=False, quiet=False))
        self.says = self.carry_out
        self.messages = self.outlet(broker.url)

    def fly(self, seconds: float) -> None:
        for _ in range(round(seconds * 4)):
            self.second += 0.25
            now_s = START_US / 1e6 + self.second
            self.now_us = round(now_s * 1e6)
            self.hand(self.engine.receive("a", self.plane.frames(self.second), now_s))

    def carry_out(self, order: Order) -> Sequence[Happening]:
        happened = self.engine.order(order, START_US / 1e6 + self.second)
        self.hand(happened)
        return happened

    def hand(self, happened: Sequence[Happening]) -> None:
        for item in happened:
            self.messages.put(item)
            self.observer.put(item, self.now_us)
            for said in self.pilot.put(item, self.now_us):
                self.reached.delivered("voice", said, "spoken", "")

    def _delivered(self, item: Happening, outcome: str, detail: str) -> None:
        super()._delivered(item, outcome, detail)
        self.reached.delivered("mqtt", item, outcome, detail)

    def give(self, listener: Listener, topic: str, **keys: Any) -> str:
        body = {"message_id": str(uuid4()), "role": "pilot", "by": "Ada", "at": utc_text(self.now_us)} | keys
        listener.publish(f"watchkeeper/field-1/7/{topic}", json.dumps(body).encode())
        return str(body["message_id"])

    async def ask(self, listener: Listener, topic: str, **keys: Any) -> Mapping[str, Any]:
        """Give an order by message and return its answer."""
        return (await listener.on(EVENT, in_reply_to=self.give(listener, topic, **keys))).json()


async def test_only_the_pilot_quiets_the_pilots_warning(broker: Broker, listener: Listener) -> None:
    station = Station(broker)
    order = "alert/too-high/order"
    async with Running(station.messages):
        await listener.on("watchkeeper/field-1/status")
        station.fly(3)
        station.plane.height_m = 130.0
        station.fly(1)
        assert (station.pilot.said, station.observer.said) == ([WARNING], [WARNING])
        await listener.on(EVENT, rule="too-high", change="raised")
        answer = await station.ask(listener, order, action="acknowledge", role="observer")
        assert (answer["state"], answer["by"]) == ("unacknowledged", "observer")
        assert answer["acknowledged_by"] == ["observer"]
        station.fly(6)
        assert station.pilot.said == [WARNING] * 2  # said again to the pilot
        assert station.observer.said == [WARNING]  # and not to the one who has acknowledged it
        answer = await station.ask(listener, order, action="acknowledge", role="post")
        assert (answer["state"], answer["acknowledged_by"]) == ("unacknowledged", ["observer", "post"])
        again = await station.ask(listener, order, action="acknowledge", role="post")
        assert again["refused"] == "nothing to acknowledge"
        station.fly(6)
        assert station.pilot.said == [WARNING] * 3
        for role in ("post", "observer", "pilot"):  # a message says "pilot": it still comes from afar
            refused = await station.ask(listener, order, action="shelve", role=role, minutes=5)
            assert refused["refused"] == "a warning is not shelved from afar in flight"
        station.fly(6)
        assert station.pilot.said == [WARNING] * 4
        state = "watchkeeper/field-1/7/alert/too-high"
        assert (await listener.on(state, acknowledged_by=["observer", "post"])).json()["state"] == "unacknowledged"
        answer = await station.ask(listener, order, action="acknowledge", role="pilot")
        assert (answer["state"], answer["acknowledged_by"]) == ("acknowledged", ["pilot", "observer", "post"])
        station.fly(12)
        assert station.pilot.said == [WARNING] * 4
        await listener.on(state, state="acknowledged")


async def test_anothers_acknowledgement_takes_nothing_out_of_the_pilots_queue(
    broker: Broker, listener: Listener
) -> None:
    station = Station(broker)
    async with Running(station.messages):
        await listener.on("watchkeeper/field-1/status")
        station.fly(3)
        station.pilot.holds = station.observer.holds = True  # as if something else were being said
        station.plane.height_m = 130.0
        station.fly(1)
        for role in ("observer", "post"):
            await station.ask(listener, "alert/too-high/order", action="acknowledge", role=role)
        assert (len(station.pilot.queue), len(station.observer.queue)) == (1, 0)
        station.plane.height_m = 30.0  # the end of the condition quiets the pilot's voice
        station.fly(2)
        assert len(station.pilot.queue) == 0
        anew = await listener.on(EVENT, rule="too-high", change="cleared")
        assert anew.json()["state"] == "returned-unacknowledged"
        station.plane.height_m = 130.0
        station.fly(1)
        raised = await listener.until(
            lambda one: one.topic == EVENT and one.json().get("change") == "raised" and one is not anew
        )
        assert raised.json()["acknowledged_by"] == []  # what was acknowledged was the one before
        assert len(station.observer.queue) == 1


async def test_the_observer_is_not_told_what_eyes_do_not_help_with(broker: Broker, listener: Listener) -> None:
    station = Station(broker)
    async with Running(station.messages):
        station.fly(3)
        station.plane.satellites = 3
        station.fly(1)
        await listener.on(EVENT, rule="fix-lost", change="raised")
    assert station.pilot.said == ["Caution. Satellites. Few. Fly by hand."]
    assert station.observer.said == []


async def test_a_crew_prepares_by_message(broker: Broker, listener: Listener) -> None:
    station = Station(broker)
    station.plane.armed, station.plane.landed, station.plane.height_m = False, 1, 0.0
    async with Running(station.messages):
        await listener.on("watchkeeper/field-1/status")
        station.fly(3)
        ticked = await station.ask(listener, "order", action="check", role="post", item="rotor latches")
        assert (ticked["step"], ticked["item"], ticked["by"]) == ("checked", "rotor latches", "post")
        back = await station.ask(listener, "order", action="uncheck", role="pilot", item="rotor latches")
        assert back["step"] == "unchecked"
        station.fly(1)
        assert "Checklist. Open: rotor latches." in station.engine.reasons(7)
        unknown = await station.ask(listener, "order", action="check", role="post", item="wings")
        assert unknown["refused"] == "no such item of the checklist"
        early = await station.ask(listener, "order", action="confirm", role="observer")
        assert early["refused"] == "no test call has been given to this role"
        called = await station.ask(listener, "order", action="test", role="pilot")
        assert called["step"] == "called"
        read = await listener.on("watchkeeper/field-1/7/callout", rule="watch-test-post")
        assert read.json()["callout"] == "Test. Watch to post, confirm that you read."
        hear = "Test. Watch to {}, confirm that you hear."
        assert station.pilot.said == [hear.format("pilot"), hear.format("observer")]
        for role, way in (("pilot", "voice"), ("observer", "voice"), ("post", "mqtt")):
            assert (await listener.on(EVENT, step="given", role=role)).json()["by"] == way
            heard = await station.ask(listener, "order", action="confirm", role=role)
            assert (heard["step"], heard["role"], heard["by"]) == ("confirmed", role, role)
            station.fly(1)
            assert not [why for why in station.engine.reasons(7) if f"The {role} " in why]
        assert not [why for why in station.engine.reasons(7) if why.startswith("Crew.")]


async def test_orders_before_a_take_off_are_checked_like_all_others(broker: Broker, listener: Listener) -> None:
    told = Told()
    good = {"action": "test", "role": "post", "by": "Ada", "at": utc_text(START_US)}

    def give(who: str = "42", *, retain: bool = False, **keys: Any) -> str:
        body = {"message_id": str(uuid4())} | good | keys
        listener.publish(f"watchkeeper/field-1/{who}/order", json.dumps(body).encode(), retain=retain)
        return str(body["message_id"])

    async def refused(sent: str, who: str = "42") -> str:
        answer = await listener.on(f"watchkeeper/field-1/{who}/event", in_reply_to=sent)
        return str(answer.json()["refused"])

    def unread() -> list[str]:
        return [
            one.json()["refused"]
            for one in listener.heard
            if one.topic.endswith("/event") and one.json()["refused"].startswith("not understood")
        ]

    give(retain=True)
    await listener.on("watchkeeper/field-1/42/order")
    async with Running(told.outlet(broker.url)):
        await listener.on("watchkeeper/field-1/status")
        told.step_us = 1_000_000  # slow enough for the rate
        assert await refused(give("watch"), "watch") == "name the aircraft"
        told.now_us = START_US
        assert await refused(give("256"), "watch") == "no such aircraft"
        told.now_us = START_US
        assert "older than 60 s" in await refused(give(at=utc_text(START_US - 61_000_000)))
        hostile: tuple[dict[str, Any], ...] = (
            {"action": "check"},
            {"item": "wings"},
            {"for": "pilot"},
            {"role": "watch"},
            {"action": "acknowledge"},
            {"action": "check", "item": "\x1b[31m"},
            {"action": "check", "item": 1},
            {"minutes": 5},
        )
        for number, keys in enumerate(hostile):
            told.now_us = START_US
            give(**keys)
            await listener.until(lambda _one, n=number: len(unread()) == n + 1)  # type: ignore[misc]
        told.now_us = START_US
        listener.publish("watchkeeper/field-1/42/order", b"x" * (MAX_ORDER_BYTES + 1))
        told.now_us = START_US
        once = give()
        give(message_id=once)
        await refused(once)
        told.step_us = 0
        last = give(action="check", item="pack connectors")
        await refused(last)
    assert [(one.action, one.text, one.role, one.rule, one.afar) for one in told.orders] == [
        ("test", "", "post", None, True),
        ("check", "pack connectors", "post", None, True),
    ]


async def test_a_flood_of_such_orders_is_cut_off(broker: Broker, listener: Listener) -> None:
    told = Told()
    outlet = told.outlet(broker.url)
    async with Running(outlet):
        await listener.on("watchkeeper/field-1/status")
        for _ in range(60):
            body = {"message_id": str(uuid4()), "action": "test", "role": "post", "at": utc_text(START_US)}
            listener.publish("watchkeeper/field-1/42/order", json.dumps(body).encode())
        await told.until(lambda: outlet._orders.dropped == 50)
    assert len(told.orders) == 10


@pytest.mark.parametrize(
    ("mute", "quiet", "role", "expected"),
    [
        (False, False, "pilot", {"pilot": "voice", "observer": "voice", "post": "mqtt"}),
        (False, False, "observer", {"pilot": "mqtt", "observer": "voice", "post": "mqtt"}),
        (True, False, "pilot", {"pilot": "console", "observer": "mqtt", "post": "mqtt"}),
        (True, True, "pilot", {"pilot": "mqtt", "observer": "mqtt", "post": "mqtt"}),
    ],
)
def test_by_which_way_each_role_is_reached(
    mute: bool, quiet: bool, role: str, expected: Mapping[str, str]
) -> None:
    assert ways(mute=mute, quiet=quiet, role=role) == expected


async def test_only_the_way_by_which_a_role_is_reached_counts() -> None:
    orders: list[Order] = []
    reached = Reached(orders.append, ways(mute=False, quiet=False))
    field = Ground("crew: {roles: [observer]}", RULES)
    field.run(3)
    [call] = [item for item in field.order("test") if item.rule is not None]
    reached.delivered("console", call, "shown", "")
    reached.delivered("mqtt", call, "published", "callout")
    reached.delivered("voice", call, "dropped", "too old to be true")
    reached.delivered("voice", call, "spoken", "after 0.1 s of rendering")
    assert orders == []  # not while an outlet is at work
    await asyncio.sleep(0)
    assert [(one.action, one.aircraft, one.role, one.ok, one.text, one.by) for one in orders] == [
        ("given", 7, "observer", False, "too old to be true", "voice"),
        ("given", 7, "observer", True, "", "voice"),
    ]
