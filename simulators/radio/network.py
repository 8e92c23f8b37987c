"""A link over a network: no place, no margin, no report. It is late, later by turns, and sometimes away."""

from __future__ import annotations

import math
import random
from typing import Final

from simulators.radio.channel import Channel
from simulators.radio.model import NetworkModel

_MOST_TURNS: Final = 10_000
"""Outages drawn in one go. After a leap over more of them the draw begins anew, which is as likely."""


class Network:
    """Sends and fetches like a radio; where the aircraft is does not matter."""

    __slots__ = ("_away", "_dice", "_left_s", "_model", "_turns", "_until_s", "blocked", "down", "up")

    def __init__(self, model: NetworkModel, seed: str | int = 1) -> None:
        self._model = model
        self._dice = random.Random(f"network {seed}")
        self._turns = random.Random(f"outages {seed}")
        self._away = False
        self._left_s = math.inf
        self._until_s = self._draw_s(model.between_s)
        self.blocked = False
        """Nothing passes."""
        ways = model.bytes_s, model.buffer_bytes
        self.down: Final = Channel(*ways, self._lost, self._wait)
        self.up: Final = Channel(*ways, self._lost, self._wait)

    @property
    def away(self) -> bool:
        """Whether it is out at present, by chance or blocked."""
        return self._away or self.blocked

    def move(
        self,
        now_s: float,
        north_m: float = 0.0,
        east_m: float = 0.0,
        height_m: float = 0.0,
        heading_rad: float = 0.0,
        tilt_north: float = 0.0,
        tilt_east: float = 0.0,
    ) -> None:
        """Let time pass; outages begin and end. The rest is a radio's business."""
        del north_m, east_m, height_m, heading_rad, tilt_north, tilt_east
        model = self._model
        for _ in range(_MOST_TURNS):
            if now_s < self._until_s:
                break
            self._away = not self._away
            self._until_s += self._draw_s(model.outage_s if self._away else model.between_s)
        else:
            self._until_s = now_s + self._draw_s(model.outage_s if self._away else model.between_s)
        away = self.away
        if not away:
            self._left_s = math.inf
        elif self._left_s == math.inf:
            self._left_s = now_s
        self.down.held = self.up.held = away and model.holds

    def send_down(self, now_s: float, frame: bytes) -> bool:
        """Give a frame to the aircraft's end. False if it had no room."""
        return self.down.send(now_s, frame)

    def send_up(self, now_s: float, frame: bytes) -> bool:
        """Give a frame to the station's end. False if it had no room."""
        return self.up.send(now_s, frame)

    def arrived_down(self, now_s: float) -> list[bytes]:
        """Return what has come to the station."""
        return self.down.arrived(now_s)

    def arrived_up(self, now_s: float) -> list[bytes]:
        """Return what has come to the aircraft."""
        return self.up.arrived(now_s)

    def report(self, now_s: float) -> list[bytes]:  # noqa: ARG002  # as a radio has it
        """Return nothing: a network does not report."""
        return []

    def up_silent_s(self, now_s: float) -> float:
        """Return for how long the network has been away, s."""
        return max(0.0, now_s - self._left_s)

    def _draw_s(self, mean_s: float) -> float:
        return mean_s if math.isinf(mean_s) else self._turns.expovariate(1.0 / mean_s)

    def _lost(self, _length: int) -> bool:
        return self.away or self._dice.random() < self._model.loss

    def _wait(self) -> float:
        jitter_s = self._model.jitter_s
        return self._model.latency_s + (self._dice.expovariate(1.0 / jitter_s) if jitter_s else 0.0)
