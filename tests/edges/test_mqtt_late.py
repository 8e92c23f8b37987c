"""What comes too late: wills of earlier connections, callouts that no longer hold, readings on a slow line."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from tests.conftest import RequireProgram
from tests.edges.mqtt_parts import START_US, Broker, Listener, Running, Told, change, late
from watchkeeper.alerts.events import RoutineCall

STATUS = "watchkeeper/field-1/status"


class Line:
    """A line to the broker that can break on our side only, as behind a router that forgets connections."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._near: list[asyncio.StreamWriter] = []
        self._far: list[asyncio.StreamWriter] = []
        self._serving: list[asyncio.Task[None]] = []
        self.ended: list[asyncio.Event] = []
        """For every connection on which something was sent: whether the broker has closed it."""
        self.url = ""

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._port)
        self._near.append(writer)
        self._far.append(far_writer)
        ended = asyncio.Event()
        serving: asyncio.Task[None] | None = asyncio.current_task()
        assert serving is not None
        self._serving.append(serving)

        async def up() -> None:
            with contextlib.suppress(OSError):
                while data := await reader.read(65_536):
                    if ended not in self.ended:
                        self.ended.append(ended)
                    far_writer.write(data)

        async def down() -> None:
            with contextlib.suppress(OSError):
                while data := await far_reader.read(65_536):
                    writer.write(data)
            ended.set()

        await asyncio.gather(up(), down())

    def drop(self) -> None:
        for writer in self._near:
            writer.transport.abort()

    async def close(self) -> None:
        for writer in (*self._near, *self._far):
            writer.transport.abort()
        await asyncio.wait(self._serving)


@asynccontextmanager
async def line_to(broker: Broker) -> AsyncIterator[Line]:
    line = Line(broker.port)
    server = await asyncio.start_server(line.serve, "127.0.0.1", 0)
    line.url = f"mqtt://127.0.0.1:{server.sockets[0].getsockname()[1]}"
    try:
        yield line
    finally:
        server.close()
        await line.close()


@pytest.mark.parametrize("older", [False, True], ids=["MQTT 5", "MQTT 3.1.1"])
async def test_a_connection_that_only_the_broker_still_has_ends_before_the_next(
    broker: Broker, listener: Listener, older: bool
) -> None:
    """The same client id takes the session over (MQTT 5 section 3.1.4, 3.1.1 section 3.1.4); keep-alive: 15 s."""
    async with line_to(broker) as line, Running(Told().outlet(line.url, only_3_1_1=older)):
        await listener.on(STATUS, state="watching")
        line.drop()
        await listener.until(lambda _: listener.states().count("watching") == 2)
        await asyncio.wait_for(line.ended[0].wait(), 5)
        listener.publish("marker", b"{}")
        await listener.on("marker")
        assert listener.states()[-1] == "watching"


@pytest.mark.parametrize("wrong", ["lost", "stopped"])
async def test_a_wrong_status_is_set_right_at_once(
    broker: Broker, listener: Listener, monkeypatch: pytest.MonkeyPatch, wrong: str
) -> None:
    monkeypatch.setattr("watchkeeper.edges.mqtt.session.BEAT_S", 60.0)  # not by the way, some time later
    async with Running(Told().outlet(broker.url)):
        right = await listener.on(STATUS, state="watching")
        listener.publish(STATUS, right.payload.replace(b'"watching"', f'"{wrong}"'.encode()), retain=True)
        await listener.until(lambda _: len(listener.states()) == 3)
        assert listener.states() == ["watching", wrong, "watching"]
        after = late(broker)
        assert (await after.on(STATUS, state="watching")).retain
        after.close()


async def test_whoever_floods_the_status_is_answered_once_a_second(broker: Broker, listener: Listener) -> None:
    async with Running(Told().outlet(broker.url)):
        await listener.on(STATUS, state="watching")
        for payload in (b"\xff", b"[" * 100, b"", b'{"state":"lost"}') * 25:
            listener.publish(STATUS, payload, retain=True)
        await listener.until(lambda _: len(listener.states()) > 101 and listener.states()[-1] == "watching")
        assert 2 <= listener.states().count("watching") <= 6  # a flood of some milliseconds


async def test_a_callout_that_no_longer_holds_is_not_sent(broker: Broker, listener: Listener) -> None:
    told = Told()
    outlet = told.outlet(broker.url)
    old = change(spoken=True)
    outlet.put(old)
    told.now_us += 1
    outlet.put(RoutineCall(START_US, 0, 42, "armed", "Armed.", {}))
    told.now_us += 30_000_000  # the first has just run out, the second just not
    async with Running(outlet):
        await listener.on("watchkeeper/field-1/42/event", rule="link-lost")
        await listener.on("watchkeeper/field-1/42/callout", rule="armed")
        await told.until(lambda: len(told.delivered) == 3)
    assert [one.json()["rule"] for one in listener.heard if one.topic.endswith("/callout")] == ["armed"]
    assert told.delivered[0] == (old, "expired", "callout: no longer valid")
    assert {outcome for _, outcome, _ in told.delivered[1:]} == {"published"}


async def test_callouts_run_out_while_there_is_no_broker(require_program: RequireProgram, tmp_path: Path) -> None:
    told = Told()
    outlet = told.outlet(Broker(require_program("mosquitto"), tmp_path).url)
    async with Running(outlet):
        outlet.put(change(spoken=True))
        await told.until(lambda: bool(told.reports))
        assert told.delivered == []
        told.now_us += 31_000_000
        await told.until(lambda: bool(told.delivered))
        assert [said[1:] for said in told.delivered] == [("expired", "callout: no longer valid")]


async def test_no_more_than_one_message_of_readings_is_under_way(
    broker: Broker, listener: Listener, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.edges.mqtt.connection.REACH_S", 1.0)  # 20 times as long as between readings
    told = Told()
    told.readings = {42: {"battery.voltage": 22.5}}
    async with Running(told.outlet(broker.url)):
        await listener.on("watchkeeper/field-1/42/readings")
        with broker.halted():
            before = told.asked
            await told.until(lambda: bool(told.reports))
            assert told.asked - before <= 1
    assert told.reports == [("mqtt", False, "Broker lost, timed out. Check the network.")]
