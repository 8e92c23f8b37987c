"""A sound device for tests that records what it is given: PulseAudio's null sink, read back at its monitor."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from array import array
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from watchkeeper.edges.voice.sound import RATE_HZ

Samples = npt.NDArray[np.float64]
DEVICE = "Recorder"
_START_S = 10.0


def as_samples(sound: bytes) -> Samples:
    """Return 16-bit samples as numbers from -1 to 1."""
    return np.frombuffer(sound, dtype="<i2").astype(float) / 32_768


class RecordingDevice:
    """A sound server of our own whose only device plays to nobody, and a recorder at its monitor.

    `heard` may lag behind what is played, never run ahead of it: from a moment at which it was looked at, what
    came later in the device came within that many samples or less.
    """

    def __init__(self, folder: Path, pulseaudio: str, parec: str) -> None:
        self._socket = folder / "socket"
        env = {**os.environ, "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)}
        sink = f"sink_name=out rate={RATE_HZ} channels=1 sink_properties=device.description={DEVICE}"
        self._server = subprocess.Popen(
            [
                pulseaudio, "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no",
                "--disable-shm=yes",
                "-L", f"module-native-protocol-unix socket={self._socket} auth-anonymous=1",
                "-L", f"module-null-sink {sink}",
            ],
            env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self._env = {**env, "PULSE_SERVER": f"unix:{self._socket}"}
        self._parec = parec
        self._recorder: subprocess.Popen[bytes] | None = None
        self._heard = bytearray()
        self._more = threading.Condition()
        self._listener = threading.Thread(target=self._listen, daemon=True)

    def start(self) -> str:
        """Start recording; returns the server's address. Waits until the device runs."""
        until_s = time.monotonic() + _START_S
        while self._recorder is None or self._recorder.poll() is not None:
            assert time.monotonic() < until_s, "the sound server does not start"
            self._recorder = subprocess.Popen(
                [
                    self._parec, "-d", "out.monitor", f"--rate={RATE_HZ}", "--channels=1", "--format=s16le",
                    "--latency-msec=10", "--raw",
                ],
                env=self._env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            assert self._recorder.stdout is not None
            first = self._recorder.stdout.read(2)  # nothing, if the server was not there yet
            if not first:
                self._recorder.wait(_START_S)
                self._recorder.stdout.close()
        self._listener.start()
        return self._env["PULSE_SERVER"]

    def _listen(self) -> None:
        assert self._recorder is not None
        assert self._recorder.stdout is not None
        while part := os.read(self._recorder.stdout.fileno(), 4096):
            with self._more:
                self._heard += part
                self._more.notify_all()

    def __len__(self) -> int:
        """Return how many samples were heard so far."""
        return len(self._heard) // 2

    def heard(self) -> Samples:
        """Return all samples heard so far."""
        return as_samples(bytes(self._heard[: len(self) * 2]))

    def wait_until_loud(self, since: int, limit_s: float = 20.0) -> bool:
        """Wait for sound in what comes after sample `since`."""
        with self._more:
            return self._more.wait_for(lambda: any(abs(x) > 300 for x in self._after(since)), limit_s)

    def wait_for(self, samples: int, limit_s: float = 20.0) -> bool:
        """Wait until so many samples were heard in all."""
        with self._more:
            return self._more.wait_for(lambda: len(self) >= samples, limit_s)

    def _after(self, since: int) -> Iterator[int]:
        return iter(array("h", bytes(self._heard[2 * since : 2 * len(self)])))

    def stop(self) -> None:
        """End both processes, and take what was open away."""
        for process in (self._recorder, self._server):
            if process is not None and process.poll() is None:
                process.terminate()
                process.wait(_START_S)
        if self._listener.is_alive():
            self._listener.join(_START_S)
        if self._recorder is not None and self._recorder.stdout is not None:
            self._recorder.stdout.close()
