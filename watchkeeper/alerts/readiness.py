"""Reasons to wait with a take-off: all that is known against it, in words.

Common practice (the trade's): take off only with a satellite fix, so that home is known; with all telemetry live;
with the battery near full; with no plan loaded that is not meant. "Nothing known against take-off" is said of what
the watch can see, never that the aircraft is fit to fly: what it cannot see is a reason of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Any, Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import BLIND, FAULT, Readings, Stream
from watchkeeper.alerts import wording
from watchkeeper.alerts.checks import Checks
from watchkeeper.alerts.events import Level
from watchkeeper.alerts.language import ENGLISH, Language, fill
from watchkeeper.alerts.lifecycle import Alert

GROUND: Final = frozenset({"on_ground", "armed", "landed"})
FULL_PCT: Final = 90.0
"""Near full (common practice)."""
EQUAL_PCT: Final = 8.0
"""By how much packs may differ at a take-off, as in packs-unequal; rest voltage tells a charge no closer."""
OWN: Final = frozenset({"take-off-wait", "armed-with-reasons"})
"""Rules that speak of the reasons themselves."""
_NO_FIX: Final = frozenset({"none", "no_fix", "fix_2d"})
_PHASE: Final = INDEX["flight.phase"]
_REASONS: Final = INDEX["ready.reasons"]
_MENDABLE: Final = INDEX["ready.mendable"]
_UNTOLD: Final = "Battery. Its charge is not known."
_LOOKING: Final = "Watch. Still looking at what is sent."
_BLIND: Final = "Watch. Cannot see {}."
_NOT_MENDED: Final = frozenset({_UNTOLD, _LOOKING, _BLIND})
"""What waiting does not mend: what the aircraft does not send will not come."""
_WHY: Final = INDEX["ready.why"]
_LIVE: Final = (
    ("flight.armed", "Telemetry. No heartbeat yet."),
    ("position.height", "Telemetry. No height yet."),
    ("satellites.fix", "Telemetry. Nothing told of satellites yet."),
    ("battery.voltage", "Telemetry. No battery voltage yet."),
)
SILENT_S: Final = 3.0


class Reason(NamedTuple):
    """One reason. `what` tells it from others in any language; `words` are the crew's."""

    what: str
    words: str
    mendable: bool


class Readiness:
    """Works out the reasons of one aircraft, and writes their number as `ready.reasons`."""

    def __init__(self, readings: Readings, checks: Checks, language: Language = ENGLISH) -> None:
        self._readings = readings
        self._language = language
        self._stream = Stream()
        self.checks = checks
        self.reasons: tuple[str, ...] = ()
        """In the crew's words, the weightiest first; empty in the air, and where nothing is known against it."""
        self._flew = False

    def wanted(self) -> bool:
        """Whether there is a take-off to wait with. Follows the phase."""
        phase = self._readings.values[_PHASE]
        if phase is not None and phase not in GROUND:
            self._flew = True
            self.reasons = ()
            return False
        return True

    def landed(self) -> bool:
        """Whether a flight has ended since this was asked last."""
        phase = self._readings.values[_PHASE]
        ended = self._flew and (phase is None or phase in GROUND)
        if ended:
            self._flew = False
        return ended

    def look(self, alerts: Iterable[Alert], blind: Collection[str], now_us: int, *, settled: bool = True) -> None:
        """Work the reasons out; `alerts` are all that are listed, `blind` the subjects that cannot be seen.

        `settled`: it has been heard for long enough to tell what it does not send.
        """
        found = [*self._all(alerts, blind, now_us)]
        if not settled:
            found.append(self._reason(_LOOKING))
        counted = {reason.what: reason.mendable for reason in found}
        self.reasons = tuple(dict.fromkeys(reason.words for reason in found))
        self._stream.mark(now_us)
        self._readings.put(_REASONS, float(len(counted)), self._stream)
        self._readings.put(_MENDABLE, float(sum(counted.values())), self._stream)
        self._readings.put(_WHY, " ".join(self.reasons) or None, self._stream)

    def _reason(self, phrase: str, *args: object) -> Reason:
        """Return a reason that is worded here; names among `args` are put into the crew's words too."""
        words = self._language.phrase(phrase, *(self._language.tell(str(arg)) for arg in args))
        return Reason(fill(phrase, args), words, phrase not in _NOT_MENDED)

    def _all(self, alerts: Iterable[Alert], blind: Collection[str], now_us: int) -> Iterator[Reason]:
        yield from (
            Reason(alert.rule, alert.said or alert.rule, mendable=True)
            for alert in alerts
            if alert.stands
            and alert.level is not Level.ADVISORY
            and alert.rule not in OWN
            and not (alert.trial or alert.suppressed)  # shelving hushes the voice, it takes no reason away
        )
        yield from self._telemetry(now_us)
        yield from self._packs(now_us)
        checks = self.checks
        yield from (self._reason("Settings. {}.", misfit) for misfit in checks.misfits)
        if checks.asked and not checks.compared:
            yield self._reason("Settings. Not compared with today's, for want of parameters.")
        yield from (self._reason("Checklist. Open: {}.", item) for item in checks.open)
        yield from (self._reason(phrase, role) for phrase, role in checks.unheard())
        if blind:
            names = {wording.in_list(subject, self._language) for subject in blind}
            yield self._reason(_BLIND, ", ".join(sorted(names)))

    def _telemetry(self, now_us: int) -> Iterator[Reason]:
        age_s = self._read("link.age", now_us)
        if age_s is None or age_s > SILENT_S:
            yield self._reason("Telemetry. The aircraft is silent.")
        yield from (self._reason(phrase) for name, phrase in _LIVE if self._read(name, now_us) is None)
        fix = self._read("satellites.fix", now_us)
        if fix in _NO_FIX:
            yield self._reason("Position. No satellite fix, and so no home.")

    def _packs(self, now_us: int) -> Iterator[Reason]:
        charge_pct = self._read("battery.charge_left", now_us)
        if charge_pct is None:
            yield self._reason(_UNTOLD)
        elif charge_pct < FULL_PCT:
            yield self._reason("Battery. Not full, {} percent.", f"{charge_pct:.0f}")
        spread_pct = self._read("battery.charge_spread", now_us)
        if spread_pct is not None and spread_pct > EQUAL_PCT:
            yield self._reason("Battery. Packs differ by {} percent.", f"{spread_pct:.0f}")

    def _read(self, name: str, now_us: int) -> Any:
        value = self._readings.read(INDEX[name], now_us)
        return None if value is BLIND or value is FAULT else value
