"""One aircraft over several sources: a frame that came over another already, and a source that runs late."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.framing import Frame

TWIN_US: Final = 10_000_000
"""A copy of a frame over another source counts as one if it comes within this."""
MOST_TWINS: Final = 2048
"""Eight senders' whole range of numbers."""
_BOOT_AT: Final = {2: 8, 30: 0, 33: 0}
"""Where SYSTEM_TIME, ATTITUDE and GLOBAL_POSITION_INT carry the time since the aircraft's start."""
_FRESH_US: Final = 3_000_000
TOLD_US: Final = 5_000_000
"""A radio's report counts this long beside another's; they come once a second."""


class Copies:
    """What came of one aircraft lately, over which source.

    One entry a sequence number and sender, of which there are the aircraft's components and the radios.
    """

    __slots__ = ("_late", "_margins", "_twins")

    def __init__(self) -> None:
        self._twins: dict[tuple[int, int, int], tuple[int, bytes, str, int]] = {}
        self._late: set[str] = set()
        self._margins: dict[str, tuple[int, float]] = {}

    def unwanted(self, source: str, frame: Frame, aircraft: Aircraft, now_us: int) -> bool:
        """Whether a frame adds nothing: it came before, or its source runs behind another that is heard."""
        system, component, sequence, message, payload, _, _ = frame
        key = (system, component, sequence)
        known = self._twins.get(key)
        bare = payload.rstrip(b"\0")  # version 2 cuts trailing zeros, version 1 does not
        if (
            known is not None
            and known[0] == message
            and known[2] != source
            and now_us - known[3] < TWIN_US
            and known[1] == bare
        ):
            return True
        if len(self._twins) >= MOST_TWINS:
            self._twins.clear()  # made-up senders; a few copies may count twice
        self._twins[key] = (message, bare, source, now_us)
        at = _BOOT_AT.get(message)
        boot = aircraft.boot
        if at is not None:
            boot_ms = int.from_bytes(payload[at : at + 4], "little")
            if boot_ms and boot.is_past(boot_ms, now_us):
                self._late.add(source)
                return True
            if boot_ms and boot.is_old(boot_ms, now_us):
                self._late.add(source)
            else:
                self._late.discard(source)
        return source in self._late and now_us - boot.heard_us < _FRESH_US

    def is_best(self, source: str, margin_db: float | None, now_us: int) -> bool:
        """Whether no radio of another source hears the aircraft better: any one link is enough."""
        if margin_db is None:
            self._margins.pop(source, None)
        else:
            self._margins[source] = (now_us, margin_db)
        others = [
            other_db
            for other, (time_us, other_db) in self._margins.items()
            if other != source and now_us - time_us <= TOLD_US
        ]
        return not others or (margin_db is not None and margin_db >= max(others))
