"""Parameters out of a text, a log or a record folder: which it is, whose they are, what to do without any."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import pytest

from tests.aircraft.feeder import ARDUPILOT, GENERIC, Sender
from tests.aircraft.test_settings import AN_ARDUPILOT, simulated
from tests.conftest import RequireData
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.parameters import BYTEWISE, CAST
from watchkeeper.edges.records.parameters_of import parameters_of
from watchkeeper.edges.records.recorder import Recorder
from watchkeeper.errors import BadInputError, Fault
from watchkeeper.link.recording import record

START_US = 1_777_887_000_000_000
S = 1_000_000


def no_report(part: str, ok: bool, text: str) -> None:
    raise AssertionError((part, ok, text))


def fault_of(path: Path, system: int | None = None) -> Fault:
    with pytest.raises(BadInputError) as raised:
        parameters_of(path, system)
    (fault,) = raised.value.faults
    assert fault.file == str(path)
    assert fault.do
    return fault


def beats(sender: Sender, autopilot: int = GENERIC) -> list[bytes]:
    fields = {"type": 2, "autopilot": autopilot, "base_mode": 1, "system_status": 4, "mavlink_version": 3}
    return [sender.pack("HEARTBEAT", **fields) for _ in range(2)]


def told(sender: Sender, values: dict[str, float | None], whole: frozenset[str] = frozenset()) -> list[bytes]:
    """Return a PARAM_VALUE each; those of `whole` as integers byte for byte."""
    frames = []
    for name, value in values.items():
        assert value is not None
        raw = struct.pack("<i", round(value)) if name in whole else struct.pack("<f", value)
        kind = 6 if name in whole else 9
        (number,) = struct.unpack("<f", raw)
        frames.append(
            sender.pack("PARAM_VALUE", param_id=name, param_value=number, param_type=kind, param_count=len(values))
        )
    return frames


def log(path: Path, *frames: bytes) -> Path:
    path.write_bytes(b"".join(record(START_US + i * 10_000, raw) for i, raw in enumerate(frames)))
    return path


def test_a_text_is_known_by_what_is_in_it(tmp_path: Path) -> None:
    text = tmp_path / "looks-like.tlog"
    text.write_bytes(b"\xef\xbb\xbfreturn.order = 123456 # H\xc3\xb6he\r\nreturn.height_m = 40\r\n")
    seen = parameters_of(text)
    assert seen.values == {"return.order": 123456.0, "return.height_m": 40.0}
    assert (seen.source, seen.autopilot, seen.complete) == (str(text), GENERIC, False)
    sender = Sender()
    recording = log(tmp_path / "looks-like.txt", *beats(sender), *told(sender, simulated()))
    assert parameters_of(recording).values == pytest.approx(simulated())


def test_faults_of_a_text_keep_their_places(tmp_path: Path) -> None:
    text = tmp_path / "own.txt"
    text.write_text("A 1\nB x\n", encoding="utf-8")
    assert (fault_of(text).line, fault_of(text).column) == (2, 3)
    text.write_bytes(b"A 1\nB \xe9 2\n")
    assert (fault_of(text).line, fault_of(text).column) == (2, 3)
    assert "neither UTF-8 text nor a recording" in fault_of(text).what


def test_hostile_files(tmp_path: Path) -> None:
    bad = tmp_path / "bad"
    assert "no such file" in fault_of(bad).what
    bad.write_bytes(b"")
    assert "holds no parameters" in fault_of(bad).what
    bad.write_text("A 1\n", encoding="utf-16")
    assert "UTF-8" in fault_of(bad).what
    bad.write_bytes(bytes(range(256)) * 40)
    assert "not a telemetry log" in fault_of(bad).what
    with bad.open("wb") as file:
        file.write(b"A 1\n" * 2_000_000)
    assert "larger than" in fault_of(bad).what
    (tmp_path / "empty").mkdir()
    assert "holds no recording" in fault_of(tmp_path / "empty").what
    os.mkfifo(tmp_path / "pipe")
    assert "is not a file" in fault_of(tmp_path / "pipe").what


@pytest.mark.parametrize("encoding", [CAST, BYTEWISE])
def test_a_recording_tells_kind_version_and_coding(tmp_path: Path, encoding: int) -> None:
    sender = Sender()
    values = {**AN_ARDUPILOT, "RTL_ALT": 3000.0}
    version = sender.pack(
        "AUTOPILOT_VERSION", capabilities=encoding, flight_sw_version=4 << 24 | 3 << 16 | 255, uid2=[0] * 18
    )
    whole = frozenset({"RTL_ALT", "FS_THR_ENABLE"}) if encoding == BYTEWISE else frozenset()
    seen = parameters_of(log(tmp_path / "a", *beats(sender, ARDUPILOT), version, *told(sender, values, whole)))
    assert (seen.autopilot, seen.version, seen.vehicle) == (ARDUPILOT, 4 << 24 | 3 << 16 | 255, 2)
    assert (seen.complete, seen.total) == (True, len(values))
    assert seen.values == pytest.approx(values)
    assert settings_of(seen).return_height_m.number == 30.0
    assert settings_of(seen).control_lost_action.word == "return"


def test_half_a_list_is_not_complete(tmp_path: Path) -> None:
    sender = Sender()
    frames = told(sender, simulated())
    seen = parameters_of(log(tmp_path / "a", *beats(sender), *frames[:20]))
    assert (len(seen.values), seen.total, seen.complete) == (20, len(frames), False)


def test_of_several_aircraft_one_is_picked(tmp_path: Path) -> None:
    one, two, silent = Sender(7), Sender(9), Sender(11)
    both = log(
        tmp_path / "both",
        *beats(one), *beats(two), *beats(silent),
        *told(one, {"return.order": 1.0}), *told(two, {"return.order": 2.0}),
    )  # fmt: skip
    assert parameters_of(both, 7).values == {"return.order": 1.0}
    assert parameters_of(both, 9).values == {"return.order": 2.0}
    assert fault_of(both).what == "holds parameters of systems 7, 9"
    assert fault_of(both, 11).what == "holds no parameters of system 11, but of systems 7, 9"
    only = log(tmp_path / "only", *beats(one), *beats(silent), *told(one, {"return.order": 1.0}))
    assert parameters_of(only).values == {"return.order": 1.0}


def test_without_parameters_it_says_how_to_get_them(tmp_path: Path) -> None:
    silent = log(tmp_path / "a", *beats(Sender(7)))
    assert fault_of(silent).what == "holds no parameters of system 7"
    assert "let the ground station load the parameters" in fault_of(silent).do
    stranger = log(tmp_path / "b", *told(Sender(7), {"return.order": 1.0}))  # no heartbeat: nobody's
    assert fault_of(stranger).what == "holds no parameters of any aircraft"


def test_a_folder_that_a_watch_still_writes(tmp_path: Path) -> None:
    sender = Sender()
    frames = [*beats(sender), *told(sender, {**simulated(), "return.height_m": 55.0})]
    recorder = Recorder(tmp_path, no_report, START_US)
    for i, raw in enumerate(frames):
        recorder.received("udp://127.0.0.1:14570", raw, START_US + i * 10_000)
    recorder.close(START_US + 9 * S)
    (path,) = tmp_path.glob("*.tlog")
    whole = path.read_bytes()
    assert parameters_of(tmp_path).values["return.height_m"] == 55.0
    assert parameters_of(tmp_path).complete
    path.write_bytes(whole[: len(whole) * 2 // 3])  # as far as the disk has it by now
    (tmp_path / "sources.json").unlink()
    seen = parameters_of(tmp_path)
    assert 10 < len(seen.values) < len(frames) - 2
    assert not seen.complete
    assert any("ends within a frame" in remark for remark in seen.remarks)


def test_parameters_from_before_a_restart_are_kept_and_that_is_said(tmp_path: Path) -> None:
    sender = Sender()

    def at(boot_s: float) -> bytes:
        return sender.pack("SYSTEM_TIME", time_boot_ms=round(boot_s * 1000))

    frames = [(0.0, raw) for raw in [*beats(sender), at(500.0), *told(sender, {"return.order": 1.0})]]
    frames += [(20.0 + i, raw) for i in range(12) for raw in [*beats(sender), at(3.0 + i)]]
    path = tmp_path / "a"
    path.write_bytes(b"".join(record(START_US + round(s * S), raw) for s, raw in frames))
    seen = parameters_of(path)
    assert seen.values == {"return.order": 1.0}
    assert any("powered up anew" in remark for remark in seen.remarks)


def test_real_recordings(require_data: RequireData) -> None:
    seen: SeenParameters = parameters_of(require_data("flights/quad-return-61m.tlog"))
    assert (seen.autopilot, seen.vehicle, len(seen.values), seen.total) == (ARDUPILOT, 2, 772, 797)
    assert settings_of(seen).return_height_m.number == 15.0
    assert parameters_of(require_data("flights/quad-radio-a.tlog")).complete
