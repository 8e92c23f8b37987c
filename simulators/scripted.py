"""Scripted telemetry: a scenario's values as real MAVLink 2 frames of an aircraft, its radio and a station.

No physics: positions, currents and voltages follow the script, made consistent with each other (speed is the
rate of distance, charge the integral of current, voltage a curve less current times resistance).
`python -m simulators.scripted four-faults` feeds a running watch over UDP.
"""

from __future__ import annotations

import argparse
import asyncio
import math
import random
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final, NamedTuple

from simulators.feed import parse_target, play
from simulators.scenario import DEFAULT, Scenario, find, load
from watchkeeper.errors import BadInputError
from watchkeeper.link.encode import Encoder

STEP_S: Final = 0.05
AUTOPILOT: Final = 1
"""MAV_COMP_ID_AUTOPILOT1"""
_HEXAROTOR: Final = 13
_GENERIC: Final = 0
_GCS: Final = 6
_INVALID: Final = 8
_STANDARD_MODES: Final = {
    "position_hold": 1, "altitude_hold": 4, "safe_recovery": 5, "mission": 6, "land": 7, "takeoff": 8,
}  # fmt: skip
_LANDED: Final = {"ground": 1, "air": 2, "takeoff": 3, "landing": 4}
_ARMED: Final = 128
_CUSTOM: Final = 1
_CAST: Final = 131072
_MAVLINK_2: Final = 8192
_PER_DB: Final = 1.9
_NOISE: Final = 45
_EARTH_M: Final = 6_371_000.0
_REST_CELL: Final = ((0, 3.3), (10, 3.61), (20, 3.69), (40, 3.77), (60, 3.82), (80, 3.99), (100, 4.19))
"""Resting cell voltage by charge in %, a plain polyline of the script's own."""
RADIO_SYSTEM: Final = 51
RADIO_COMPONENT: Final = 68
STATION: Final = (255, 190)


class Sent(NamedTuple):
    """One frame: seconds from the scenario's start, and bytes."""

    time_s: float
    data: bytes


class ScriptedFlight:
    """Flies one scenario. The same scenario and seed give the same bytes."""

    def __init__(self, scenario: Scenario, seed: int = 1) -> None:
        self.scenario = scenario
        self._random = random.Random(seed)
        self._aircraft = Encoder(scenario.system, AUTOPILOT)
        self._radio = Encoder(RADIO_SYSTEM, RADIO_COMPONENT)
        self._station = Encoder(*STATION)
        battery = scenario.battery
        self._used_as = [0.0] * battery.packs
        self._voltage_v = 0.0
        self._current_a = 0.0
        self._texts = list(scenario.texts)

    def frames(self) -> Iterator[Sent]:
        """Yield every frame in order of time."""
        schedule = self._schedule()
        due = [offset_s for _, offset_s, _, _ in schedule]
        for step in range(round(self.scenario.duration_s / STEP_S) + 1):
            time_s = step * STEP_S
            self._electricity(time_s)
            for i, (period_s, _, encoder, build) in enumerate(schedule):
                if time_s + 1e-9 < due[i]:
                    continue
                due[i] += period_s
                for name, fields in build(time_s):
                    data = encoder.encode(name, **fields)
                    lost = self._random.random() * 100 < self._at("loss_pct", time_s)
                    if not (lost and encoder is self._aircraft):
                        yield Sent(time_s, data)
            while self._texts and self._texts[0][0] <= time_s:
                _, severity, words = self._texts.pop(0)
                yield Sent(time_s, self._aircraft.encode("STATUSTEXT", severity=severity, text=words))

    def _at(self, name: str, time_s: float) -> float:
        return self.scenario.numbers[name].at(time_s)

    def _noise(self, sigma: float) -> float:
        return self._random.gauss(0.0, sigma)

    def _schedule(
        self,
    ) -> list[tuple[float, float, Encoder, Callable[[float], Sequence[tuple[str, dict[str, Any]]]]]]:
        """Return (period, first time, sender, builder); rates as usual on a telemetry radio."""
        one = self._one
        plane, radio, station = self._aircraft, self._radio, self._station
        return [
            (1.0, 0.0, plane, self._heartbeat),
            (
                1.0,
                0.3,
                station,
                lambda _: [("HEARTBEAT", {"type": _GCS, "autopilot": _INVALID, "mavlink_version": 3})],
            ),
            (1e9, 0.1, plane, one("AUTOPILOT_VERSION", lambda _: {"capabilities": _CAST | _MAVLINK_2})),
            (0.1, 0.05, plane, one("ATTITUDE", self._attitude)),
            (0.25, 0.0, plane, one("GLOBAL_POSITION_INT", self._position)),
            (0.25, 0.1, plane, one("VFR_HUD", self._hud)),
            (0.5, 0.15, plane, one("GPS_RAW_INT", self._gps)),
            (0.5, 0.2, plane, self._batteries),
            (1.0, 0.25, plane, one("SYS_STATUS", self._system_status)),
            (1.0, 0.35, plane, one("EXTENDED_SYS_STATE", self._landed)),
            (2.0, 0.4, plane, one("CURRENT_MODE", self._mode)),
            (1.0, 0.45, plane, one("SYSTEM_TIME", self._system_time)),
            (1.0, 0.5, plane, one("WIND_COV", self._wind)),
            (1.0, 0.55, plane, one("MISSION_CURRENT", lambda _: {"total": 65535, "mission_state": 1})),
            (5.0, 0.6, plane, one("HOME_POSITION", self._home)),
            (0.5, 0.65, plane, one("RC_CHANNELS", self._channels)),
            (1.0, 0.7, radio, one("RADIO_STATUS", self._radio_status)),
        ]

    @staticmethod
    def _one(
        name: str, build: Callable[[float], dict[str, Any]]
    ) -> Callable[[float], Sequence[tuple[str, dict[str, Any]]]]:
        return lambda time_s: [(name, build(time_s))]

    def _electricity(self, time_s: float) -> None:
        """Share the power over the packs, and take the charge out of them."""
        battery = self.scenario.battery
        charge_pct = battery.charge_pct - 100 * self._used_as[0] / 3600 / battery.capacity_ah
        rest_v = _polyline(_REST_CELL, charge_pct) * battery.cells
        power_w = self._at("power_kw", time_s) * 1000 / battery.packs
        resistance_ohm = battery.resistance_mohm / 1000
        self._current_a = (rest_v - math.sqrt(max(0.0, rest_v**2 - 4 * resistance_ohm * power_w))) / (
            2 * resistance_ohm
        )
        sag_v = self._at("sag_v", time_s) * battery.cells
        self._voltage_v = rest_v - resistance_ohm * self._current_a - sag_v
        for i in range(battery.packs):
            self._used_as[i] += self._current_a * STEP_S

    def _boot_ms(self, time_s: float) -> int:
        return round((time_s + 40) * 1000)

    def _heartbeat(self, time_s: float) -> Sequence[tuple[str, dict[str, Any]]]:
        armed = self.scenario.words["armed"].at(time_s) == "armed"
        return [
            (
                "HEARTBEAT",
                {
                    "type": _HEXAROTOR,
                    "autopilot": _GENERIC,
                    "base_mode": _CUSTOM | (_ARMED if armed else 0),
                    "custom_mode": self._standard_mode(time_s),
                    "system_status": 4 if armed else 3,
                    "mavlink_version": 3,
                },
            )
        ]

    def _standard_mode(self, time_s: float) -> int:
        return _STANDARD_MODES[self.scenario.words["mode"].at(time_s)]

    def _mode(self, time_s: float) -> dict[str, Any]:
        mode = self._standard_mode(time_s)
        return {"standard_mode": mode, "custom_mode": mode, "intended_custom_mode": mode}

    def _landed(self, time_s: float) -> dict[str, Any]:
        return {"landed_state": _LANDED[self.scenario.words["landed"].at(time_s)]}

    def _place(self, time_s: float) -> tuple[int, int]:
        latitude, longitude = self.scenario.home
        distance_m, bearing = self._at("distance_m", time_s), math.radians(self.scenario.bearing_deg)
        north = math.degrees(distance_m * math.cos(bearing) / _EARTH_M)
        east = math.degrees(distance_m * math.sin(bearing) / (_EARTH_M * math.cos(math.radians(latitude))))
        return round((latitude + north) * 1e7), round((longitude + east) * 1e7)

    def _speed(self, time_s: float) -> float:
        return self.scenario.numbers["distance_m"].rate(time_s)

    def _climb(self, time_s: float) -> float:
        return self.scenario.numbers["height_m"].rate(time_s)

    def _position(self, time_s: float) -> dict[str, Any]:
        lat, lon = self._place(time_s)
        height_m = self._at("height_m", time_s) + self._noise(0.05)
        speed, bearing = self._speed(time_s), math.radians(self.scenario.bearing_deg)
        return {
            "time_boot_ms": self._boot_ms(time_s),
            "lat": lat,
            "lon": lon,
            "alt": round(height_m * 1000),
            "relative_alt": round(height_m * 1000),
            "vx": round(100 * speed * math.cos(bearing)),
            "vy": round(100 * speed * math.sin(bearing)),
            "vz": round(-100 * self._climb(time_s)),
            "hdg": round(self.scenario.bearing_deg * 100),
        }

    def _hud(self, time_s: float) -> dict[str, Any]:
        return {
            "airspeed": abs(self._speed(time_s)),
            "groundspeed": abs(self._speed(time_s)),
            "alt": self._at("height_m", time_s),
            "climb": self._climb(time_s),
            "heading": round(self.scenario.bearing_deg),
            "throttle": min(100, round(12 * self._at("power_kw", time_s))),
        }

    def _attitude(self, time_s: float) -> dict[str, Any]:
        return {
            "time_boot_ms": self._boot_ms(time_s),
            "roll": self._noise(0.01),
            "pitch": -math.atan(self._speed(time_s) * 0.02) + self._noise(0.01),
            "yaw": math.radians(self.scenario.bearing_deg),
        }

    def _gps(self, time_s: float) -> dict[str, Any]:
        lat, lon = self._place(time_s)
        used = round(self._at("satellites", time_s) + self._noise(0.4))
        fix = 3 if used >= 5 else 1
        return {
            "time_usec": round((self.scenario.start.timestamp() + time_s) * 1e6),
            "lat": lat,
            "lon": lon,
            "alt": round(self._at("height_m", time_s) * 1000),
            "eph": round(100 * self._at("dilution", time_s)),
            "epv": round(140 * self._at("dilution", time_s)),
            "vel": round(100 * abs(self._speed(time_s))),
            "cog": 65535,
            "fix_type": fix,
            "satellites_visible": max(0, used),
        }

    def _batteries(self, time_s: float) -> Sequence[tuple[str, dict[str, Any]]]:
        battery = self.scenario.battery
        reports = []
        for i in range(battery.packs):
            cell_mv = round(1000 * self._voltage_v / battery.cells)
            cells = [cell_mv + round(self._noise(2)) for _ in range(battery.cells)]
            charge_pct = battery.charge_pct - 100 * self._used_as[i] / 3600 / battery.capacity_ah
            reports.append(
                (
                    "BATTERY_STATUS",
                    {
                        "id": i,
                        "battery_function": 1,
                        "type": 1,
                        "temperature": round(100 * battery.temperature_degc),
                        "voltages": [*cells[:10], *[65535] * (10 - len(cells))],
                        "voltages_ext": cells[10:],
                        "current_battery": round(100 * self._current_a + self._noise(20)),
                        "current_consumed": round(self._used_as[i] / 3.6),
                        "energy_consumed": -1,
                        "battery_remaining": max(0, round(charge_pct)),
                        "charge_state": 1,
                    },
                )
            )
        return reports

    def _system_status(self, time_s: float) -> dict[str, Any]:
        battery = self.scenario.battery
        charge_pct = battery.charge_pct - 100 * self._used_as[0] / 3600 / battery.capacity_ah
        return {
            "voltage_battery": round(1000 * self._voltage_v),
            "current_battery": round(100 * self._current_a * battery.packs),
            "battery_remaining": max(0, round(charge_pct)),
            "load": 320,
            "drop_rate_comm": round(100 * self._at("loss_pct", time_s)),
        }

    def _system_time(self, time_s: float) -> dict[str, Any]:
        unix_us = round((self.scenario.start.timestamp() + time_s) * 1e6)
        return {"time_unix_usec": unix_us, "time_boot_ms": self._boot_ms(time_s)}

    def _wind(self, time_s: float) -> dict[str, Any]:
        speed, source = self._at("wind_m_s", time_s), math.radians(self._at("wind_from_deg", time_s))
        return {
            "wind_x": -speed * math.cos(source),
            "wind_y": -speed * math.sin(source),
            "wind_z": math.nan,
            "var_horiz": 1.0,
            "var_vert": math.nan,
            "wind_alt": math.nan,
            "horiz_accuracy": 1.0,
            "vert_accuracy": math.nan,
        }

    def _home(self, _: float) -> dict[str, Any]:
        latitude, longitude = self.scenario.home
        return {"latitude": round(latitude * 1e7), "longitude": round(longitude * 1e7), "q": [1.0, 0.0, 0.0, 0.0]}

    def _channels(self, time_s: float) -> dict[str, Any]:
        channels = {f"chan{i}_raw": 1500 if i <= 8 else 65535 for i in range(1, 19)}
        return {"time_boot_ms": self._boot_ms(time_s), "chancount": 8, "rssi": 255, **channels}

    def _radio_status(self, time_s: float) -> dict[str, Any]:
        margin_db = self._at("margin_db", time_s)
        rssi = _NOISE + _PER_DB * margin_db + self._noise(1.0)
        return {
            "rssi": max(0, min(254, round(rssi + 2))),
            "remrssi": max(1, min(254, round(rssi))),
            "noise": _NOISE,
            "remnoise": _NOISE,
            "txbuf": 95,
        }


def _polyline(points: Sequence[tuple[float, float]], x: float) -> float:
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]


def main(arguments: Sequence[str] | None = None) -> int:
    """Feed a running watch over UDP, loopback unless told otherwise. Returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m simulators.scripted", description=main.__doc__)
    parser.add_argument("scenario", nargs="?", default=DEFAULT, help="a shipped scenario, or a file")
    parser.add_argument("--to", default="127.0.0.1:14570", metavar="HOST:PORT")
    parser.add_argument("--speed", type=float, default=1.0, help="times real time")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    try:
        host, port = parse_target(given.to)
        flight = ScriptedFlight(load(find(given.scenario)), given.seed)
        asyncio.run(play(flight.frames(), host, port, given.speed))
    except BadInputError as error:
        sys.stderr.write(f"{error.faults[0]}\n")
        return 2
    except KeyboardInterrupt:
        pass
    return 0


if __name__ == "__main__":
    sys.exit(main())
