"""The aircraft's settings against today's, by a process of its own: what comes of whole, half and missing lists.

The list is the simulated aircraft's own; that a brief judges it rightly is tested beside the brief.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from tests.aircraft.feeder import GENERIC
from tests.aircraft.test_settings import simulated
from tests.recordings import shipped
from tests.test_engine import T0
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.alerts.events import Order
from watchkeeper.edges import settings_check
from watchkeeper.edges.settings_check import SettingsCheck
from watchkeeper.engine import Engine
from watchkeeper.link.encode import Encoder

SORTIES = Path(__file__).parents[1] / "brief" / "sorties"
SORTIE = load_sortie_file((SORTIES / "flat.yaml").read_text("utf-8"), "flat.yaml")
FILE = load_aircraft_file((SORTIES / "carrier.yaml").read_text("utf-8"), "carrier.yaml")
LONG_S = 120.0


class Bench:
    """An engine that has heard an aircraft on the ground, and the check that looks at it."""

    def __init__(self) -> None:
        self.engine = Engine(shipped(), [FILE], SORTIE)
        self.sender = Encoder(FILE.system or 7, 1)
        self.orders: asyncio.Queue[Order] = asyncio.Queue()
        self.reports: list[tuple[bool, str]] = []
        self.check = SettingsCheck(
            self.engine,
            self.orders.put_nowait,
            lambda _part, ok, text: self.reports.append((ok, text)),
            SORTIE,
            None,
            look_every_s=0.01,
        )
        for second in range(3):
            self.beat(second, landed=1)

    def beat(self, second: float, *, landed: int) -> None:
        encode = self.sender.encode
        armed = 128 if landed == 2 else 0
        data = encode("HEARTBEAT", type=2, autopilot=GENERIC, base_mode=armed, mavlink_version=3)
        data += encode("EXTENDED_SYS_STATE", landed_state=landed)
        self.engine.receive("a", data, T0 + second)

    def parameters(self, values: Mapping[str, float | None], total: int) -> None:
        data = b"".join(
            self.sender.encode(
                "PARAM_VALUE", param_id=name, param_value=value or 0.0, param_type=9, param_count=total
            )
            for name, value in values.items()
        )
        self.engine.receive("a", data, T0 + 3)

    async def during(self, wanted: int) -> list[Order]:
        """Run the check until it has handed in so many orders."""
        running = asyncio.ensure_future(self.check.run())
        try:
            return [await asyncio.wait_for(self.orders.get(), LONG_S) for _ in range(wanted)]
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)


async def test_a_whole_list_is_compared_and_what_differs_is_named() -> None:
    bench = Bench()
    values = simulated({"return.height_m": 5.0})
    bench.parameters(values, len(values))
    [order] = await bench.during(1)
    assert (order.action, order.ok, order.aircraft) == ("settings", True, FILE.system or 7)
    lines = order.text.split("\n")
    assert any(line.startswith("return height") and "5 m" in line for line in lines)
    assert bench.engine.order(order, T0 + 4) == []
    bench.engine.tick(T0 + 6)
    assert any(reason.startswith("Settings. return height") for reason in bench.engine.reasons(FILE.system or 7))


async def test_half_a_list_is_said_not_to_be_compared_and_compared_once_it_is_whole() -> None:
    bench = Bench()
    values = simulated()
    half = dict(list(values.items())[: len(values) // 2])
    bench.parameters(half, len(values))
    [first] = await bench.during(1)
    assert not first.ok
    bench.parameters(values, len(values))
    [second] = await bench.during(1)
    assert second.ok


def broken(_: object) -> list[str]:
    raise ZeroDivisionError("a brief nobody thought of")


@pytest.mark.parametrize("fails", [broken])
async def test_a_brief_that_fails_is_announced_and_harms_nothing(
    monkeypatch: pytest.MonkeyPatch, fails: Callable[[object], list[str]]
) -> None:
    monkeypatch.setattr(settings_check, "misfits", fails)
    bench = Bench()
    values = simulated()
    bench.parameters(values, len(values))
    [order] = await bench.during(1)
    assert not order.ok
    assert bench.reports == [(False, settings_check.CANNOT)]


async def test_nothing_is_compared_in_the_air() -> None:
    bench = Bench()
    bench.beat(4, landed=2)
    bench.beat(5, landed=2)
    values = simulated()
    bench.parameters(values, len(values))
    running = asyncio.ensure_future(bench.check.run())
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(bench.orders.get(), 0.5)
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)
