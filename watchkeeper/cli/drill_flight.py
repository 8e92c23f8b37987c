"""The flight of a drill at the pace of its clock: served to clients, ordered by keys, heard by the watch."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from contextlib import AsyncExitStack

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.onboard.modes import Mode
from simulators.scenario import Scenario
from simulators.scripted.flight import ScriptedFlight
from simulators.wire.ears import aircraft_in, heard_at
from simulators.wire.serve import Link, ServeUrl, serve
from watchkeeper.daemon import Watch
from watchkeeper.edges.crew_keys import CREW_KEYS_HELP, crew_keys
from watchkeeper.edges.keys import Keys
from watchkeeper.errors import bad_input
from watchkeeper.link.framing import Framer

SOURCE = "drill"
LAST_WORDS_S = 2.0
"""The last call is given this long to be heard before a drill ends."""
EARS_S = 1.5
"""A heartbeat comes once a second: one more half, and an aircraft has been heard."""
BEHIND_US = 200_000
"""A flight this far behind holds up the drill's time: else what it tells would be late, and called so."""
KEYS = {"r": Mode.SAFE_RECOVERY, "l": Mode.LAND, "h": Mode.POSITION_HOLD}
KEYS_HELP = f"keys: r return, l land, h hold (they reach this simulated aircraft only), {CREW_KEYS_HELP}"
AnyScenario = Scenario | FlownScenario
AnyFlight = ScriptedFlight | FlownDrill


def begin(scenario: AnyScenario, seed: int, *, served: bool = False) -> AnyFlight:
    """Return the flight of a scenario."""
    if isinstance(scenario, Scenario):
        return ScriptedFlight(scenario, seed)
    return FlownDrill(scenario, seed, served=served)


def start_us(scenario: AnyScenario) -> int:
    """Return when a scenario begins, in microseconds since 1970."""
    return round(scenario.start.timestamp() * 1e6)


def refuse_real(systems: set[int], url: ServeUrl) -> None:
    """Raise BadInputError if aircraft were heard where a drill would be served."""
    if systems:
        named = ", ".join(str(system) for system in sorted(systems))
        raise bad_input(f"telemetry of aircraft {named} comes in at port {url.port}", "serve the drill elsewhere")


def source_of(link: int) -> str:
    """Return what the watch calls a link of the simulated aircraft."""
    return SOURCE if link == 0 else f"{SOURCE}-{link + 1}"


class DrillClock:
    """The scenario's time, running at a multiple of real time; strictly increasing."""

    def __init__(self, begin_us: int, times_real: float, longest_s: float) -> None:
        """Time stands still until `start`: setting up takes time of its own, which is none of the flight's.

        It stands still again `longest_s` later: the flight is over, only its last words are spoken.
        """
        self.begin_us = begin_us
        self.times_real = times_real
        self._longest_us = round(longest_s * 1e6)
        self._began_ns: int | None = None
        self._last_us = begin_us - 1
        self._reached_us = 0

    def start(self) -> None:
        """Let time run."""
        self._began_ns = time.monotonic_ns()

    def now_us(self) -> int:
        """Return the scenario's time, at least one microsecond after the last."""
        passed_us = min(self._passed_us(), self._reached_us + BEHIND_US, self._longest_us)
        self._last_us = max(self.begin_us + passed_us, self._last_us + 1)
        return self._last_us

    async def wait_until(self, time_s: float) -> None:
        """Wait for a time after the scenario's start, to which the flight goes next.

        Time waits for a flight that does not keep up, and does not run after it later. Others have their turn each
        time, also then: clients, keys, Ctrl-C.
        """
        behind_us = self._passed_us() - round(time_s * 1e6)
        if behind_us > BEHIND_US and self._began_ns is not None:
            self._began_ns += round((behind_us - BEHIND_US) * 1000 / self.times_real)
        self._reached_us = round(time_s * 1e6)
        await asyncio.sleep(max(0, -behind_us) / 1e6 / self.times_real)

    def let_run(self) -> None:
        """Let time run on to the scenario's end: the flight is over."""
        self._reached_us = self._longest_us

    def _passed_us(self) -> int:
        """Return the time that would have passed for a flight that keeps up."""
        if self._began_ns is None:
            return 0
        return round((time.monotonic_ns() - self._began_ns) / 1000 * self.times_real)


class PacedFlight:
    """Flies at the pace of the drill's clock. What goes over the links is heard by the watch, both ways."""

    def __init__(
        self,
        flight: AnyFlight,
        clock: DrillClock,
        watch: Watch,
        tell: Callable[[str], None],
        tell_keys: Callable[[str], None],
    ) -> None:
        """`tell` writes a line to the terminal, `tell_keys` what keys do."""
        self._flight = flight
        self._clock = clock
        self._watch = watch
        self._tell = tell
        self._tell_keys = tell_keys
        self._open = AsyncExitStack()
        self._link: Link | None = None
        self._framer = Framer()
        self.acted: list[tuple[float, str]] = []
        """What the trainee did, with its time in s after the scenario's start."""

    async def serve(self, url: ServeUrl) -> None:
        """Let clients connect. Raises BadInputError if the address cannot be had or an aircraft is heard there."""
        refuse_real(await heard_at(url, EARS_S), url)
        self._link = await self._open.enter_async_context(serve(url, self._ordered))

    def listen_to_keys(self) -> None:
        """Take single keys, if there is a terminal to take them from."""
        keys = Keys({**{key: self._key(mode) for key, mode in KEYS.items()}, **crew_keys(self._watch, self._tell)})
        if self._open.enter_context(keys.listening()):
            self._tell_keys(KEYS_HELP)

    async def fly(self) -> None:
        """Fly to the end, then stop the watch."""
        self._clock.start()
        async with self._open:
            if isinstance(self._flight, ScriptedFlight):
                for sent in self._flight.frames():
                    await self._clock.wait_until(sent.time_s)
                    self._hear(sent.data, sent.link)
            else:
                await self._fly_live(self._flight)
            self._clock.let_run()
            await asyncio.sleep(LAST_WORDS_S)
        self._watch.stop()

    async def _fly_live(self, drill: FlownDrill) -> None:
        while not drill.over:
            await self._clock.wait_until(drill.flight.time_s + drill.flight.step_s)
            for link, data in drill.step():
                self._hear(data, link)
                if self._link is not None:
                    self._link.send(data)

    @property
    def _now_s(self) -> float:
        return (self._clock.now_us() - self._clock.begin_us) / 1e6

    def _ordered(self, data: bytes) -> list[bytes]:
        """Take a client's frame; what answers it comes down the link."""
        assert isinstance(self._flight, FlownDrill)
        if aircraft_in(self._framer, data):
            self._tell("telemetry of another aircraft comes in where this one is served: the drill ends")
            self._watch.stop()
            return []
        self._hear(data, 0)
        what = self._flight.order(data)
        if what is not None:
            self.acted.append((self._now_s, what))
        return []

    def _key(self, mode: Mode) -> Callable[[], None]:
        def press() -> None:
            if isinstance(self._flight, ScriptedFlight):
                self._tell("this flight follows a script and obeys nobody")
                return
            done = self._flight.key(mode)
            self.acted.append((self._now_s, mode.words if done else f"{mode.words} (no effect)"))
            self._tell(f"ordered: {mode.words}" if done else f"{mode.words}: not possible now")

        return press

    def _hear(self, data: bytes, link: int) -> None:
        self._watch.received(source_of(link), data, self._clock.now_us() / 1e6)
