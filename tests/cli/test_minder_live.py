"""A real watch that is killed, stopped or ended: its minder is heard, or is not, and holds nothing of it."""

from __future__ import annotations

import os
import pty
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.conftest import ROOT
from tests.edges.minder_ear import PATCH, PATIENCE_S, RUN, Ear, listening
from watchkeeper.edges.minder.minder import WORDS

WATCH = """
from watchkeeper.edges.minder import minder
command = [sys.executable, "-P", "-c", os.environ["MINDER"], *sys.argv[1:3]]
minder.minder_command = lambda: command
class Waited(minder.Minder):
    def _heard(self, process, data):
        super()._heard(process, data)
        if data == b".":
            print("minded", self.pid, flush=True)
minder.Minder = Waited
from watchkeeper.cli.main import main
sys.exit(main(sys.argv[3:]))
"""
"""A watch on the null device whose minder is heard by the test, and who prints each beat that is answered."""


class Watched:
    """A watch of our own, minded."""

    def __init__(self, ear: Ear, folder: Path, stderr: int) -> None:
        with (
            socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free,
            socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as nobody,
        ):
            free.bind(("127.0.0.1", 0))
            nobody.bind(("127.0.0.1", 0))
            port, unheard = int(free.getsockname()[1]), str(nobody.getsockname()[1])
        # The watch's own sound goes to a port that nobody hears: PATCH reads the first argument.
        script = PATCH.replace("sys.argv[1]", f"{unheard!r}") + WATCH
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-P", "-c", script, str(ear.port), "REPEAT_EVERY_S=0.2"),
                *("watch", "--from", f"udp://127.0.0.1:{port}"),
            ],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT), "XDG_STATE_HOME": str(folder), "MINDER": PATCH + RUN},
            stdout=subprocess.PIPE,
            stderr=stderr,
            text=True,
        )
        assert self.process.stdout is not None
        self._late = threading.Timer(4 * PATIENCE_S, self.process.kill)
        self._late.start()
        line = ""
        while not line.startswith("minded"):
            line = self.process.stdout.readline()
            assert line, "the watch ended"
        self.minder = int(line.split()[1])
        self._handle = os.pidfd_open(self.minder)  # of this process, never of a later one with its number

    def minder_goes(self) -> bool:
        """Wait for the end of the minder, which is no child of ours."""
        return bool(select.select([self._handle], [], [], PATIENCE_S)[0])

    def close(self) -> None:
        self._late.cancel()
        self.process.kill()
        with suppress(ProcessLookupError):
            signal.pidfd_send_signal(self._handle, signal.SIGKILL)
        os.close(self._handle)
        self.process.wait(10)
        assert self.process.stdout is not None
        self.process.stdout.close()


@contextmanager
def minded(ear: Ear, folder: Path, stderr: int = subprocess.DEVNULL) -> Iterator[Watched]:
    watch = Watched(ear, folder, stderr)
    try:
        yield watch
    finally:
        watch.close()


def test_a_killed_watch_is_sounded_and_said_and_its_terminal_is_free(tmp_path: Path) -> None:
    master, slave = pty.openpty()
    try:
        with listening() as ear, minded(ear, tmp_path, slave) as watch:
            killed_s = time.monotonic()
            watch.process.send_signal(signal.SIGKILL)
            first_s, _ = ear.hear()
            assert first_s - killed_s < 5.0  # 0.2 s on a machine that is not loaded
            assert watch.process.stdout is not None
            watch.process.stdout.read()  # ends: nobody else holds it
            watch.process.wait(PATIENCE_S)
            said = b""
            while WORDS["died"].encode() not in said:
                said += os.read(master, 4096)
            assert os.getsid(watch.minder) == watch.minder
            assert ear.hear()[1]  # it sounds on
            with minded(ear, tmp_path):  # until a watch runs again
                assert watch.minder_goes()
    finally:
        os.close(master)
        os.close(slave)


def test_a_stopped_watch_is_sounded_and_a_clean_end_is_not(tmp_path: Path) -> None:
    with listening() as ear, minded(ear, tmp_path) as watch:
        stopped_s = time.monotonic()
        watch.process.send_signal(signal.SIGSTOP)
        first_s, _ = ear.hear()
        assert 4.0 < first_s - stopped_s < 20.0  # HUNG_AFTER_S after the last beat
        watch.process.send_signal(signal.SIGCONT)
        watch.process.send_signal(signal.SIGTERM)
        assert watch.process.wait(PATIENCE_S) == 0
        assert watch.minder_goes()


def test_a_clean_end_makes_no_sound(tmp_path: Path) -> None:
    with listening() as ear, minded(ear, tmp_path) as watch:
        watch.process.send_signal(signal.SIGINT)
        assert watch.process.wait(PATIENCE_S) == 0
        assert watch.minder_goes()
        try:
            ear.hear(0.01)
        except TimeoutError:
            return
        raise AssertionError("it sounded")
