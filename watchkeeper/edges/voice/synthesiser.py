"""Words into sound: keeps the synthesiser's process, checks what it makes, and starts it anew when it fails."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import subprocess
import sys
import tempfile
from collections import OrderedDict, deque
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import structlog

from watchkeeper.edges.child import LONGEST, Child
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice.sound import VoiceError, as_wav, read_sound

MAX_TEXT = 300
MAX_CACHE_BYTES = 8_000_000
"""Of what was said lately: three minutes."""
MAX_AHEAD_BYTES = 12_000_000
"""Of what was rendered ahead, and is never given up."""
TIMEOUT_S = 2.0
"""One callout renders in hundredths of a second; a process that takes this long hangs."""
START_TIMEOUT_S = 10.0
_KILLED_WITHIN_S = 0.5
_MEMORY = Path("/dev/shm")  # noqa: S108  (files go into a folder of our own in it)
_HOME = Path(__file__).resolve().parents[3]


def _folders() -> list[Path]:
    """Return where sound may be written: in memory where there is such a place, for no disk is full there."""
    return [*([_MEMORY] if _MEMORY.is_dir() else []), Path(tempfile.gettempdir())]


def worker_command() -> list[str]:
    """Return the command that starts the synthesiser; -P keeps the folder it starts in out of its imports."""
    return [sys.executable, "-P", "-m", "watchkeeper.edges.voice.worker"]


def worker_environment() -> dict[str, str]:
    """Return the environment in which the synthesiser finds this package, installed or not."""
    path = os.pathsep.join(filter(None, (str(_HOME), os.environ.get("PYTHONPATH"))))
    return {**os.environ, "PYTHONPATH": path}


def request_line(number: int, text: str, path: Path, options: VoiceOptions) -> bytes:
    """Return the request to render `text` (control characters dropped) to `path`."""
    request = {
        "id": number,
        "text": text,
        "path": str(path),
        "language": options.language,
        "rate_wpm": options.rate_wpm,
        "volume": options.volume,
    }
    return json.dumps(request).encode() + b"\n"


def clean(text: str) -> str:
    """Return one line of at most MAX_TEXT printable characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:MAX_TEXT]


def render_wav(
    text: str, path: Path, options: VoiceOptions | None = None, *, timeout_s: float = START_TIMEOUT_S
) -> None:
    """Render words to a WAV file in a process of their own, and wait for it. Raises VoiceError.

    The file holds the samples as they are played: levelled, without silence around the words.
    """
    options = VoiceOptions() if options is None else options
    text = clean(text)
    path.unlink(missing_ok=True)
    line = request_line(1, text, path.absolute(), options)
    try:
        done = subprocess.run(  # noqa: S603  (our own module by this interpreter)
            worker_command(),
            input=line,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=worker_environment(),
            timeout=timeout_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise VoiceError(f"the synthesiser took longer than {timeout_s:g} s") from None
    _check_reply(done.stdout.splitlines()[-1] if done.stdout else b"", 1)
    path.write_bytes(as_wav(read_sound(path, text, options.rate_wpm)))


class Synthesiser:
    """One process that renders one callout at a time; who comes while it works waits."""

    def __init__(
        self,
        options: VoiceOptions,
        *,
        command: Sequence[str] | None = None,
        timeout_s: float = TIMEOUT_S,
        start_timeout_s: float = START_TIMEOUT_S,
        mended: Callable[[], None] = lambda: None,
        folders: Sequence[Path] | None = None,
    ) -> None:
        """Call `mended` where a failure has been made good by a fresh process.

        `folders` are those for its files, in turn, one after a failure with the other.
        """
        self._mended = mended
        self._folders = deque(_folders() if folders is None else folders)
        self.starts = 0
        self.language: str | None = None
        """What was spoken last: not what was asked for, if there is no such voice."""
        self._options = options
        self._command = worker_command() if command is None else list(command)
        self._timeout_s = timeout_s
        self._start_timeout_s = start_timeout_s
        self._process: Child | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._number = 0
        self._cache: OrderedDict[str, bytes] = OrderedDict()
        self._cached_bytes = 0
        self._ahead: dict[str, bytes] = {}
        self._ahead_bytes = 0
        self._turn = asyncio.Lock()

    @property
    def pid(self) -> int | None:
        """The process that renders, if one runs."""
        return self._process.pid if self._process is not None else None

    async def start(self) -> None:
        """Start the process, so that the first callout need not wait for it. Raises VoiceError."""
        async with self._turn:
            await self._start()

    async def _start(self) -> None:
        if self._process is not None and self._process.running:
            return
        await self._kill()
        if self._folder is None:
            try:
                self._folder = tempfile.TemporaryDirectory(prefix="watchkeeper-voice-", dir=self._folders[0])
            except OSError as error:
                raise VoiceError(f"no place for sound: {error.strerror}") from None
        self.starts += 1
        try:
            self._process = Child([*self._command, self._folder.name], worker_environment())
        except OSError as error:
            raise VoiceError(f"the synthesiser does not start: {error.strerror}") from None
        try:
            ready = _parse(await self._line(self._start_timeout_s))
        except BaseException:
            await self._kill()
            raise
        if ready.get("ready") is not True:
            await self._kill()
            raise VoiceError("the synthesiser does not start")

    async def sound(self, text: str, *, cached: bool = True) -> bytes:
        """Return samples (voice_sound) of `text`. A first failure is made good by a fresh process.

        Raises VoiceError when the fresh one fails as well. Takes at most two timeouts and starts.
        """
        known = self.known(text) if cached else None
        if known is not None:
            return known
        text = clean(text)
        async with self._turn:
            try:
                sound = await self._render(text)
            except VoiceError as error:
                structlog.get_logger().warning("synthesiser failed, trying anew", error=str(error))
                self._leave_folder()
                sound = await self._render(text)
                self._mended()
        self._keep(text, sound)
        return sound

    def known(self, text: str) -> bytes | None:
        """Return samples of `text` without rendering, if they are there."""
        text = clean(text)
        if text in self._ahead:
            return self._ahead[text]
        if text in self._cache:
            self._cache.move_to_end(text)
        return self._cache.get(text)

    async def render_ahead(self, text: str) -> bool:
        """Render what may be needed at once, and keep it for good; False when there is no more room.

        Raises VoiceError as `sound` does.
        """
        if clean(text) not in self._ahead:
            sound = await self.sound(text)
            if self._ahead_bytes + len(sound) > MAX_AHEAD_BYTES:
                return False
            self._ahead[clean(text)] = sound
            self._ahead_bytes += len(sound)
            self._drop(clean(text))
        return True

    async def close(self) -> None:
        """End the process and take its files away."""
        await self._kill()
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def _leave_folder(self) -> None:
        """Have the next process write elsewhere: this folder may be full."""
        if self._folder is not None:
            with contextlib.suppress(OSError):
                self._folder.cleanup()
            self._folder = None
        self._folders.rotate(-1)

    async def _render(self, text: str) -> bytes:
        """Render once.

        Whatever goes wrong, cancellation too, ends the process: what it would answer next is not known.
        """
        try:
            await self._start()
            assert self._process is not None
            assert self._folder is not None
            self._number += 1
            path = Path(self._folder.name) / f"{self._number}.wav"
            try:
                self._process.write(request_line(self._number, text, path, self._options))
                line = await self._line(self._timeout_s)
                self.language = _check_reply(line, self._number)
                sound = read_sound(path, text, self._options.rate_wpm)
            finally:
                path.unlink(missing_ok=True)
            if _parse(line).get("last") is True:  # it ends, so the next callout starts another
                await self._kill()
        except OSError as error:
            await self._kill()
            raise VoiceError(f"the synthesiser is gone: {error.strerror}") from None
        except BaseException:
            await self._kill()
            raise
        return sound

    async def _line(self, timeout_s: float) -> bytes:
        assert self._process is not None
        try:
            line = await self._process.line(timeout_s)
        except TimeoutError:
            raise VoiceError(f"the synthesiser took longer than {timeout_s:g} s") from None
        if len(line) > LONGEST:
            raise VoiceError("the synthesiser's reply is too long")
        if not line.endswith(b"\n"):
            raise VoiceError("the synthesiser died")
        return line

    async def _kill(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            await process.kill(_KILLED_WITHIN_S)

    def _keep(self, text: str, sound: bytes) -> None:
        self._drop(text)
        self._cached_bytes += len(sound)
        self._cache[text] = sound
        while self._cached_bytes > MAX_CACHE_BYTES:
            self._cached_bytes -= len(self._cache.popitem(last=False)[1])

    def _drop(self, text: str) -> None:
        self._cached_bytes -= len(self._cache.pop(text, b""))


def _parse(line: bytes) -> Mapping[str, Any]:
    try:
        found = json.loads(line)
    except ValueError:
        raise VoiceError("the synthesiser's reply makes no sense") from None
    if not isinstance(found, dict):
        raise VoiceError("the synthesiser's reply makes no sense")
    return found


def _check_reply(line: bytes, number: int) -> str | None:
    """Return the language spoken. Raises VoiceError."""
    reply = _parse(line)
    if reply.get("id") != number:
        raise VoiceError("the synthesiser answered something else")
    if reply.get("error") is not None:
        raise VoiceError(f"the synthesiser failed: {str(reply['error'])[:200]}")
    language = reply.get("language")
    return language if isinstance(language, str) else None
