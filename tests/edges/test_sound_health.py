"""What the computer says of its sound: by captured answers of its programs, and by a real PulseAudio."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

import miniaudio
import pytest

from tests.conftest import RequireProgram
from watchkeeper.edges.host import sound as host_sound
from watchkeeper.edges.host import sound_health
from watchkeeper.edges.host.sound import HostSound, parse_amixer, parse_osascript, parse_pactl, parse_wpctl
from watchkeeper.edges.host.sound_health import (
    CHANGED,
    DEVICE_PART,
    LOW,
    MUTED,
    NOBODY_HEARS,
    PART,
    SoundWatch,
    ask,
    stalls,
    trouble,
)
from watchkeeper.edges.voice.player import NoDeviceError, Player

WORKS = "sound of this computer is on"
FULL = {"mono": {"value_percent": "100%"}}
OURS = {"properties": {"application.process.id": "77"}, "sink": 1, "mute": False, "volume": FULL}


def sink(index: int, name: str, percent: int = 90, *, mute: bool = False, port: str | None = None) -> object:
    """As `pactl --format=json list sinks` of PulseAudio 16.1 gives it, what is not read left out."""
    volume = {side: {"value": 1, "value_percent": f"{percent}%", "db": "0 dB"} for side in ("left", "right")}
    ports = [{"name": "out", "availability": port}] if port else []
    active = "out" if port else None
    return {"index": index, "name": name, "mute": mute, "volume": volume, "ports": ports, "active_port": active}


@pytest.mark.parametrize(
    ("sinks", "inputs", "said"),
    [
        ([sink(1, "a")], [], None),
        ([sink(1, "a", mute=True)], [], MUTED),
        ([sink(1, "a", 19)], [], LOW),
        ([sink(1, "a", 20)], [], None),
        ([sink(1, "b", mute=True), sink(2, "a")], [], None),  # another device is muted
        ([sink(1, "b", mute=True), sink(2, "a")], [OURS], MUTED),  # but that is the one we play on
        ([sink(1, "a")], [{**OURS, "mute": True}], MUTED),  # only we are
        ([sink(1, "a")], [{**OURS, "volume": {"mono": {"value_percent": "5%"}}}], LOW),
        ([sink(1, "a")], [{**OURS, "properties": {}, "mute": True}], None),  # somebody else's
        ([sink(1, "auto_null")], [OURS], NOBODY_HEARS),
        ([sink(1, "a", port="not available")], [OURS], NOBODY_HEARS),
        ([sink(1, "a", port="availability unknown")], [OURS], None),
        ([], [], NOBODY_HEARS),
    ],
)
def test_pulseaudio(sinks: list[object], inputs: list[object], said: str | None) -> None:
    found = parse_pactl({"default_sink_name": "a"}, sinks, inputs, 77)
    assert found is not None
    assert trouble(found) == said


@pytest.mark.parametrize(
    ("text", "muted", "percent"),
    [("Volume: 0.40\n", False, 40.0), ("Volume: 1.00 [MUTED]\n", True, 100.0)],
)
def test_pipewire(text: str, muted: bool, percent: float) -> None:
    """Wpctl get-volume, WirePlumber 0.4 and 0.5."""
    assert parse_wpctl(text) == HostSound(muted=muted, volume_pct=percent)


def test_alsa() -> None:
    """`amixer sget Master`: simple mixer control of alsa-utils 1.2."""
    text = (
        "Simple mixer control 'Master',0\n  Capabilities: pvolume pswitch\n  Limits: Playback 0 - 87\n"
        "  Front Left: Playback 60 [69%] [-20.25dB] [{}]\n  Front Right: Playback 0 [0%] [-65.25dB] [off]\n"
    )
    assert parse_amixer(text.format("on")) == HostSound(muted=False, volume_pct=69.0)
    assert parse_amixer(text.format("off")) == HostSound(muted=True, volume_pct=0.0)
    assert parse_amixer("  Mono: Playback 60 [69%] [-20.25dB]\n") == HostSound(muted=False, volume_pct=69.0)


def test_macos() -> None:
    text = "output volume:44, input volume:75, alert volume:100, output muted:true\n"
    assert parse_osascript(text) == HostSound(muted=True, volume_pct=44.0)


@pytest.mark.parametrize("parse", [parse_wpctl, parse_amixer, parse_osascript])
@pytest.mark.parametrize(
    "text", ["", "\0\xff", "Volume: x", "output volume:missing value, output muted:missing value"]
)
def test_what_makes_no_sense_is_nothing(parse: Callable[[str], HostSound | None], text: str) -> None:
    assert parse(text) is None


@pytest.mark.parametrize("answer", ["", "[]", "{}", "7", '[{"name": 1}]', "[" * 100_000, '{"a": NaN}', "null"])
async def test_answers_of_another_kind_are_no_answer(tmp_path: Path, answer: str) -> None:
    async def nonsense(command: Sequence[str]) -> str | None:
        return answer if command[0] == "pactl" else None

    (tmp_path / "pulse").mkdir()
    (tmp_path / "pulse" / "native").touch()
    found = await host_sound.read(nonsense, 77, {"XDG_RUNTIME_DIR": str(tmp_path)})
    assert found is None or not found.connected


async def test_without_a_sound_server_none_is_asked_for_one(tmp_path: Path) -> None:
    """Pactl would start one."""
    asked: list[str] = []

    async def note(command: Sequence[str]) -> str | None:
        asked.append(command[0])
        return None

    assert await host_sound.read(note, 77, {"XDG_RUNTIME_DIR": str(tmp_path)}) is None
    assert asked == ["wpctl", "amixer", "osascript"]


async def test_a_program_that_hangs_fails_or_babbles_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound_health, "ANSWERS_WITHIN_S", 0.3)
    async with asyncio.timeout(20):
        assert await ask([sys.executable, "-c", "import time; time.sleep(60)"]) is None
    monkeypatch.undo()
    monkeypatch.setattr(sound_health, "ANSWERS_WITHIN_S", 20.0)
    monkeypatch.setattr(sound_health, "MAX_ANSWER_BYTES", 100_000)
    async with asyncio.timeout(40):
        assert await ask([sys.executable, "-c", "print('x', end='', flush=True); 1/0"]) is None
        assert await ask([sys.executable, "-c", "while True: print('x' * 1000)"]) is None
        assert await ask(["/nothing/there"]) is None
        assert await ask([sys.executable, "-c", "print(1)"]) == "1\n"


class News:
    """Reports, to be waited for."""

    def __init__(self) -> None:
        self.reports: list[tuple[str, bool, str]] = []
        self._came = asyncio.Event()

    def report(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self._came.set()

    async def until(self, wanted: tuple[str, bool, str]) -> None:
        async with asyncio.timeout(30):
            while wanted not in self.reports:
                self._came.clear()
                await self._came.wait()
        self.reports.clear()


def test_each_trouble_is_told_once_and_its_end() -> None:
    news = News()
    watch = SoundWatch(news.report)
    fine, muted, low = HostSound(False, 80.0), HostSound(True, 80.0), HostSound(False, 3.0)
    for sound in (fine, muted, None, muted, low, low, fine, fine):
        watch.take(sound)
    assert news.reports == [
        (PART, False, MUTED), (PART, True, WORKS), (PART, False, LOW), (PART, True, WORKS),
    ]  # fmt: skip


def test_a_device_that_changes_is_told_for_a_while() -> None:
    news = News()
    now_s = [0.0]
    watch = SoundWatch(news.report, now_s=lambda: now_s[0])
    for at_s, device in ((0.0, "a"), (2.0, "a"), (4.0, "b"), (6.0, "b"), (14.0, "b"), (16.0, "b")):
        now_s[0] = at_s
        watch.take(HostSound(False, 80.0, device))
    assert news.reports == [(DEVICE_PART, False, CHANGED), (DEVICE_PART, True, "told")]


class Asked:
    asked_s = 0.0


async def test_a_device_that_asks_no_more_has_stalled() -> None:
    lost = asyncio.Event()
    async with asyncio.timeout(20):
        assert await stalls(Asked(), lost, stalled_s=0.05) is True
        lost.set()
        assert await stalls(Asked(), lost, stalled_s=0.05) is False


class Pulse:
    """A PulseAudio of our own, with a device that plays to nobody."""

    def __init__(self, program: str, folder: Path) -> None:
        self._program = program
        self._environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "HOME": str(folder)}
        self.start()

    def start(self) -> None:
        modules = ("module-native-protocol-unix", "module-null-sink sink_name=ear", "module-always-sink")
        self._run(
            self._program, "-n", "--daemonize=yes", "--exit-idle-time=-1", *(x for m in modules for x in ("-L", m))
        )

    def stop(self) -> None:
        self._run(self._program, "--kill")

    def set(self, *what: str) -> None:
        self._run("pactl", *what)

    def _run(self, *command: str) -> None:
        nowhere = subprocess.DEVNULL
        subprocess.run(
            command, env=self._environment, stdin=nowhere, stdout=nowhere, stderr=nowhere, timeout=30, check=True
        )


@asynccontextmanager
async def pulse_and_watch(
    require_program: RequireProgram, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> AsyncIterator[tuple[Pulse, News, Player]]:
    pulse = Pulse(require_program("pulseaudio"), folder)
    require_program("pactl")
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    monkeypatch.setenv("HOME", str(folder))
    monkeypatch.setattr(sound_health, "LOOK_EVERY_S", 0.05)
    news = News()
    player = Player([miniaudio.Backend.PULSEAUDIO], open_timeout_s=20.0)
    await player.open()
    watching = asyncio.create_task(SoundWatch(news.report).run())
    try:
        yield pulse, news, player
    finally:
        watching.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await watching
        await player.close()
        with contextlib.suppress(subprocess.CalledProcessError):
            pulse.stop()


async def test_a_real_sound_server_that_is_muted_turned_down_and_unplugged(
    require_program: RequireProgram, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with pulse_and_watch(require_program, tmp_path, monkeypatch) as (pulse, news, _):
        for what, said in (
            (("set-sink-mute", "ear", "1"), (PART, False, MUTED)),
            (("set-sink-mute", "ear", "0"), (PART, True, WORKS)),
            (("set-sink-volume", "ear", "10%"), (PART, False, LOW)),
            (("set-sink-volume", "ear", "90%"), (PART, True, WORKS)),
            (("unload-module", "module-null-sink"), (PART, False, NOBODY_HEARS)),
            (("load-module", "module-null-sink", "sink_name=ear"), (PART, True, WORKS)),
        ):
            await asyncio.to_thread(pulse.set, *what)
            await news.until(said)


async def test_a_real_sound_server_that_ends_is_noticed_by_the_silence_of_its_device(
    require_program: RequireProgram, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with pulse_and_watch(require_program, tmp_path, monkeypatch) as (pulse, _, player):
        assert time.monotonic() - player.asked_s < 5.0
        await asyncio.to_thread(pulse.stop)
        async with asyncio.timeout(30):
            assert await stalls(player, asyncio.Event(), stalled_s=0.5)
        await player.close()
        with pytest.raises(NoDeviceError):
            await player.open()
        await asyncio.to_thread(pulse.start)
        await player.open()
        assert player.is_open


def test_json_of_a_newer_version_with_more_in_it_is_understood() -> None:
    info = json.loads('{"default_sink_name": "a", "new": {"x": [1]}}')
    found = parse_pactl(info, [sink(4, "a")], [], 1)
    assert found is not None
    assert trouble(found) is None
