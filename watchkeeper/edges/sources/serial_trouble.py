"""What can be wrong with a serial port, by what pyserial and the systems raise."""

from __future__ import annotations

import errno
from typing import Final

from watchkeeper.edges.sources.stream_health import Trouble

MISSING: Final = Trouble(
    "no such device",
    "{}: serial device missing. Plug it in.",
    "plug it in; if its name changes, name its link in /dev/serial/by-id",
)
GONE: Final = Trouble("the device is gone", MISSING.say, MISSING.do)
HANGS: Final = Trouble(
    "the device hangs while it is opened",
    "{}: serial device hangs. Plug it in anew.",
    "unplug it and plug it in again",
)
NOT_SERIAL: Final = Trouble(
    "not a serial port",
    "{}: not a serial port. Check its name.",
    "name a device such as /dev/ttyUSB0, or its link in /dev/serial/by-id",
    lasting=True,
)
BUSY: Final = Trouble(
    "the port is in use by another program",
    "{}: serial port busy. End the other program.",
    "end the other program, or let it copy its stream to udp://127.0.0.1:14570",
    lasting=True,
)
RUBBISH: Final = Trouble(
    "bytes come, but no MAVLink among them",
    "{}: no MAVLink. Check the baud rate.",
    "give the rate of the radio or the aircraft's port, like ?baud=115200; 57600 is taken without one",
)
_ABSENT: Final = frozenset({errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO})
"""EIO: a name without hardware behind it, on Linux."""
_NOT_PERMITTED: Final = frozenset({errno.EACCES, errno.EPERM})
_IN_USE: Final = frozenset({errno.EBUSY, errno.EAGAIN})
_NO_TERMINAL: Final = frozenset({errno.ENOTTY, errno.EINVAL})


def of_opening(error: Exception, user: str, group: str) -> Trouble:
    """Return what an error while opening means. `group` may use the device on this system, if one is known."""
    number = _number(error)
    text = str(error)
    if isinstance(error, ValueError) or "baud" in text.lower():
        return Trouble(
            f"it does not take this rate: {text}",
            "{}: baud rate not possible. Check it.",
            "give a rate that it takes, like ?baud=57600",
            lasting=True,
        )
    if number in _ABSENT or "FileNotFoundError" in text:
        return MISSING
    if number in _IN_USE or "PermissionError" in text:  # Windows refuses access to a port that is in use
        return BUSY
    if number in _NOT_PERMITTED:
        who = f"sudo usermod -aG {group} {user}, then log in anew" if group not in ("", "root") else ""
        return Trouble(
            "no permission to use it",
            "{}: serial port not permitted. See the log.",
            who or "let your user read and write this device",
            lasting=True,
        )
    if number in _NO_TERMINAL:
        return NOT_SERIAL
    return Trouble(text or repr(error), "{}: serial port fails. See the log.", "unplug it and plug it in again")


def of_reading(error: Exception) -> Trouble:
    """Return what an error while reading means: nearly always that the device was unplugged."""
    text = str(error)
    if "returned no data" in text or "[Errno 5]" in text or "[Errno 6]" in text:
        return GONE  # how pyserial tells of a hung-up port: the end, EIO, ENXIO
    return Trouble(text or repr(error), GONE.say, GONE.do)


def _number(error: BaseException) -> int | None:
    """Return the system's number of an error; pyserial hides some in what it was raised from."""
    if isinstance(error, OSError) and error.errno:
        return error.errno
    cause = error.__context__
    known = cause if cause is not None else error
    first = known.args[0] if known.args else None
    return first if isinstance(first, int) else None
