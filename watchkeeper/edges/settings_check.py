"""Compares the aircraft's fail-safe settings with what today asks, once all parameters were seen on the ground.

That is the brief's work and takes seconds, so that it is done by a process of its own; its answer goes into the
engine as an order, which a recording holds.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Final

import structlog

from watchkeeper.aircraft.files import AircraftFile, Packs, SortieFile
from watchkeeper.aircraft.ledger import Ledger
from watchkeeper.aircraft.parameter_text import SeenParameters
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.alerts.events import Order
from watchkeeper.brief.make import Given, make
from watchkeeper.edges.reports import Report
from watchkeeper.engine import Engine
from watchkeeper.estimate.packs.packtoday import packs_today

PART: Final = "settings"
LOOK_EVERY_S: Final = 1.0
LONGEST_S: Final = 180.0
"""A plan of five hundred points takes half of that on a slow machine."""
CANNOT: Final = "Settings cannot be compared with today's."
_GROUND: Final = frozenset({"on_ground", "armed", "landed", None})


def misfits(given: Given) -> list[str]:
    """Return what does not fit today, in words, a setting a line."""
    settings = make(given).settings
    if settings is None:
        return []
    rows = [row for row in settings.rows if row.verdict == "differs"]
    return [f"{row.name} {row.has}, today asks {row.asked}" for row in rows]


class SettingsCheck:
    """Looks for complete parameters, and hands in how they compare."""

    def __init__(
        self,
        engine: Engine,
        order: Callable[[Order], object],
        report: Report,
        sortie: SortieFile,
        ledger: Ledger | None,
        look_every_s: float = LOOK_EVERY_S,
    ) -> None:
        self._engine = engine
        self._order = order
        self._report = report
        self._sortie = sortie
        self._ledger = ledger
        self._look_every_s = look_every_s
        self._done: dict[int, tuple[int, int, bool]] = {}

    async def run(self) -> None:
        """Look until cancelled. Ends when the comparing process cannot work; that is reported."""
        loop = asyncio.get_running_loop()
        pool = ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))
        try:
            while True:
                await asyncio.sleep(self._look_every_s)
                for system in self._engine.systems():
                    aircraft = self._engine.aircraft(system)
                    if not self._is_new(aircraft):
                        continue
                    if not aircraft.parameters.complete:
                        self._hand(system, ok=False, found=())
                        continue
                    job = loop.run_in_executor(pool, misfits, self._given(aircraft))
                    try:
                        found = await asyncio.wait_for(job, LONGEST_S)
                    except (BrokenProcessPool, TimeoutError):
                        raise
                    except Exception:  # noqa: BLE001 - whatever a brief fails of, the watch goes on
                        structlog.get_logger().exception("settings not compared", aircraft=system)
                        self._report(PART, False, CANNOT)
                        self._hand(system, ok=False, found=())
                    else:
                        self._report(PART, True, "")
                        self._hand(system, ok=True, found=found)
        except (BrokenProcessPool, TimeoutError, OSError):
            self._report(PART, False, CANNOT)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)

    def _is_new(self, aircraft: Aircraft) -> bool:
        """Whether there is something to compare that was not, on the ground, and it has come to rest."""
        if aircraft.tracker.phase not in _GROUND:
            return False
        parameters = aircraft.parameters
        seen = aircraft.power_up, parameters.changes, parameters.complete
        if self._done.get(aircraft.system) == seen:
            return False
        before = self._done.get(aircraft.system)
        self._done[aircraft.system] = seen
        return parameters.complete or before is None or before[2]

    def _given(self, aircraft: Aircraft) -> Given:
        found, file = aircraft.parameters, aircraft.file
        seen = SeenParameters(
            "telemetry",
            aircraft.autopilot,
            found.version,
            aircraft.vehicle,
            dict(found.values),
            found.complete,
            found.total,
        )
        return Given(self._sortie, file, _packs(file, self._sortie, self._ledger), seen, None, time.time())

    def _hand(self, system: int, *, ok: bool, found: Sequence[str]) -> None:
        self._order(Order(action="settings", aircraft=system, role="watch", ok=ok, text="\n".join(found)))


def _packs(file: AircraftFile | None, sortie: SortieFile, ledger: Ledger | None) -> Sequence[Packs]:
    return packs_today(file.packs if file is not None else Packs(), ledger, sortie.fitted)
