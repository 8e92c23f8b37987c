"""The answers on getting home: by hand, and by what they must agree with among themselves."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pymavlink import mavutil

from tests.conftest import RequireData
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile, load_aircraft_file, load_sortie_file
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.homeway import Segment, way_home
from watchkeeper.estimate.returning import (
    BLIND,
    BOUND,
    UNREACHABLE_PCT,
    ReturnHome,
    answer,
    longest_way,
    lower_bound,
    pack_energy_wh,
)

FILE = load_aircraft_file(
    """\
packs: {cells: 12, capacity: 22 Ah, count: 2}
limits: {airspeed: 16 m/s}
return: {height: 40 m, speed: 8 m/s, hold: 30 s at 8 m, landing: 0.5 m/s}
""",
    "a.yaml",
)
FLIGHT = {
    "flight.phase": "airborne",
    "battery.power": 4000.0,
    "battery.charge_left": 70.0,
    "position.home_distance": 400.0,
    "position.home_bearing": 0.0,
    "position.height": 40.0,
}


def readings_of(values: dict[str, Any], now_us: int = 1_000_000) -> Readings:
    readings = Readings()
    for name, value in values.items():
        stream = Stream()
        stream.mark(now_us)
        readings.put(INDEX[name], value, stream)
    return readings


def test_energy_of_two_packs() -> None:
    # Facts section 6: 2 x 12S 22 Ah at 3.7 V.
    assert pack_energy_wh(FILE.packs) == pytest.approx(1953.6)
    assert pack_energy_wh(AircraftFile().packs) is None


def test_by_hand() -> None:
    # 1000 W for 360 s are 100 Wh, a tenth of 1000 Wh.
    home = answer(
        [Segment("cruise", 260), Segment("land", 100)],
        charge_pct=50,
        energy_wh=1000,
        power_w=1000,
        speed_m_s=10,
        outward_m_s=10,
        required_pct=20,
    )
    assert home.time_s == 360
    assert home.energy_wh == pytest.approx(100)
    assert home.reserve_pct == pytest.approx(40)
    # sqrt(2.5^2 + 1.2^2) = 2.773, times 1.65 is 4.576
    assert home.reserve_low_pct == pytest.approx(40 - 4.576, abs=1e-3)
    # A second out costs 1/36 %, and its way back 1/36 % times 1 + 1.65 x 0.12.
    assert home.turn_back_in_s == pytest.approx((35.424 - 20) / (1 / 36 * (1 + 1.198)), abs=0.1)


def test_turning_back_at_the_last_moment_keeps_the_reserve() -> None:
    """Flown on for `turn_back_in`, the lower bound at home is what is required, within the linear step's error."""
    power_w, speed_m_s, energy_wh = 4000.0, 8.0, 1953.6
    out = way_home(FILE, 400, 40, speed_m_s)
    home = answer(out, charge_pct=70, energy_wh=energy_wh, power_w=power_w, speed_m_s=speed_m_s,
                  outward_m_s=6, required_pct=20)  # fmt: skip
    later_s = home.turn_back_in_s
    later = answer(
        way_home(FILE, 400 + 6 * later_s, 40, speed_m_s),
        charge_pct=70 - 100 * power_w * later_s / 3600 / energy_wh,
        energy_wh=energy_wh, power_w=power_w, speed_m_s=speed_m_s, outward_m_s=6, required_pct=20,
    )  # fmt: skip
    assert 0 <= later.reserve_low_pct - 20 < 1.5  # on the safe side
    assert later.turn_back_in_s < 40


def test_reach_is_the_distance_whose_lower_bound_is_the_reserve() -> None:
    common = {"charge_pct": 70.0, "energy_wh": 1953.6, "power_w": 4000.0, "speed_m_s": 8.0}
    reach_m = answer(way_home(FILE, 400, 40, 8), **common, outward_m_s=0, required_pct=20).reach_m
    there = answer(way_home(FILE, reach_m, 40, 8), **common, outward_m_s=0, required_pct=20)
    assert there.reserve_low_pct == pytest.approx(20, abs=1e-6)
    assert there.turn_back_in_s == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(("charge_pct", "required_pct"), [(90, 20), (40, 20), (30, 25)])
def test_longest_way_is_the_root_of_the_lower_bound(charge_pct: float, required_pct: float) -> None:
    way_pct = longest_way(charge_pct, required_pct)
    kept = max(required_pct, charge_pct - BOUND * 2.5) if way_pct == 0 else required_pct
    assert lower_bound(charge_pct, way_pct) == pytest.approx(kept)


def test_no_way_is_short_enough_when_the_reserve_is_gone() -> None:
    assert longest_way(15, 20) == 0
    assert longest_way(22, 20) == 0


def test_readings_in_flight() -> None:
    readings = readings_of(FLIGHT)
    part = ReturnHome(readings, FILE, None)
    time_s, energy_wh, reserve_pct, low_pct, turn_s, reach_m = part.run(1_000_000)
    # 400 m at 8 m/s, 32 m at 1.5 m/s, 30 s, 16 s; 4000 W
    assert time_s == pytest.approx(50 + 32 / 1.5 + 30 + 16)
    assert energy_wh == pytest.approx(4000 * 117.333 / 3600, rel=1e-4)
    assert reserve_pct == pytest.approx(70 - 100 * 130.37 / 1953.6, abs=0.01)
    assert reserve_pct is not None
    assert low_pct is not None
    assert turn_s is not None
    assert reach_m is not None
    assert 55 < low_pct < reserve_pct
    assert turn_s > 60
    assert reach_m > 400


def test_flying_out_shortens_the_time_to_turn_back() -> None:
    values = dict(FLIGHT)
    readings = readings_of(values)
    part = ReturnHome(readings, FILE, None)
    hovering = part.run(1_000_000)[4]
    outward: float | None = None
    for second in range(2, 32):
        stream = readings.streams[INDEX["position.home_distance"]]
        assert stream is not None
        stream.mark(second * 1_000_000)
        readings.values[INDEX["position.home_distance"]] = 400.0 + 8 * (second - 1)
        for name in ("battery.power", "battery.charge_left", "position.height", "position.home_bearing"):
            other = readings.streams[INDEX[name]]
            assert other is not None
            other.mark(second * 1_000_000)
        outward = part.run(second * 1_000_000)[4]
    assert hovering is not None
    assert outward is not None
    assert outward < 0.6 * hovering


@pytest.mark.parametrize("lost", ["battery.charge_left", "position.home_distance", "position.height"])
def test_blind_without_what_it_needs(lost: str) -> None:
    part = ReturnHome(readings_of({k: v for k, v in FLIGHT.items() if k != lost}), FILE, None)
    assert part.run(1_000_000) == BLIND


def test_blind_without_capacity_and_on_the_ground() -> None:
    assert ReturnHome(readings_of(FLIGHT), None, None).run(1_000_000) == BLIND
    assert ReturnHome(readings_of({**FLIGHT, "flight.phase": "landed"}), FILE, None).run(1_000_000) == BLIND
    unpowered = {k: v for k, v in FLIGHT.items() if k != "battery.power"}
    assert ReturnHome(readings_of(unpowered), FILE, None).run(1_000_000) == BLIND


def test_without_measured_power_the_files_hover_power_serves() -> None:
    file = load_aircraft_file("packs: {cells: 12, capacity: 22 Ah}\nhover_power: 2 kW", "a.yaml")
    unpowered = {k: v for k, v in FLIGHT.items() if k != "battery.power"}
    assert ReturnHome(readings_of(unpowered), file, None).run(1_000_000)[1] is not None


def test_head_wind_stronger_than_the_aircraft_makes_home_unreachable() -> None:
    # Home lies south (bearing from home 0), so the way is 180 and wind from 180 blows against it.
    windy = {**FLIGHT, "wind.speed": 17.0, "wind.from": 180.0}
    assert ReturnHome(readings_of(windy), FILE, None).run(1_000_000)[2] == UNREACHABLE_PCT
    behind = {**FLIGHT, "wind.speed": 17.0, "wind.from": 0.0}
    assert ReturnHome(readings_of(behind), FILE, None).run(1_000_000)[0] == pytest.approx(50 + 32 / 1.5 + 46)


def test_wind_of_unknown_direction_is_taken_as_a_head_wind() -> None:
    windy = {**FLIGHT, "wind.speed": 12.0}
    against = ReturnHome(readings_of({**windy, "wind.from": 180.0}), FILE, None).run(1_000_000)
    assert ReturnHome(readings_of(windy), FILE, None).run(1_000_000) == against
    assert against[0] == pytest.approx(400 / 4 + 32 / 1.5 + 46)  # 16 m/s less 12
    placeless = {k: v for k, v in windy.items() if k != "position.home_bearing"}
    assert ReturnHome(readings_of(placeless), FILE, None).run(1_000_000) == against


def test_wind_does_not_put_home_out_of_reach_over_home() -> None:
    windy = {**FLIGHT, "wind.speed": 17.0, "wind.from": 180.0}
    over = ReturnHome(readings_of({**windy, "position.home_distance": 19.0}), FILE, None).run(1_000_000)
    assert over[0] == pytest.approx(32 / 1.5 + 46)  # no cruise
    assert over[2] == pytest.approx(70 - 100 * 4000 * (32 / 1.5 + 46) / 3600 / 1953.6)
    assert over[4] is not None
    assert over[4] > 60
    away = ReturnHome(readings_of({**windy, "position.home_distance": 20.0}), FILE, None).run(1_000_000)
    assert away[2] == UNREACHABLE_PCT


def flown_on(power_w: float | None, seconds: int) -> tuple[float | None, ...]:
    """Return the answers when after 30 s at 4000 W the power has been `power_w` for some seconds."""
    readings = readings_of(FLIGHT)
    part = ReturnHome(readings, FILE, None)
    for second in range(1, 31 + seconds):
        for name, value in FLIGHT.items():
            stream = readings.streams[INDEX[name]]
            assert stream is not None
            stream.mark(second * 1_000_000)
            readings.put(INDEX[name], value if name != "battery.power" or second <= 30 else power_w, stream)
        home = part.run(second * 1_000_000)
    return home


@pytest.mark.parametrize("power_w", [None, -4000.0, 0.0])
def test_power_not_measured_for_more_than_ten_seconds_is_blind(power_w: float | None) -> None:
    """Nothing flies on no power, so that is not measured either."""
    assert flown_on(power_w, 10) == flown_on(4000.0, 10)
    assert flown_on(power_w, 11) == BLIND


def test_power_that_comes_into_the_packs_is_never_taken_for_the_hover() -> None:
    assert ReturnHome(readings_of({**FLIGHT, "battery.power": -4000.0}), FILE, None).run(1_000_000) == BLIND


def test_more_doubt_of_the_charge_lowers_the_bound_and_turns_back_earlier() -> None:
    usual = ReturnHome(readings_of(FLIGHT), FILE, None).run(1_000_000)
    wider = ReturnHome(readings_of(FLIGHT), FILE, None, lambda: 6.0).run(1_000_000)
    way_pct = 100 * 130.37 / 1953.6
    assert wider[2] == usual[2]
    assert wider[3] == pytest.approx(
        70 - way_pct - BOUND * math.sqrt(2.5**2 + 6**2 + (0.12 * way_pct) ** 2), abs=0.01
    )
    assert usual[4] is not None
    assert wider[4] is not None
    assert wider[4] < usual[4]
    assert ReturnHome(readings_of(FLIGHT), FILE, None, lambda: None).run(1_000_000) == BLIND


def test_a_larger_reserve_in_the_sortie_turns_back_earlier() -> None:
    usual = ReturnHome(readings_of(FLIGHT), FILE, None).run(1_000_000)[4]
    asked = ReturnHome(readings_of(FLIGHT), FILE, load_sortie_file("reserve: 40 %", "s")).run(1_000_000)[4]
    less = ReturnHome(readings_of(FLIGHT), FILE, load_sortie_file("reserve: 5 %", "s")).run(1_000_000)[4]
    assert usual is not None
    assert asked is not None
    assert less is not None
    assert asked < usual
    assert less == usual


def test_a_real_return_is_foretold_at_its_start(require_data: RequireData) -> None:
    """Measured: 50.6 s and about 2.6 Wh from 60.6 m out and 7 m up; touch-down counts as home."""
    log = mavutil.mavlink_connection(str(require_data("flights/quad-return-61m.tlog")))
    positions: list[tuple[int, float, float, float]] = []
    batteries: list[tuple[int, float]] = []
    while (message := log.recv_match(type=["GLOBAL_POSITION_INT", "BATTERY_STATUS"])) is not None:
        time_us = round(message._timestamp * 1e6)
        if message.get_type() == "GLOBAL_POSITION_INT":
            positions.append((time_us, message.lat / 1e7, message.lon / 1e7, message.relative_alt / 1e3))
        else:
            volt = sum(cell for cell in message.voltages if cell != 65535) / 1e3
            batteries.append((time_us, volt * message.current_battery / 100))
    log.close()
    file = load_aircraft_file(
        "packs: {cells: 4, capacity: 5.3 Ah}\nreturn: {height: 15 m, speed: 5 m/s, hold: 5 s}", "a.yaml"
    )
    start_us, latitude_deg, longitude_deg, height_m = positions[0]
    _, home_latitude_deg, home_longitude_deg, home_height_m = positions[-1]
    north_m = (latitude_deg - home_latitude_deg) * 111_195
    east_m = (longitude_deg - home_longitude_deg) * 111_195 * math.cos(math.radians(latitude_deg))
    first_three_s = [power_w for time_us, power_w in batteries if time_us < start_us + 3_000_000]
    readings = readings_of(
        {
            "flight.phase": "returning",
            "battery.power": sum(first_three_s) / len(first_three_s),
            "battery.charge_left": 76.0,
            "position.home_distance": math.hypot(north_m, east_m),
            "position.height": height_m - home_height_m,
        }
    )
    time_s, energy_wh, *_ = ReturnHome(readings, file, None).run(1_000_000)
    assert time_s == pytest.approx(50.6, rel=0.15)
    assert energy_wh == pytest.approx(2.6, rel=0.15)
