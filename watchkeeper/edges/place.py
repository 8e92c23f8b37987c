"""HOST:PORT, where a part of the watch listens."""

from __future__ import annotations

import re
from dataclasses import dataclass

from watchkeeper.edges.broker.access import is_local
from watchkeeper.errors import bad_input

_PLACE = re.compile(r"(?:\[([0-9A-Fa-f:.]+)\]|([^\[\]:/@\s]+)):([0-9]{1,5})\Z")
_EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104  (the words for "every address")


@dataclass(frozen=True, slots=True)
class Place:
    """Where something listens."""

    host: str
    port: int

    def __str__(self) -> str:
        """Return HOST:PORT."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    @property
    def local(self) -> bool:
        """Whether only programs on this machine can reach it."""
        return is_local(self.host)

    @property
    def everywhere(self) -> bool:
        """Whether it listens at every address of this machine."""
        return self.host in _EVERYWHERE

    @property
    def from_here(self) -> Place:
        """Where a program on this machine connects to."""
        return Place(_EVERYWHERE.get(self.host, self.host), self.port)


def parse_place(option: str, text: str, usual_port: int) -> Place:
    """Return the place that HOST:PORT names. Raises BadInputError, in the name of the option."""
    how = f"write HOST:PORT, for example 127.0.0.1:{usual_port} or [::1]:{usual_port}"
    found = _PLACE.match(text)
    if found is None:
        raise bad_input(f"{option}: not HOST:PORT", how)
    port = int(found[3])
    if not 0 < port < 65536:
        raise bad_input(f"{option}: port {port} is none", how)
    return Place(found[1] or found[2], port)
