"""An aircraft's parameters out of what a crew names: a text, a telemetry log, or a folder of `watch --record`.

Which it is, its content tells: a log's time stamps hold bytes of zero, a text none. A folder may still be written
to by a running watch; then what is there by now is taken.
"""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import Final

from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.parameter_text import MAX_CHARACTERS, SeenParameters, parse_parameters
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.edges.records.folder import Recording, open_recording
from watchkeeper.errors import bad_input
from watchkeeper.link.framing import Framer

_HEAD_BYTES: Final = 1 << 16
_MAX_BYTES: Final = 4 * MAX_CHARACTERS
_HOW: Final = "let the ground station load the parameters while the watch records, and name that recording"
_WIDE: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def parameters_of(path: Path, system: int | None = None) -> SeenParameters:
    """Return the parameters in a text or a recording; of the aircraft `system`, or of the only one that has some.

    Raises BadInputError with what to do.
    """
    return _of_recording(path, system) if _is_recording(path) else _of_text(path)


def _is_recording(path: Path) -> bool:
    name = str(path)
    try:
        if path.is_dir():
            return True
        if not path.exists():
            raise bad_input("no such file", "name a text of parameters, or a recording", file=name)
        if not path.is_file():
            raise bad_input("is not a file", "name a text of parameters, or a recording", file=name)
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        raise bad_input(f"cannot be read: {error.strerror}", "check the file", file=name) from None
    if head.startswith(_WIDE):
        raise bad_input("is not UTF-8 text", "save it as UTF-8", file=name)
    return b"\0" in head


def _of_text(path: Path) -> SeenParameters:
    name = str(path)
    try:
        with path.open("rb") as file:
            data = file.read(_MAX_BYTES + 1)
    except OSError as error:
        raise bad_input(f"cannot be read: {error.strerror}", "check the file", file=name) from None
    if len(data) > _MAX_BYTES:
        raise bad_input(f"is larger than {_MAX_BYTES} bytes", "name the right file", file=name)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        what = "is neither UTF-8 text nor a recording"
        raise bad_input(what, "save it as UTF-8", file=name, line=line, column=column) from None
    return parse_parameters(text, name)


class _Heard:
    """What was heard of one aircraft: its parameters of the latest power-up that had some."""

    def __init__(self) -> None:
        self.parameters: Parameters | None = None
        self.restarted = False
        self.autopilot = 0
        self.vehicle: int | None = None

    def note(self, aircraft: Aircraft) -> None:
        if not aircraft.parameters.values:
            self.restarted = self.parameters is not None
            return
        self.restarted = False
        self.parameters = aircraft.parameters
        self.autopilot, self.vehicle = aircraft.autopilot, aircraft.vehicle


def _of_recording(path: Path, system: int | None) -> SeenParameters:
    recording = open_recording(path)
    heard = _play(recording)
    name = str(path)
    having = {number: one for number, one in heard.items() if one.parameters is not None}
    if not having:
        who = f"of {_systems(heard)}" if heard else "of any aircraft"
        raise bad_input(f"holds no parameters {who}", _HOW, file=name)
    if system is None and len(having) > 1:
        what = f"holds parameters of {_systems(having)}"
        raise bad_input(what, "name the aircraft's file, with its `system`", file=name)
    if system is not None and system not in having:
        what = f"holds no parameters of system {system}, but of {_systems(having)}"
        raise bad_input(what, f"check `system` in the aircraft file, or {_HOW}", file=name)
    number = next(iter(having)) if system is None else system
    return _seen(path, having[number], recording.remarks())


def _play(recording: Recording) -> dict[int, _Heard]:
    """Return what was heard, by system, in order of their numbers."""
    fleet, heard = Fleet(), dict[int, _Heard]()
    framers: dict[str, Framer] = {}
    now_us = 0
    for event in recording.events():
        if event.source is None:
            continue
        now_us = max(now_us, event.time_us)
        framer = framers.get(event.source)
        if framer is None:
            framer = framers[event.source] = Framer()
        for frame in framer.feed(event.data):
            for aircraft in fleet.receive(event.source, frame, now_us):
                heard.setdefault(aircraft.system, _Heard()).note(aircraft)
    return dict(sorted(heard.items()))


def _seen(path: Path, heard: _Heard, remarks: list[str]) -> SeenParameters:
    found = heard.parameters
    assert found is not None
    if heard.restarted:
        remarks = [*remarks, "the aircraft was powered up anew after its parameters were seen"]
    return SeenParameters(
        str(path),
        heard.autopilot,
        found.version,
        heard.vehicle,
        dict(found.values),
        found.complete,
        found.total,
        tuple(remarks),
    )


def _systems(of: dict[int, _Heard]) -> str:
    numbers = ", ".join(str(number) for number in of)
    return f"system {numbers}" if len(of) == 1 else f"systems {numbers}"
