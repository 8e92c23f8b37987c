"""The embedded broker as clients see it: MQTT 3.1.1 by an independent client, and what hostile ones do to it.

Sections in the tests are of MQTT 3.1.1 (OASIS Standard, 29 October 2014).
"""

from __future__ import annotations

import asyncio
import socket
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from paho.mqtt.enums import MQTTProtocolVersion

from tests.edges.broker_parts import PATIENCE_S, Worker, clients, free_port, worker
from watchkeeper.edges.broker.access import Access
from watchkeeper.edges.broker.core import Gate


@pytest.fixture(scope="module")
def shared() -> Iterator[Worker]:
    with worker() as running:
        yield running


def string(text: bytes) -> bytes:
    return struct.pack(">H", len(text)) + text


def packet(first: int, body: bytes) -> bytes:
    length, out = len(body), b""
    while True:
        length, low = divmod(length, 128)
        out += bytes((low | (0x80 if length else 0),))
        if not length:
            return bytes((first,)) + out + body


def connect_packet(name: bytes = b"raw", *, level: int = 4, flags: int = 2, keep_alive_s: int = 0) -> bytes:
    return packet(0x10, string(b"MQTT") + bytes((level, flags)) + struct.pack(">H", keep_alive_s) + string(name))


@contextmanager
def raw(port: int, *sent: bytes) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as sock:
        for data in sent:
            sock.sendall(data)
        yield sock


def end_of(sock: socket.socket) -> bytes:
    """Return everything until the broker closes the connection."""
    found = b""
    with suppress(ConnectionError):
        while chunk := sock.recv(65_536):
            found += chunk
    return found


def test_messages_go_through_by_wildcard_and_a_late_subscriber_gets_what_is_retained(shared: Worker) -> None:
    with clients() as make:
        one = make(shared.port, subscribe="late/+/state")
        sender = make(shared.port)
        sender.publish("late/a/state", b"first", retain=True)
        sender.publish("late/a/state", b"second", retain=True)
        sender.publish("late/b/state", b"gone", retain=True)
        sender.publish("late/b/state", b"", retain=True)  # 3.3.1-10: empties it
        sender.publish("late/a/other", b"x")
        assert [one.got.get(timeout=PATIENCE_S)[:4] for _ in range(4)] == [
            ("late/a/state", b"first", False, 1),
            ("late/a/state", b"second", False, 1),
            ("late/b/state", b"gone", False, 1),
            ("late/b/state", b"", False, 1),
        ]
        late = make(shared.port, subscribe="late/#")
        assert late.got.get(timeout=PATIENCE_S) == ("late/a/state", b"second", True, 1)
        sender.publish("late", b"parent")  # 4.7.1.2: "sport/#" matches "sport" too
        assert late.got.get(timeout=PATIENCE_S) == ("late", b"parent", False, 1)
        nobody = make(shared.port)  # has not subscribed, though others have to what is retained
        nobody.subscribe("nothing/here")
        sender.publish("nothing/here", b"x")
        assert nobody.got.get(timeout=PATIENCE_S).topic == "nothing/here"


def test_a_will_is_sent_for_who_vanishes_is_replaced_or_falls_silent_but_not_after_a_goodbye(
    shared: Worker,
) -> None:
    with clients() as make:
        one = make(shared.port, subscribe="will/#")
        make(shared.port, will=("will/a", b"lost")).vanish()
        assert one.got.get(timeout=PATIENCE_S)[:2] == ("will/a", b"lost")
        assert make(shared.port, subscribe="will/a").next("will/a").retain
        old = make(shared.port, "the-same", will=("will/b", b"lost"))
        new = make(shared.port, "the-same", will=("will/b", b"lost again"))
        assert one.got.get(timeout=PATIENCE_S)[:2] == ("will/b", b"lost")
        assert old.ended.get(timeout=PATIENCE_S)
        new.close()  # 3.14.4: a goodbye discards the will
        silent = connect_packet(b"silent", flags=0x02 | 0x04 | 0x08, keep_alive_s=1)
        body = silent[2:] + string(b"will/c") + string(b"lost")
        with raw(shared.port, packet(0x10, body)) as sock:
            began_s = time.monotonic()
            assert one.got.get(timeout=PATIENCE_S)[:2] == ("will/c", b"lost")
            assert time.monotonic() - began_s > 1.2  # 3.1.2-24: one and a half times the keep alive
            assert end_of(sock) == b"\x20\x02\x00\x00"


def test_no_session_outlasts_its_connection_and_the_answer_says_so(shared: Worker) -> None:
    """3.2.2.2: session present is 0, so that the client subscribes anew."""
    for _ in range(2):
        subscribe = packet(0x82, struct.pack(">H", 7) + string(b"away/#") + b"\x01")
        with raw(shared.port, connect_packet(b"keeps", flags=0), subscribe) as sock:
            found = b""
            while len(found) < 9:
                found += sock.recv(100)
            assert found == b"\x20\x02\x00\x00" + b"\x90\x03\x00\x07\x01"


def test_version_5_is_refused_with_the_code_for_it(shared: Worker) -> None:
    """3.2.2.3: return code 1; paho gives it as reason code 132 to a client of version 5."""
    with clients() as make:
        assert make(shared.port, protocol=MQTTProtocolVersion.MQTTv5).code == 132
    with raw(shared.port, connect_packet(level=5)) as sock:
        assert end_of(sock) == b"\x20\x02\x00\x01"


HELLO = connect_packet()
SECRET = "s3cret:/@"  # noqa: S105  (of a broker that lives for one test)
BAD = {
    "web": b"GET / HTTP/1.1\r\nHost: x\r\n\r\n",
    "tls": bytes.fromhex("16030100c8010000c40303") + bytes(200),
    "zeros": bytes(4096),
    "no length": b"\x10\xff\xff\xff\xff\xff",
    "huge connect": b"\x10\xff\xff\xff\x7f" + bytes(10_000),
    "other protocol": packet(0x10, string(b"MQTX") + b"\x04\x02\x00\x00" + string(b"x")),
    "reserved flag": connect_packet(flags=3),
    "will flags without a will": connect_packet(flags=0x22),
    "password without a user": connect_packet(flags=0x42),
    "publish before connect": packet(0x30, string(b"a") + b"x"),
    "reserved type": HELLO + b"\x00\x00",
    "second connect": HELLO + HELLO,
    "wildcard topic": HELLO + packet(0x30, string(b"a/#") + b"x"),
    "system topic": HELLO + packet(0x30, string(b"$SYS/x") + b"x"),
    "empty topic": HELLO + packet(0x30, string(b"") + b"x"),
    "topic not UTF-8": HELLO + packet(0x30, string(b"\xff\xfe") + b"x"),
    "topic longer than packet": HELLO + packet(0x30, b"\xff\xffabc"),
    "quality 3": HELLO + packet(0x36, string(b"a") + b"\x00\x01x"),
    "huge publish": HELLO + b"\x30\x80\x80\x80\x7f" + string(b"a") + bytes(100_000),
    "nothing subscribed": HELLO + packet(0x82, b"\x00\x01"),
    "subscribe without flags": HELLO + packet(0x80, b"\x00\x01" + string(b"a") + b"\x00"),
    "very deep": HELLO + packet(0x30, string(b"/" * 1000) + b"x"),
}


@pytest.mark.parametrize("sent", BAD.values(), ids=BAD.keys())
def test_what_is_no_mqtt_is_hung_up_on_and_harms_nobody(shared: Worker, sent: bytes) -> None:
    with clients() as make:
        one = make(shared.port, subscribe="calm/#")
        with raw(shared.port) as sock:
            with suppress(ConnectionError):
                sock.sendall(sent)
            assert end_of(sock) in (b"", b"\x20\x02\x00\x00")
        make(shared.port).publish("calm/a", b"still here")
        assert one.got.get(timeout=PATIENCE_S).payload == b"still here"


def test_a_payload_as_large_as_is_allowed_goes_through(shared: Worker) -> None:
    with clients() as make:
        one = make(shared.port, subscribe="large/#")
        payload = bytes(range(256)) * 1000
        make(shared.port).publish("large/a", payload)
        assert one.got.get(timeout=PATIENCE_S).payload == payload


def test_subscriptions_have_a_limit_a_client(shared: Worker) -> None:
    with clients() as make:
        one = make(shared.port)
        answers = [one.subscribe(f"many/{number}") for number in range(102)]
        assert answers == [1] * 100 + [128] * 2  # 3.9.3: 0x80 is a refusal
        assert make(shared.port).subscribe("many/more") == 1


def test_a_client_that_never_reads_is_cut_off_and_nobody_waits_for_it() -> None:
    subscribe = packet(0x82, b"\x00\x01" + string(b"flood/#") + b"\x00")
    with worker() as running, clients() as make:
        reader = make(running.port, subscribe="flood/#")
        sender = make(running.port)
        with raw(running.port, connect_packet(b"deaf"), subscribe) as deaf:
            assert deaf.recv(4) == b"\x20\x02\x00\x00"
            before_bytes = running.memory_bytes()
            for number in range(200):
                sender.publish(f"flood/{number}", bytes(100_000))
                assert reader.got.get(timeout=PATIENCE_S).topic == f"flood/{number}"
            running.until(lambda words: words.get("clients") == 2)
            assert (
                running.memory_bytes() - before_bytes < 60_000_000
            )  # of 20 MB sent, the limit is 4 for one client


def test_a_flood_of_messages_is_held_back_at_its_sender_and_all_of_it_arrives() -> None:
    """Sent without waiting, to subscribers of which one acknowledges nothing."""
    subscribe = packet(0x82, b"\x00\x01" + string(b"storm/#") + b"\x01")
    with worker() as running, clients() as make:
        readers = [make(running.port, subscribe="storm/#") for _ in range(8)]
        with raw(running.port, connect_packet(b"mute"), subscribe):
            sender = make(running.port)
            for number in range(400):
                sender.publish(f"storm/{number % 7}", str(number).encode(), wait=False)
            for reader in readers:
                found = [int(reader.got.get(timeout=PATIENCE_S).payload) for _ in range(400)]
                assert found == [*range(400)]  # 4.6: in order


def test_many_subscribers_get_everything_once_and_in_order() -> None:
    with worker() as running, clients() as make:
        readers = [make(running.port, subscribe="watchkeeper/#") for _ in range(60)]
        sender = make(running.port)
        for number in range(25):
            sender.publish("watchkeeper/field/7/event", str(number).encode(), wait=False)
        for reader in readers:
            assert [int(reader.got.get(timeout=PATIENCE_S).payload) for _ in range(25)] == [*range(25)]
            assert reader.got.empty()


def test_strangers_cannot_use_up_all_places() -> None:
    """Connections that say nothing are ended; those of this machine have places of their own on top."""
    with worker() as running, clients() as make:
        mute = [socket.create_connection(("127.0.0.1", running.port)) for _ in range(260)]
        running.until(lambda words: words.get("clients", 0) >= 250)
        running.until(lambda words: words.get("clients") == 0)  # five seconds without a CONNECT
        assert make(running.port).code == 0
        for sock in mute:
            sock.close()


def test_user_and_password_are_asked_for_before_anything_is_done_in_a_clients_name() -> None:
    with worker(user="crew", password=SECRET) as running, clients() as make:
        inside = make(running.port, "crew-1", login=("crew", SECRET), subscribe="#")
        assert inside.code == 0
        # paho's reason codes for 3.1.1's 4 and 5 (3.2.2.3): 134 bad user name or password, 135 not authorised
        assert make(running.port, "crew-1").code == 135
        assert make(running.port, "crew-1", login=("crew", "wrong")).code == 134
        assert make(running.port, "crew-1", login=("other", "s3cret:/@")).code == 134
        assert inside.ended.empty()  # a stranger with its name does not throw it out
        make(running.port, login=("crew", SECRET)).publish("a", b"x")
        assert inside.next("a").payload == b"x"
        assert b"s3cret" not in Path(f"/proc/{running.process.pid}/cmdline").read_bytes()


def test_the_end_of_the_watch_frees_the_port_and_still_sends_its_will() -> None:
    """The watch's process is killed: its connection breaks, and the broker's input ends."""
    with worker() as running, clients() as make:
        one = make(running.port, subscribe="#")
        watch = make(running.port, will=("status", b"lost"))
        watch.vanish()
        assert running.process.stdin is not None
        running.process.stdin.close()
        assert one.next("status").payload == b"lost"
        running.process.wait(PATIENCE_S)
        assert running.process.returncode == 0
        with socket.socket() as again:
            again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            again.bind(("127.0.0.1", running.port))


@pytest.mark.parametrize("before", [0, 40])
async def test_a_starved_broker_still_sends_the_will(before: int) -> None:
    """When it runs again after a long time its deadlines are past: turns of its loop count, not only the time."""
    port, gate = free_port(), Gate(Access())
    await gate.start("127.0.0.1", port)
    with clients() as make:
        one = await asyncio.to_thread(make, port, subscribe="#")
        watch = await asyncio.to_thread(make, port, will=("status", b"lost"))
        watch.vanish()
        for number in range(before):  # what stands in front of it
            await gate.core.internal_message_broadcast("reading", b"%d" % number, 1)
        await gate.stop(0.0)
        assert one.next("status").payload == b"lost"
