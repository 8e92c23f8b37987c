"""The MQTT outlet: decisions out to a broker, orders of the crew in.

States are kept as "how it stands now" and published anew at every connect; events and callouts wait in a
bounded outbox, on disk where there is a folder for it, until the broker has answered and lived on for a while,
callouts only while their words hold; readings and status are sent only as they are, and never kept: the newest is
the only one that is true. What a broker of version 5 refuses is entered as lost and told; 3.1.1 has no word for
that.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path
from uuid import uuid4

import aiomqtt
import structlog

from watchkeeper import __version__
from watchkeeper.alerts.events import Happening, Order, Refusal
from watchkeeper.edges.messages.payloads import Writer
from watchkeeper.edges.mqtt.address import Topics, parse_broker
from watchkeeper.edges.mqtt.connection import VersionAsked, connect, will_of
from watchkeeper.edges.mqtt.health import FIRST_PAUSE_S, Health
from watchkeeper.edges.mqtt.hold import HOLD_S, Hold
from watchkeeper.edges.mqtt.login import Login, Messages
from watchkeeper.edges.mqtt.orders import OrderDesk, is_answer
from watchkeeper.edges.mqtt.outbox import Outbox, States
from watchkeeper.edges.mqtt.post import Post
from watchkeeper.edges.mqtt.session import ReadingsNow, Session
from watchkeeper.edges.mqtt.spool import Spool
from watchkeeper.edges.mqtt.trouble import NotReachedError, Trouble, of_fault, of_loss
from watchkeeper.edges.mqtt.views import PictureNow, Views
from watchkeeper.edges.outlets import Delivered
from watchkeeper.edges.reports import Report

KEEP_OVER_S = 600.0


class Mqtt:
    """Outlet to one broker. `put` never blocks; `run` raises nothing but cancellation.

    Overflow: beyond MAX_WAITING unsent events and callouts (or MAX_WAITING_BYTES) the oldest advisory goes first,
    then the oldest caution; each is counted in `dropped` and entered as lost. States never overflow.
    """

    name = "mqtt"

    def __init__(
        self,
        url: str,
        *,
        station: str,
        exercise: bool,
        report: Report,
        delivered: Delivered,
        on_order: Callable[[Order], Sequence[Happening]],
        clock: Callable[[], int],
        readings: ReadingsNow,
        only_3_1_1: bool = False,
        messages: Messages | None = None,
        outbox: Outbox | None = None,
        first_pause_s: float = FIRST_PAUSE_S,
        readings_every_s: float = 1.0,
        keep_over_s: float = KEEP_OVER_S,
        spool: Path | None = None,
        hold_s: float = HOLD_S,
        picture: PictureNow | None = None,
    ) -> None:
        """Raise BadInputError for a URL or station that cannot be used. `clock` gives UTC microseconds.

        `picture` gives what a page shows: boards live on it.
        `spool` is the folder in which messages that wait outlast the watch; without it they are kept in memory.
        """
        self._broker = parse_broker(url)
        # One for the whole run, so that the broker knows a new connection for ours and ends the old one at once.
        self._client_id = f"wk{uuid4().hex[:20]}"  # 3.1.1 promises 23 letters and digits (section 3.1.3.1)
        topics = Topics(station)
        writer = Writer(exercise=exercise, version=__version__)
        box = outbox if outbox is not None else Outbox()
        kept = None if spool is None else Spool(spool, station, exercise=exercise, report=report, now_us=clock())
        self._post = Post(topics, writer, box, States(keep_over_s), delivered, clock, kept, Hold(hold_s))
        self._orders = OrderDesk(topics, writer, clock, self._carry_out, self._post.answer)
        self._on_order = on_order
        self._readings = readings
        self._views = Views(topics, writer, picture)
        self._readings_every_s = readings_every_s
        self._login = Login(self._broker, messages or Messages())
        self._asked = VersionAsked(only_3_1_1=only_3_1_1)
        self._health = Health(self.name, str(self._broker), report, first_pause_s)
        self._held: list[Happening] | None = None
        self._version = 0

    @property
    def dropped(self) -> int:
        """How many messages never left because the outbox was full."""
        return self._post.outbox.dropped

    @property
    def version(self) -> int:
        """The protocol version of the present or last connection: 5, or 4 for 3.1.1; 0 before the first."""
        return self._version

    def put(self, item: Happening) -> None:
        """Take one thing that happened. Never blocks."""
        if self._held is not None:  # it may be the answer to an order: see _carry_out
            self._held.append(item)
        else:
            self._post.issue(item)

    async def run(self) -> None:
        """Connect, and again after every loss, until cancelled; then leave status stopped within half a second."""
        loop = asyncio.get_running_loop()
        try:
            while True:
                trouble = await self._once()
                self._health.failed(trouble, loop.time())
                self._post.disconnected()
                await asyncio.sleep(self._health.pause_s())
        finally:
            self._post.end()

    def close(self) -> None:
        """Let another watch have the outbox; what is put from now on is lost."""
        self._post.close()

    async def _once(self) -> Trouble:
        """Keep one connection for as long as it lasts; return what ended it."""
        try:
            await self._connect_and_serve()
        except NotReachedError as error:
            return error.trouble
        except aiomqtt.MqttError as error:
            return of_loss(error)
        except Exception as error:  # noqa: BLE001  (a fault of ours is not the end of messages)
            structlog.get_logger().exception("mqtt outlet failed")
            return of_fault(error)
        return of_loss(aiomqtt.MqttError("ended"))

    async def _connect_and_serve(self) -> None:
        connection, self._version = await connect(
            self._broker, self._client_id, self._will, self._login, self._asked
        )
        self._health.connected(asyncio.get_running_loop().time())
        session = Session(
            connection, self._post, self._orders, self._health, self._readings, self._readings_every_s, self._views
        )
        try:
            await session.serve()
        except asyncio.CancelledError:
            await session.farewell()
            raise
        except BaseException:
            connection.abandon()
            raise

    def _will(self) -> aiomqtt.Will:
        post = self._post
        lost = post.writer.status("lost", post.since_us, post.clock())
        return will_of(post.topics.status, lost.to_json())

    def _carry_out(self, order: Order, message_id: str) -> None:
        """Give an order to the engine. What it says may come back through `put` as well: each is told once."""
        self._held = []
        said: Sequence[Happening] = ()
        try:
            said = self._on_order(order)
        finally:
            held, self._held = self._held, None
            answered = False
            for item in {id(item): item for item in (*held, *said)}.values():
                answers = is_answer(item, order)
                answered |= answers
                self._post.issue(item, message_id if answers else None)
        if not answered:
            now_us = self._post.clock()
            none = Refusal(now_us, 0, order.aircraft, order.rule, order.action, "nothing to do", order.role)
            self._post.answer(order.aircraft, self._post.writer.refusal(none, now_us, message_id))
