"""The tables against the published sizes and CRC_EXTRA, and against the XML definitions that pymavlink carries."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from fastcrc import crc16
from pymavlink.dialects.v20 import all as dialect

from watchkeeper.link.tables import MESSAGES, Field, MessageType, by_name, crc_extra

# id, CRC_EXTRA, base and full length, recomputed from mavlink/mavlink de1e078a (facts.md section 9)
PUBLISHED = [
    ("HEARTBEAT", 0, 50, 9, 9),
    ("SYS_STATUS", 1, 124, 31, 43),
    ("PARAM_VALUE", 22, 220, 25, 25),
    ("GPS_RAW_INT", 24, 24, 30, 52),
    ("ATTITUDE", 30, 39, 28, 28),
    ("GLOBAL_POSITION_INT", 33, 104, 28, 28),
    ("MISSION_CURRENT", 42, 28, 2, 18),
    ("RC_CHANNELS", 65, 118, 42, 42),
    ("VFR_HUD", 74, 20, 20, 20),
    ("RADIO_STATUS", 109, 185, 9, 9),
    ("BATTERY_STATUS", 147, 154, 36, 54),
    ("FENCE_STATUS", 162, 189, 8, 9),
    ("ESTIMATOR_STATUS", 230, 163, 42, 42),
    ("WIND_COV", 231, 105, 40, 40),
    ("HIGH_LATENCY2", 235, 179, 42, 42),
    ("HOME_POSITION", 242, 104, 52, 60),
    ("EXTENDED_SYS_STATE", 245, 130, 2, 2),
    ("STATUSTEXT", 253, 83, 51, 54),
    ("AVAILABLE_MODES", 435, 134, 46, 46),
    ("CURRENT_MODE", 436, 193, 9, 9),
    # common.xml as read when the tables were written, not among the published ones
    ("ESC_INFO", 290, 251, 46, 46),
    ("ESC_STATUS", 291, 10, 57, 57),
]
OWN = {"MISSION_CURRENT", "ESC_INFO", "ESC_STATUS"}
SIZES = {
    "char": 1, "uint8_t": 1, "int8_t": 1, "uint16_t": 2, "int16_t": 2, "uint32_t": 4, "int32_t": 4, "float": 4,
    "uint64_t": 8, "int64_t": 8, "double": 8,
}  # fmt: skip


@pytest.mark.parametrize(("name", "number", "extra", "base", "full"), PUBLISHED)
def test_published_sizes_and_crc_extra(name: str, number: int, extra: int, base: int, full: int) -> None:
    message = MESSAGES[number]
    assert by_name(name) is message
    assert (message.name, message.id, message.crc_extra) == (name, number, extra)
    assert (message.base_length, message.full_length, message.struct.size) == (base, full, full)


def test_checksum_check_value() -> None:
    assert crc16.mcrf4xx(b"123456789") == 0x6F91  # CRC catalogue; facts.md section 9


@pytest.mark.parametrize("message", MESSAGES.values(), ids=lambda message: message.name)
def test_crc_extra_follows_from_names_and_types(message: MessageType) -> None:
    # https://mavlink.io/en/guide/serialization.html#crc_extra
    length = 0
    base: list[Field] = []
    for field in message.fields:
        if length == message.base_length:
            break
        base.append(field)
        length += SIZES[field.type] * (field.array or 1)
    assert crc_extra(message.name, base) == message.crc_extra
    sizes = [SIZES[field.type] for field in base]
    assert sizes == sorted(sizes, reverse=True)


def _definitions() -> dict[str, list[tuple[str, bool, int, str]]]:
    """Fields of every message of the XML files: (name, extension, array length, type)."""
    folder = Path(dialect.__file__).parent
    found: dict[str, list[tuple[str, bool, int, str]]] = {}
    for path in sorted(folder.glob("*.xml")):
        for message in ET.parse(path).getroot().iter("message"):  # noqa: S314 (part of an installed package)
            fields, extension = [], False
            for element in message:
                if element.tag == "extensions":
                    extension = True
                elif element.tag == "field":
                    kind, _, length = element.attrib["type"].partition("[")
                    kind = kind.removesuffix("_mavlink_version")
                    fields.append((element.attrib["name"], extension, int(length.rstrip("]") or 0), kind))
            name = message.attrib["name"]
            if len(fields) > len(found.get(name, [])):
                found[name] = fields
    return found


def test_order_and_lengths_are_those_of_the_xml_definitions() -> None:
    definitions = _definitions()
    for message in MESSAGES.values():
        if message.name in OWN:
            continue
        fields = definitions[message.name]
        base = sorted((f for f in fields if not f[1]), key=lambda f: -SIZES[f[3]])
        ordered = base + [f for f in fields if f[1]]
        assert [(f.name, f.array, f.type) for f in message.fields] == [(n, a, t) for n, _, a, t in ordered]
        assert message.base_length == sum(SIZES[kind] * (array or 1) for _, _, array, kind in base), message.name
    assert len(MESSAGES) > 340


def test_unknown_names_are_refused() -> None:
    with pytest.raises(KeyError):
        by_name("NO_SUCH_MESSAGE")
