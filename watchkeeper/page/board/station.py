"""One station as a board knows it: whether its watch lives, its aircraft, its alerts.

Ages count from when something came, by the board's clock: a station's own may be off, and is said to be if so.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

from watchkeeper import __version__
from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.messages.payloads import AlertState, Callout, Readings, Status
from watchkeeper.edges.messages.views import (
    AircraftOutlook,
    AircraftSurroundings,
    Listed,
    WatchOutlook,
)
from watchkeeper.page.board.aircraft import GONE_US, BoardAircraft
from watchkeeper.page.board.heard import About, Found, NotUnderstoodError, utc_us
from watchkeeper.page.board.life import Life, Signs
from watchkeeper.page.board.need import most_urgent_first, of_aircraft
from watchkeeper.picture.models import Said, ShownAlert, StationPicture

MAX_AIRCRAFT: Final = 16
MAX_ALERTS: Final = 200
MAX_SAID: Final = 20
CONFIRM_US: Final = 10_000_000
"""How long after a connection a watch has had time to tell all that stands."""
OVER: Final = frozenset({State.RETURNED, State.LATCHED, State.LATCHED_ACKNOWLEDGED})
LAID_ASIDE: Final = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})


@dataclass(slots=True)
class Held:
    """One alert's state, when it came and in which connection, and since when it stands as far as was seen."""

    state: AlertState
    came_us: int
    round: int
    since: str


class BoardStation:
    """What has come of one station. Raises NotUnderstoodError for what it cannot hold."""

    def __init__(self, name: str, now_us: int) -> None:
        self.name = name
        self.exercise = True
        self.signs = Signs(now_us)
        self._outlook: WatchOutlook | None = None
        self._outlook_us = now_us
        self._aircraft: dict[int, BoardAircraft] = {}
        self._alerts: dict[tuple[int | None, str], Held] = {}
        self._said: deque[tuple[str, Said]] = deque(maxlen=MAX_SAID)
        self._newer = False
        self._round = 0

    # --- in ---

    def connected(self) -> None:
        """Take note that the board has a connection anew: what still holds is told again."""
        self._round += 1
        self.signs.first_beat_us = None

    def take(self, said: About, found: Found, now_us: int, *, retained: bool) -> bool:
        """Take one message. Returns whether everybody is to see at once what has become of it."""
        message = found.message
        if message.exercise and not self.exercise and not isinstance(message, Status):
            raise NotUnderstoodError("an exercise under the name of a real station")
        if not message.exercise:
            self.exercise = False
        self._newer |= found.newer
        if isinstance(message, Status):
            return self._take_status(message, found.sent_us, now_us, retained=retained)
        if isinstance(message, AlertState):
            return self._take_alert(message, now_us)
        if isinstance(message, Callout):
            if message.message_id not in {held for held, _ in self._said}:
                words = Said(time=message.time, aircraft=said.aircraft, level=message.level, words=message.callout)
                self._said.appendleft((message.message_id, words))
            return True
        if isinstance(message, AircraftSurroundings):
            self._craft(message.aircraft, now_us).slow = message
            return False
        if not retained:  # else it is of no time that anybody knows
            self.signs.beat(found.sent_us, now_us)
            if isinstance(message, WatchOutlook):
                self._take_outlook(message, now_us)
            elif isinstance(message, AircraftOutlook):
                self._craft(message.aircraft, now_us).take_outlook(message, now_us)
            elif isinstance(message, Readings):
                self._craft(message.aircraft, now_us).take_readings(message, self.elapsed_s(now_us), now_us)
        return False

    def emptied(self, said: About) -> bool:
        """Take note that the broker holds nothing there any more. Returns as `take`."""
        if said.kind == "alert":
            return self._alerts.pop((said.aircraft, said.rule), None) is not None
        if said.kind == "surroundings" and said.aircraft is not None:
            return self._aircraft.pop(said.aircraft, None) is not None
        if said.kind == "status":
            self.signs.status = None
            return True
        return False

    def _take_status(self, status: Status, sent_us: int, now_us: int, *, retained: bool) -> bool:
        before = self.signs.status
        self.signs.told(status, sent_us, now_us, retained=retained)
        self.exercise = status.exercise
        if before is not None and before.since != status.since:
            self._said.clear()
            self._newer = False
            for craft in self._aircraft.values():
                craft.begin_anew()
        return before is None or before.state != status.state

    def _take_alert(self, state: AlertState, now_us: int) -> bool:
        key = (state.aircraft, state.rule)
        before = self._alerts.get(key)
        if state.state is State.NORMAL:
            self._alerts.pop(key, None)
            return before is not None
        if before is None and len(self._alerts) >= MAX_ALERTS:
            raise NotUnderstoodError(f"more than {MAX_ALERTS} alerts of one station")
        since = state.time if before is None else before.since
        self._alerts[key] = Held(state, now_us, self._round, since)
        return before is None or before.state.message_id != state.message_id

    def _take_outlook(self, outlook: WatchOutlook, now_us: int) -> None:
        before = self._outlook
        self._outlook, self._outlook_us = outlook, now_us
        if before is not None and outlook.elapsed_s < before.elapsed_s:
            for craft in self._aircraft.values():
                craft.begin_anew()

    def _craft(self, system: int, now_us: int) -> BoardAircraft:
        craft = self._aircraft.get(system)
        if craft is None:
            if len(self._aircraft) >= MAX_AIRCRAFT:
                raise NotUnderstoodError(f"more than {MAX_AIRCRAFT} aircraft of one station")
            craft = self._aircraft[system] = BoardAircraft(system, now_us)
        return craft

    # --- out ---

    def elapsed_s(self, now_us: int) -> float:
        """Return seconds since anything first came of it: the axis of its histories.

        Not the watch's own, which in a drill runs at any speed: what comes once a second stands a second apart.
        """
        return max(now_us - self.signs.begun_us, 0) / 1e6

    def life(self, now_us: int, away: str) -> Life:
        """Return whether the watch lives. `away`: why the broker is not heard, or ""."""
        return self.signs.now(now_us, away, beats=bool(self._aircraft) or self._outlook is not None)

    def takes_orders(self, now_us: int, away: str) -> str:
        """Return why the watch cannot be asked for anything, or ""."""
        life = self.life(now_us, away)
        return life.why if life.state == "lost" else "The watch is stopped." if life.state == "stopped" else ""

    def tidy(self, now_us: int) -> None:
        """Forget what a living watch tells no more."""
        if not self.signs.alive(now_us):
            return
        for system in [s for s, craft in self._aircraft.items() if now_us - craft.word_us > GONE_US]:
            del self._aircraft[system]
        first_us = self.signs.first_beat_us
        if first_us is not None and now_us - first_us > CONFIRM_US:
            for key in [key for key, held in self._alerts.items() if held.round != self._round]:
                del self._alerts[key]

    def picture(self, now_us: int, away: str) -> StationPicture:
        """Return its picture."""
        life = self.life(now_us, away)
        lost = {"watching": "", "stopped": "The watch was stopped."}.get(life.state, life.why)
        own = {one.rule: one for one in (self._outlook.alerts if self._outlook is not None else ())}
        alerts = self._shown(None, own, self._outlook_us if self._outlook is not None else 0, lost)
        crafts = [*self._aircraft.values()]
        if life.state != "stopped":  # what a stopped watch leaves behind is not judged any more
            others = {system for system, _ in self._alerts if system is not None and system not in self._aircraft}
            crafts += [BoardAircraft(system, self.signs.begun_us) for system in sorted(others)]
        aircraft = []
        for craft in crafts[:MAX_AIRCRAFT]:
            listed = {one.rule: one for one in craft.listed()}
            shown = self._shown(craft.system, listed, craft.fast_us, lost)
            if shown or craft.system in self._aircraft:
                aircraft.append(craft.picture(shown, now_us, lost))
        return StationPicture(
            station=self.name,
            exercise=self.exercise,
            state=life.state,
            since=self._since(life, now_us),
            time=utc_text(self._time_us(now_us)),
            elapsed_s=round(self.elapsed_s(now_us), 3),
            alerts=[*self._of_the_board(life, now_us), *alerts],
            aircraft=sorted(aircraft, key=lambda one: (of_aircraft(one), one.system)),
            said=[words for _, words in self._said],
            hearing={} if self._outlook is None or lost else self._outlook.hearing,
        )

    def _time_us(self, now_us: int) -> int:
        """Return what time it is where the alerts have their times from: in a drill, the scenario's."""
        if self._outlook is not None:
            return utc_us(self._outlook.time) + max(now_us - self._outlook_us, 0)
        return now_us + (self.signs.clock_off_us or 0)

    def _since(self, life: Life, now_us: int) -> str:
        """Return since when the watch watches, by its own word; else since when not, by the time of its alerts."""
        if life.state == "watching":
            return utc_text(life.since_us)
        return utc_text(self._time_us(now_us) - (now_us - life.since_us))

    def _shown(self, system: int | None, listed: dict[str, Listed], told_us: int, lost: str) -> list[ShownAlert]:
        found = []
        for (aircraft, rule), held in self._alerts.items():
            state, more = held.state, listed.get(rule)
            if aircraft != system or state.trial:
                continue
            if more is None and state.state in LAID_ASIDE and told_us > held.came_us:
                continue  # its condition does not hold
            later = more is not None and told_us >= held.came_us
            found.append(
                ShownAlert(
                    aircraft=aircraft,
                    rule=rule,
                    level=state.level,
                    state=state.state,
                    since=more.since if more is not None else held.since,
                    callout=state.callout or rule,
                    reason=state.reason,
                    evidence=state.evidence,
                    stale=bool(lost)
                    or (more.stale if more is not None and later else state.change is Change.STALE),
                    over=more.over if more is not None and later else state.state in OVER,
                    acknowledged_by=[*state.acknowledged_by],
                )
            )
        return most_urgent_first(found)

    def _of_the_board(self, life: Life, now_us: int) -> list[ShownAlert]:
        """Return what the board itself has to say of this station."""
        now, found = utc_text(self._time_us(now_us)), []
        if life.state == "lost":
            found.append(
                own_alert(
                    "board-lost", Level.CAUTION, "Watch lost. Call its crew.", life.why, self._since(life, now_us)
                )
            )
        off_us = self.signs.clock_off_us
        if off_us is not None:
            way = "ahead of" if off_us > 0 else "behind"
            why = f"Its clock is {abs(off_us) / 1e6:.0f} s {way} this board's."
            found.append(own_alert("board-clock", Level.ADVISORY, "Clock is off. Set it.", why, now))
        if self._newer:
            version = self.signs.status.version[:40] if self.signs.status is not None else "unknown"
            why = f"Its watch is version {version}, this board {__version__}."
            words = "Not all that its watch tells is understood here."
            found.append(own_alert("board-version", Level.ADVISORY, words, why, now))
        return found


def own_alert(rule: str, level: Level, words: str, why: str, since: str) -> ShownAlert:
    """Return an alert that no watch has raised."""
    return ShownAlert(
        aircraft=None,
        rule=rule,
        level=level,
        state=State.UNACKNOWLEDGED,
        since=since,
        callout=words,
        reason=why,
        evidence={},
        stale=False,
        over=False,
        acknowledged_by=[],
    )
