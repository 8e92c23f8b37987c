"""Files that must not be torn: appended to while the disk is full for a while, read whole, named for good."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path


def read_whole(path: Path, most: int) -> bytes:
    """Return a file's content. OSError if it cannot be read; ValueError for what is no file, or larger."""
    fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)  # a pipe would keep us waiting
    with os.fdopen(fd, "rb") as file:
        if not stat.S_ISREG(os.fstat(fd).st_mode):
            raise ValueError("no file")
        data = file.read(most + 1)
    if len(data) > most:
        raise ValueError(f"too large (more than {most} bytes)")
    return data


def settle_names(folder: Path) -> None:
    """Make the names in a folder last. Not every file system can; then they last a little later."""
    with contextlib.suppress(OSError):
        fd = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)


class AppendFile:
    """Appends to one file; what could not be written waits and is written first next time."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._fd: int | None = None
        self._rest = b""
        self._unsynced = False

    def write(self, data: bytes) -> None:
        """Write everything that waits and `data`. OSError leaves the rest waiting.

        After an error the file is opened anew: its disk may have been taken out and put back.
        """
        self._rest += data
        try:
            if self._fd is None:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                self._fd = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)
            while self._rest:
                self._rest = self._rest[os.write(self._fd, self._rest) :]
                self._unsynced = True
        except OSError:
            self.close()
            raise

    @property
    def waiting(self) -> int:
        """Bytes not yet taken by the operating system."""
        return len(self._rest)

    def sync(self) -> None:
        """Ask the disk to make everything last; may take its time."""
        if self._unsynced and self._fd is not None:
            self._unsynced = False
            with contextlib.suppress(
                OSError
            ):  # a pipe or device cannot; an error of the disk shows with the next write
                os.fsync(self._fd)

    def close(self) -> None:
        """Close the file; what waits is given up."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            with contextlib.suppress(OSError):  # some disks tell only now that an earlier write failed
                os.close(fd)
