"""Hears a minder: its real process, on the null device, every sample of which comes to a socket of the test's."""

from __future__ import annotations

import json
import socket
import struct
import subprocess
import sys
from array import array
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from watchkeeper.edges.minder.process import BEAT, SIZE_BYTES
from watchkeeper.edges.voice.synthesiser import worker_environment

PATIENCE_S = 30.0
PATCH = """
import os, socket, struct, sys, time
import miniaudio
to = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
port = int(sys.argv[1])
class Device(miniaudio.PlaybackDevice):
    def __init__(self, **options):
        super().__init__(**{**options, "backends": [miniaudio.Backend.NULL]})
    def start(self, feed):
        def heard():
            frames = yield b""
            while True:
                part = feed.send(frames)
                if any(part):
                    to.sendto(struct.pack("<d", time.monotonic()) + part, ("127.0.0.1", port))
                frames = yield part
        ear = heard()
        next(ear)
        super().start(ear)
miniaudio.PlaybackDevice = Device
"""
"""Time is CLOCK_MONOTONIC: the same in all processes (Linux)."""
RUN = """
from watchkeeper.edges.minder import process as minder_process
for setting in sys.argv[2:]:
    name, value = setting.split("=")
    setattr(minder_process, name, float(value))
minder_process.main()
"""


class Ear:
    """A socket that hears."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_000_000)
        self.port = int(self._socket.getsockname()[1])

    def hear(self, timeout_s: float = PATIENCE_S) -> tuple[float, bytes]:
        """Wait for sound; return when the device was given it, and its samples."""
        self._socket.settimeout(timeout_s)
        data = self._socket.recv(65_536)
        return struct.unpack_from("<d", data)[0], data[8:]

    def hear_through(self, sound: bytes) -> float:
        """Wait until the whole of `sound` has been heard, from its first sample that is not silent on."""
        loud = array("h", sound)
        first = next(n for n, one in enumerate(loud) if one)
        begin_s, heard = self.hear()
        while len(heard) < 2 * (len(loud) - first) // 2:  # parts that are all silent do not come
            heard += self.hear()[1]
        assert sound[2 * first : 2 * first + 600] in heard
        return begin_s

    def close(self) -> None:
        self._socket.close()


@contextmanager
def listening() -> Iterator[Ear]:
    ear = Ear()
    try:
        yield ear
    finally:
        ear.close()


def command(ear: Ear, **settings: float) -> list[str]:
    """Return the command of a minder that `ear` hears; `settings` are constants of its module."""
    given = [f"{name}={value}" for name, value in settings.items()]
    return [sys.executable, "-P", "-c", PATCH + RUN, str(ear.port), *given]


class Minding:
    """A minder's process, with the test in the watch's place."""

    def __init__(self, ear: Ear, sounds: Mapping[str, bytes], marker: Path, **settings: float) -> None:
        self.process = subprocess.Popen(
            command(ear, **settings),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=worker_environment(),
            start_new_session=True,
            bufsize=0,
        )
        head = json.dumps({
            "words": {"died": "Died.", "hung": "Hung."},
            "sounds": {key: len(sound) for key, sound in sounds.items()},
            "terminal": None,
            "marker": str(marker),
        }).encode()  # fmt: skip
        self.tell(b"".join((len(head).to_bytes(SIZE_BYTES, "big"), head, *sounds.values())))
        assert self.process.stdout is not None
        assert self.process.stdout.read(1) == b"r"

    def tell(self, data: bytes = BEAT) -> None:
        assert self.process.stdin is not None
        while data:
            data = data[self.process.stdin.write(data) or 0 :]

    def leave(self) -> None:
        """End as a watch does that is killed."""
        assert self.process.stdin is not None
        self.process.stdin.close()

    def close(self) -> None:
        self.process.kill()
        self.process.wait(10)
        for pipe in (self.process.stdin, self.process.stdout):
            assert pipe is not None
            pipe.close()


@contextmanager
def minding(ear: Ear, sounds: Mapping[str, bytes], marker: Path, **settings: float) -> Iterator[Minding]:
    one = Minding(ear, sounds, marker, **settings)
    try:
        yield one
    finally:
        one.close()
