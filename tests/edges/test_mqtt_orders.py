"""Orders of the crew by message: carried out, answered, refused; hostile ones."""

from __future__ import annotations

import json
from collections.abc import Sequence
from uuid import uuid4

import structlog

from tests.edges.mqtt_parts import START_US, Broker, Listener, Running, Told, change, order
from watchkeeper.alerts.events import Change, Happening, Order, Refusal, State
from watchkeeper.edges.clock import utc_text


async def test_an_order_is_carried_out_and_answered(broker: Broker, listener: Listener) -> None:
    told = Told()
    outlet = told.outlet(broker.url)
    done = change(State.ACKNOWLEDGED, Change.ACKNOWLEDGED, by="pilot")
    other = change(rule="voltage-sag")

    def says(_order: Order) -> Sequence[Happening]:
        for item in (other, done):
            outlet.put(item)  # as the watch does: everything goes to every outlet, this one too
        return [other, done]

    told.says = says
    async with Running(outlet):
        await listener.on("watchkeeper/field-1/status")
        sent = order(listener)
        answer = await listener.on("watchkeeper/field-1/42/event", in_reply_to=sent)
        aside = await listener.on("watchkeeper/field-1/42/event", rule="voltage-sag")
    assert answer.json()["change"] == "acknowledged"
    assert aside.json()["in_reply_to"] is None
    assert told.orders[-1] == Order("acknowledge", "link-lost", 42, "pilot", "Ada", None, afar=True)
    events = [one for one in listener.heard if one.topic.endswith("/42/event") and "refused" not in one.json()]
    assert len(events) == 2


async def test_refused_orders_are_answered_with_the_reason(broker: Broker, listener: Listener) -> None:
    told = Told()

    def says(order: Order) -> Sequence[Happening]:
        if order.action == "reset":
            return []
        return [
            Refusal(START_US, 0, order.aircraft, order.rule, order.action, "nothing to acknowledge", order.role)
        ]

    told.says = says
    async with Running(told.outlet(broker.url)):
        await listener.on("watchkeeper/field-1/status")
        event = "watchkeeper/field-1/42/event"
        by_engine = order(listener)
        assert (await listener.on(event, in_reply_to=by_engine)).json()["refused"] == "nothing to acknowledge"
        unanswered = order(listener, action="reset")
        assert (await listener.on(event, in_reply_to=unanswered)).json()["refused"] == "nothing to do"
        old = order(listener, at_us=START_US - 61_000_000)
        assert (await listener.on(event, in_reply_to=old)).json()["refused"] == "older than 60 s"
        early = order(listener, at_us=START_US + 61_000_000)
        assert "future" in (await listener.on(event, in_reply_to=early)).json()["refused"]
        nobody = order(listener, "256/alert/link-lost")
        refused = await listener.on("watchkeeper/field-1/watch/event", in_reply_to=nobody)
        assert refused.json()["refused"] == "no such aircraft"
    assert len(told.orders) == 2


async def test_an_order_counts_once_and_only_when_fresh(broker: Broker, listener: Listener) -> None:
    told = Told()
    listener.publish(  # retained before the outlet came: given to nobody who was there
        "watchkeeper/field-1/42/alert/link-lost/order",
        json.dumps(
            {"message_id": str(uuid4()), "action": "acknowledge", "role": "pilot", "at": utc_text(START_US)}
        ).encode(),
        retain=True,
    )
    await listener.on("watchkeeper/field-1/42/alert/link-lost/order")
    async with Running(told.outlet(broker.url)):
        await listener.on("watchkeeper/field-1/status")
        sent = order(listener, action="shelve", role="post", minutes=5)
        order(listener, action="shelve", role="post", minutes=5, message_id=sent)
        last = order(listener, "watch/alert/watch-udp:%2F%2F:14550", role="observer")
        await listener.on("watchkeeper/field-1/watch/event", in_reply_to=last)
    assert [(o.action, o.role, o.minutes, o.rule) for o in told.orders] == [
        ("shelve", "post", 5.0, "link-lost"),
        ("acknowledge", "observer", None, "watch-udp://:14550"),
    ]


async def test_a_flood_of_orders_is_cut_off(broker: Broker, listener: Listener) -> None:
    told = Told()
    outlet = told.outlet(broker.url)
    async with Running(outlet):
        await listener.on("watchkeeper/field-1/status")
        for _ in range(200):
            order(listener)
        refused = await listener.on("watchkeeper/field-1/watch/event")
        assert refused.json()["refused"] == "too many orders"
        await told.until(lambda: outlet._orders.dropped == 190)
        assert len(told.orders) == 10
        told.now_us += 5_000_000  # hands have rested: heard again
        sent = order(listener, at_us=told.now_us)
        await listener.on("watchkeeper/field-1/42/event", in_reply_to=sent)


HOSTILE = [
    b"", b"\x00", b"\xff\xfe", b"null", b"[]", b"{", b"1e999", b"[" * 2000, b"x" * 3000,
    b'{"message_id": 1}',
    b'{"message_id":"\\ud800","action":"acknowledge","role":"pilot","at":"2026-05-04T09:30:00Z"}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000000","action":"fly","role":"pilot","at":"2026-05-04T09:30:00Z"}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000001","action":"reset","role":"pilot","at":1777887000}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000002","action":"reset","role":"pilot","at":"2026-05-04T09:30:00"}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000003","action":"reset","role":"pilot","at":"0001-01-01T00:00:00+23:59"}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000004","action":"reset","role":"pilot","at":"9999-12-31T23:59:59-23:59"}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000005","action":"shelve","role":"post","at":"2026-05-04T09:30:00Z","minutes":NaN}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000006","action":"shelve","role":"post","at":"2026-05-04T09:30:00Z","minutes":"5"}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000007","action":"reset","role":"pilot","at":"2026-05-04T09:30:00Z","extra":1}',
    b'{"message_id":"f4f3f2f1-0000-4000-8000-000000000008","action":"reset","role":"pilot","at":"2026-05-04T09:30:00Z","by":"\\u001b[31m"}',
]  # fmt: skip


async def test_hostile_orders_raise_nothing_and_reach_nobody(broker: Broker, listener: Listener) -> None:
    told = Told()
    topics = ("a%2fb/alert/x", "042/alert/x", "42/alert/", "42/alert/%2b", "42/alert/\u00e9", "0/alert/x")

    def refusals() -> list[str]:
        return [one.json()["refused"] for one in listener.heard if one.topic.endswith("/event")]

    async with Running(told.outlet(broker.url)) as task:
        await listener.on("watchkeeper/field-1/status")
        # The broker keeps from us what is larger than we said we take (MQTT 5 section 3.1.2.11.4).
        listener.publish("watchkeeper/field-1/42/alert/link-lost/order", b"x" * 100_000)
        told.step_us = 1_000_000  # slow enough for the rate
        for payload in HOSTILE:
            listener.publish("watchkeeper/field-1/42/alert/link-lost/order", payload)
        for topic in topics:
            listener.publish(f"watchkeeper/field-1/{topic}/order", b"{}")
        await listener.until(lambda _one: len(refusals()) == len(HOSTILE) + len(topics))
        told.step_us = 0
        good = order(listener, "42/alert/last", at_us=told.now_us)
        await listener.on("watchkeeper/field-1/42/event", in_reply_to=good)
        assert not task.done()
    assert [one.rule for one in told.orders] == ["last"]
    assert "too many orders" not in refusals()
    assert "longer than 2048 bytes" in refusals()
    assert all(0 < len(reason) < 250 for reason in refusals()[:-1])


async def test_an_engine_that_fails_on_an_order_does_not_end_the_outlet(
    broker: Broker, listener: Listener
) -> None:
    told = Told()

    def fails(_order: Order) -> Sequence[Happening]:
        raise RuntimeError("broken")

    told.says = fails
    with structlog.testing.capture_logs() as logs:
        async with Running(told.outlet(broker.url)):
            await listener.on("watchkeeper/field-1/status")
            sent = order(listener)
            refused = await listener.on("watchkeeper/field-1/42/event", in_reply_to=sent)
    assert refused.json()["refused"] == "it could not be carried out"
    assert [log["event"] for log in logs if log["log_level"] == "error"] == ["order failed"]
