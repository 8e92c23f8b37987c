"""Scripted telemetry: a scenario as real MAVLink 2 frames of an aircraft, its radio and a ground station.

No physics: place, power, charge and margin follow the script, made consistent with each other (speed is the
derivative of place, charge the integral of current, voltage a curve less current times resistance).
`python -m simulators.scripted four-faults` feeds a running watch over UDP.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from typing import Any, Final

from simulators.scenario import Scenario
from simulators.scenario_file import Expected, Sent
from simulators.scripted import messages
from simulators.scripted.electric import ParallelPacks
from simulators.scripted.messages import Fields
from simulators.scripted.motion import Motion
from simulators.scripted.series import Wobble
from watchkeeper.link.encode import Encoder

STEP_S: Final = 0.05
AUTOPILOT: Final = 1
"""MAV_COMP_ID_AUTOPILOT1."""
RADIO: Final = (51, 68)
STATION: Final = (255, 190)
_BOOT_S: Final = 40.0  # powered up this long before the scenario starts
_EARLY_S: Final = 1e-9  # a tenth of a second added up often falls short by less
_POWER_WOBBLE: Final = 0.02
_MARGIN_WOBBLE_DB: Final = 1.5
_FULL_KW: Final = 9.0  # what stands for all the throttle there is

Row = tuple[float, float, Encoder, str, Callable[[], Fields]]


class ScriptedFlight:
    """Flies one scenario, once. The same scenario and seed give the same bytes."""

    def __init__(self, scenario: Scenario, seed: int = 1) -> None:
        self.scenario = scenario
        self._aircraft = Encoder(scenario.system, AUTOPILOT)
        self._radio = Encoder(*RADIO)
        self._station = Encoder(*STATION)
        self._noise = random.Random(f"noise {seed}")
        self._loss = random.Random(f"loss {seed}")
        self._power = Wobble(f"power {seed}")
        self._margin = Wobble(f"margin {seed}")
        self._motion = Motion(scenario, seed)
        battery = scenario.battery
        ohms = [resistance / 1000 for resistance in battery.resistances_mohm]
        self._packs = ParallelPacks(battery.cells, battery.capacity_ah, ohms, battery.charge_pct)
        self._time_s = 0.0
        self._moment = self._motion.step(0.0, 0.0)

    @property
    def expect(self) -> tuple[Expected, ...]:
        """What a good watch raises, by when."""
        return self.scenario.expect

    def frames(self) -> Iterator[Sent]:
        """Yield every frame that arrives, in order of time.

        Frames that the script loses are counted by their sender and not given. Only the aircraft's are: radio
        and station stand beside the watch.
        """
        schedule = self._schedule()
        due_s = [first_s for _, first_s, _, _, _ in schedule]
        texts = list(self.scenario.texts)
        for step in range(round(self.scenario.duration_s / STEP_S) + 1):
            self._step(step * STEP_S)
            for i, (period_s, _, encoder, name, build) in enumerate(schedule):
                if self._time_s + _EARLY_S >= due_s[i]:
                    due_s[i] += period_s
                    yield from self._send(encoder, name, build())
            while texts and texts[0].at <= self._time_s + _EARLY_S:
                text = texts.pop(0)
                yield from self._send(self._aircraft, "STATUSTEXT", {"severity": text.severity, "text": text.text})

    def _send(self, encoder: Encoder, name: str, fields: Fields) -> Iterator[Sent]:
        data = encoder.encode(name, **fields)
        lost = encoder is self._aircraft and self._loss.random() * 100 < self._at("loss_pct")
        if not lost:
            yield Sent(self._time_s, encoder.system, data)

    def _step(self, time_s: float) -> None:
        step_s = time_s - self._time_s
        self._time_s = time_s
        self._moment = self._motion.step(time_s, step_s)
        power_w = 1000 * self._at("power_kw") * (1 + _POWER_WOBBLE * self._power.at(time_s))
        self._packs.draw(power_w, self._at("sag_v"), step_s)

    def _at(self, name: str) -> float:
        return self.scenario.numbers[name].at(self._time_s)

    def _word(self, name: str) -> str:
        return self.scenario.words[name].at(self._time_s)

    def _shake(self, sigma: float) -> float:
        return self._noise.gauss(0.0, sigma)

    @property
    def _boot_ms(self) -> int:
        return round((self._time_s + _BOOT_S) * 1000)

    @property
    def _unix_us(self) -> int:
        return round((self.scenario.start.timestamp() + self._time_s) * 1e6)

    def _schedule(self) -> list[Row]:
        """Return (period, first time, sender, message, its fields); rates as usual on a telemetry radio."""
        scenario, packs = self.scenario, self._packs
        altitude_m = scenario.altitude_m
        plane = self._aircraft
        never_again_s = scenario.duration_s + 1
        return [
            (1.0, 0.0, plane, "HEARTBEAT", lambda: messages.heartbeat(self._word("mode"), armed=self._armed)),
            (0.25, 0.0, plane, "GLOBAL_POSITION_INT",
             lambda: messages.global_position(self._moment, altitude_m, self._boot_ms)),
            (0.1, 0.05, plane, "ATTITUDE",
             lambda: messages.attitude(self._moment, (self._shake(0.01), self._shake(0.01)), self._boot_ms)),
            (never_again_s, 0.1, plane, "AUTOPILOT_VERSION", lambda: {"capabilities": messages.CAPABILITIES}),
            (0.25, 0.1, plane, "VFR_HUD",
             lambda: messages.hud(self._moment, altitude_m, 100 * self._at("power_kw") / _FULL_KW)),
            (0.5, 0.15, plane, "GPS_RAW_INT", self._gps),
            *((0.5, 0.2 + 0.05 * i, plane, "BATTERY_STATUS", self._battery(i)) for i in range(len(packs.packs))),
            (1.0, 0.3, plane, "SYS_STATUS", lambda: messages.system_status(packs, self._at("loss_pct"))),
            (1.0, 0.3, self._station, "HEARTBEAT", lambda: messages.STATION_HEARTBEAT),
            (1.0, 0.35, plane, "EXTENDED_SYS_STATE",
             lambda: {"landed_state": messages.LANDED[self._word("landed")]}),
            (2.0, 0.4, plane, "CURRENT_MODE", lambda: messages.current_mode(self._word("mode"))),
            (1.0, 0.45, plane, "SYSTEM_TIME",
             lambda: {"time_unix_usec": self._unix_us, "time_boot_ms": self._boot_ms}),
            (1.0, 0.5, plane, "WIND_COV", lambda: messages.wind(self._moment)),
            (1.0, 0.55, plane, "MISSION_CURRENT", self._mission_current),
            (5.0, 0.6, plane, "HOME_POSITION", lambda: messages.home_position(scenario.home, altitude_m)),
            (0.5, 0.65, plane, "RC_CHANNELS", lambda: messages.channels(self._boot_ms)),
            (1.0, 0.7, self._radio, "RADIO_STATUS", self._radio_status),
        ]  # fmt: skip

    @property
    def _armed(self) -> bool:
        return self._word("armed") == "armed"

    def _gps(self) -> dict[str, Any]:
        satellites = self._at("satellites") + self._shake(0.4)
        return messages.gps(
            self._moment, self.scenario.altitude_m, satellites, self._at("dilution"), self._unix_us
        )

    def _battery(self, index: int) -> Callable[[], Fields]:
        def build() -> Fields:
            battery = self.scenario.battery
            shake_mv = [round(self._shake(2.0)) for _ in range(battery.cells)]
            return messages.battery(self._packs, index, shake_mv, battery.temperature_degc)

        return build

    def _mission_current(self) -> Fields:
        items = self.scenario.plan_items
        return messages.mission_current(int(self._word("item")), items, self._word("mode"), armed=self._armed)

    def _radio_status(self) -> Fields:
        margin_db = self._at("margin_db") + _MARGIN_WOBBLE_DB * self._margin.at(self._time_s)
        return messages.radio_status(margin_db, self._shake(1.0))
