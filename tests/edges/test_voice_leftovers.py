"""What the voice must not leave behind: threads that hang, processes and files of a watch that was killed."""

from __future__ import annotations

import asyncio
import sys
import threading
from pathlib import Path
from typing import Any

import miniaudio
import pytest

from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice.player import NoDeviceError, Player
from watchkeeper.edges.voice.synthesiser import request_line, worker_environment

HANGS = """
import threading
import watchkeeper.edges.voice.worker as worker
worker.END_WITHIN_S = 0.05
def hang(request, driver):
    open(request["path"], "wb").close()
    threading.Event().wait()
worker.synthesise = hang
worker.main()
"""


def names_in(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


async def test_a_sound_system_that_hangs_is_asked_once_until_it_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    release = threading.Event()
    asked: list[threading.Thread] = []
    real = miniaudio.PlaybackDevice

    def hang(**options: Any) -> Any:
        asked.append(threading.current_thread())
        release.wait(20)
        return real(**options)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", hang)
    player = Player([miniaudio.Backend.NULL], open_timeout_s=0.02)
    try:
        for _ in range(5):
            with pytest.raises(NoDeviceError, match="does not answer"):
                await player.open()
        assert len(asked) == 1
        release.set()
        player._open_timeout_s = 10.0
        await player.open()
        assert player.is_open
        assert len(asked) == 1
    finally:
        release.set()
        await player.close()


async def test_a_killed_watch_leaves_no_process_and_no_files(tmp_path: Path) -> None:
    """Even where the synthesiser hangs: the end of its standard input is all that a killed parent leaves."""
    folder = tmp_path / "voice"
    folder.mkdir()
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-P", "-c", HANGS, str(folder),
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
        env={**worker_environment(), "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    async with asyncio.timeout(20):
        assert await process.stdout.readline()  # ready
        process.stdin.write(request_line(1, "Away.", folder / "1.wav", VoiceOptions()))
        process.stdin.close()
        await process.wait()
    assert names_in(tmp_path) == []
