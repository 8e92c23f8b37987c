"""Whole frames with good checksums and senseless insides, through the engine: nothing raises, nothing grows."""

from __future__ import annotations

import random
import struct
import tracemalloc

import pytest
from pymavlink.generator.mavcrc import x25crc

from tests.aircraft.feeder import ARDUPILOT, QUADROTOR, Sender
from tests.recordings import shipped
from watchkeeper.aircraft.fleet import MAX_PEERS, Fleet
from watchkeeper.aircraft.fold_flight import HEARTBEAT
from watchkeeper.aircraft.fold_radio import RADIO_STATUS
from watchkeeper.aircraft.handlers import FOLDINGS
from watchkeeper.engine import Engine
from watchkeeper.link.framing import GOOD, Framer
from watchkeeper.link.tables import MESSAGES

SPECIAL = (
    b"\0" * 4,
    b"\xff" * 4,
    struct.pack("<f", float("nan")),
    struct.pack("<f", float("inf")),
    struct.pack("<f", float("-inf")),
    struct.pack("<f", 3.4e38),
    struct.pack("<i", -(2**31)),
    struct.pack("<i", 2**31 - 1),
)


def whole(chance: random.Random, message: int, system: int, component: int) -> bytes:
    """Return a version 2 frame with a payload out of random and special words, its checksum right."""
    length = MESSAGES[message].full_length
    payload = b"".join(
        chance.choice(SPECIAL) if chance.random() < 0.4 else chance.randbytes(4) for _ in range(length // 4 + 1)
    )[:length]
    payload = payload.rstrip(b"\0") or payload[:1]
    head = struct.pack("<BBBBBB", len(payload), 0, 0, chance.randrange(256), system, component)
    head += message.to_bytes(3, "little")
    crc = x25crc(head + payload)
    crc.accumulate(bytes([MESSAGES[message].crc_extra]))
    return b"\xfd" + head + payload + struct.pack("<H", crc.crc)


def beat(chance: random.Random, system: int) -> bytes:
    armed = chance.choice((0, 128))
    sender = Sender(system)
    sender.mav.seq = chance.randrange(256)
    return sender.pack(
        "HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT, base_mode=1 | armed, custom_mode=chance.randrange(30)
    )


@pytest.mark.parametrize("seed", range(3))
def test_the_engine_goes_on_whatever_the_frames_say(seed: int) -> None:
    chance = random.Random(seed)
    engine = Engine(shipped())
    folded, others = [*FOLDINGS], [*MESSAGES]
    now_s = 1_700_000_000.0
    engine.receive("a", beat(chance, 7), now_s)
    for number in range(6_000):
        now_s += chance.choice((0.0, 0.001, 0.02, 0.02, 0.3)) if number % 1000 else 20.0
        message = chance.choice(folded) if chance.random() < 0.8 else chance.choice(others)
        sender = chance.choice(((7, 1), (7, 1), (7, 1), (8, 1), (7, 180), (51, 68), (255, 190)))
        raw = beat(chance, chance.choice((7, 8))) if number % 20 == 0 else whole(chance, message, *sender)
        assert len(Framer().feed(raw)) == 1
        engine.receive(chance.choice("ab"), raw, now_s)
        if number % 50 == 0:
            for system in engine.systems():
                for value in engine.readings(system).values():
                    assert value is None or value == value  # noqa: PLR0124 - only NaN differs from itself
    engine.tick(now_s + 30)
    assert 7 in engine.systems()
    assert engine.describe_sources()


def test_made_up_senders_take_bounded_memory() -> None:
    chance = random.Random(1)
    fleet = Fleet()
    messages = [*FOLDINGS]

    def flood(count: int) -> int:
        for number in range(count):
            message, system, component = chance.choice(messages), chance.randrange(1, 3), chance.choice((1, 180))
            payload = chance.randbytes(MESSAGES[message].full_length)
            if number % 50 == 0:
                message, component, payload = HEARTBEAT, 1, bytes((0, 0, 0, 0, 2, 3, 129, 4, 3))
            elif number % 2:
                message, system, component = RADIO_STATUS, chance.randrange(256), chance.randrange(256)
            frame = (system, component, number & 255, message, payload, b"", GOOD)
            fleet.receive(chance.choice("abcd"), frame, number * 1000)
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    before = flood(10_000)
    after = flood(20_000)
    tracemalloc.stop()
    assert len(fleet.aircraft) == 2
    assert sum(len(peers) for peers in fleet.sources.values()) <= MAX_PEERS
    assert after < before + 1_000_000
