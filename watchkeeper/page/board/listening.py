"""The board's line to the broker: connected again after every loss; what comes goes to the board."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Final
from uuid import uuid4

import aiomqtt
import structlog

from watchkeeper.edges.mqtt.address import Broker
from watchkeeper.edges.mqtt.connection import Connection, VersionAsked, connect
from watchkeeper.edges.mqtt.health import FIRST_PAUSE_S, Health
from watchkeeper.edges.mqtt.login import Login, Messages
from watchkeeper.edges.mqtt.trouble import NotReachedError, Trouble, of_fault, of_loss
from watchkeeper.page.board.asking import Asking
from watchkeeper.page.board.board import Board
from watchkeeper.page.board.heard import FILTERS, NotUnderstoodError, about

MAX_WAITING: Final = 20_000
"""Messages that wait to be looked at: all that stands of as many stations as a board shows, and some more."""
LONGEST_PAUSE_S: Final = 5.0
"""Somebody looks at a board: it is not to sleep on when the broker is back."""
DEAF: Final = Trouble("not let listen", "Broker refuses the board. Correct its access rules.")


class Listening:
    """One broker. `run` raises nothing but cancellation."""

    def __init__(
        self,
        broker: Broker,
        messages: Messages,
        board: Board,
        clock: Callable[[], int],
        changed: Callable[[], None],
        *,
        first_pause_s: float = FIRST_PAUSE_S,
        only_3_1_1: bool = False,
    ) -> None:
        """Raise BadInputError for a login that can never work. `changed`: all are to see something at once."""
        self._broker = broker
        self._client_id = f"wk{uuid4().hex[:20]}"
        self._login = Login(broker, messages)
        self._asked = VersionAsked(only_3_1_1=only_3_1_1)
        self._board = board
        self._clock = clock
        self._changed = changed
        self._health = Health("mqtt", str(broker), lambda _part, _ok, _text: None, first_pause_s)
        self._connection: Connection | None = None
        self.asking = Asking(board, self.send, clock)
        self.version = 0
        """The protocol's, of the present or last connection: 5, or 4 for 3.1.1; 0 before the first."""

    async def run(self) -> None:
        """Listen until cancelled."""
        loop = asyncio.get_running_loop()
        while True:
            trouble = await self._once()
            self._board.away(trouble.say, self._clock())
            self._changed()
            self._health.failed(trouble, loop.time())
            await asyncio.sleep(min(self._health.pause_s(), LONGEST_PAUSE_S))

    async def send(self, topic: str, payload: bytes) -> None:
        """Publish an order. Raises MqttError, PublishRefusedError."""
        if self._connection is None:
            raise aiomqtt.MqttError("not connected")
        await self._connection.send(topic, payload)

    async def _once(self) -> Trouble:
        """Keep one connection for as long as it lasts; return what ended it."""
        try:
            connection, self.version = await connect(
                self._broker, self._client_id, lambda: None, self._login, self._asked, MAX_WAITING
            )
        except NotReachedError as error:
            return error.trouble
        except Exception as error:  # noqa: BLE001  (a fault of ours is not the end of the board)
            structlog.get_logger().exception("board's line failed")
            return of_fault(error)
        try:
            return await self._listen(connection)
        except aiomqtt.MqttError as error:
            return of_loss(error)
        except asyncio.CancelledError:
            await connection.close()
            raise
        except Exception as error:  # noqa: BLE001  (as above)
            structlog.get_logger().exception("board's line failed")
            return of_fault(error)
        finally:
            self._connection = None
            connection.abandon()

    async def _listen(self, connection: Connection) -> Trouble:
        loop = asyncio.get_running_loop()
        self._health.connected(loop.time())
        for topics in FILTERS:
            if not await connection.hear(topics):
                return DEAF
        self._connection = connection
        self._board.connected()
        self._changed()
        async for message in connection.messages:
            self._health.taken(loop.time())
            self._take(message.topic.value, bytes(message.payload), retained=bool(message.retain))
        return of_loss(aiomqtt.MqttError("ended"))

    def _take(self, topic: str, payload: bytes, *, retained: bool) -> None:
        if topic.endswith("/event"):
            if not retained:
                with contextlib.suppress(NotUnderstoodError):  # nobody who could have been asked
                    self.asking.answered(about(topic), payload)
            return
        if self._board.take(topic, payload, self._clock(), retained=retained):
            self._changed()
