"""Flights that were really flown, folded: phases, homes, packs, power-ups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import RequireData
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.framing import Framer
from watchkeeper.link.recording import RecordingReader

PHASE = INDEX["flight.phase"]
RADIO = ("quad-radio-a", "quad-radio-b", "quad-radio-c")


def folded(path: Path, fleet: Fleet) -> Iterator[tuple[float, int, Aircraft]]:
    """Give (seconds, message, aircraft) after each frame that touched an aircraft."""
    framer = Framer()
    first_us: int | None = None
    for time_us, raw in RecordingReader().feed(path.read_bytes()):
        first_us = time_us if first_us is None else first_us
        for frame in framer.feed(raw):
            for aircraft in fleet.receive("recording", frame, time_us):
                yield (time_us - first_us) / 1e6, frame[3], aircraft


def phases(path: Path) -> list[tuple[float, str]]:
    found: list[tuple[float, str]] = []
    for seconds, _, aircraft in folded(path, Fleet()):
        phase = aircraft.readings.values[PHASE]
        if phase is not None and (not found or found[-1][1] != phase):
            found.append((seconds, phase))
    return found


FLOWN = ("armed", "taking_off", "airborne", "landed")


def test_five_short_flights(require_data: RequireData) -> None:
    found = phases(require_data("flights/quad-3s-five-flights.tlog"))
    flown = [phase for _, phase in found]
    # two armings without a take-off at 771 and 780 s; a return broken off by the pilot in the second flight
    assert flown == [
        "on_ground",
        *FLOWN,
        "armed", "taking_off", "airborne", "returning", "landing", "airborne", "landed",
        "armed", "on_ground", "armed", "on_ground",
        *FLOWN,
        *FLOWN,
        *FLOWN,
    ]  # fmt: skip
    offs = [seconds for seconds, phase in found if phase == "taking_off"]
    # heights over a metre and throttles of 40 to 60 % at these times, by eye
    assert offs == pytest.approx([469.0, 594.0, 796.0, 925.5, 969.5], abs=1.5)
    downs = [seconds for seconds, phase in found if phase == "landed"]
    disarmed = [574.7, 734.7, 856.9, 952.2, 1037.7]  # by its heartbeats
    for down, off in zip(downs, disarmed, strict=True):
        assert off - 5 < down <= off + 0.1


@pytest.mark.parametrize(("name", "disarmed_s"), [("quad-radio-a", 472.3), ("quad-radio-b", 362.3),
                                                  ("quad-radio-c", 567.7)])  # fmt: skip
def test_flights_by_hand_and_plan(name: str, disarmed_s: float, require_data: RequireData) -> None:
    found = phases(require_data(f"flights/{name}.tlog"))
    expected = [*FLOWN] if name == "quad-radio-b" else ["on_ground", *FLOWN]  # b is armed from its first packet
    assert [phase for _, phase in found] == expected
    assert disarmed_s - 2 < found[-1][0] <= disarmed_s + 0.1


def test_a_whole_real_return(require_data: RequireData) -> None:
    found = phases(require_data("flights/quad-return-61m.tlog"))
    assert [phase for _, phase in found] == ["returning", "landing", "landed"]
    begin, landing, landed = (seconds for seconds, _ in found)
    assert landing - begin == pytest.approx(28.5, abs=1.5)  # climb to 15 m, 60 m at 5 m/s, 5 s of hold
    assert landed - begin == pytest.approx(50.6, abs=1.0)  # its length by the description of the recording


def test_the_reboot_on_the_ground(require_data: RequireData) -> None:
    ups: list[float] = []
    for seconds, _, aircraft in folded(require_data("flights/quad-3s-five-flights.tlog"), Fleet()):
        if aircraft.power_up > len(ups):
            ups.append(seconds)
    assert len(ups) == 2
    assert ups[1] == pytest.approx(254.4, abs=1)


def test_no_other_recording_has_a_reboot_or_a_lag(require_data: RequireData) -> None:
    lag = INDEX["link.lag"]
    for name in (*RADIO, "quad-return-61m"):
        most = 0.0
        for _, _, aircraft in folded(require_data(f"flights/{name}.tlog"), Fleet()):
            assert aircraft.power_up == 1
            most = max(most, aircraft.readings.values[lag] or 0.0)
        assert most < 1.5, name


@pytest.mark.parametrize("name", RADIO)
def test_a_battery_that_is_not_measured(name: str, require_data: RequireData) -> None:
    battery = [i for reading, i in INDEX.items() if reading.startswith("battery.")]
    for _, _, aircraft in folded(require_data(f"flights/{name}.tlog"), Fleet()):
        assert all(aircraft.readings.values[i] is None for i in battery)


@pytest.mark.parametrize(
    ("name", "cells", "source"),
    [("quad-3s-five-flights", 3, "inferred"), ("quad-return-61m", None, None)],
)
def test_cells(name: str, cells: int | None, source: str | None, require_data: RequireData) -> None:
    fleet = Fleet()
    for _ in folded(require_data(f"flights/{name}.tlog"), fleet):
        pass
    values = fleet.aircraft[1].readings.values
    # the second one is armed from the start and sends no cells: 12.9 V under load could be 3S as well as 4S
    assert values[INDEX["battery.cells"]] == cells
    assert values[INDEX["battery.cells_source"]] == source


def test_the_charge_used_on_the_real_return(require_data: RequireData) -> None:
    fleet = Fleet()
    used: list[float] = []
    for _, message, aircraft in folded(require_data("flights/quad-return-61m.tlog"), fleet):
        if message == 147:
            used.append(aircraft.readings.values[INDEX["battery.consumed"]])
    # by the description of the recording: 1260 to 1460 mAh
    assert used[0] == pytest.approx(1.26, abs=0.01)
    assert used[-1] == pytest.approx(1.46, abs=0.01)


def test_home_is_where_it_was_armed(require_data: RequireData) -> None:
    farthest: dict[str, float] = defaultdict(float)
    for name in ("quad-3s-five-flights", "quad-radio-a", "quad-radio-c"):
        for _, _, aircraft in folded(require_data(f"flights/{name}.tlog"), Fleet()):
            farthest[name] = max(farthest[name], aircraft.readings.values[INDEX["position.home_distance"]] or 0.0)
            assert aircraft.home_source in {None, "arming"}
    # by the descriptions of the recordings, which count from the first position and not from the arming
    assert farthest["quad-3s-five-flights"] == pytest.approx(41, abs=15)
    assert farthest["quad-radio-a"] == pytest.approx(124, abs=8)
    assert farthest["quad-radio-c"] == pytest.approx(137, abs=8)


@pytest.mark.parametrize("name", ["quad-3s-five-flights", *RADIO, "quad-return-61m"])
def test_the_climb_rate_goes_with_the_height(name: str, require_data: RequireData) -> None:
    """Four of these count vz upwards and one downwards; what is read goes with the height in all of them."""
    height, climb = INDEX["position.height"], INDEX["position.climb_rate"]
    rows: list[tuple[float, float, float]] = []
    for seconds, message, aircraft in folded(require_data(f"flights/{name}.tlog"), Fleet()):
        values = aircraft.readings.values
        if message == 33 and values[climb] is not None:
            rows.append((seconds, values[height], values[climb]))
    agree = against = 0
    for (t0, h0, c0), (t1, h1, c1) in zip(rows, rows[4:], strict=False):
        rise = (h1 - h0) / (t1 - t0) if t1 - t0 < 5 else 0.0
        if abs(rise) > 1 and abs(c0 + c1) > 1:
            agree += (rise > 0) == (c0 + c1 > 0)
            against += (rise > 0) != (c0 + c1 > 0)
    assert agree > 20
    assert against < agree / 4  # barometric climb lags behind in reversals at 10 m/s


def test_all_parameters_of_the_real_return(require_data: RequireData) -> None:
    fleet = Fleet()
    for _ in folded(require_data("flights/quad-return-61m.tlog"), fleet):
        pass
    values = fleet.aircraft[1].parameters.values
    assert len(values) > 750
    assert values["RTL_ALT"] == 1500  # it climbs to 15 m: the description of the recording
    assert None not in values.values()
