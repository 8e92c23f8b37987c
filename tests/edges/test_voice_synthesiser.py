"""The real synthesiser: pyttsx3 and eSpeak NG from their wheels, in a process of its own."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import wave
from array import array
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.alerts.spoken import spell_numbers
from watchkeeper.alerts.wording import callout
from watchkeeper.cli.inputs import load_rules
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice.sound import RATE_HZ, VoiceError, read_sound
from watchkeeper.edges.voice.synthesiser import (
    MAX_CACHE_BYTES,
    Synthesiser,
    clean,
    render_wav,
    request_line,
    worker_command,
    worker_environment,
)

WORDS = "Warning. Return. Reserve reached. Turn back now."
HANGS = "import time; print('{\"ready\": true}', flush=True); time.sleep(60)"


def seconds(sound: bytes) -> float:
    return len(sound) / 2 / RATE_HZ


def wav_seconds(path: Path) -> float:
    with wave.open(str(path)) as file:
        return float(file.getnframes() / file.getframerate())


def is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.fixture
async def synthesiser() -> AsyncIterator[Synthesiser]:
    made = Synthesiser(VoiceOptions())
    yield made
    await made.close()


async def test_callouts_take_the_time_measured_outside() -> None:
    """facts.md section 2: a callout of 7 words takes 2.45 s by eSpeak NG 1.51, en-us, 150 words a minute.

    Which words is not said there: so the mean of some, within a fifth.
    """
    synthesiser = Synthesiser(VoiceOptions(language="en-us", rate_wpm=150))
    callouts = (
        "Battery low, turn back home right now",
        "Warning link lost return to home now",
        "Battery voltage sag slow down avoid climbing",
        "Caution battery low plan the landing now",
    )
    lengths = [seconds(await synthesiser.sound(words)) for words in callouts]
    await synthesiser.close()
    assert sum(lengths) / len(lengths) == pytest.approx(2.45, rel=0.2)


def test_more_words_take_longer(tmp_path: Path) -> None:
    said = ["Battery.", "Battery. Low.", "Battery. Low, four zero percent.", f"{WORDS} Battery. Low."]
    lengths = []
    for number, words in enumerate(said):
        render_wav(words, tmp_path / f"{number}.wav")
        lengths.append(wav_seconds(tmp_path / f"{number}.wav"))
    assert lengths == sorted(lengths)
    assert lengths[-1] > 3 * lengths[0]


async def test_the_same_words_thirty_times(synthesiser: Synthesiser) -> None:
    """None is empty, none is spoken at another rate, and one process renders them all."""
    lengths = [seconds(await synthesiser.sound(WORDS, cached=False)) for _ in range(30)]
    assert max(lengths) < 1.02 * min(lengths)
    assert synthesiser.starts == 1


@pytest.mark.parametrize(("slow", "fast"), [(80, 160), (150, 300)])
async def test_the_rate_is_that_chosen(slow: int, fast: int) -> None:
    lengths = []
    for rate in (slow, fast):
        synthesiser = Synthesiser(VoiceOptions(rate_wpm=rate))
        lengths.append(seconds(await synthesiser.sound(WORDS)))
        await synthesiser.close()
    assert lengths[0] / lengths[1] == pytest.approx(2.0, rel=0.25)


async def test_the_volume_is_that_chosen() -> None:
    peaks = []
    for volume in (0.25, 1.0):
        synthesiser = Synthesiser(VoiceOptions(volume=volume))
        peaks.append(max(array("h", await synthesiser.sound(WORDS))))
        await synthesiser.close()
    assert peaks[1] > 2 * peaks[0]
    assert peaks[1] < 32_767  # not clipped


async def test_every_shipped_callout_is_as_long_as_its_words_need(synthesiser: Synthesiser) -> None:
    """By the nominal rate: from two thirds of words / rate to two and a half times it (pauses, long words)."""

    def read(index: int) -> Any:
        reading = CATALOGUE[index]
        return True if reading.boolean else reading.words[0] if reading.words else 87.3

    rules = load_rules([]).rules
    assert rules
    for rule in rules:
        words = spell_numbers(callout(rule.level, rule.say.render(read), 42, several=True))
        assert not any(character.isdigit() for character in words), words
        nominal_s = len(words.split()) * 60 / VoiceOptions().rate_wpm
        assert 0.67 * nominal_s < seconds(await synthesiser.sound(words)) < 2.5 * nominal_s, words
    assert synthesiser.starts == 1


def test_nothing_but_replies_comes_out(tmp_path: Path) -> None:
    """pyttsx3 prints "Audio saved to ..." for each file."""
    requests = [request_line(n, "Disarmed.", tmp_path / f"{n}.wav", VoiceOptions()) for n in range(3)]
    done = subprocess.run(
        worker_command(),
        input=b"".join(requests),
        capture_output=True,
        timeout=20,
        env=worker_environment(),
        check=True,
    )
    replies = [json.loads(line) for line in done.stdout.splitlines()]
    assert replies == [{"ready": True}, *({"id": n, "error": None, "language": "en-us"} for n in range(3))]
    assert done.stderr == b""


def test_the_library_is_that_of_the_wheel_and_a_long_path_does_no_harm(tmp_path: Path) -> None:
    """The library keeps its data path in 160 bytes."""
    script = """
import os, sys
from pathlib import Path
import espeakng_loader
real = espeakng_loader.get_data_path()
far = Path(sys.argv[1]) / ("far" * 60)
far.mkdir()
(far / "espeak-ng-data").symlink_to(real)
espeakng_loader.get_data_path = lambda: str(far / "espeak-ng-data")
from watchkeeper.edges.voice import worker as voice_worker
driver = voice_worker.load_library(Path(sys.argv[1]))
assert driver.dll._name == espeakng_loader.get_library_path()
request = {"text": "Disarmed.", "path": sys.argv[1] + "/x.wav", "language": "en", "rate_wpm": 150, "volume": 1.0}
assert voice_worker.synthesise(request, driver) == {"error": None, "language": "en"}
"""
    subprocess.run([sys.executable, "-c", script, str(tmp_path)], timeout=20, env=worker_environment(), check=True)
    assert wav_seconds(tmp_path / "x.wav") > 0.4


async def test_a_killed_process_costs_nothing(synthesiser: Synthesiser) -> None:
    await synthesiser.sound(WORDS)
    assert synthesiser.pid is not None
    os.kill(synthesiser.pid, signal.SIGKILL)
    assert seconds(await synthesiser.sound("Disarmed.")) > 0.4
    assert synthesiser.starts == 2


async def test_a_process_killed_while_it_renders_is_replaced(synthesiser: Synthesiser) -> None:
    await synthesiser.start()
    pid = synthesiser.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)  # holds it in the middle of the work
    rendering = asyncio.ensure_future(synthesiser.sound(WORDS))
    await asyncio.sleep(0)  # its first step writes the request
    assert synthesiser._number == 1
    os.kill(pid, signal.SIGKILL)
    async with asyncio.timeout(10):
        assert seconds(await rendering) > 2
    assert synthesiser.starts == 2


async def test_a_process_that_hangs_is_killed() -> None:
    synthesiser = Synthesiser(VoiceOptions(), command=[sys.executable, "-c", HANGS], timeout_s=0.1)
    await synthesiser.start()
    pid = synthesiser.pid
    assert pid is not None
    async with asyncio.timeout(10):
        with pytest.raises(VoiceError, match=r"longer than 0\.1 s"):
            await synthesiser.sound(WORDS)
    assert synthesiser.pid is None
    assert synthesiser.starts == 2
    assert not is_alive(pid)
    await synthesiser.close()


async def test_a_process_that_does_not_get_ready_is_killed() -> None:
    script = "import time; time.sleep(60)"
    synthesiser = Synthesiser(VoiceOptions(), command=[sys.executable, "-c", script], start_timeout_s=0.1)
    for _ in range(2):
        async with asyncio.timeout(10):
            with pytest.raises(VoiceError, match=r"longer than 0\.1 s"):
                await synthesiser.start()
        assert synthesiser.pid is None
    assert synthesiser.starts == 2
    await synthesiser.close()


@pytest.mark.parametrize(
    ("script", "why"),
    [
        ("", "died"),
        ("print('hello')", "no sense"),
        ("print('[1]')", "no sense"),
        ("print('{}')", "does not start"),
        ("print('x' * 200000)", "too long"),
        ("print('{\"ready\": true}'); input(); print('{\"id\": 77}')", "something else"),
        ('print(\'{"ready": true}\'); input(); print(\'{"id": 1, "error": null}\')', "no sound|something else"),
        ('print(\'{"ready": true}\'); input(); print(\'{"id": 1, "error": "full"}\')', "full|something else"),
    ],
)
async def test_a_process_that_talks_nonsense(script: str, why: str) -> None:
    synthesiser = Synthesiser(VoiceOptions(), command=[sys.executable, "-c", script])
    async with asyncio.timeout(10):
        with pytest.raises(VoiceError, match=why):
            await synthesiser.sound(WORDS)
    await synthesiser.close()


async def test_a_program_that_is_not_there(tmp_path: Path) -> None:
    synthesiser = Synthesiser(VoiceOptions(), command=[str(tmp_path / "nothing")])
    with pytest.raises(VoiceError, match="does not start"):
        await synthesiser.sound(WORDS)
    await synthesiser.close()


async def test_an_empty_file_is_made_good_by_a_fresh_process(tmp_path: Path) -> None:
    script = f"""
import json, wave, pathlib, runpy, sys
marker = pathlib.Path({str(tmp_path / "second")!r})
if marker.exists():
    runpy.run_module("watchkeeper.edges.voice.worker", run_name="__main__")
    sys.exit()
marker.touch()
print('{{"ready": true}}', flush=True)
request = json.loads(input())
with wave.open(request["path"], "wb") as file:
    file.setnchannels(1); file.setsampwidth(2); file.setframerate(22050)
print(json.dumps({{"id": request["id"], "error": None}}), flush=True)
input()
"""
    synthesiser = Synthesiser(VoiceOptions(), command=[sys.executable, "-c", script])
    assert seconds(await synthesiser.sound(WORDS)) > 2
    assert synthesiser.starts == 2
    await synthesiser.close()


async def test_the_process_holds_no_connection_of_ours_open(synthesiser: Synthesiser) -> None:
    """A forked child would: the broker would then never publish that the watch is lost."""
    reader, writer = os.pipe()
    try:
        await synthesiser.start()
    finally:
        os.close(writer)
    os.set_blocking(reader, False)
    assert os.read(reader, 1) == b""  # end of file: nobody else holds the writing end
    os.close(reader)


async def test_the_process_ends_with_its_parent(synthesiser: Synthesiser) -> None:
    """The end of its standard input is all that a killed parent leaves."""
    await synthesiser.start()
    process = synthesiser._process
    assert process is not None
    assert process._process.stdin is not None
    process._process.stdin.close()
    async with asyncio.timeout(10):
        await process._ended.wait()
    assert process._process.returncode == 0


async def test_known_words_are_not_rendered_again(synthesiser: Synthesiser) -> None:
    first = await synthesiser.sound(WORDS)
    assert await synthesiser.sound(WORDS) is first
    synthesiser._keep("long", bytes(MAX_CACHE_BYTES))  # the oldest go when there is no room
    assert await synthesiser.sound(WORDS) is not first
    assert synthesiser._cached_bytes == sum(map(len, synthesiser._cache.values())) <= MAX_CACHE_BYTES


async def test_an_unknown_language_is_spoken_in_the_usual_one() -> None:
    synthesiser = Synthesiser(VoiceOptions(language="xx-none"))
    assert seconds(await synthesiser.sound(WORDS)) > 2
    assert synthesiser.language == "en-us"
    await synthesiser.close()


@pytest.mark.parametrize(("text", "line"), [("a\0b\nc\x1b[0m", "a b c [0m"), ("w" * 1000, "w" * 300), ("", "")])
def test_text_is_one_bounded_line(text: str, line: str) -> None:
    assert clean(text) == line


def write(path: Path, samples: array[int], *, rate: int = RATE_HZ, channels: int = 1) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.tobytes())


LOUD = array("h", [9000, -9000] * RATE_HZ)  # two seconds


@pytest.mark.parametrize(
    ("samples", "rate", "channels", "why"),
    [
        (array("h"), RATE_HZ, 1, "silent"),
        (array("h", [0] * 2 * RATE_HZ), RATE_HZ, 1, "silent"),
        (LOUD, 16_000, 1, "another kind"),
        (LOUD, RATE_HZ, 2, "another kind"),
        (LOUD[: RATE_HZ // 2], RATE_HZ, 1, r"0\.50 s of sound for words of about 2\.40 s"),
        (LOUD * 6, RATE_HZ, 1, r"12\.00 s of sound"),
        (LOUD * 100, RATE_HZ, 1, "far too long"),
    ],
)
def test_sound_that_cannot_be_those_words(
    tmp_path: Path, samples: array[int], rate: int, channels: int, why: str
) -> None:
    write(tmp_path / "x.wav", samples, rate=rate, channels=channels)
    with pytest.raises(VoiceError, match=why):
        read_sound(tmp_path / "x.wav", "one two three four five six seven", 175)


def test_silence_after_the_words_is_cut(tmp_path: Path) -> None:
    write(tmp_path / "x.wav", LOUD + array("h", [3] * RATE_HZ))
    assert seconds(read_sound(tmp_path / "x.wav", "one two three four five", 175)) == pytest.approx(2.1, abs=0.011)


@pytest.mark.parametrize("content", [b"", b"RIFF", b"not a sound at all" * 10])
def test_files_that_are_no_sound(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.wav").write_bytes(content)
    with pytest.raises(VoiceError, match="no sound was written"):
        read_sound(tmp_path / "x.wav", WORDS, 175)
