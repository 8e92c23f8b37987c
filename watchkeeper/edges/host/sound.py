"""What the computer does with our sound: muted, too low, or played to nobody. Read only, never changed.

Asked of programs that belong to the sound system, in processes that can be killed when they hang: `pactl`
(PulseAudio, and PipeWire in its place), `wpctl` (PipeWire), `amixer` (ALSA), `osascript` (macOS). The first that
answers counts. What is heard of our own stream is the least of its own volume and its device's.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

LEAST_VOLUME_PCT = 20.0
"""As the computer's own slider shows it; on PulseAudio's scale 20 % is 42 dB down."""
NOBODY = frozenset({"auto_null"})
"""What PulseAudio and PipeWire play on where there is no device at all."""

Ask: TypeAlias = Callable[[Sequence[str]], Awaitable[str | None]]
"""ask(command): what a program printed; None if it is not there, fails or hangs."""


@dataclass(frozen=True, slots=True)
class HostSound:
    """What was read. `device` is a name to tell one device from another, "" where none is told."""

    muted: bool
    volume_pct: float
    device: str = ""
    connected: bool = True
    """False if what the device drives is known to be unplugged, or if there is no device."""


async def read(ask: Ask, pid: int, environment: Mapping[str, str]) -> HostSound | None:
    """Return what the sound system says; None where nothing can be read."""
    if _has_pulse(environment):  # not asked otherwise, for asking would start one
        found = await _pulse(ask, pid)
        if found is not None:
            return found
    for command, parse in (
        (("wpctl", "get-volume", "@DEFAULT_AUDIO_SINK@"), parse_wpctl),
        (("amixer", "-M", "sget", "Master"), parse_amixer),
        (("osascript", "-e", "get volume settings"), parse_osascript),
    ):
        text = await ask(command)
        if text is not None and (sound := parse(text)) is not None:
            return sound
    return None


def _has_pulse(environment: Mapping[str, str]) -> bool:
    folder = environment.get("XDG_RUNTIME_DIR") or f"/run/user/{os.getuid() if hasattr(os, 'getuid') else 0}"
    return bool(environment.get("PULSE_SERVER")) or (Path(folder) / "pulse" / "native").exists()


async def _pulse(ask: Ask, pid: int) -> HostSound | None:
    answers = [await ask(("pactl", "--format=json", *what)) for what in (("info",), ("list", "sinks"))]
    inputs = await ask(("pactl", "--format=json", "list", "sink-inputs"))
    if answers[0] is None or answers[1] is None:
        return None
    try:
        return parse_pactl(json.loads(answers[0]), json.loads(answers[1]), json.loads(inputs or "[]"), pid)
    except (
        ValueError,
        TypeError,
        LookupError,
        AttributeError,
        RecursionError,
    ):  # of another kind
        return None


def parse_pactl(info: Any, sinks: Any, inputs: Any, pid: int) -> HostSound | None:
    """Return what `pactl --format=json` says of the device that process `pid` plays on, else of the default."""
    ours = [one for one in inputs if str(one["properties"].get("application.process.id")) == str(pid)]
    playing = {one["sink"] for one in ours}
    default = info.get("default_sink_name")
    devices = [one for one in sinks if one["index"] in playing] or [one for one in sinks if one["name"] == default]
    if not devices:
        return HostSound(muted=False, volume_pct=0.0, connected=False) if not sinks else None
    device = devices[0]
    name = str(device["name"])
    ports = {one["name"]: one for one in device.get("ports") or []}
    port = ports.get(device.get("active_port"), {})
    return HostSound(
        muted=any(bool(one["mute"]) for one in (device, *ours)),
        volume_pct=min(_loudest_pct(one["volume"]) for one in (device, *ours)),
        device=f"{name}/{device.get('active_port') or ''}",
        connected=name not in NOBODY and port.get("availability") != "not available",
    )


def _loudest_pct(channels: Mapping[str, Any]) -> float:
    return max(float(str(one["value_percent"]).rstrip("% ")) for one in channels.values())


def parse_wpctl(text: str) -> HostSound | None:
    """Return what `wpctl get-volume` says: "Volume: 0.40 [MUTED]"."""
    found = re.search(r"Volume: (\d+(?:\.\d+)?)( \[MUTED\])?", text)
    return HostSound(muted=found[2] is not None, volume_pct=100 * float(found[1])) if found else None


def parse_amixer(text: str) -> HostSound | None:
    """Return what `amixer sget` says: lines like "Front Left: Playback 87 [69%] [-16.5dB] [on]"."""
    found = re.findall(r"Playback .*?\[(\d+)%\](?:.*\[(on|off)\])?", text)
    if not found:
        return None
    on = [float(percent) for percent, switch in found if switch != "off"]
    return HostSound(muted=not on, volume_pct=max(on, default=0.0))


def parse_osascript(text: str) -> HostSound | None:
    """Return what macOS says: "output volume:44, …, output muted:false"; "missing value" is not readable."""
    found = re.search(r"output volume:(\d+).*output muted:(true|false)", text)
    return HostSound(muted=found[2] == "true", volume_pct=float(found[1])) if found else None
