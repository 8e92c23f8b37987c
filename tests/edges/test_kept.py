"""What was learned, on real files: written all or nothing, read with suspicion, never waited for."""

from __future__ import annotations

import asyncio
import json
import os
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
import structlog
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper import __version__
from watchkeeper.alerts.events import Order
from watchkeeper.edges import kept
from watchkeeper.edges.kept import (
    MAX_AIRCRAFT,
    MAX_AIRCRAFT_BYTES,
    MAX_BYTES,
    Keeper,
    file_bytes,
    kept_file,
    read_kept,
    write_whole,
)
from watchkeeper.edges.records.folder import _LONGEST_LINE

NOW_US = 1_777_887_000_000_000
Reports = asyncio.Queue[tuple[str, bool, str]]


def aircraft(system: int = 7, **other: Any) -> dict[str, Any]:
    return {
        "system": system,
        "saved_us": NOW_US,
        "heard_us": NOW_US - 1,
        "phase": "airborne",
        "started_us": NOW_US - 1_000_000,
        "home": {"latitude_deg": 1.25, "longitude_deg": -31.5, "source": "arming", "height_m": None},
        "learned": {"Part": {"x": 0.1 + 0.2, "n": [1, None, True, "é"]}},
        **other,
    }


def put_and_close(path: Path, *learned: list[dict[str, Any]]) -> list[tuple[str, bool, str]]:
    """Run a keeper that is closed at once; return its reports."""
    reports: list[tuple[str, bool, str]] = []
    keeper = Keeper(path, lambda *report: reports.append(report), lambda _: None)
    for one in learned[:-1]:
        keeper.put({"aircraft": one})
    keeper.close({"aircraft": learned[-1]}, timeout_s=10)
    assert not keeper._thread.is_alive()
    return reports


def content(**other: Any) -> bytes:
    return json.dumps({"format": 1, "watchkeeper": __version__, "aircraft": [aircraft()], **other}).encode()


def test_what_is_written_is_read_to_the_last_digit(tmp_path: Path) -> None:
    path = tmp_path / "new" / "folder" / "learned-ridge.json"
    assert put_and_close(path, [aircraft(7), aircraft(8)]) == []
    assert read_kept(path) == [
        Order("resume", aircraft=7, role="watch", kept=aircraft(7)),
        Order("resume", aircraft=8, role="watch", kept=aircraft(8)),
    ]
    assert json.loads(path.read_text())["format"] == 1
    assert [one.name for one in path.parent.iterdir()] == [path.name]
    assert path.stat().st_mode & 0o077 == 0  # it says where home is


def test_what_is_read_goes_to_the_engine_and_stays_until_there_is_newer(tmp_path: Path) -> None:
    path = tmp_path / "learned.json"
    path.write_bytes(content())
    taken: list[Sequence[Order]] = []
    keeper = Keeper(path, lambda *_: None, taken.append)
    keeper.close({"aircraft": [aircraft(9)]}, timeout_s=10)
    assert [[order.aircraft for order in orders] for orders in taken] == [[7]]
    assert [order.aircraft for order in read_kept(path)] == [9]


def test_with_nobody_in_flight_nothing_is_written_but_an_old_file_is_emptied(tmp_path: Path) -> None:
    path = tmp_path / "folder" / "learned.json"
    assert put_and_close(path, [], []) == []
    assert not path.parent.exists()
    put_and_close(path, [aircraft()])
    put_and_close(path, [])
    assert read_kept(path) == []


def test_a_write_that_fails_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "learned.json"
    write_whole(path, content())

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, b"newer")
    assert path.read_bytes() == content()
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_it_is_on_the_disk_before_it_bears_the_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "learned.json"
    seen: list[tuple[bool, int]] = []
    monkeypatch.setattr(os, "fsync", lambda fd: seen.append((path.exists(), os.fstat(fd).st_size)))
    write_whole(path, b"12345")
    assert seen[0] == (False, 5)
    assert [exists for exists, _ in seen] == [False, True]  # then the folder, in which the name stands


async def test_a_folder_that_cannot_be_written_is_said_once_and_its_end_too(tmp_path: Path) -> None:
    reports = Reports()
    folder = tmp_path / "state"
    folder.write_text("a file, where a folder should be")
    keeper = Keeper(folder / "learned.json", lambda *report: reports.put_nowait(report), lambda _: None)
    keeper.put({"aircraft": [aircraft()]})
    async with asyncio.timeout(5):
        part, ok, text = await reports.get()
    assert (part, ok) == ("learned", False)
    assert text.startswith("Learned state not kept. ")
    keeper.put({"aircraft": [aircraft()]})
    folder.unlink()
    keeper.put({"aircraft": [aircraft()]})
    async with asyncio.timeout(5):
        assert await reports.get() == ("learned", True, "learned state kept again")
    keeper.close({"aircraft": []}, timeout_s=5)
    assert reports.empty()
    assert read_kept(folder / "learned.json") == []


async def test_a_disk_that_hangs_holds_nobody_up_and_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reports = Reports()
    hanging, go_on = threading.Event(), threading.Event()
    written: list[bytes] = []

    def hang(_: Path, data: bytes) -> None:
        hanging.set()
        go_on.wait()
        written.append(data)

    monkeypatch.setattr(kept, "write_whole", hang)
    keeper = Keeper(tmp_path / "x.json", lambda *report: reports.put_nowait(report), lambda _: None, slow_s=0.0)
    keeper.put({"aircraft": [aircraft(1)]})
    assert hanging.wait(5)
    for system in range(2, 200):
        keeper.put({"aircraft": [aircraft(system)]})  # none of these waits, and only the last one is kept
    async with asyncio.timeout(5):
        assert await reports.get() == ("learned", False, "Learned state not kept. Disk slow.")
    assert reports.empty()
    keeper.close({"aircraft": [aircraft(200)]}, timeout_s=0.0)
    go_on.set()
    keeper._thread.join(5)
    assert [json.loads(data)["aircraft"][0]["system"] for data in written] == [1, 200]


def test_what_is_too_large_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "learned.json"
    large = aircraft(8, learned={"Part": {str(n): "x" * 200 for n in range(200)}})
    assert put_and_close(path, [aircraft(7), large]) == [("learned", False, "Learned state not kept. Too large.")]
    assert [order.aircraft for order in read_kept(path)] == [7]
    data, _ = file_bytes({"aircraft": [aircraft(n % 255 + 1) for n in range(MAX_AIRCRAFT + 1)]})
    assert len(json.loads(data)["aircraft"]) == MAX_AIRCRAFT
    assert MAX_AIRCRAFT_BYTES < _LONGEST_LINE - 1000  # else the order would not come back from a recording


NESTED = b'{"format": 1, "aircraft": ' + b"[" * 200_000


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "Expecting value"),
        (b"{", "Expecting"),
        (content()[:-20], "Expecting"),
        (b"\xff\xfe\x00", "codec"),
        (b"[]", "of another format"),
        (b"null", "of another format"),
        (content(format=2), "of another format"),
        (content(watchkeeper="0.0.0"), "of another version"),
        (content(aircraft={}), "no list"),
        (content(aircraft=[aircraft()] * (MAX_AIRCRAFT + 1)), "no list"),
        (content(aircraft=[3]), "valid dictionary"),
        (content(aircraft=[{**aircraft(), "system": "7"}]), "system: "),
        (content(aircraft=[aircraft(0)]), "system: "),
        (content(aircraft=[aircraft(saved_us=1e300)]), "saved_us: "),
        (content(aircraft=[aircraft(learned=[])]), "learned: "),
        (content(aircraft=[aircraft(learned={"x": [0] * 20_000})]), "too much"),
        (content(aircraft=[aircraft(learned={"x": ["y" * 200] * 200})]), "too large"),
        (content(aircraft=[aircraft(learned={"x": [[[[[[[[[1]]]]]]]]]})]), "too deeply"),
        (content().replace(b"1.25", b"NaN"), "NaN is no number"),
        (content().replace(b"1.25", b"-Infinity"), "-Infinity is no number"),
        (content().replace(b"1.25", b"1e999"), "no plain value"),
        (content().replace(b"1.25", b"9" * 5000), "digits"),
        (NESTED, "too deeply"),
        (b" " * (MAX_BYTES + 1), "too large"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_hostile_content_is_refused_with_one_line(tmp_path: Path, data: bytes, why: str) -> None:
    path = tmp_path / "learned.json"
    path.write_bytes(data)
    with pytest.raises(ValueError, match=why):
        read_kept(path)
    taken: list[Sequence[Order]] = []
    with structlog.testing.capture_logs() as logged:
        keeper = Keeper(path, lambda *_: None, taken.append)
        keeper.close({"aircraft": [aircraft(9)]}, timeout_s=10)
    assert [(line["log_level"], line["event"]) for line in logged] == [("warning", "learned state not read")]
    assert taken == []
    assert [order.aircraft for order in read_kept(path)] == [9]  # and it goes on


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: (
            st.lists(inner)
            | st.dictionaries(
                st.sampled_from(["format", "aircraft", "system", "learned", "home"]) | st.text(), inner
            )
        ),
        max_leaves=20,
    )
)
def test_any_other_json_is_refused_in_good_order(tmp_path_factory: pytest.TempPathFactory, found: Any) -> None:
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_text(json.dumps({"format": 1, "watchkeeper": __version__, "aircraft": [found]}))
    with pytest.raises(ValueError, match=r".+"):
        read_kept(path)


@pytest.mark.parametrize("kind", ["pipe", "folder", "closed"])
def test_what_is_no_file_holds_nobody_up(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "learned.json"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to(path)
    with structlog.testing.capture_logs() as logged:
        reports = put_and_close(path, [aircraft()])
    assert len(logged) == 1
    assert [ok for _, ok, _ in reports] == ([False] if kind == "folder" else [])


@pytest.mark.parametrize("station", ["ridge", "..", ".", "x" * 64, "é" * 64, "\U0001f681" * 64, "a b", "~"])
def test_every_station_has_a_file_of_its_own_in_the_folder(tmp_path: Path, station: str) -> None:
    path = kept_file(tmp_path, station)
    assert path.resolve().parent == tmp_path.resolve()
    write_whole(path, b"{}")
    others = {kept_file(tmp_path, other) for other in ("ridge", "Ridge", "é" * 63, "%C3%A9", "é", "a%20b")}
    assert len(others) == 6
    assert (path in others) is (station == "ridge")
