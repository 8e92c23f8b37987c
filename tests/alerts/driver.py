"""Drives one alert book with readings given directly, on the engine's grid. Shared by the tests of alerts."""

from __future__ import annotations

from typing import Any

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.events import AlertChange, Happening, Order, Refusal, RoutineCall
from watchkeeper.alerts.orders import carry_out
from watchkeeper.alerts.teller import Teller
from watchkeeper.rules.load import RuleSet, load_packs

GRID_US = 100_000
CASES = """
    cases:
      - {given: {wind.speed: 1 m/s}, expect: met}
      - {given: {wind.speed: missing}, expect: not met}
"""


def rule(text: str) -> str:
    """Return a rule's YAML with the keys that every rule needs and these tests do not care about."""
    lines = "\n".join("    " + line for line in text.strip().splitlines())
    return f"  -\n{lines}\n    why: common practice{CASES}"


def pack(*rules: str, sterile: str = "") -> RuleSet:
    """Return the rules of a pack for tests."""
    text = "pack: test\nabout: for tests\nsettings: {high: 10 m/s}\n"
    text += f"sterile: {sterile}\n" if sterile else ""
    return load_packs([("test.yaml", text + "rules:\n" + "".join(rules))])


class Driver:
    """One aircraft (system 7) in flight, and the book of the rules given."""

    def __init__(self, *rules: str, phase: str | None = "airborne", sterile: str = "") -> None:
        loaded = pack(*rules, sterile=sterile)
        self.rules = loaded.rules
        self.readings = Readings()
        self.teller = Teller()
        self.teller.first_us = 0
        self.book = AlertBook(7, self.readings, self.rules, {}, self.teller, loaded.sterile)
        self.now_us = 0
        self._streams: dict[str, Stream] = {}
        self._held: dict[str, Any] = {}
        self._step = 0
        self.happenings: list[Happening] = []
        if phase is not None:
            self.once("flight.phase", phase)

    def once(self, name: str, value: Any) -> None:
        """Send one sample now."""
        stream = self._streams.setdefault(name, Stream())
        stream.mark(self.now_us)
        self.readings.put(INDEX[name], value, stream)
        self.book.judge_readings([INDEX[name]], self.now_us)
        self._take()

    def hold(self, name: str, value: Any) -> None:
        """Send a value now, and again every half second from now on (None: no more)."""
        if value is None:
            self._held.pop(name, None)
            return
        self._held[name] = value
        self.once(name, value)

    def run(self, until_s: float) -> None:
        """Let time pass on the grid."""
        while self.now_us + GRID_US <= round(until_s * 1e6):
            self.now_us += GRID_US
            self._step += 1
            (self.book.sweep if self._step % 10 == 0 else self.book.grid)(self.now_us)
            self._take()
            if self._step % 5 == 0:
                for name, value in self._held.items():
                    self.once(name, value)

    def order(self, action: str, rule_id: str | None = None, **more: Any) -> None:
        """Give an order."""
        carry_out(self.book, self.teller, Order(action, rule_id, 7, **more), self.now_us)
        self._take()

    def _take(self) -> None:
        self.happenings += self.teller.take()

    @property
    def changes(self) -> list[tuple[float, str, str]]:
        """What happened: (seconds, rule, change)."""
        return [(round(h.elapsed_us / 1e6, 3), h.rule or "", word(h)) for h in self.happenings]

    @property
    def spoken(self) -> list[str]:
        """The words spoken."""
        return [
            h.callout or ""
            for h in self.happenings
            if isinstance(h, RoutineCall) or (isinstance(h, AlertChange) and h.spoken)
        ]


def word(happening: Happening) -> str:
    """Return what happened in one word."""
    if isinstance(happening, AlertChange):
        return happening.change.value
    return "refused" if isinstance(happening, Refusal) else "spoken"
