"""The board on a real mosquitto, beside outlets as a watch has them: what comes, goes, and is asked for."""

from __future__ import annotations

import asyncio
import dataclasses
import json
from collections.abc import Sequence
from uuid import UUID

import pytest

from tests.edges import view_parts
from tests.edges.mqtt_parts import Broker, Listener, Running, change, late
from tests.page.line_parts import LiveTold, Wall
from watchkeeper.alerts.events import AlertChange, Change, Happening, Order, Preparation, Refusal, State, Step

BOTH = pytest.mark.parametrize("older", [False, True], ids=["MQTT 5", "MQTT 3.1.1"])


@BOTH
async def test_a_board_that_comes_late_sees_all_that_stands(broker: Broker, older: bool) -> None:
    told = LiveTold()
    outlet = told.watch(broker.url, only_3_1_1=older)
    async with Running(outlet):
        outlet.put(change())
        await told.until(lambda: bool(told.delivered))
        async with Wall(broker.url, only_3_1_1=older) as wall:
            await wall.until(lambda: wall.shows("field-1", "link-lost", 42))
            await wall.until(lambda: (wall.aircraft("field-1", 42) or view_parts.aircraft()).reach_m != [])
            assert wall.line.version == (4 if older else 5)
            await wall.until(lambda: bool(wall.pictures()["field-1"].hearing))
            await wall.until(
                lambda: (wall.aircraft("field-1", 42) or view_parts.aircraft()).answer.standing == "yes"
            )
            craft = wall.aircraft("field-1", 42)
            assert craft is not None
            assert craft.name == "heavy 42"
            assert craft.surroundings == view_parts.around()
            assert craft.answer.reserve_low_pct == 34.5
            outlet.put(change(State.NORMAL, Change.CLEARED))
            await wall.until(lambda: not wall.shows("field-1", "link-lost", 42))
    assert wall.board.ignored == 0


async def test_an_aircraft_that_goes_leaves_nothing_behind_and_a_stop_neither(broker: Broker) -> None:
    told = LiveTold()
    told.picture = view_parts.station(42, 43, alerts=[])
    async with Wall(broker.url) as wall:
        async with Running(told.watch(broker.url)):
            await wall.until(lambda: bool(wall.aircraft("field-1", 42) and wall.aircraft("field-1", 43)))
            told.picture = view_parts.station(42, alerts=[])
            told.readings = {42: {}}
            await wall.until(lambda: wall.aircraft("field-1", 43) is None)
            assert wall.state("field-1") == "watching"
        await wall.until(lambda: wall.state("field-1") == "stopped")
        assert wall.pictures()["field-1"].aircraft == []
    after = late(broker)
    after.publish("marker", b"{}")
    await after.on("marker")
    assert [one.topic for one in after.heard if one.retain] == ["watchkeeper/field-1/status"]
    after.close()


async def test_what_an_earlier_watch_left_of_an_aircraft_is_swept(broker: Broker, listener: Listener) -> None:
    left = "watchkeeper/field-1/77/surroundings"
    listener.publish(left, b'{"old":1}', retain=True)
    await listener.until(lambda one: one.topic == left)
    async with Running(LiveTold().watch(broker.url)):
        await listener.until(lambda one: one.topic == left and one.payload == b"")


async def test_surroundings_are_sent_when_they_change_and_no_oftener_than_every_ten_seconds(
    broker: Broker, listener: Listener
) -> None:
    told = LiveTold()
    topic = "watchkeeper/field-1/42/surroundings"

    async def beats(number: int) -> None:
        seen = sum(one.topic.endswith("42/outlook") for one in listener.heard)
        await listener.until(
            lambda _: sum(one.topic.endswith("42/outlook") for one in listener.heard) >= seen + number
        )

    def sent() -> list[float]:
        return [one.json()["reach_m"][0] for one in listener.heard if one.topic == topic]

    async with Running(told.watch(broker.url)):
        await listener.on(topic)
        for n in range(3):
            told.picture = view_parts.station(aircraft=[view_parts.aircraft(reach_m=[float(n)])])
            await beats(3)
        assert sent() == [1500.0]
        told._live._offset_us += 10_000_000  # ten seconds later
        await beats(6)
        assert sent() == [1500.0, 2.0]


async def test_more_surroundings_than_fit_into_a_message_are_said_to_be_left_out(broker: Broker) -> None:
    told = LiveTold()
    spot = view_parts.around().obstacles[0]
    many = view_parts.around(obstacles=[spot.model_copy(update={"name": f"mast {n}"}) for n in range(2000)])
    told.picture = view_parts.station(aircraft=[view_parts.aircraft(surroundings=many)])
    async with Running(told.watch(broker.url)), Wall(broker.url) as wall:
        await wall.until(lambda: bool((wall.aircraft("field-1", 42) or view_parts.aircraft()).blind[1:]))
        craft = wall.aircraft("field-1", 42)
        assert craft is not None
        shown = len(craft.surroundings.obstacles)
        assert shown > 200
        assert f"{2001 - shown} places, areas or obstacles are too many to be shown here." in craft.blind
        assert craft.surroundings.places == many.places


async def test_a_picture_that_fails_holds_up_nothing_else(broker: Broker, listener: Listener) -> None:
    told = LiveTold()
    outlet = told.outlet(broker.url, picture=lambda: 1 // 0)
    async with Running(outlet):
        outlet.put(change())
        await listener.on("watchkeeper/field-1/42/alert/link-lost")
        await listener.on("watchkeeper/field-1/status", state="watching")
    assert told.reports == []


async def test_a_broker_that_is_away_at_the_start_and_comes_and_goes(broker: Broker) -> None:
    broker.stop()
    async with Wall(broker.url) as wall:
        await wall.until(lambda: wall.shows(wall.board.name, "board-broker"))
        (own,) = wall.pictures().values()
        assert own.state == "lost"
        broker.start()
        told = LiveTold()
        async with Running(told.watch(broker.url)):
            await wall.until(lambda: wall.state("field-1") == "watching")
            assert list(wall.pictures()) == ["field-1"]
            broker.stop()
            await wall.until(lambda: wall.shows(wall.board.name, "board-broker"))
            assert wall.state("field-1") == "lost"
            why = "Message broker not reached: connection refused. Check that it runs, and its address."
            await wall.until(lambda: wall.pictures()[wall.board.name].alerts[0].reason == why)
            broker.start()
            await wall.until(lambda: wall.state("field-1") == "watching")


async def test_a_broker_that_hangs(broker: Broker) -> None:
    told = LiveTold()
    async with Running(told.watch(broker.url)), Wall(broker.url) as wall:
        await wall.until(lambda: wall.aircraft("field-1", 42) is not None)
        with broker.halted():
            wall.line.asking._within_s = 1.0
            assert await wall.line.asking.carry_out("field-1", Order("test", aircraft=42)) == (
                "Not confirmed by the watch."
            )
            await wall.until(lambda: wall.state("field-1") == "lost")
        await wall.until(lambda: wall.state("field-1") == "watching")


class Engine:
    """Answers orders as an engine does."""

    def __init__(self, told: LiveTold) -> None:
        self.told = told
        self.alert = change()

    def __call__(self, order: Order) -> Sequence[Happening]:
        now_us = self.told._clock()
        if order.action == "acknowledge" and order.rule == "link-lost":
            roles = (*self.alert.acknowledged_by, order.role)
            state = State.ACKNOWLEDGED if order.role == "pilot" else State.UNACKNOWLEDGED
            self.alert = dataclasses.replace(
                self.alert, state=state, change=Change.ACKNOWLEDGED, by=order.role, acknowledged_by=roles
            )
            return [self.alert]
        if order.action == "confirm":
            assert order.aircraft is not None
            return [Preparation(now_us, 0, order.aircraft, Step.CONFIRMED, order.role, order.role)]
        return [
            Refusal(now_us, 0, order.aircraft, order.rule, order.action, "no warning is shelved from afar", "")
        ]


@BOTH
async def test_orders_come_back_confirmed_or_refused_with_the_reason(broker: Broker, older: bool) -> None:
    told = LiveTold()
    told.says = Engine(told)
    outlet = told.watch(broker.url, only_3_1_1=older)
    async with Running(outlet), Wall(broker.url, only_3_1_1=older) as wall:
        asking = wall.line.asking
        outlet.put(change())
        await wall.until(lambda: wall.shows("field-1", "link-lost", 42) and wall.state("field-1") == "watching")
        assert await asking.carry_out("field-1", Order("acknowledge", "link-lost", 42)) == ""
        (given,) = told.orders
        assert (given.role, given.by, given.afar) == ("post", "board", True)  # whosever key it was
        await wall.until(
            lambda: (
                [one.acknowledged_by for one in getattr(wall.aircraft("field-1", 42), "alerts", [])] == [["post"]]
            )
        )
        craft = wall.aircraft("field-1", 42)
        assert craft is not None
        assert craft.alerts[0].state is State.UNACKNOWLEDGED  # the pilot is still told
        assert await asking.carry_out("field-1", Order("shelve", "link-lost", 42, minutes=5.0)) == (
            "no warning is shelved from afar"
        )
        assert await asking.carry_out("field-1", Order("confirm", aircraft=42)) == ""
        assert await asking.carry_out("field-1", Order("acknowledge", aircraft=42)) == "Nothing to acknowledge."
        outlet.put(change(rule="wind-high"))
        await wall.until(lambda: wall.shows("field-1", "wind-high", 42))
        assert await asking.carry_out("field-1", Order("acknowledge")) == "no warning is shelved from afar"
        before = len(told.orders)
        assert await asking.carry_out("field-1", Order("acknowledge", "board-clock")) != ""
        assert await asking.carry_out("field-2", Order("acknowledge", "link-lost", 42)) == "No such station here."
        assert await asking.carry_out("field-1", Order("sighted", aircraft=42, text="people")) != ""
        assert await asking.carry_out("field-1", Order("check", aircraft=42, text="")) != ""
        assert len(told.orders) == before
    assert asking._asked == {}


async def test_an_answer_counts_only_from_the_station_that_was_asked(broker: Broker, listener: Listener) -> None:
    told = LiveTold()
    async with Running(told.watch(broker.url)), Wall(broker.url) as wall:
        await wall.until(lambda: wall.aircraft("field-1", 42) is not None)
        told.says = lambda _: _never()
        wall.line.asking._within_s = 3.0
        asked = asyncio.create_task(wall.line.asking.carry_out("field-1", Order("acknowledge", "link-lost", 42)))
        order = await listener.until(lambda one: one.topic.endswith("/order"))
        answer = json.dumps({"in_reply_to": order.json()["message_id"]}).encode()
        assert UUID(order.json()["message_id"])
        listener.publish("watchkeeper/field-2/42/event", answer)
        listener.publish("watchkeeper/field-1/42/event", b"\xff")
        listener.publish("watchkeeper/field-1/42/event", answer, retain=True)  # as new: it is taken
        assert await asked in ("", "it could not be carried out")


def _never() -> Sequence[AlertChange]:
    raise RuntimeError
