"""Every payload of a real drill through a real broker, against the shipped schemas, by topic."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from jsonschema import Draft202012Validator, FormatChecker

from tests.conftest import ROOT
from tests.edges.mqtt_parts import Broker, Heard, Listener
from watchkeeper.resources import shipped_schemas

STATION, AIRCRAFT = "drill-slope", "143"
PATIENCE_S = 150.0
"""The alert waited for comes a quarter of a minute after the start, on a machine that is not busy."""


def models_by_topic() -> list[tuple[re.Pattern[str], list[str]]]:
    """Return the models that the AsyncAPI document names for each address, as patterns of topics."""
    document = json.loads((shipped_schemas() / "asyncapi.json").read_text())
    found = []
    for channel in document["channels"].values():
        pattern = re.sub(r"\{\w+\}", "[^/]+", channel["address"])
        found.append((re.compile(f"{pattern}\\Z"), list(channel["messages"])))
    return found


def faults(heard: list[Heard]) -> tuple[list[str], dict[str, int]]:
    """Return what fits no schema, and how many fitted each."""
    checks = {
        path.stem: Draft202012Validator(json.loads(path.read_text()), format_checker=FormatChecker())
        for path in shipped_schemas().glob("[A-Z]*.json")
    }
    topics = models_by_topic()
    wrong, counts = [], dict.fromkeys(checks, 0)
    for one in heard:
        if not one.payload:  # taken away
            continue
        models = [model for pattern, names in topics if pattern.match(one.topic) for model in names]
        fitting = [name for name in models if checks[name].is_valid(one.json())]
        if len(fitting) == 1:
            counts[fitting[0]] += 1
        else:
            wrong.append(f"{one.topic}: {one.payload!r}")
    return wrong, counts


def give(listener: Listener, topic: str, **keys: Any) -> str:
    body = {"message_id": str(uuid4()), "role": "pilot", "by": "Ada", "at": datetime.now(UTC).isoformat()} | keys
    listener.publish(f"watchkeeper/{STATION}/{AIRCRAFT}/{topic}", json.dumps(body).encode())
    return str(body["message_id"])


async def test_every_payload_of_a_drill_fits_the_shipped_schemas(
    broker: Broker, listener: Listener, tmp_path: Path
) -> None:
    event = f"watchkeeper/{STATION}/{AIRCRAFT}/event"
    drill = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "watchkeeper.cli.main", "drill", "four-faults", "--speed", "3", "--mute"),
        *("--mqtt", broker.url, "--station", "slope"),
        cwd=ROOT,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        async with asyncio.timeout(PATIENCE_S):
            await listener.on(f"watchkeeper/{STATION}/{AIRCRAFT}/readings", patience_s=PATIENCE_S)
            ticked = give(listener, "order", action="check", role="post", item="rotor latches")
            called = give(listener, "order", action="test", role="observer")
            unfit = give(listener, "order", action="check", role="post", item="wings")
            assert (await listener.on(event, in_reply_to=ticked)).json()["step"] == "checked"
            assert (await listener.on(event, in_reply_to=called)).json()["step"] == "called"
            assert "no such item" in (await listener.on(event, in_reply_to=unfit)).json()["refused"]
            await listener.on(event, step="given", role="post")
            read = give(listener, "order", action="confirm", role="post")
            assert (await listener.on(event, in_reply_to=read)).json()["role"] == "post"
            raised = {"rule": "satellite-loss", "change": "raised"}
            await listener.on(event, patience_s=PATIENCE_S, **raised)
            seen = give(listener, "alert/satellite-loss/order", action="acknowledge", role="observer")
            answer = (await listener.on(event, in_reply_to=seen)).json()
            assert (answer["state"], answer["acknowledged_by"]) == ("unacknowledged", ["observer"])
        drill.terminate()
        await listener.on(f"watchkeeper/{STATION}/status", state="stopped")
    finally:
        with contextlib.suppress(ProcessLookupError):
            drill.kill()
        await drill.wait()
    wrong, counts = faults([*listener.heard])
    assert wrong == []
    assert all(counts.values()), counts
    ours = [one.json() for one in listener.heard if one.payload and not one.topic.endswith("/order")]
    assert {one["exercise"] for one in ours} == {True}
    assert any(one.json()["rule"] == "watch-test-post" for one in listener.heard if one.topic.endswith("/callout"))
    broken = [
        Heard(one.topic, one.payload[:-1] + b',"x":1}', one.retain, one.qos)
        for one in listener.heard
        if one.payload
    ]
    assert len(faults(broken)[0]) == len(broken)
