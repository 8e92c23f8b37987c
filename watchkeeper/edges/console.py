"""Alerts and calls on the terminal, for people: a line each."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Final

from watchkeeper.alerts.checks import ACTIONS as PREPARING
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, Preparation, RoutineCall, Step
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.outlets import Delivered
from watchkeeper.edges.reports import Report
from watchkeeper.edges.terminal import Terminal, plain

STUCK_AFTER_S = 3.0
WHY: Final = "ready.why"
"""A reading that is too long to be spoken, and that a crew wants to read."""
ENDED: Final = "condition over"
"""The usual reason for which an alert is over; the word says it already."""
_LOOK_EVERY_S = 0.5

# Red belongs to warnings and amber to cautions, to nothing else (14 CFR 25.1322(e), (f)). Colour never stands
# alone: the level is always written as a word.
_COLOURS: Final = {Level.WARNING: "\x1b[31m", Level.CAUTION: "\x1b[33m"}
_PLAIN: Final = "\x1b[0m"


def console_line(happening: Happening, *, colour: bool = False, language: Language = ENGLISH) -> str:
    """Return one line: time, level, aircraft, words, and in brackets what became of the alert."""
    time = utc_text(happening.time_us)[11:21]
    say = language.phrase
    who = say("watch") if happening.aircraft is None else say("aircraft {}", happening.aircraft)
    if isinstance(happening, RoutineCall):
        return f"{time}  {'':<8}  {who:<12}  {plain(happening.callout)}"
    if isinstance(happening, Preparation):
        return f"{time}  {'':<8}  {who:<12}  {plain(_preparation_words(happening, language))}"
    if not isinstance(happening, AlertChange):
        name = "before take-off" if happening.action in PREPARING else plain(happening.rule or "all")
        return f"{time}  {'':<8}  {who:<12}  {plain(happening.action)} {name}: not done, {plain(happening.reason)}"
    level = say(happening.level.value.capitalize()).upper()
    words = plain(happening.callout or happening.rule)
    if happening.change is not Change.RAISED:
        over = happening.change is Change.CLEARED
        what = say("over" if over else happening.change.value)
        by = f" {say('by {}', language.tell(happening.by))}" if happening.by else ""
        because = f": {_ended(happening.reason, language)}" if over and happening.reason not in ("", ENDED) else ""
        words += f"  [{plain(what + by + because)}]"
    if happening.trial:
        words += f"  [{say('on trial')}]"
    if happening.change is Change.RAISED and (why := happening.evidence.get(WHY)):
        words += f"  ({plain(str(why))})"
    line = f"{level:<8}  {who:<12}  {words}"
    stands = happening.change not in (Change.CLEARED, Change.RESET)
    if colour and stands and happening.level in _COLOURS:
        line = f"{_COLOURS[happening.level]}{line}{_PLAIN}"
    return f"{time}  {line}"


def _ended(reason: str, language: Language) -> str:
    """Return why an alert is over. A phase is told as it is spoken, not by its name in rules."""
    return language.tell(reason.replace("_", " ") if reason.startswith("phase is ") else reason)


def _preparation_words(happening: Preparation, language: Language) -> str:
    """Return what was done before a take-off, by whom, and why not, if not."""
    say, role = language.phrase, language.tell(happening.role or "")
    step = happening.step
    if step is Step.CALLED:
        what = say("test calls to every role")
    elif step is Step.GIVEN:
        what = say("test call to the {} given", role)
    elif step is Step.NOT_GIVEN:
        what = say("test call to the {} not given", role)
    elif step is Step.CONFIRMED:
        what = say("the {} hears the watch", role)
    elif step is Step.ANEW:
        what = say("after this flight, checks begin anew")
    else:
        what = say("checked: {}" if step is Step.CHECKED else "unchecked: {}", happening.item)
    because = f": {language.tell(happening.reason)}" if happening.reason and step is Step.NOT_GIVEN else ""
    return f"{what}  [{say('by {}', language.tell(happening.by))}{because}]"


class Console:
    """The outlet that writes to standard output. A blocked terminal is reported and holds nobody up."""

    name = "console"

    def __init__(
        self, terminal: Terminal, report: Report, delivered: Delivered, language: Language = ENGLISH
    ) -> None:
        self._terminal = terminal
        self._report = report
        self._delivered = delivered
        self._language = language
        self._colour = terminal.colours()
        self._loop: asyncio.AbstractEventLoop | None = None

    def put(self, item: Happening) -> None:
        """Show one thing that happened. The writer's bound and policy hold: the oldest line is dropped."""
        loop = self._loop
        line = console_line(item, colour=self._colour, language=self._language)
        if loop is None:
            self._terminal.print(line)
            return

        def done(written: bool) -> None:
            outcome = ("shown", "") if written else ("lost", "the terminal did not take it")
            with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
                loop.call_soon_threadsafe(self._delivered, item, *outcome)

        self._terminal.print(line, done)

    async def run(self) -> None:
        """Report a terminal that blocks, that takes lines again, or that is gone."""
        self._loop = asyncio.get_running_loop()
        stuck = False
        while not self._terminal.out_gone():
            if (self._terminal.out.stuck_s() > STUCK_AFTER_S) is not stuck:
                stuck = not stuck
                text = "Terminal blocked. Look at another outlet." if stuck else "terminal takes lines again"
                self._report(self.name, not stuck, text)
            await asyncio.sleep(_LOOK_EVERY_S)
        self._report(self.name, False, "Terminal gone. Look at another outlet.")
        await asyncio.Event().wait()  # nothing can bring it back; the watch goes on without it
