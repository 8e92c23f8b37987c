"""Decoding against pymavlink, which packs every message of its dialect `common` with random values."""

from __future__ import annotations

import random
import struct
from typing import Any

import pytest
from pymavlink.dialects.v20 import common

from watchkeeper.link.decode import named, text, unpack
from watchkeeper.link.framing import GOOD, Framer
from watchkeeper.link.tables import MESSAGES

RANGES = {
    "uint8_t": (0, 2**8 - 1), "int8_t": (-(2**7), 2**7 - 1), "uint16_t": (0, 2**16 - 1),
    "int16_t": (-(2**15), 2**15 - 1), "uint32_t": (0, 2**32 - 1), "int32_t": (-(2**31), 2**31 - 1),
    "uint64_t": (0, 2**64 - 1), "int64_t": (-(2**63), 2**63 - 1), "uint8_t_mavlink_version": (0, 2**8 - 1),
}  # fmt: skip
DEFINITIONS = list(common.mavlink_map.values())
ROUNDS = 25


def random_number(kind: str, chance: random.Random) -> float:
    if kind in {"float", "double"}:
        code = "<f" if kind == "float" else "<d"
        value: float = struct.unpack(code, struct.pack(code, chance.choice([0.0, 1.0, chance.gauss(0, 1e4)])))[0]
        return value
    low, high = RANGES[kind]
    return chance.choice([0, low, high, chance.randint(low, high)])


def random_values(definition: Any, chance: random.Random) -> dict[str, Any]:
    lengths = dict(zip(definition.ordered_fieldnames, definition.array_lengths, strict=True))
    values: dict[str, Any] = {}
    for name, kind in zip(definition.fieldnames, definition.fieldtypes, strict=True):
        if kind == "char":
            letters = chance.randint(0, max(lengths[name], 1))
            values[name] = bytes(chance.choices(range(32, 127), k=letters))
        elif lengths[name]:
            values[name] = [random_number(kind, chance) for _ in range(lengths[name])]
        else:
            values[name] = random_number(kind, chance)
    return values


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda definition: definition.msgname)
def test_what_pymavlink_packs_decodes_to_the_same_values(definition: Any, version: int) -> None:
    if version == 1 and definition.id > 255:
        # version 1 has one byte for the id: pymavlink must refuse, too
        values = random_values(definition, random.Random(1))
        with pytest.raises(struct.error):
            definition(*values.values()).pack(common.MAVLink(None), force_mavlink1=True)
        return
    chance = random.Random(definition.id * 2 + version)
    framer = Framer()
    for _ in range(ROUNDS):
        values = random_values(definition, chance)
        sender = common.MAVLink(None, srcSystem=chance.randrange(256), srcComponent=chance.randrange(256))
        sender.seq = chance.randrange(256)
        raw = definition(*values.values()).pack(sender, force_mavlink1=version == 1)
        [frame] = framer.feed(bytes(raw))
        assert frame[:4] == (sender.srcSystem, sender.srcComponent, sender.seq, definition.id)
        assert frame[5:] == (raw, GOOD)
        expected = {name: v.decode() if isinstance(v, bytes) else v for name, v in values.items()}
        got = named(frame[3], frame[4])
        assert {name: got.pop(name) for name in expected} == expected
        # what only our own tables have was not sent, and is zero
        assert not any(got.values())
        assert bool(got) == (definition.msgname == "MISSION_CURRENT")


def test_all_of_common_was_decoded() -> None:
    assert len(DEFINITIONS) > 200
    assert {definition.id for definition in DEFINITIONS} <= MESSAGES.keys()


def test_cut_zeros_are_filled_in_and_an_untruncated_payload_is_taken() -> None:
    # facts.md section 9: receiver zero-fills; must also accept untruncated
    assert unpack(245, b"\x00") == unpack(245, b"\x00\x00") == (0, 0)
    assert unpack(245, b"\x03") == (3, 0)


def test_extensions_newer_than_the_tables_are_left_out() -> None:
    assert unpack(245, b"\x03\x02" + b"\xff" * 40) == (3, 2)


def test_mission_current_in_full() -> None:
    # common.xml: seq; extensions total, mission_state, mission_mode, mission_id, fence_id, rally_points_id
    payload = struct.pack("<HHBBIII", 7, 9, 3, 1, 1000, 2000, 3000)
    assert named(42, payload) == {
        "seq": 7,
        "total": 9,
        "mission_state": 3,
        "mission_mode": 1,
        "mission_id": 1000,
        "fence_id": 2000,
        "rally_points_id": 3000,
    }
    assert named(42, payload[:2])["total"] == 0


def test_esc_status() -> None:
    # common.xml 291, wire order by size: time_usec, rpm[4], voltage[4], current[4], index
    payload = struct.pack("<Q4i4f4fB", 1 << 40, -1, 2, 3, 4, 0.5, 1, 2, 4, 8, 16, 32, 64, 4)
    values = named(291, payload)
    assert values["time_usec"] == 1 << 40
    assert (values["rpm"], values["voltage"]) == ([-1, 2, 3, 4], [0.5, 1, 2, 4])
    assert (values["current"], values["index"]) == ([8, 16, 32, 64], 4)


def test_text_ends_at_its_nul_or_where_the_field_ends() -> None:
    assert text(b"abc\0def\0") == "abc"
    assert text(b"a" * 50) == "a" * 50
    assert text(b"\xff\xfe") == "��"


def test_unknown_message() -> None:
    with pytest.raises(KeyError):
        unpack(0xABCDEF, b"")
