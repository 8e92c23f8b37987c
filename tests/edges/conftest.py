"""Fixtures of the edges' tests: a broker of our own, and somebody who listens to it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from tests.conftest import RequireProgram
from tests.edges.mqtt_parts import Broker, Listener
from tests.edges.spool_parts import Desk
from watchkeeper.edges.mqtt import spool as mqtt_spool


@pytest.fixture
def broker(require_program: RequireProgram, tmp_path: Path) -> Iterator[Broker]:
    broker = Broker(require_program("mosquitto"), tmp_path)
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
async def listener(broker: Broker) -> AsyncIterator[Listener]:
    listener = Listener(broker.port)
    await listener.ready()
    yield listener
    listener.close()


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setattr(mqtt_spool, "HAND_OVER_S", 20.0)  # the machine may be busy
    desk = Desk(tmp_path / "state")
    yield desk
    desk.close()
