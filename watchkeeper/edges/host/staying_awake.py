"""Asks the computer not to fall asleep by itself while a watch runs, and says so where it cannot be had.

The computer's own settings are left alone: what is asked for ends with the process that asks. Closing the lid or
choosing to sleep stays with people. On Linux a lock of systemd-logind ("sleep:idle", systemd-inhibit(1)): desktops
ask logind for sleep, which then refuses. On macOS caffeinate(8). Elsewhere nothing is asked.
"""

from __future__ import annotations

import asyncio
import contextlib
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

import structlog

from watchkeeper.edges.reports import Report

PART = "sleep"
MAY_SLEEP = "Computer may fall asleep. Switch its sleep off before flight."
HELD_AFTER_S = 2.0
"""A lock that is refused ends its process at once; one that has lasted this long is held."""
AGAIN_AFTER_S = 60.0
_STATES = Path("/sys/power/state")
_ASLEEP = {"freeze", "standby", "mem", "disk"}


def command(platform: str = sys.platform) -> list[str] | None:
    """Return the command that holds the computer awake until its standard input ends; None where there is none."""
    if platform.startswith("linux") and (program := shutil.which("systemd-inhibit")):
        why = "--why=telemetry is being watched"
        return [program, "--what=sleep:idle", "--mode=block", "--who=watchkeeper", why, "cat"]
    if platform == "darwin" and (program := shutil.which("caffeinate")):
        return [program, "-i", "cat"]
    return None


def may_sleep(states: Path = _STATES) -> bool:
    """Return whether the system knows how to sleep at all (Linux, sysfs power/state); False where not told."""
    try:
        return bool(_ASLEEP & set(states.read_text(encoding="ascii").split()))
    except (OSError, ValueError):
        return False


class StayingAwake:
    """Holds the lock; `run` is one of the watch's tasks."""

    def __init__(
        self,
        report: Report,
        *,
        holding: Sequence[str] | None = None,
        states: Path = _STATES,
        held_after_s: float = HELD_AFTER_S,
        again_after_s: float = AGAIN_AFTER_S,
    ) -> None:
        """Use the system's own command unless `holding` is given; the rest is for tests."""
        self._report = report
        self._command = command() if holding is None else list(holding)
        self._states = states
        self._held_after_s = held_after_s
        self._again_after_s = again_after_s
        self._told = False

    async def run(self) -> None:
        """Hold the lock until cancelled; try again where it is refused or lost."""
        while True:
            if self._command is not None:
                try:
                    await self._hold(self._command)
                except OSError as error:
                    structlog.get_logger().debug("no lock against sleep", error=str(error))
            if not self._told and await asyncio.to_thread(may_sleep, self._states):
                self._told = True
                self._report(PART, False, MAY_SLEEP)
            await asyncio.sleep(self._again_after_s)

    async def _hold(self, holding: Sequence[str]) -> None:
        """Return when the lock is gone."""
        nowhere = asyncio.subprocess.DEVNULL
        process = await asyncio.create_subprocess_exec(
            *holding, stdin=asyncio.subprocess.PIPE, stdout=nowhere, stderr=nowhere, start_new_session=True
        )
        assert process.stdin is not None
        try:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self._held_after_s):
                    await process.wait()
            if process.returncode is None:
                if self._told:
                    self._told = False
                    self._report(PART, True, "the computer stays awake")
                await process.wait()
        finally:
            process.stdin.close()  # its end, and the lock's, even where this program is killed
            if process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    process.terminate()
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(0.3):
                        await process.wait()
