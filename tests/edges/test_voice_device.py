"""What a sound device is really given: measured in samples on PulseAudio's null sink, read at its monitor.

Recording may lag behind, never run ahead: delays measured from what was heard when something was put are never
shorter than they were.
"""

from __future__ import annotations

import asyncio
import statistics
from collections.abc import Iterator
from pathlib import Path

import miniaudio
import numpy as np
import pytest
import structlog
from scipy import signal  # type: ignore[import-untyped]

from tests.conftest import RequireProgram
from tests.edges.sound_parts import DEVICE, RecordingDevice, Samples, as_samples
from tests.edges.test_voice import Ear, alert, running
from watchkeeper.alerts.events import Level, RoutineCall
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.voice.attention import attention_sound
from watchkeeper.edges.voice.mix import FADE
from watchkeeper.edges.voice.outlet import Voice
from watchkeeper.edges.voice.sound import RATE_HZ

PULSE = [miniaudio.Backend.PULSEAUDIO]
LOW = "Advisory. Watch. Cannot see battery, wind, satellites and home."
HIGH = "Warning. Link. Lost. Fly by sight, check antennas."
ROUNDS, MOST_ROUNDS = 3, 12


@pytest.fixture
def device(
    require_program: RequireProgram, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[RecordingDevice]:
    recording = RecordingDevice(tmp_path, require_program("pulseaudio"), require_program("parec"))
    try:
        monkeypatch.setenv("PULSE_SERVER", recording.start())
        yield recording
    finally:
        recording.stop()


def place(heard: Samples, sound: Samples) -> int | None:
    """Return at which sample `sound` begins in what was heard, as it is; None where it is broken."""
    fit = signal.correlate(heard, sound, mode="valid", method="fft")
    at = int(fit.argmax())
    return at if np.allclose(heard[at : at + len(sound)], sound, atol=2e-3) else None


async def spoken(device: RecordingDevice, ear: Ear, calls: int) -> None:
    """Wait for the end of so many callouts, and for what is still on its way to the device."""
    await ear.until(lambda: len(ear.ends) == calls)
    assert await asyncio.to_thread(device.wait_for, len(device) + RATE_HZ // 2)


async def test_a_warning_cuts_off_words_within_a_tenth_of_a_second_and_without_a_click(
    device: RecordingDevice,
) -> None:
    """The median of three whole rounds: where the machine has other work, the device runs dry in some."""
    ear = Ear()
    delays_s: list[float] = []
    gaps_s: list[float] = []
    bell = as_samples(attention_sound(Level.WARNING))
    async with running(Voice(ear.report, ear.delivered, backends=PULSE)) as voice:
        high = as_samples(await voice.synthesiser.sound(HIGH))
        low = as_samples(await voice.synthesiser.sound(LOW))
        for number in range(MOST_ROUNDS):
            since = len(device)
            voice.put(alert(Level.ADVISORY, LOW, rule=f"low{number}"))
            assert await asyncio.to_thread(device.wait_until_loud, since)
            assert await asyncio.to_thread(device.wait_for, len(device) + RATE_HZ // 2)
            cut = len(device)
            voice.put(alert(Level.WARNING, HIGH, rule=f"high{number}"))
            await spoken(device, ear, 2 * number + 2)
            heard = device.heard()
            begins = place(heard[cut:], bell)
            words = place(heard[cut:], high)
            if place(heard[since:cut], low[: RATE_HZ // 3]) is None or begins is None or words is None:
                continue
            delays_s.append(begins / RATE_HZ)
            gaps_s.append((words - begins - len(bell)) / RATE_HZ)
            begins += cut
            assert abs(heard[begins - 5 : begins]).max() < 0.01  # the words have faded away
            assert abs(np.diff(heard[begins - FADE : begins + FADE])).max() <= abs(np.diff(low)).max()
            if len(delays_s) == ROUNDS:
                break
    assert statistics.median(delays_s) < 0.1, delays_s
    assert max(gaps_s) < 0.5, gaps_s
    assert ear.outcomes()[:2] == [("low0", "cut off"), ("high0", "spoken")]


@pytest.mark.parametrize("ahead", [True, False], ids=["rendered ahead", "never rendered"])
async def test_the_first_sound_of_a_warning_comes_within_a_quarter_of_a_second(
    device: RecordingDevice, *, ahead: bool
) -> None:
    ear = Ear()
    delays_s: list[float] = []
    gaps_s: list[float] = []
    bell = as_samples(attention_sound(Level.WARNING))
    async with running(Voice(ear.report, ear.delivered, backends=PULSE)) as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await spoken(device, ear, 1)
        for number in range(MOST_ROUNDS):
            words = f"Warning. Motors. {chr(ord('A') + number)} stopped."
            if ahead:
                assert await voice.synthesiser.render_ahead(words)
            begun = len(device)
            voice.put(alert(Level.WARNING, words))
            await spoken(device, ear, number + 2)
            heard = device.heard()[begun:]
            begins = place(heard, bell)
            said = place(heard, as_samples(await voice.synthesiser.sound(words)))
            if begins is None or said is None:
                continue
            delays_s.append(begins / RATE_HZ)
            gaps_s.append((said - begins - len(bell)) / RATE_HZ)
            if len(delays_s) == ROUNDS:
                break
    assert statistics.median(delays_s) < 0.25, delays_s
    assert max(gaps_s) < 0.5, gaps_s
    assert {outcome for _, outcome in ear.outcomes()} == {"spoken"}


async def test_the_device_of_that_name_is_the_one(device: RecordingDevice) -> None:
    ear = Ear()
    async with running(Voice(ear.report, ear.delivered, VoiceOptions(device=DEVICE), backends=PULSE)) as voice:
        voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
        await spoken(device, ear, 1)
    assert abs(device.heard()).max() > 0.1
    assert ear.reports == []


async def test_a_device_that_is_not_there_is_told_with_those_that_are(device: RecordingDevice) -> None:
    """Better heard from the usual device than not at all."""
    ear = Ear()
    voice = Voice(ear.report, ear.delivered, VoiceOptions(device="Headset"), backends=PULSE)
    with structlog.testing.capture_logs() as logged:
        async with running(voice):
            voice.put(RoutineCall(0, 0, 1, "armed", "Armed."))
            await spoken(device, ear, 1)
    assert abs(device.heard()).max() > 0.1
    assert ear.reports == [("voice", False, "Named sound device not found. Speaking on the usual one.")]
    assert any(DEVICE in str(entry) for entry in logged)
