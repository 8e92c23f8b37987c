"""Fixed thresholds, as they are commonly set, and when each would have spoken.

Not the watch's: they are held against it. Those of the aircraft itself come out of its own parameters, where
the recording has them; the others are common
practice (handbooks of packs and of radio transmitters name 20 to 30 %
of the gauge and 3.5 V a cell under load; which, is the crew's choice).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from watchkeeper.aircraft.vocabulary import LowStage, Settings
from watchkeeper.debrief.findings import Forecast

PRACTICE: Final = "common practice"
GAUGE_PCT: Final = 25.0
CELL_V: Final = 3.5
_UNITS: Final = {
    "gauge": "%",
    "cell_voltage": "V a cell",
    "voltage": "V",
    "compensated_voltage": "V, compensated for current",
    "charge_used": "mAh used",
    "charge_left": "mAh left",
}
_DOES: Final = {
    "report": "tells the crew",
    "hold": "holds its place",
    "height_hold": "holds its height",
    "return": "returns",
    "retrace": "goes back along its track",
    "return_or_land": "returns or lands",
    "land": "lands where it is",
    "stop_motors": "stops its motors",
    "other": "acts by itself",
}


@dataclass(frozen=True, slots=True)
class Threshold:
    """One of them: speaks when its quantity has been at or past the limit for `delay_s`.

    Volts (of the pack, or a cell), % or mAh.
    """

    name: str
    quantity: str
    limit: float
    delay_s: float
    does: str
    source: str

    @property
    def words(self) -> str:
        """The limit in words."""
        lasting = f" for {self.delay_s:g} s" if self.delay_s else ""
        return f"{self.limit:g} {_UNITS[self.quantity]}{lasting}"

    def met(self, value: float) -> bool:
        """Whether it would count this."""
        return value >= self.limit if self.quantity == "charge_used" else value <= self.limit


CUSTOMARY: Final = (
    Threshold("25 % of the gauge", "gauge", GAUGE_PCT, 0.0, "sounds", PRACTICE),
    Threshold("3.5 V a cell, as measured", "cell_voltage", CELL_V, 0.0, "sounds", PRACTICE),
    Threshold("3.5 V a cell, lasting", "cell_voltage", CELL_V, 10.0, "sounds", PRACTICE),
)


def own_thresholds(settings: Settings | None) -> Iterator[Threshold]:
    """Yield the low-battery stages of an aircraft that are understood and not off."""
    for stage in (settings.low_battery or ()) if settings is not None else ():
        found = _of_stage(stage)
        if found is not None:
            yield found


def _of_stage(stage: LowStage) -> Threshold | None:
    limit, quantity, action = stage.threshold.number, stage.quantity.word, stage.action.word
    if limit is None or quantity is None or quantity not in _UNITS or action == "nothing":
        return None
    does = (
        _DOES.get(action, "acts; what it does is not understood") if action else "what it does is not understood"
    )
    return Threshold(
        f"the aircraft's {stage.name}",
        quantity,
        limit,
        stage.delay_s.number or 0.0,
        does,
        "the aircraft's parameters",
    )


class Watcher:
    """Follows one threshold through one flight."""

    def __init__(self, threshold: Threshold) -> None:
        self.threshold = threshold
        self.seen = False
        """Its quantity was ever known."""
        self.at_s: float | None = None
        self.held_s = 0.0
        self.then: Forecast | None = None
        self._since_s: float | None = None

    def look(self, value: float | None, at_s: float, forecast: Callable[[], Forecast]) -> None:
        """Take the present value of its quantity; None keeps what was."""
        if value is None:
            return
        self.seen = True
        if not self.threshold.met(value):
            self._since_s = None
            return
        if self._since_s is None:
            self._since_s = at_s
        held_s = at_s - self._since_s
        if self.at_s is None and held_s >= self.threshold.delay_s:
            self.at_s = at_s
            self.then = forecast()
        if self.at_s is not None and self._since_s <= self.at_s:
            self.held_s = held_s
