"""An aircraft that is told by messages what it does, with the estimates of its conduct run twice a second."""

from __future__ import annotations

import math
from typing import Any, cast

from tests.aircraft.feeder import GENERIC, HOME, Flight, Sender
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.estimate.conduct.parts import parts
from watchkeeper.estimate.home.ownsettings import OwnSettings
from watchkeeper.estimate.part import Known, Part

METRES_A_DEGREE = 110_611.0  # of latitude at 10 degrees (WGS 84)
HOLD, HEIGHT_HOLD, RETURN, MISSION, LAND, TAKE_OFF = 1, 4, 5, 6, 7, 8  # MAV_STANDARD_MODE (facts.md 9)
CENTRED = (1500, 1500, 1500, 1500)


class World(Flight):
    """In flight at once, 50 m up; moves north and east of home."""

    def __init__(
        self, file: AircraftFile | None = None, *, mode: int = HOLD, north_m: float = 200.0, told: bool = False
    ) -> None:
        super().__init__(Fleet([] if file is None else [file]), autopilot=GENERIC)
        self.north_m, self.east_m, self.height_m = north_m, 0.0, 50.0
        self.mode, self.told = mode, told
        self.intended = mode
        self.roll_deg = self.pitch_deg = self.yaw_deg = 0.0
        self.sticks: tuple[int, ...] | None = CENTRED
        self.switches = (1500, 1500, 1500, 1500)
        self.station = Sender(255, 190)
        self.state = 4
        self.beat(armed=True, mode=mode)
        self.send("AVAILABLE_MODES", number_modes=1, mode_index=1, standard_mode=mode, custom_mode=mode)
        self.parts: list[Part] = []
        self._steps = 0
        self.send("HOME_POSITION", latitude=round(HOME[0] * 1e7), longitude=round(HOME[1] * 1e7), q=[0] * 4)
        for number in (HOLD, HEIGHT_HOLD, RETURN, MISSION, LAND, TAKE_OFF):
            self.send("AVAILABLE_MODES", number_modes=6, mode_index=1, standard_mode=number, custom_mode=number)
        self.parts = parts(Known(self.aircraft, *cast("Any", (None, None, OwnSettings(self.aircraft), None))))
        self.move(1.0)

    def step(self, north_m_s: float, east_m_s: float, climb_m_s: float) -> None:
        """Half a second."""
        self.wait(0.5)
        self._steps += 1
        self.north_m += north_m_s / 2
        self.east_m += east_m_s / 2
        self.height_m += climb_m_s / 2
        if self._steps % 2:
            self.send("HEARTBEAT", type=2, autopilot=GENERIC, base_mode=129, custom_mode=self.mode,
                      system_status=self.state, mavlink_version=3)  # fmt: skip
            self.send("EXTENDED_SYS_STATE", landed_state=2)
        if self.told and self._steps % 4 == 0:
            self.send("CURRENT_MODE", standard_mode=self.mode, custom_mode=self.mode,
                      intended_custom_mode=self.intended)  # fmt: skip
        if self.sticks is not None:
            widths = {f"chan{i + 1}_raw": width for i, width in enumerate((*self.sticks, *self.switches))}
            self.send("RC_CHANNELS", chancount=8, **widths)
        self.send("ATTITUDE", time_boot_ms=self.boot_ms, roll=math.radians(self.roll_deg),
                  pitch=math.radians(self.pitch_deg), yaw=math.radians(self.yaw_deg))  # fmt: skip
        self.send("VFR_HUD", groundspeed=math.hypot(north_m_s, east_m_s), climb=climb_m_s, throttle=50)
        self.send(
            "GLOBAL_POSITION_INT",
            time_boot_ms=self.boot_ms,
            lat=round((HOME[0] + self.north_m / METRES_A_DEGREE) * 1e7),
            lon=round((HOME[1] + self.east_m / METRES_A_DEGREE) * 1e7),
            relative_alt=round(self.height_m * 1000),
            vx=round(north_m_s * 100),
            vy=round(east_m_s * 100),
            vz=round(-climb_m_s * 100),
        )
        for part in self.parts:
            values = part.run(self.now_us)
            if values is not None:
                part.stream.mark(self.now_us)
                for index, value in zip(part.indexes, values, strict=True):
                    self.aircraft.readings.put(index, value, part.stream)

    def move(self, seconds: float, *, north: float = 0.0, east: float = 0.0, climb: float = 0.0) -> list[Any]:
        """Move at steady speeds in m/s; return what `watched` was after each step."""
        found = []
        for _ in range(round(2 * seconds)):
            self.step(north, east, climb)
            found.append(self.aircraft.readings.values[INDEX[self.watched]])
        return found

    watched = "return.standstill"

    def order(self, name: str, **fields: Any) -> None:
        """Send a message of a station on its way up."""
        self.hear(self.station.pack(name, **fields))

    def now(self, name: str) -> Any:
        """Return the last value of a reading."""
        return self.aircraft.readings.values[INDEX[name]]
