"""Where telemetry comes from: datagrams, streams, and recordings played as if live. Nothing is ever sent."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol
from urllib.parse import SplitResult, parse_qsl, unquote, urlsplit

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.reports import Received, Report
from watchkeeper.edges.sources.playback import FileSource
from watchkeeper.edges.sources.serial_port import SerialOpener
from watchkeeper.edges.sources.stream import StreamSource
from watchkeeper.edges.sources.tcp import TcpOpener
from watchkeeper.edges.sources.udp import UdpSource
from watchkeeper.errors import BadInputError, bad_input, did_you_mean

DEFAULT_URL: Final = "udp://127.0.0.1:14570"
EXAMPLES: Final = {
    "udp": DEFAULT_URL,
    "tcp": "tcp://127.0.0.1:5760",
    "serial": "serial:///dev/ttyUSB0?baud=57600",
    "file": "file:///home/me/flight.tlog",
}
SERIAL_ON_WINDOWS: Final = "serial://COM3?baud=57600"
DEFAULT_BAUD: Final = 57_600
LEAST_BAUD: Final = 2400
"""Opening a port at 1200 sends some boards into their loader; no telemetry is as slow."""
MOST_BAUD: Final = 4_000_000
LONGEST_URL: Final = 1000
_COM: Final = re.compile(r"COM[1-9][0-9]{0,2}", re.IGNORECASE).fullmatch


@dataclass(frozen=True, slots=True)
class SourceUrl:
    """A checked source URL: `udp` or `tcp` with host and port, `serial` with path and rate, `file` with path."""

    text: str
    scheme: str
    host: str = ""
    port: int = 0
    path: Path = Path()
    baud: int = 0

    @property
    def place(self) -> tuple[str, str, int, Path]:
        """Return what may be listened to only once."""
        return self.scheme, self.host, self.port, self.path


class Source(Protocol):
    """Something that telemetry comes from."""

    name: str
    part: str
    """Under this word its troubles are reported: `source`, `source-2`, …"""

    async def open(self) -> None:
        """Begin to listen. Raises BadInputError if that cannot be."""

    async def run(self) -> None:
        """Listen until cancelled, or until there is no more."""


def parse_sources(texts: Sequence[str]) -> list[SourceUrl]:
    """Check all source URLs of a watch. Raises BadInputError; one named twice would be heard torn in two."""
    urls: list[SourceUrl] = []
    for text in texts:
        url = parse_source(text)
        if url.scheme != "file" and url.place in [other.place for other in urls]:
            raise bad_input(f"source '{text}': named twice", "name it once")
        urls.append(url)
    return urls


def parse_source(text: str) -> SourceUrl:
    """Check a source URL. Raises BadInputError that says what would be right."""
    try:
        parts = urlsplit(text)
        port = parts.port if parts.scheme.lower() != "serial" else None
    except ValueError:
        raise bad_input(f"source '{text[:LONGEST_URL]}': not a URL", f"write it like {DEFAULT_URL}") from None
    scheme = parts.scheme.lower()
    if len(text) > LONGEST_URL:
        raise bad_input(f"a source of {len(text)} characters", f"write it like {DEFAULT_URL}")
    if scheme == "file":
        path = unquote(parts.path)
        if parts.netloc not in ("", "localhost") or not path.startswith("/") or "\0" in path:
            raise bad_input(f"source '{text}': needs a whole path", f"write it like {EXAMPLES['file']}")
        return SourceUrl(text, "file", path=Path(path))
    if scheme == "serial":
        return _parse_serial(text, parts)
    if scheme not in EXAMPLES:
        hint = did_you_mean(scheme, EXAMPLES, otherwise=f"write it like {DEFAULT_URL}")
        raise bad_input(f"source '{text}': unknown kind '{scheme}'", hint)
    more = parts.query or parts.fragment or parts.username is not None
    if not parts.hostname or not port or parts.path not in ("", "/") or more or "\0" in parts.hostname:
        raise bad_input(
            f"source '{text}': needs an address and a port, nothing else", f"write it like {EXAMPLES[scheme]}"
        )
    return SourceUrl(text, scheme, parts.hostname, port)


def _parse_serial(text: str, parts: SplitResult) -> SourceUrl:
    windows = _on_windows()
    example = SERIAL_ON_WINDOWS if windows else EXAMPLES["serial"]

    def wrong(what: str, do: str = f"write it like {example}") -> BadInputError:
        return bad_input(f"source '{text}': {what}", do)

    try:
        given = parse_qsl(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query), max_num_fields=8)
    except ValueError:
        raise wrong("what stands behind '?' is not understood") from None
    for key, _ in given:
        if key != "baud":
            raise wrong(f"unknown '{key}'", did_you_mean(key, ("baud",), otherwise=f"write it like {example}"))
    if len(given) > 1:
        raise wrong("more than one baud rate")
    rate = given[0][1] if given else str(DEFAULT_BAUD)
    if not (rate.isascii() and rate.isdigit() and len(rate) <= 7 and LEAST_BAUD <= int(rate) <= MOST_BAUD):
        raise wrong(f"'{rate}' is no baud rate", f"give a number from {LEAST_BAUD} to {MOST_BAUD}")
    path = unquote(parts.path)
    name = parts.netloc or path.removeprefix("/")
    com = _COM(name) is not None and (not parts.netloc or path in ("", "/"))
    if parts.fragment or "\0" in path or not (com or (path.startswith("/") and path != "/" and not parts.netloc)):
        raise wrong("needs a device")
    if com != windows:
        raise wrong("no device of this system")
    return SourceUrl(text, "serial", path=Path(name.upper() if com else path), baud=int(rate))


def _on_windows() -> bool:
    return os.name == "nt"


def make_source(
    url: SourceUrl, clock: Clock, received: Received, report: Report, number: int = 1, *, several: bool = False
) -> Source:
    """Return the source that a URL means; `number` counts the sources of the watch, which may be `several`."""
    part = "source" if number == 1 else f"source-{number}"
    if url.scheme == "file":
        return FileSource(url.text, url.path, clock, received, report, part)
    if url.scheme == "udp":
        return UdpSource(url.text, (url.host, url.port), clock, received, report, part)
    label = f"Telemetry source {number}" if several else "Telemetry"
    opener = TcpOpener(url.host, url.port) if url.scheme == "tcp" else SerialOpener(url.path, url.baud)
    return StreamSource(url.text, label, opener, clock, received, report, part)
