"""The embedded broker seen from the watch: started in a process of its own, looked after, started again.

A process of its own, at a lower priority: whatever clients do to it, and whatever its library does wrong, costs
the watch neither time nor memory, and the operating system ends it as a whole.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Sequence
from importlib.util import find_spec
from typing import IO, Any, Final

import structlog

from watchkeeper.edges.broker.access import Access
from watchkeeper.edges.place import Place, parse_place
from watchkeeper.edges.reports import Report
from watchkeeper.edges.voice.synthesiser import worker_environment
from watchkeeper.errors import bad_input

PART: Final = "broker"
START_WITHIN_S = 20.0
SILENT_S = 10.0
"""A broker that has not shown that it lives for this long hangs; it does once a second."""
SOUND_AFTER_S = 5.0
LONGEST_PAUSE_S = 30.0
END_WITHIN_S = 0.2
"""The end of the watch does not wait for longer; the process ends by itself, since its input has."""

ENDED: Final = "Message broker of the watch ended. It is being started again."
TAKEN: Final = "Message broker of the watch cannot start: port in use. End the other program."
RUNS: Final = "message broker of the watch runs again"
LIMITS: Final = (
    "speaks MQTT 3.1.1 only, without TLS; keeps the last state of each topic while it runs, and nothing else for "
    "those who are away; at most 200 clients, messages up to 256 kB"
)


def parse_broker_place(text: str) -> Place:
    """Return the place that HOST:PORT names. Raises BadInputError."""
    return parse_place("--broker", text, 1883)


def url_of(place: Place) -> str:
    """Return where the watch itself connects to."""
    return f"mqtt://{place.from_here}"


def require_library() -> None:
    """Raise BadInputError if the library that does the work is not installed."""
    if find_spec("amqtt") is None:
        raise bad_input("--broker: the package amqtt is not installed", "pip install 'watchkeeper[broker]'")


def limits(place: Place) -> str:
    """Return the one line about what the broker does and does not."""
    return f"message broker at {place}: {LIMITS}"


def open_to_network(place: Place, access: Access) -> str:
    """Return what the crew is to know if others can reach the broker; nothing if they cannot."""
    if place.local:
        return ""
    if access.user is None:
        return (
            f"the message broker is open to the network at {place}, without a password: anybody there can read "
            "along; orders are taken from this computer only; for others set user and password in [messages]"
        )
    return (
        f"the message broker is open to the network at {place}: who has the password can read along and give "
        "orders; it crosses the network unencrypted"
    )


def worker_command() -> list[str]:
    """Return the command that starts the broker; -P keeps the folder it starts in out of its imports."""
    return [sys.executable, "-P", "-m", "watchkeeper.edges.broker.worker"]


class EmbeddedBroker:
    """`start` it, let `run` look after it, `close` it last of all."""

    def __init__(
        self, place: Place, access: Access, report: Report, *, command: Sequence[str] | None = None
    ) -> None:
        self._place = place
        self._request = json.dumps(
            {"host": place.host, "port": place.port, "user": access.user, "password": access.password}
        )
        self._report = report
        self._command = worker_command() if command is None else list(command)
        self._process: subprocess.Popen[bytes] | None = None
        self._lines: asyncio.Queue[bytes] = asyncio.Queue()
        self._dropped = 0
        self._runs = False
        self._held: tuple[str, str] | None = None

    @property
    def pid(self) -> int | None:
        """The process that is the broker, if one runs."""
        return self._process.pid if self._process is not None else None

    async def start(self) -> None:
        """Start it. Raises BadInputError if it cannot be."""
        why = await self._launch()
        if why == "in use":
            raise bad_input(f"--broker: {self._place} is in use", "end the other program, or name another port")
        if why:
            raise bad_input(f"--broker: no broker at {self._place}: {why}", "check the address")

    async def run(self) -> None:
        """Start it again whenever it ends or hangs. Ends by cancellation only."""
        log = structlog.get_logger().bind(broker=str(self._place))
        pause_s = 0.0
        said = ""
        while True:
            why, held = await self._while_it_lives(said)
            said = "" if held else said
            pause_s = 0.0 if held else pause_s
            self._runs = False
            log.warning("message broker ended", why=why)
            while True:
                say = TAKEN if why == "in use" else ENDED
                if said != say:
                    said = say
                    self._report(PART, False, say)
                self._end()
                await asyncio.sleep(pause_s)
                pause_s = min(max(2.0 * pause_s, 0.5), LONGEST_PAUSE_S)
                why = await self._launch()
                if not why:
                    break
                log.warning("message broker not started", why=why)

    def shielded(self, report: Report) -> Report:
        """Return `report` for the outlet that uses this broker: while it is down that is told here, and once."""

        def shielded(part: str, ok: bool, text: str) -> None:
            self._held = None
            if ok or self._runs:
                report(part, ok, text)
            else:
                self._held = (part, text)

        return shielded

    async def close(self) -> None:
        """Let it send its last words, and end."""
        process, self._process = self._process, None
        if process is None or process.stdin is None:
            return
        with contextlib.suppress(OSError):
            process.stdin.close()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(END_WITHIN_S):
                while await self._lines.get():
                    pass

    async def _while_it_lives(self, said: str) -> tuple[str, bool]:
        """Return why it no longer does, and whether it had run long enough to count as sound."""
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        told = not said
        while True:
            sound = loop.time() - began_s >= SOUND_AFTER_S
            if sound and not told:
                told = True
                self._report(PART, True, RUNS)
                if self._held is not None:
                    self._report(self._held[0], False, self._held[1])
                    self._held = None
            try:
                async with asyncio.timeout(SILENT_S):
                    line = await self._lines.get()
            except TimeoutError:
                return "hangs", sound
            if not line:
                return "ended", sound
            self._look_at(_parse(line))

    def _look_at(self, words: dict[str, Any]) -> None:
        log = structlog.get_logger().bind(broker=str(self._place))
        if "fault" in words:
            log.warning("message broker has a fault", error=str(words["fault"]))
        dropped = words.get("dropped", 0)
        if isinstance(dropped, int) and dropped and not self._dropped:
            log.warning("message broker drops what the network sends: no password is set")
            self._dropped = dropped

    async def _launch(self) -> str:
        """Start a process; return "" when it listens, else why it does not."""
        loop = asyncio.get_running_loop()
        lines: asyncio.Queue[bytes] = asyncio.Queue()
        self._lines = lines
        try:
            self._process = process = subprocess.Popen(  # noqa: S603, ASYNC220  (our own module; asyncio's subprocesses need another loop on Windows than MQTT does)
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=worker_environment(),
                start_new_session=True,
            )
            assert process.stdin is not None
            assert process.stdout is not None
            threading.Thread(
                target=_carry, args=(process.stdout, loop, lines), name="message broker", daemon=True
            ).start()
            process.stdin.write(self._request.encode() + b"\n")
            process.stdin.flush()
            async with asyncio.timeout(START_WITHIN_S):
                first = _parse(await lines.get())
        except TimeoutError:
            self._end()
            return "it does not start"
        except OSError as error:
            self._end()
            return str(error.strerror).lower()
        except BaseException:
            self._end()
            raise
        if first.get("ready") is not True:
            self._end()
            return str(first.get("error", "it does not start"))
        self._runs = True
        return ""

    def _end(self) -> None:
        """End the process at once, whatever state it is in."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()
        threading.Thread(target=process.wait, name="message broker's end", daemon=True).start()


def _carry(stdout: IO[bytes], loop: asyncio.AbstractEventLoop, lines: asyncio.Queue[bytes]) -> None:
    """Carry lines to the event loop; an empty one is the end."""
    with contextlib.suppress(RuntimeError), stdout:  # the loop may have ended
        while line := stdout.readline(4096):
            loop.call_soon_threadsafe(lines.put_nowait, line)
        loop.call_soon_threadsafe(lines.put_nowait, b"")


def _parse(line: bytes) -> dict[str, Any]:
    try:
        words = json.loads(line)
    except ValueError:
        return {}
    return words if isinstance(words, dict) else {}
