"""Where telemetry comes from: datagrams, and recordings played as if they were live. Nothing is ever sent."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol
from urllib.parse import unquote, urlsplit

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.playback import FileSource
from watchkeeper.edges.reports import Received, Report
from watchkeeper.edges.udp import UdpSource
from watchkeeper.errors import bad_input, did_you_mean

DEFAULT_URL: Final = "udp://127.0.0.1:14570"


@dataclass(frozen=True, slots=True)
class SourceUrl:
    """A checked source URL: `udp` with host and port, or `file` with a path."""

    text: str
    scheme: str
    host: str = ""
    port: int = 0
    path: Path = Path()


class Source(Protocol):
    """Something that telemetry comes from."""

    name: str
    part: str
    """Under this word its troubles are reported: `source`, `source-2`, …"""

    async def open(self) -> None:
        """Begin to listen. Raises BadInputError if that cannot be."""

    async def run(self) -> None:
        """Listen until cancelled, or until there is no more."""


def parse_source(text: str) -> SourceUrl:
    """Check a source URL. Raises BadInputError that says what would be right."""
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        raise bad_input(f"source '{text}': not a URL", f"write it like {DEFAULT_URL}") from None
    scheme = parts.scheme.lower()
    if scheme in ("tcp", "serial"):
        raise bad_input(f"source '{text}': {scheme} cannot be listened to yet", "use udp:// or file://")
    if scheme == "file":
        path = unquote(parts.path)
        if parts.netloc not in ("", "localhost") or not path.startswith("/") or "\0" in path:
            raise bad_input(f"source '{text}': needs a whole path", "write it like file:///home/me/flight.tlog")
        return SourceUrl(text, "file", path=Path(path))
    if scheme != "udp":
        hint = did_you_mean(scheme, ("udp", "file"), otherwise=f"write it like {DEFAULT_URL}")
        raise bad_input(f"source '{text}': unknown kind '{scheme}'", hint)
    if not parts.hostname or not port or parts.path not in ("", "/") or parts.query or parts.username:
        raise bad_input(
            f"source '{text}': needs an address and a port, nothing else", f"write it like {DEFAULT_URL}"
        )
    return SourceUrl(text, "udp", parts.hostname, port)


def make_source(url: SourceUrl, clock: Clock, received: Received, report: Report, number: int = 1) -> Source:
    """Return the source that a URL means; `number` counts the sources of the watch."""
    part = "source" if number == 1 else f"source-{number}"
    if url.scheme == "file":
        return FileSource(url.text, url.path, clock, received, report, part)
    return UdpSource(url.text, (url.host, url.port), clock, received, report, part)
