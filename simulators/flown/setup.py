"""What one simulated flight begins with: place, air, aircraft, packs, errors and settings."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from simulators.onboard.gauge import MonitorErrors
from simulators.onboard.sensors import SensorErrors
from simulators.physics.airframe import Airframe, Load
from simulators.physics.packs import Pack, PackModel

SYSTEM: Final = 143
"""MAVLink system id of simulated aircraft: an uncommon one."""


@dataclass(frozen=True, slots=True)
class PackSetup:
    """One pack as it is when switched on. Errors of its monitor are drawn if they are not given."""

    model: PackModel = field(default_factory=PackModel)
    charge: float = 1.0
    monitor: MonitorErrors | None = None
    weak_cell: int | None = None
    weak_ohm: float = 0.0

    def made(self, temperature_degc: float, dice: random.Random) -> Pack:
        """Return the pack, its cells unequal by a few millivolts."""
        offsets = [dice.gauss(0.0, 0.003) for _ in range(self.model.cells_in_series)]
        return Pack(self.model, self.charge, temperature_degc, offsets, self.weak_cell, self.weak_ohm)


@dataclass(frozen=True, slots=True)
class Weather:
    """Wind as (time in s, m/s at 10 m, from degrees); gusts by the wind at 20 ft; temperature at the field."""

    wind: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),)
    gusts_w20_m_s: float = 0.0
    temperature_degc: float = 15.0
    roughness_m: float = 0.03
    draughts: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Setup:
    """All of it. `latitude_deg` and `longitude_deg` are where the aircraft stands when it is switched on."""

    latitude_deg: float = 1.25
    longitude_deg: float = -31.5
    altitude_m: float = 320.0
    start: datetime = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
    heading_deg: float = 0.0
    system: int = SYSTEM
    airframe: Airframe = field(default_factory=Airframe)
    load: Load = field(default_factory=Load)
    packs: tuple[PackSetup, ...] = (PackSetup(), PackSetup(PackModel(cycles=60.0)))
    pack_temperature_degc: float | None = None
    """Without it the packs are as warm as the air."""
    weather: Weather = field(default_factory=Weather)
    sensors: SensorErrors | None = None
    """Without it errors are drawn."""
    parameters: Mapping[str, float] = field(default_factory=dict)
    rates_hz: Mapping[str, float] = field(default_factory=dict)
    """Rates other than usual, by message."""
    rate_scale: float = 1.0
    """Below 1 for a slow radio: all but the heartbeat come rarer."""
    signing_key: bytes | None = None
    """32 bytes: the aircraft signs, and obeys signed frames only."""
