"""What the packs' messages make of rules, from bytes to alerts, through the engine.

pymavlink encodes, the rules are the shipped ones.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from tests.aircraft.feeder import Sender
from tests.recordings import shipped
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.alerts.events import AlertChange
from watchkeeper.engine import Engine

T0 = 1_700_000_000.0
ABSENT = 65535
FILE = "packs: {cells: 12, capacity: 22 Ah, count: 2, resistance: 30 mohm, age: 0 cycles}"
OPEN_V, OHM = 4.05, 0.0025  # a cell of facts.md section 6 at 87 %, settled
GROUND_S = 20.0

Told = dict[str, Any]
"""Of one pack in one second: amps, cells (V), degc, state, faults; None in a list of packs is silence."""
Tell = Callable[[float, Told, Told], tuple[Told | None, Told | None]]


NOT_ASKED = {"watch-blind", "take-off-wait", "armed-with-reasons"}
"""What is told of an aircraft that sends batteries and little else."""


class Aircraft:
    """Two packs of one bus that report once a second; the hover begins at 20 s."""

    def __init__(self, *, file: str | None = FILE) -> None:
        files = [] if file is None else [load_aircraft_file(file, "a.yaml")]
        self.engine = Engine(shipped(), files)
        self.sender = Sender()
        self.dice = random.Random(7)
        self.changes: list[AlertChange] = []
        self.at_s = 0.0

    def _hear(self, raw: bytes) -> None:
        happened = self.engine.receive("a", raw, T0 + self.at_s)
        self.changes += [one for one in happened if isinstance(one, AlertChange)]

    def _send(self, name: str, **fields: Any) -> None:
        self._hear(self.sender.pack(name, **fields))

    def tell(self, battery: int, told: Told) -> None:
        cells_mv = [max(0, round(1000 * v)) for v in told["cells"]]
        amps = told["amps"]
        self._send(
            "BATTERY_STATUS",
            id=battery,
            battery_function=told.get("function", 1),
            voltages=cells_mv[:10] + [ABSENT] * (10 - len(cells_mv[:10])),
            voltages_ext=(cells_mv[10:] + [0] * 4)[:4],
            current_battery=-1 if amps is None else round(100 * amps),
            current_consumed=-1,
            energy_consumed=-1,
            battery_remaining=-1,
            temperature=round(100 * told["degc"]) if told["degc"] is not None else 32767,
            charge_state=told.get("state", 0),
            fault_bitmask=told.get("faults", 0),
        )

    def fly(self, seconds: int, tell: Tell | None = None) -> Aircraft:
        """Fly on; `tell` may change what the packs tell, by the time since the first message."""
        for _ in range(seconds):
            flying = self.at_s >= GROUND_S
            self._send("HEARTBEAT", type=13, base_mode=128 if flying else 0, mavlink_version=3)
            self._send("EXTENDED_SYS_STATE", landed_state=2 if flying else 1)
            self._send("GPS_RAW_INT", fix_type=3, satellites_visible=20, eph=80)
            self._send(
                "GLOBAL_POSITION_INT",
                time_boot_ms=round(1000 * self.at_s) + 90_000,
                lat=10_000,
                lon=20_000,
                alt=100_000,
                relative_alt=30_000 if flying else 0,
            )
            packs: list[Told] = []
            for _ in range(2):
                load = 70.0 + 4.0 * math.sin(self.at_s) + self.dice.gauss(0.0, 1.0) if flying else 0.8
                cell_v = OPEN_V - OHM * load
                packs.append({"amps": load, "cells": [cell_v + self.dice.gauss(0, 0.002) for _ in range(12)],
                              "degc": 25.0})  # fmt: skip
            told = (packs[0], packs[1]) if tell is None else tell(self.at_s, packs[0], packs[1])
            for battery, one in enumerate(told):
                self.at_s += 0.5
                if one is not None:
                    self.tell(battery, one)
        return self

    def raised(self, level: str | None = None) -> dict[str, float]:
        """Return what was raised and not suppressed, and when (s); of a level alone if one is named."""
        return {
            one.rule: round(one.time_us / 1e6 - T0, 1)
            for one in reversed(self.changes)
            if one.change == "raised" and one.rule not in NOT_ASKED and level in {None, one.level}
        }

    def evidence(self, rule: str) -> Mapping[str, Any]:
        return next(one.evidence for one in self.changes if one.rule == rule and one.change == "raised")


def test_even_packs_call_nothing() -> None:
    assert Aircraft().fly(200).raised() == {}


def test_a_weak_cell_of_the_second_pack_by_its_number() -> None:
    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        two["cells"][10] -= 0.0028 * two["amps"]  # 0.2 V at 70 A, in the cells of voltages_ext
        return one, two

    flown = Aircraft().fly(40, tell)
    assert list(flown.raised()) == ["cell-spread"]
    assert 23.0 <= flown.raised()["cell-spread"] <= GROUND_S + 30.0
    evidence = flown.evidence("cell-spread")
    assert (evidence["battery.weak_pack"], evidence["battery.weak_cell"]) == (2, 11)
    assert evidence["battery.cell_under"] == pytest.approx(0.196, abs=0.03)
    flown.fly(30, tell)
    readings = flown.engine.readings(7)
    assert readings["battery.weak_cause"] == "resistance"


def test_a_cell_that_starts_emptier_is_called_on_the_ground() -> None:
    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        one["cells"][3] -= 0.2
        return one, two

    flown = Aircraft().fly(15, tell)
    assert list(flown.raised()) == ["cells-uneven"]
    later = flown.fly(30, tell).raised()
    assert "cell-behind" in later
    assert "cell-spread" not in later


def test_a_wire_is_an_advisory_and_no_sag() -> None:
    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        if at_s > 40:
            one["cells"][4] = 0.0
        return one, two

    flown = Aircraft().fly(90, tell)
    assert list(flown.raised()) == ["balance-wire"]
    assert flown.raised("advisory")
    assert flown.evidence("balance-wire")["battery.tap_pack"] == 1


def test_one_bad_report_calls_nothing() -> None:
    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        if at_s == 50.0:
            one["cells"][4] = 2.0
            one["degc"] = 200.0
            one["state"] = 5
            two["amps"] = 0.0
        return one, two

    assert Aircraft().fly(90, tell).raised() == {}


def test_cold_packs_before_take_off_only() -> None:
    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        two["degc"] = 3.0
        return one, two

    flown = Aircraft().fly(40, tell)
    assert flown.raised() == {
        "packs-unequal": flown.raised().get("packs-unequal"),
        "pack-cold": pytest.approx(6, abs=2),
    }
    assert flown.evidence("pack-cold")["battery.coldest"] == 3.0


def test_hot_packs_and_packs_that_heat() -> None:
    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        one["degc"] = two["degc"] = 25.0 + max(0.0, at_s - 60.0) * 12.0 / 60.0
        return one, two

    flown = Aircraft().fly(260, tell)
    assert 60 < flown.raised()["pack-heating"] < 150
    # 60 degrees C are reached at 235 s
    assert 235 < flown.raised()["pack-hot"] < 245


def test_a_pack_that_comes_and_goes() -> None:
    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        if at_s in {50.0, 58.0, 66.0}:
            one["amps"], two["amps"] = 0.0, 140.0
            one["cells"], two["cells"] = [OPEN_V] * 12, [OPEN_V - OHM * 140.0] * 12
        return one, two

    flown = Aircraft().fly(100, tell)
    assert 58.0 < flown.raised()["connection-opens"] < 62.0
    assert flown.evidence("connection-opens")["battery.opens_pack"] == 1
    assert "pack-open" not in flown.raised()


def test_a_frozen_monitor_beside_a_live_one() -> None:
    kept: Told = {}

    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        if at_s == 60.0:
            kept.update(two)
        return one, two if at_s < 60.0 else dict(kept)

    flown = Aircraft().fly(90, tell)
    assert list(flown.raised()) == ["monitor-frozen"]
    assert 70.0 <= flown.raised()["monitor-frozen"] <= 73.0
    assert flown.evidence("monitor-frozen")["battery.frozen_pack"] == 2


def test_a_pack_that_was_never_connected() -> None:
    """All of the load through one pack; the other shows its own voltage (Kirchhoff)."""

    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        if one["amps"] > 10:
            one["cells"] = [OPEN_V - OHM * 140.0] * 12
            one["amps"], two["amps"], two["cells"] = 140.0 + one["amps"] / 100, 0.0, [OPEN_V] * 12
        return one, two

    flown = Aircraft().fly(60, tell)
    assert GROUND_S + 5 <= flown.raised()["pack-idle"] <= GROUND_S + 12
    assert flown.evidence("pack-idle")["battery.idle_pack"] == 2
    assert "current-unmeasured" not in flown.raised()


def test_a_dead_sensor_on_the_bus_is_no_idle_pack() -> None:
    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        two["amps"] = 0.0
        return one, two

    flown = Aircraft(file=None).fly(60, tell)
    assert list(flown.raised()) == ["current-unmeasured"]
    assert flown.raised("advisory")
    # with a file that promises an answer, the watch says itself what is missing: once
    with_file = Aircraft().fly(100, tell)
    assert "current-unmeasured" not in with_file.raised()
    blind = next(
        one for one in with_file.changes if one.rule == "watch-blind" and "return-now" in str(one.evidence)
    )
    assert "current of its packs is not measured" in str(blind.evidence)


def test_voltage_that_falls_while_the_current_stays() -> None:
    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        fall_v = 0.004 * min(40.0, max(0.0, at_s - 120.0))
        for pack in (one, two):
            pack["cells"] = [v - fall_v for v in pack["cells"]]
        return one, two

    flown = Aircraft().fly(200, tell)
    assert 130.0 < flown.raised()["voltage-without-current"] < 165.0


@pytest.mark.parametrize(
    ("state", "rule", "level"),
    [
        (2, "battery-says-low", "caution"),
        (3, "battery-says-critical", "warning"),
        (4, "battery-says-critical", "warning"),
        (5, "battery-says-critical", "warning"),
        (6, "battery-says-unhealthy", "caution"),
    ],
)
def test_the_batterys_own_words(state: int, rule: str, level: str) -> None:
    """MAV_BATTERY_CHARGE_STATE: low, critical, emergency, failed, unhealthy."""

    def tell(at_s: float, one: Told, two: Told) -> tuple[Told, Told]:
        one["state"] = 1
        two["state"] = state if at_s >= 40 else 1
        return one, two

    flown = Aircraft().fly(50, tell)
    assert list(flown.raised(level)) == [rule]
    assert flown.evidence(rule)["battery.state_pack"] == 2


def test_what_is_unfit_stays_on_the_ground_and_faults_are_named() -> None:
    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        one["state"], two["faults"] = 6, 4
        return one, two

    flown = Aircraft().fly(15, tell)
    assert "battery-unfit" in flown.raised("caution")
    assert flown.engine.readings(7)["battery.fault"] == "cell_failed"


@pytest.mark.parametrize("function", [3, 4])
def test_batteries_of_avionics_and_payload_are_none_of_this(function: int) -> None:
    """MAV_BATTERY_FUNCTION: 3 avionics, 4 payload."""

    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        two |= {
            "function": function,
            "state": 5,
            "faults": 1,
            "degc": 90.0,
            "cells": [3.9] * 5 + [3.0],
            "amps": 0.0,
        }
        return one, two

    flown = Aircraft(file="packs: {cells: 12, capacity: 22 Ah}").fly(80, tell)
    assert flown.raised() == {}


def test_what_stops_coming_is_stale_and_clears_nothing() -> None:
    def tell(at_s: float, one: Told, two: Told) -> tuple[Told | None, Told | None]:
        two["cells"][2] -= 0.003 * two["amps"]
        return (one, two) if at_s < 60 else (None, None)

    flown = Aircraft().fly(160, tell)
    changes = [one.change for one in flown.changes if one.rule == "cell-spread"]
    assert "raised" in changes
    assert "cleared" not in changes
    assert "stale" in changes


def test_hostile_reports_harm_nothing() -> None:
    dice = random.Random(19)

    def tell(_: float, one: Told, two: Told) -> tuple[Told, Told]:
        for pack in (one, two):
            pack["cells"] = [dice.choice([0.0, 65.534, 3.9, 5.0, 0.001]) for _ in range(dice.randint(1, 14))]
            pack["amps"] = dice.choice([None, -327.68, 0.0, 327.66, 70.0])
            pack["degc"] = dice.choice([None, -327.68, 327.66, 25.0])
            pack["state"], pack["faults"] = dice.randint(0, 255), dice.choice([0, 2**32 - 1])
        return one, two

    flown = Aircraft().fly(300, tell)
    assert flown.engine.readings(7)["battery.opens"] is not None
    readings = flown.engine.readings(7)
    assert all(not (isinstance(v, float) and math.isnan(v)) for v in readings.values())
