"""The simulated aircraft, heard by the watch over its own MAVLink, for tests of what is foretold of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pymavlink.dialects.v20 import all as dialect

from simulators.flown.flight import SimulatedFlight
from simulators.flown.setup import PackSetup, Setup, Weather
from simulators.onboard.gauge import EXACT, MonitorErrors
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.sensors import QUIET, SensorErrors
from simulators.physics.packs import PackModel
from tests.recordings import shipped
from watchkeeper.aircraft.files import AircraftFile, SortieFile, load_aircraft_file, load_sortie_file
from watchkeeper.alerts.events import AlertChange, Happening
from watchkeeper.engine import Engine

OFF = {f"low{stage}.{name}": 0.0 for stage in (1, 2, 3) for name in ("volt_v", "gauge_pct")}
FILE = load_aircraft_file("packs: {cells: 12, capacity: 22 Ah, count: 2, cell_floor: 3.0 V}", "a.yaml")
STEP_S = 0.04


OVER_ONE_RADIO = load_sortie_file("radio: {control: same}", "s.yaml")


class FlownWatch:
    """One flight and the engine that hears it; `heard` False cuts the radio."""

    def __init__(
        self,
        parameters: Mapping[str, float] | None = None,
        *,
        charge: float = 0.9,
        wind_m_s: float = 0.0,
        from_deg: float = 0.0,
        gusts_m_s: float = 0.0,
        seed: int = 1,
        errors: SensorErrors | None = QUIET,
        monitor: MonitorErrors | None = EXACT,
        file: AircraftFile | None = FILE,
        sortie: SortieFile | None = OVER_ONE_RADIO,
        told_settings: bool = True,
    ) -> None:
        packs = (PackSetup(charge=charge, monitor=monitor), PackSetup(PackModel(), charge, monitor=monitor))
        made = Setup(
            packs=packs,
            weather=Weather(((0.0, wind_m_s, from_deg),), gusts_m_s),
            sensors=errors,
            parameters={**OFF, **(parameters or {})},
        )
        self.flight = SimulatedFlight(made, seed, STEP_S)
        self.engine = Engine(shipped(), [file] if file is not None else [], sortie)
        self.heard = True
        self.happened: list[Happening] = []
        self._start_s = made.start.timestamp()
        if told_settings:
            station = dialect.MAVLink(None, srcSystem=255, srcComponent=190)
            # which way it encodes whole numbers stands in AUTOPILOT_VERSION
            version = dialect.MAVLink_command_long_message(made.system, 1, 512, 0, 148, 0, 0, 0, 0, 0, 0)
            ask = dialect.MAVLink_param_request_list_message(made.system, 1)
            self.run(1.0)
            for request in (version, ask):
                for raw in self.flight.receive(bytes(request.pack(station))):
                    self._hear(raw)

    @property
    def time_s(self) -> float:
        return self.flight.time_s

    @property
    def now_s(self) -> float:
        """Engine time."""
        return self._start_s + self.flight.time_s

    def _hear(self, raw: bytes) -> None:
        if self.heard:
            self.happened += self.engine.receive("radio", raw, self.now_s)

    def run(self, seconds: float) -> None:
        """Fly on."""
        for _ in range(round(seconds / STEP_S)):
            for raw in self.flight.fly():
                self._hear(raw)
            if not self.heard:
                self.happened += self.engine.tick(self.now_s)

    def until(self, holds: Callable[[], bool], within_s: float, each_s: float = 0.2) -> float:
        """Fly until something holds; return how long it took."""
        start_s = self.time_s
        while not holds():
            self.run(each_s)
            assert self.time_s - start_s <= within_s, "it takes too long"
        return self.time_s - start_s

    def take_off(self, height_m: float = 20.0) -> None:
        self.run(3.0)
        pilot = self.flight.pilot
        assert pilot.arm() is None
        assert pilot.take_off(height_m)
        self.until(lambda: pilot.landed is Landed.AIR and self.height_m > height_m - 0.3, 60.0)
        self.run(5.0)

    def go(self, north_m: float, east_m: float, height_m: float) -> None:
        assert self.flight.pilot.go_to((north_m, east_m, height_m))

    def send_home(self) -> None:
        assert self.flight.pilot.enter(Mode.SAFE_RECOVERY, "order")

    @property
    def height_m(self) -> float:
        """The true height above home."""
        return float(self.flight.craft.height_m - self.flight.pilot.home[2])

    @property
    def away_m(self) -> float:
        """The true distance from home."""
        craft, home = self.flight.craft, self.flight.pilot.home
        return float(((craft.north_m - home[0]) ** 2 + (craft.east_m - home[1]) ** 2) ** 0.5)

    def read(self, name: str) -> Any:
        return self.engine.readings(self.flight.setup.system).get(name)

    def raised(self, rule: str) -> list[float]:
        """Return the times of flight at which a rule was raised."""
        return [
            h.elapsed_us / 1e6
            for h in self.happened
            if isinstance(h, AlertChange) and h.rule == rule and h.change.value in {"raised", "escalated"}
        ]
