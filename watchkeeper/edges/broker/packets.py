"""Packets that clients send to the embedded broker, checked before anything else looks at them.

After MQTT 3.1.1 (OASIS Standard, 29 October 2014); sections in brackets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

MAX_PACKET_BYTES: Final = 262_144
"""A message of the watch is below 10 kB."""
MAX_LEVELS: Final = 16
"""Of a topic or filter; those of the watch have six."""
VERSION_3_1_1: Final = 4
WRONG_VERSION, BAD_ID, WRONG_PASSWORD, NOT_AUTHORISED = 1, 2, 4, 5
"""Return codes of CONNACK [3.2.2.3]."""

CONNECT, PUBLISH, SUBSCRIBE, UNSUBSCRIBE, PINGREQ, DISCONNECT = 1, 3, 8, 10, 12, 14
_ACKNOWLEDGEMENTS: Final = {4: 0, 5: 0, 6: 2, 7: 0}
"""PUBACK, PUBREC, PUBREL, PUBCOMP, with the flags that they must bear [2.2.2]."""


class BadPacketError(Exception):
    """What came is no MQTT that the broker takes: the connection is to be closed."""


class RefusedError(Exception):
    """A CONNECT that is answered with a return code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"refused with code {code}")
        self.code = code


@dataclass(frozen=True, slots=True)
class Connect:
    """What a client says of itself. Its password never shows in a representation."""

    client_id: str
    keep_alive_s: int
    user: str | None
    password: bytes

    def __repr__(self) -> str:
        """Return it without user and password."""
        return f"Connect({self.client_id!r})"


def split(buffer: bytearray) -> bytes | None:
    """Take one whole packet from the front of what has come; None: not all of it is there yet.

    Raises BadPacketError if it is too long, or its length no length [2.2.3].
    """
    length, place = 0, 1
    while True:
        if place >= len(buffer):
            return None
        byte = buffer[place]
        length |= (byte & 0x7F) << (7 * (place - 1))
        place += 1
        if not byte & 0x80:
            break
        if place > 4:
            raise BadPacketError("no length")
    if length > MAX_PACKET_BYTES:
        raise BadPacketError("too long")
    if len(buffer) < place + length:
        return None
    packet = bytes(buffer[: place + length])
    del buffer[: place + length]
    return packet


class _Fields:
    """The fields of a packet after its length, one after the other."""

    def __init__(self, packet: bytes) -> None:
        start = 1
        while packet[start] & 0x80:
            start += 1
        self._packet = packet
        self._place = start + 1

    def bytes_of(self, count: int) -> bytes:
        found = self._packet[self._place : self._place + count]
        if len(found) < count:
            raise BadPacketError("cut off")
        self._place += count
        return found

    def number(self, count: int) -> int:
        return int.from_bytes(self.bytes_of(count), "big")

    def block(self) -> bytes:
        return self.bytes_of(self.number(2))

    def text(self) -> str:
        try:
            found = self.block().decode("utf-8")
        except UnicodeDecodeError:
            raise BadPacketError("not UTF-8") from None  # [1.5.3]
        if "\x00" in found:
            raise BadPacketError("a null in a text")
        return found

    @property
    def left(self) -> int:
        return len(self._packet) - self._place


def parse_connect(packet: bytes) -> Connect:
    """Return what a CONNECT says [3.1]. Raises BadPacketError, or RefusedError for what has an answer."""
    if packet[0] != CONNECT << 4:
        raise BadPacketError("does not begin with CONNECT")
    fields = _Fields(packet)
    name = fields.text()
    if name not in ("MQTT", "MQIsdp"):
        raise BadPacketError("another protocol")
    if fields.number(1) != VERSION_3_1_1:
        raise RefusedError(WRONG_VERSION)
    flags = fields.number(1)
    named, will_qos, has_will = flags & 0x80, flags >> 3 & 3, flags & 0x04
    if flags & 1 or will_qos == 3 or (flags & 0x38 and not has_will) or (flags & 0x40 and not named):
        raise BadPacketError("flags that contradict each other")
    keep_alive_s = fields.number(2)
    client_id = fields.text()
    if not client_id and not flags & 0x02:
        raise RefusedError(BAD_ID)  # [3.1.3-8]
    if has_will:
        _check_topic(fields.text())
        fields.block()
    user = fields.text() if named else None
    password = fields.block() if flags & 0x40 else b""
    if fields.left:
        raise BadPacketError("more than belongs there")
    return Connect(client_id, keep_alive_s, user, password)


def as_clean(connect: bytes) -> bytes:
    """Return a CONNECT as that of a client which wants no session kept [3.1.2.4].

    No session outlasts its connection here, so that nothing piles up for those who are away; the answer says so
    ("session present" is 0).
    """
    flags = connect.index(b"\x00\x04MQTT") + 7
    return connect[:flags] + bytes((connect[flags] | 0x02,)) + connect[flags + 1 :]


def check(packet: bytes) -> None:
    """Raise BadPacketError unless this is something that a connected client may send."""
    kind, flags = packet[0] >> 4, packet[0] & 0x0F
    fields = _Fields(packet)
    if kind == PUBLISH:
        qos = flags >> 1 & 3
        if qos == 3 or (qos == 0 and flags & 0x08):
            raise BadPacketError("no quality of service")
        _check_topic(fields.text())
        if qos and fields.number(2) == 0:
            raise BadPacketError("no packet id")
    elif kind in (SUBSCRIBE, UNSUBSCRIBE):
        if flags != 2 or fields.number(2) == 0 or not fields.left:
            raise BadPacketError("no subscription")
        while fields.left:
            _check_filter(fields.text())
            if kind == SUBSCRIBE and fields.number(1) > 2:
                raise BadPacketError("no quality of service")
    elif kind in _ACKNOWLEDGEMENTS:
        if flags != _ACKNOWLEDGEMENTS[kind] or fields.left != 2:
            raise BadPacketError("no acknowledgement")
    elif kind not in (PINGREQ, DISCONNECT) or flags or fields.left:
        raise BadPacketError("nothing that a client sends")


def _check_topic(topic: str) -> None:
    if topic.startswith("$") or set(topic) & {"+", "#"}:
        raise BadPacketError("a topic that nobody may write to")
    _check_filter(topic)


def _check_filter(topic: str) -> None:
    if not topic or topic.count("/") >= MAX_LEVELS:
        raise BadPacketError("no topic")
