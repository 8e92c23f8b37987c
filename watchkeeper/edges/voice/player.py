"""Sound out: feeds the sound device from memory, so that what is being said can be stopped at once."""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import sys
import threading
import time
from collections.abc import Callable, Generator, Sequence
from functools import cache
from typing import Any, TypeVar

import miniaudio

from watchkeeper.edges.voice.mix import Mix
from watchkeeper.edges.voice.sound import RATE_HZ

PERIOD_MS = 20
PERIODS = 3
"""What has been handed to the device (at most PERIODS * PERIOD_MS) can no longer be taken back."""
OPEN_TIMEOUT_S = 5.0
CLOSE_TIMEOUT_S = 0.4
_SILENT = (miniaudio.Backend.NULL, miniaudio.Backend.CUSTOM)

_T = TypeVar("_T")
_Generator = Generator[bytes, int, None]


class NoDeviceError(Exception):
    """No sound device could be opened; the text says why."""


class Player:
    """One sound device, open while it works, fed with silence between callouts.

    Opening and closing happen in threads of their own, for a sound system that hangs must hold nobody up.
    """

    absent = "no sound device"

    def __init__(
        self,
        backends: Sequence[miniaudio.Backend] | None = None,
        *,
        device: str | None = None,
        open_timeout_s: float = OPEN_TIMEOUT_S,
    ) -> None:
        """`backends` of None are all but the null one, which plays to nobody; `device` of None: the usual one."""
        self._backends = [b for b in miniaudio.Backend if b not in _SILENT] if backends is None else list(backends)
        self._name = device
        self._open_timeout_s = open_timeout_s
        self._device: Any = None
        self._opening: asyncio.Future[Any] | None = None
        self._mix = Mix()
        self._asked = threading.Event()
        self.asked_s = 0.0
        """When the device last asked for samples, by time.monotonic."""
        self.others: tuple[str, ...] | None = None
        """None while the wished device plays; else the names of those that there are instead."""

    @property
    def is_open(self) -> bool:
        """There is a device to play on."""
        return self._device is not None

    async def open(self) -> None:
        """Open the system's default device and see that it plays. Raises NoDeviceError.

        While an earlier try hangs, waits for that one: there is never more than one thread that hangs.
        """
        if self._device is not None:
            return
        if self._opening is None:
            self._asked.clear()
            self._opening = _in_thread(self._make)
        try:
            async with asyncio.timeout(self._open_timeout_s):
                self._device = await asyncio.shield(self._opening)
        except TimeoutError:
            raise NoDeviceError("the sound system does not answer") from None
        except miniaudio.MiniaudioError as error:
            self._opening = None
            raise NoDeviceError(str(error)) from None
        self._opening = None

    async def wished_device_is_there(self) -> bool:
        """Return whether the device of the wished name could be opened now."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(self._open_timeout_s):
                return (await _in_thread(lambda: _find(self._name, self._backends)))[1] is not None
        return False

    def play(self, sound: bytes) -> asyncio.Future[None]:
        """Play samples from now on, instead of what is being played. The future ends with the last of them."""
        return self._mix.play(sound)

    def stop(self) -> None:
        """Fade away from the device's next call on, at most PERIOD_MS from now."""
        self._mix.stop()

    async def close(self) -> None:
        """Give the device back. One that does not go is left behind."""
        device, self._device = self._device, None
        self._mix.stop()
        self._mix = Mix()  # a device that is left behind keeps the old one
        opening, self._opening = self._opening, None
        if opening is not None:
            opening.add_done_callback(_let_go)
        if device is not None:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(CLOSE_TIMEOUT_S):
                    await _in_thread(device.close)

    def _make(self) -> Any:
        """Open a device and see that it plays. Blocks."""
        _silence_alsa()
        backends, found, names = _find(self._name, self._backends)
        self.others = names if self._name is not None and found is None else None
        feed = self._feed()
        next(feed)
        device = miniaudio.PlaybackDevice(
            output_format=miniaudio.SampleFormat.SIGNED16,
            nchannels=1,
            sample_rate=RATE_HZ,
            buffersize_msec=PERIOD_MS,
            callback_periods=PERIODS,
            device_id=found,
            backends=backends,
            app_name="watchkeeper",
        )
        device.start(feed)
        if not self._asked.wait(self._open_timeout_s / 2):
            device.close()
            raise miniaudio.MiniaudioError("the sound device plays nothing")
        return device

    def _feed(self) -> _Generator:
        """Run in the device's thread: give it as many samples as it asks for."""
        mix = self._mix
        frames = yield b""
        self._asked.set()
        while True:
            self.asked_s = time.monotonic()
            frames = yield mix.take(frames)


def _find(
    name: str | None, backends: Sequence[miniaudio.Backend]
) -> tuple[Sequence[miniaudio.Backend], Any, tuple[str, ...]]:
    """Return where the device of that name is found, its id, and the names of all devices there are.

    Without a name, or a device of that name: all `backends`, and no id.
    """
    names: dict[str, None] = {}
    for backend in backends if name is not None else ():
        with contextlib.suppress(miniaudio.MiniaudioError):
            for one in miniaudio.Devices([backend]).get_playbacks():
                if one["name"] == name:
                    return [backend], one["id"], tuple(names)
                names[one["name"]] = None
    return backends, None, tuple(names)


def _let_go(opening: asyncio.Future[Any]) -> None:
    """Give back a device that came too late."""
    if not opening.cancelled() and opening.exception() is None:
        threading.Thread(target=opening.result().close, name="sound device", daemon=True).start()


def _in_thread(work: Callable[[], _T]) -> asyncio.Future[_T]:
    """Run blocking work in a daemon thread: unlike an executor's, the program's end does not wait for it."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[_T] = loop.create_future()
    future.add_done_callback(lambda one: one.cancelled() or one.exception())  # nobody may be waiting any more

    def settle(result: _T | None, error: Exception | None) -> None:
        if future.done():
            return
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(result)  # type: ignore[arg-type]  # without an error there is a result

    def run() -> None:
        result, error = None, None
        try:
            result = work()
        except Exception as fault:  # noqa: BLE001  (carried to whoever waits)
            error = fault
        with contextlib.suppress(RuntimeError):  # the loop has ended: nobody waits
            loop.call_soon_threadsafe(settle, result, error)

    threading.Thread(target=run, name="sound device", daemon=True).start()
    return future


@cache
def _silence_alsa() -> Any:
    """Keep ALSA from writing to the terminal on its own; without a sound card it writes dozens of lines.

    Returns the handler, which must live as long as the library.
    """
    if not sys.platform.startswith("linux"):
        return None
    handler = ctypes.CFUNCTYPE(
        None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p
    )(lambda *_: None)
    try:
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(handler)
    except (OSError, AttributeError):
        return None
    return handler
