"""One flight of a campaign: drawn, flown, heard by the watch at each level of knowledge, and judged."""

from __future__ import annotations

import math
import pickle
import tempfile
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from simulators.campaign import crews, knowledge
from simulators.campaign.borne_out import LANDING_FLOOR_PCT, Moments, is_borne_out
from simulators.campaign.distributions import Distributions
from simulators.campaign.draw import ARM_S, Drawn, draw
from simulators.campaign.knowledge import LEVELS
from simulators.campaign.ordinary import Ordinary, ordinary, turn_back_s
from simulators.campaign.record import Flown, fly
from simulators.campaign.watch import Heard, Life, listen
from simulators.flown.truth import Futures, Outcome

_FAULTY_STAY_S: Final = 150.0
_LATE_STAY_S: Final = 240.0
"""How long a recorded flight stays at work after a fault that comes when it ought to have turned back already."""
_FIRST_S: Final = ARM_S + 20.0
_READINGS: Final = ("battery.charge_left", "return.reserve", "return.reserve_low")
RECORDING: Final = "flight.tlog"
ORDINARY: Final = "ordinary.tlog"
_KEPT: Final = "flight-3.pickle"
"""Its number rises with what is kept in it, so that nothing older is taken for it."""
_TURN_BACK_RULES: Final = frozenset({"return-reserve", "return-now"})
"""The caution; and the warning, for whoever is told that first turns back as well."""
_UNFIT: Final = frozenset({"motors stop", "position pulled", "satellites jammed", "restart"})
"""Faults in which turning back in time is not what decides: such flights say nothing of the reserve."""
_CHATTER, _CHATTER_S = 3, 60.0
ORDINARY_EVERY: Final = 3
"""One flight of so many is also flown home early: that costs as much as the flight itself."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """Charge at home of a return begun at one moment, in %: expected, lower bound, and what came of it."""

    expected_pct: float
    bound_pct: float
    landed_pct: float

    @property
    def error_pct(self) -> float:
        """How far the expected value is above what came of it."""
        return self.expected_pct - self.landed_pct

    @property
    def held(self) -> bool:
        """Whether the bound was one."""
        return self.bound_pct <= self.landed_pct


@dataclass(slots=True)
class AtLevel:
    """What the watch made of one flight at one level of knowledge."""

    called_s: float | None = None
    """The fault, from when it began."""
    stood: bool = False
    """Whether an alert that calls the fault stood already when it began: it tells nothing of the watch."""
    false_warnings: list[tuple[str, float]] = field(default_factory=list)
    lives: tuple[Life, ...] = ()
    """Every alert that was told, advisories as well, in the order of telling."""
    alerts: int = 0
    chatter: int = 0
    turn_back_call_s: float | None = None
    drawn_reaction: Outcome | None = None
    quick: Outcome | None = None
    charge_errors_pct: list[float] = field(default_factory=list)
    at_last_good: Forecast | None = None
    at_caution: Forecast | None = None


@dataclass(slots=True)
class Judged:
    """One flight, judged. `last_good_s` is the last moment at which turning back still lands with the reserve.

    `left_out` says why the flight tells nothing of the reserve; None if it does.
    """

    number: int
    fault: str | None
    values: dict[str, float]
    flown: Flown
    last_good_s: float | None
    left_out: str | None
    levels: dict[str, AtLevel]
    thumbs: dict[str, Outcome]
    ordinary: Ordinary | None = None
    """What was wrongly said of an ordinary return; None where none was flown, or it landed with less."""


def judge(
    distributions: Distributions,
    seed: int,
    number: int,
    kept: Path | None = None,
    levels: Sequence[str] = LEVELS,
) -> Judged:
    """Draw, fly, listen at some levels of knowledge, judge. Raises RuntimeError if the watch fails.

    With a folder `kept`, what does not depend on the watch is taken from there, or put there for the next time.
    """
    with tempfile.TemporaryDirectory(prefix="campaign-") as name:
        folder = Path(name) if kept is None else kept / f"{seed}-{number}"
        ready = prepare(distributions, seed, number, folder)
        return listened(distributions, ready, folder, levels)


@dataclass(frozen=True, slots=True)
class Ready:
    """A flight drawn and flown, with all the ways it could have gone on: everything but what the watch says."""

    drawn: Drawn
    flown: Flown
    futures: Futures
    last_good_s: float | None
    moments: Moments
    thumbs: dict[str, Outcome]
    ordinary: Flown | None
    """The same flight turned back early; None where the flight tells nothing of the reserve or has no turn."""


def prepare(distributions: Distributions, seed: int, number: int, folder: Path) -> Ready:
    """Draw and fly a flight into a folder, or take it from there if that was done before."""
    done = folder / _KEPT
    if done.exists():
        return _unpickle(done)
    folder.mkdir(parents=True, exist_ok=True)
    drawn = draw(distributions, seed, number)
    thumbs = crews.Thumbs()
    file = drawn.file.model_copy(update={"faults": []}) if drawn.fault == "motors stop" else drawn.file
    futures = Futures(file, drawn.seed, each_step=thumbs.look)
    last_good_s = futures.latest(_FIRST_S)
    from_s = _FIRST_S if last_good_s is None else last_good_s
    moments = Moments(last_good_s, futures.latest(from_s, LANDING_FLOOR_PCT))
    flown = fly(drawn, folder / RECORDING, _home_s(drawn, futures, moments))
    outcomes: dict[str, Outcome] = {}
    early: Flown | None = None
    if why_left_out(drawn.fault, flown, last_good_s) is None and last_good_s is not None:
        outcomes = {rule: crews.turned(futures, at_s, crews.QUICK_S) for rule, at_s in thumbs.times_s.items()}
        if number % ORDINARY_EVERY == 0:
            early = fly(drawn, folder / ORDINARY, turn_back_s(flown.took_off_s, last_good_s))
    ready = Ready(drawn, flown, futures, last_good_s, moments, outcomes, early)
    part = done.with_suffix(".part")
    part.write_bytes(pickle.dumps(ready))
    part.replace(done)
    return ready


def _home_s(drawn: Drawn, futures: Futures, moments: Moments) -> float:
    """Return when the recorded flight turns back, s.

    It overstays: who is not told until it can only just land is told too late or not at all. And where a fault
    comes later than it ought to have turned back, it stays to see what the watch makes of that.
    """
    fault_s, last_good_s = drawn.values.get("at_s"), moments.last_good_s
    if fault_s is not None and (last_good_s or 0.0) < fault_s < futures.outcome(None).end_s:
        return fault_s + _LATE_STAY_S
    home_s = math.inf if moments.last_landing_s is None else moments.last_landing_s
    if drawn.fault in _UNFIT or last_good_s is None:
        home_s = min(home_s, (fault_s or 0.0) + _FAULTY_STAY_S)
    return home_s


def _unpickle(done: Path) -> Ready:
    ready = pickle.loads(done.read_bytes())  # noqa: S301  # written by this program, named by who runs it
    if not isinstance(ready, Ready):
        raise TypeError(f"{done} holds no flight of a campaign")
    return ready


def listened(distributions: Distributions, ready: Ready, folder: Path, knowing: Sequence[str] = LEVELS) -> Judged:
    """Run the watch over a flight at each of some levels of knowledge, and judge what it said."""
    drawn, flown, futures, last_good_s = ready.drawn, ready.flown, ready.futures, ready.last_good_s
    rules: Sequence[str] = () if drawn.fault is None else distributions.fault(drawn.fault).rules
    levels: dict[str, AtLevel] = {}
    heard: dict[str, Heard] = {}
    known = knowledge.write(drawn, folder)
    for level in knowing:
        heard[level] = listen(folder / RECORDING, known[level], _READINGS)
        levels[level] = at_level(heard[level], rules, flown, ready.moments)
    left_out = why_left_out(drawn.fault, flown, last_good_s)
    if left_out is None:
        for level, found in levels.items():
            _crews(found, heard[level], drawn, flown, futures)
            found.at_last_good = _forecast(heard[level], flown, futures, last_good_s)
            found.at_caution = _forecast(heard[level], flown, futures, found.turn_back_call_s)
    early: Ordinary | None = None
    if ready.ordinary is not None:  # at one level only, to save time
        early = ordinary(listen(folder / ORDINARY, known[knowing[0]], ()), rules, ready.ordinary)
    return Judged(
        drawn.number, drawn.fault, drawn.values, flown, last_good_s, left_out, levels, ready.thumbs, early
    )


def why_left_out(fault: str | None, flown: Flown, last_good_s: float | None) -> str | None:
    """Return why a flight tells nothing of the reserve, or None if it does."""
    if fault in _UNFIT:
        return "another matter decides"
    if last_good_s is None:
        return "never a good moment"
    if not math.isfinite(last_good_s):
        return "lands by itself"
    if flown.fault_began_s is not None and flown.fault_began_s > last_good_s:
        return "nobody could know"
    if flown.silent_at(last_good_s):
        return "no telemetry"
    return None


def at_level(heard: Heard, rules: Collection[str], flown: Flown, moments: Moments) -> AtLevel:
    """Judge what was heard of one flight; `rules` are those that call its fault."""
    found = AtLevel()
    lives = heard.lives()
    if flown.fault_began_s is not None:
        found.called_s = heard.first(rules, flown.fault_began_s)
        found.stood = heard.stands(rules, flown.fault_began_s)
    found.lives = tuple(lives)
    found.alerts = sum(one.level in {"caution", "warning"} for one in lives)
    found.chatter = _chatter(lives)
    found.false_warnings = [
        (one.rule, one.told_s)
        for one in lives
        if one.level == "warning" and not is_borne_out(one, rules, flown, moments)
    ]
    _charge(found, heard, flown)
    return found


def _crews(found: AtLevel, heard: Heard, drawn: Drawn, flown: Flown, futures: Futures) -> None:
    """Let crews act on what the watch said until the recorded flight turned back."""
    turned_s = flown.turned_back_s
    call_s = heard.first(_TURN_BACK_RULES, to_s=math.inf if turned_s is None else turned_s)
    found.turn_back_call_s = call_s
    found.drawn_reaction = crews.turned(futures, call_s, crews.reaction_s(drawn))
    found.quick = crews.turned(futures, call_s, crews.QUICK_S)


def _forecast(heard: Heard, flown: Flown, futures: Futures, at_s: float | None) -> Forecast | None:
    """Return what the watch said of a return begun at a moment, and what came of it; None if it said nothing."""
    if at_s is None or not math.isfinite(at_s) or flown.silent_at(at_s):
        return None
    # a table has a row a second, written as the second begins: what a call rests on stands in the next one
    expected, bound = (heard.reading(name, at_s + 1) for name in ("return.reserve", "return.reserve_low"))
    if expected is None or bound is None:
        return None
    outcome = futures.outcome(at_s)
    return Forecast(expected, bound, outcome.charge_pct if outcome.landed else 0.0)


def _chatter(lives: Sequence[Life]) -> int:
    """Count rules that chatter: three changes into alarm and out of it, or more, within a minute (ISA-18.2)."""
    by_rule: dict[str, list[float]] = {}
    for one in lives:
        by_rule.setdefault(one.rule, []).extend(t for t in (one.told_s, one.cleared_s) if math.isfinite(t))
    return sum(
        any(later - first <= _CHATTER_S for first, later in zip(times, times[_CHATTER - 1 :], strict=False))
        for times in map(sorted, by_rule.values())
    )


def _charge(found: AtLevel, heard: Heard, flown: Flown) -> None:
    """Take the errors of the charge, second by second, while telemetry arrives."""
    begin, end = int(flown.took_off_s) + 5, int(flown.end_s)
    for second in range(begin, min(end, len(flown.charge_pct))):
        estimate = heard.reading("battery.charge_left", second)
        if estimate is not None and not flown.silent_at(second):
            found.charge_errors_pct.append(abs(estimate - flown.charge_pct[second]))
