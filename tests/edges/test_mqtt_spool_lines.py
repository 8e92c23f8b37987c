"""What is left in a file of waiting messages is read with suspicion."""

from __future__ import annotations

import json
import os
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.edges.mqtt_parts import START_US
from tests.edges.spool_parts import HEAD, STATION, WRITER, Desk, event, read
from watchkeeper.alerts.events import RoutineCall
from watchkeeper.edges.mqtt.outbox import Outbox, Waiting
from watchkeeper.edges.mqtt.spool_file import DAMAGED, MAX_BYTES, UNREADABLE
from watchkeeper.edges.mqtt.spool_lines import Kept, head_line, put_line


@pytest.mark.parametrize("cut", [1, 30, 200])
def test_a_half_written_last_line_is_as_if_never_begun(desk: Desk, cut: int) -> None:
    whole = HEAD + put_line(first := event("a"))
    desk.folder.mkdir()
    desk.path.write_bytes(whole + put_line(event("b"))[:cut])
    kept = desk.open().collect()
    assert kept is not None
    assert [one.payload for one in kept.waiting] == [first.payload]
    assert desk.reports == []
    assert desk.path.read_bytes().count(b"\n") == 3  # head, the alert that stands, the message


GOOD: dict[str, Any] = json.loads(event("good").payload)


def line(kind: str = "event", number: Any = 900, **keys: Any) -> bytes:
    return json.dumps({"put": number, kind: {**GOOD, **keys}}).encode() + b"\n"


@pytest.mark.parametrize(
    "bad",
    [
        b"\n", b"{\n", b"\xff\xfe\n", b"\x00\x00\x00\n", b"[]\n", b"3\n", b'{"put":900}\n',
        b'{"put":900,"event":3}\n',
        b"[" * 100_000 + b"\n", b'{"put":900,"event":' + b'{"a":' * 50_000 + b"\n",
        line(number="900"), line(number=None), line("callout"), line("readings"), line("stands", exercise=False),
        line(exercise=False), line(aircraft=-1), line(aircraft=300), line(aircraft="42/../x"), line(level="loud"),
        line(state="gone"), line(extra=1), line(message_id="x"), line(time="2026"),
        line(time="9999-99-99T99:99:99.000000Z"),
        line(elapsed_s=float("nan")), line(elapsed_s=float("inf")), line(elapsed_s=1e308),
        line(evidence={"x": [1]}),
    ],
)  # fmt: skip
def test_damaged_and_hostile_lines_are_left_out_and_said(desk: Desk, bad: bytes) -> None:
    before, after = event("a"), event("b")
    desk.folder.mkdir()
    content = HEAD + put_line(before) + bad + put_line(after)
    desk.path.write_bytes(content)
    spool = desk.open()
    kept = spool.collect()
    assert kept is not None
    assert [one.payload for one in kept.waiting] == [before.payload, after.payload]
    assert desk.reports == [(False, DAMAGED)]
    assert desk.path.with_suffix(".damaged").read_bytes() == content  # for a person to look at
    spool.put(new := event("c"))
    assert desk.left() == [before.payload, after.payload, new.payload]  # and it goes on, on disk
    assert spool.sound()


@pytest.mark.parametrize(
    "content",
    [
        b"\n", b"junk\n", b'{"outbox":2,"station":"field-1","exercise":true}\n', head_line("other", exercise=True),
        head_line(STATION, exercise=False), b"{}\n", put_line(event()), b" " * (MAX_BYTES + 1),
    ],
    ids=["empty", "junk", "later format", "other station", "real", "no head", "line", "huge"],
)  # fmt: skip
def test_a_file_of_another_kind_is_set_aside(desk: Desk, content: bytes) -> None:
    desk.folder.mkdir()
    desk.path.write_bytes(content)
    spool = desk.open()
    assert spool.collect() == Kept()
    assert desk.reports == [(False, UNREADABLE)]
    assert desk.path.with_suffix(".damaged").stat().st_size == len(content)
    spool.put(one := event())
    assert desk.left() == [one.payload]


def test_a_pipe_in_its_place_holds_nobody_up(desk: Desk) -> None:
    desk.folder.mkdir()
    os.mkfifo(desk.path)
    spool = desk.open()
    assert desk.reports == [(False, UNREADABLE)]
    spool.put(one := event())
    assert desk.left() == [one.payload]


@settings(suppress_health_check=[HealthCheck.too_slow], max_examples=100, deadline=None)
@given(
    st.lists(
        st.binary(max_size=60)
        | st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
            lambda inner: st.dictionaries(st.sampled_from(["put", "done", "event", "callout", "stands"]), inner),
            max_leaves=8,
        ).map(lambda found: json.dumps(found).encode())
    )
)
def test_nothing_in_a_file_raises_or_becomes_a_message(lines: list[bytes]) -> None:
    kept = read(HEAD + b"".join(one + b"\n" for one in lines))
    assert kept.waiting == []
    assert kept.standing == {}


def test_a_callout_from_before_the_clock_was_set_back_is_over() -> None:
    said = RoutineCall(START_US, 0, 42, "armed", "Armed.")
    payload = WRITER.callout(said, START_US + 3_600_000_000).to_json()
    (found,) = read(HEAD + put_line(Waiting("t", payload, 0, None, said, "callout"))).waiting
    outbox = Outbox()
    outbox.put(found)
    assert outbox.expire(START_US) == [found]
