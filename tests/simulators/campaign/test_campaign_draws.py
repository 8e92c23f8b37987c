"""Flights as they are drawn: by seed, within their ranges, each with the fault it is said to have, and valid."""

from __future__ import annotations

import json
import math
from collections import Counter
from pathlib import Path
from typing import Any, Final

import pytest
import yaml

from simulators.campaign.distributions import NEEDS, Distributions
from simulators.campaign.draw import ARM_S, FIRST_FAULT_S, LAST_FAULT_S, SYSTEM, Drawn, draw, lasts_s
from simulators.flown.flight import FastFlight
from simulators.flown.scenario import FlownScenario
from simulators.flown.truth import LIMIT_S, fly
from simulators.onboard.modes import Mode
from simulators.scenario import load
from tests.simulators.campaign.campaigning import flight_file, shipped

SHIPPED: Final = shipped()
MANY: Final = [draw(SHIPPED, 1, number) for number in range(300)]


SETTINGS: Final = {
    "speed_m_s": "fly.speed_m_s", "climb_m_s": "fly.climb_m_s", "sink_m_s": "fly.sink_m_s",
    "return_height_m": "return.height_m", "return_speed_m_s": "return.speed_m_s",
    "return_hold_s": "return.hold_s", "return_hold_m": "return.hold_m", "landing_m_s": "land.slow_m_s",
}  # fmt: skip


def do_of(one: Drawn) -> dict[str, Any]:
    """Return the deed of a flight's one fault."""
    assert len(one.file.faults) == 1
    return one.file.faults[0].do.model_dump(exclude_none=True)


def away_m(one: Drawn) -> float:
    """Return how far from home the first place of work is."""
    home = one.file.home
    east, north = (math.radians(one.file.plan[0].at[i] - home[i]) * 111_000 * 180 / math.pi for i in (1, 0))
    return math.hypot(east * math.cos(math.radians(home[0])), north)


def within(value: float, pair: tuple[float, float]) -> bool:
    return pair[0] - 1e-9 <= value <= pair[1] + 1e-9


def test_the_same_seed_and_number_give_the_same_flight() -> None:
    for number in (0, 7, 123):
        assert draw(SHIPPED, 5, number) == draw(SHIPPED, 5, number)


def test_another_seed_or_number_gives_another_flight() -> None:
    assert draw(SHIPPED, 5, 3).file != draw(SHIPPED, 6, 3).file
    assert draw(SHIPPED, 5, 3).file != draw(SHIPPED, 5, 4).file
    assert len({one.seed for one in MANY}) == len(MANY)


def test_what_is_drawn_lies_in_its_range_and_fills_it() -> None:
    """Of 300 even draws the least and greatest come within a tenth of the range of its ends."""
    keys = SHIPPED.flight
    values: dict[str, list[float]] = {}
    for one in MANY:
        file, weather, load_keys = one.file, one.file.weather, one.file.load
        assert load_keys is not None
        values.setdefault("wind_m_s", []).append(weather.wind[0][1])
        values.setdefault("temperature_degc", []).append(weather.temperature_degc)
        values.setdefault("altitude_m", []).append(file.altitude_m)
        values.setdefault("load_kg", []).append(load_keys.mass_kg)
        if not one.far:
            values.setdefault("distance_m", []).append(away_m(one))
        values.setdefault("height_m", []).append(file.plan[0].height_m)
        values.setdefault("latitude_deg", []).append(file.home[0])
        values.setdefault("longitude_deg", []).append(file.home[1])
        for name, parameter in SETTINGS.items():
            values.setdefault(name, []).append(file.parameters[parameter])
        if one.fault != "gauge lies":
            values.setdefault("charge_pct", []).append(file.packs[0].charge_pct)
        values.setdefault("cycles", []).append(file.packs[0].cycles)
        values.setdefault("capacity_part", []).append(file.packs[0].capacity_part)
        # what a crew flies together is of one make
        assert file.packs[0].cell == file.packs[1].cell
        assert file.packs[0].capacity_part == file.packs[1].capacity_part
        assert weather.gusts_m_s <= weather.wind[0][1] * keys.gust_share[1]
        assert within(file.packs[0].charge_pct - file.packs[1].charge_pct, keys.unequal_pct)
        assert load_keys.line_m == 0.0 or within(load_keys.line_m, keys.line_m)
    for name, drawn in values.items():
        pair = getattr(keys, name)
        tenth = 0.1 * (pair[1] - pair[0])
        assert all(within(value, pair) for value in drawn), name
        assert min(drawn) < pair[0] + tenth, name
        assert max(drawn) > pair[1] - tenth, name


def test_every_kind_of_cell_is_drawn() -> None:
    """Within 4 standard deviations of 300 trials."""
    kinds = [one.file.packs[0].cell for one in MANY]
    part = 1 / len(SHIPPED.flight.cells)
    for kind in SHIPPED.flight.cells:
        assert abs(kinds.count(kind) - part * len(MANY)) < 4 * math.sqrt(len(MANY) * part * (1 - part))


def test_chances_are_kept() -> None:
    """Within 4 standard deviations of 300 trials."""
    for chance, count in (
        (SHIPPED.no_fault, sum(one.fault is None for one in MANY)),
        (SHIPPED.flight.hill_chance, sum(one.file.ground is not None for one in MANY)),
        (SHIPPED.flight.far_chance, sum(one.far for one in MANY)),
        (SHIPPED.flight.old_file_chance, sum(one.old_file for one in MANY)),
        (SHIPPED.flight.settings_told_chance, sum(one.settings_told for one in MANY)),
        (SHIPPED.flight.odd_order_chance, sum("return.order" in one.file.parameters for one in MANY)),
        (SHIPPED.flight.line_chance, sum(one.file.load is not None and one.file.load.line_m > 0 for one in MANY)),
    ):
        assert abs(count - 300 * chance) < 4 * math.sqrt(300 * chance * (1 - chance))


def test_every_kind_is_drawn_about_as_often_as_its_weight_says() -> None:
    counts = Counter(one.fault for one in MANY if one.fault is not None)
    total, weights = counts.total(), sum(one.weight for one in SHIPPED.faults)
    assert set(counts) == set(NEEDS)
    for one in SHIPPED.faults:
        share = one.weight / weights
        assert abs(counts[one.kind] - total * share) < 4 * math.sqrt(total * share * (1 - share))


def test_values_of_faults_lie_in_their_ranges() -> None:
    for one in MANY:
        if one.fault is None:
            assert one.values == {}
            assert one.file.faults == []
            continue
        keys = SHIPPED.fault(one.fault)
        assert set(keys.by) == set(one.values) - ({"at_s"} if "part" in keys.by else set())
        assert all(within(one.values[name], pair) for name, pair in keys.by.items())


def test_faults_come_at_any_time_that_the_packs_last_and_never_before_it_flies() -> None:
    """From soon after take-off to far into a long flight; the time is about the drawn part of the packs'."""
    timed = [one for one in MANY if "part" in one.values]
    times = [one.values["at_s"] for one in timed]
    assert min(times) < 150.0
    assert sum(time_s > 600.0 for time_s in times) > 0.3 * len(times)
    assert max(times) > 1300.0
    for one in timed:
        assert FIRST_FAULT_S <= one.values["at_s"] <= LAST_FAULT_S
        assert one.file.load is not None
        packs_s = lasts_s(one.file.load.mass_kg, one.file.packs[0].charge_pct)
        assert one.values["at_s"] in (FIRST_FAULT_S, LAST_FAULT_S, pytest.approx(one.values["part"] * packs_s))


def test_packs_last_about_so_long() -> None:
    """By the flight itself at 15 degrees, until it falls, which is below the cell floor: 5 to 30 % longer."""
    for load_kg, charge_pct in ((2.0, 60.0), (12.0, 90.0)):
        load, packs = {"mass_kg": load_kg, "drag_m2": 0.02 * load_kg}, [{"charge_pct": charge_pct}] * 2
        end_s = fly(flight_file(load=load, packs=packs), 11, None).end_s
        assert 1.05 < end_s / lasts_s(load_kg, charge_pct) < 1.3


def test_far_flights_are_far_and_can_come_back() -> None:
    far = [one for one in MANY if one.far]
    distances = sorted(away_m(one) for one in far)
    least, most = SHIPPED.flight.far_m
    assert distances[-1] <= most * 1.001
    assert distances[len(distances) // 4] > least
    assert distances[-1] > 3500.0
    assert all(one.file.parameters["return.speed_m_s"] >= 8.0 for one in far)


def test_no_two_flights_have_the_same_sky() -> None:
    starts = {one.file.start for one in MANY}
    assert len(starts) > 290
    assert {start.month for start in starts} == set(range(1, 13))
    assert {start.hour for start in starts} == set(range(24))
    assert len({one.file.home for one in MANY}) == len(MANY)


def test_returns_in_every_order_land_at_home() -> None:
    """Flown: climbs, a hold and a turn at odd places, and all of them end on the ground at home."""
    orders = {int(one.file.parameters["return.order"]) for one in MANY if "return.order" in one.file.parameters}
    assert orders == set(SHIPPED.flight.odd_orders)
    for order in orders:
        settings = {**flight_file().parameters, "return.order": float(order), "return.height_m": 60.0}
        flight = FastFlight(flight_file(parameters=settings).setup(), 3)
        assert flight.pilot.arm() is None
        assert flight.pilot.take_off(20.0)
        flight.run(15.0)
        flight.pilot.go_to((120.0, 0.0, 20.0))
        flight.run(25.0)
        assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
        flight.run(160.0)
        assert not flight.pilot.armed, order
        assert math.hypot(flight.craft.north_m, flight.craft.east_m) < 3.0, order


def test_no_hill_stands_in_the_way_of_a_return() -> None:
    hills = [(one, hill) for one in MANY if one.file.ground is not None for hill in one.file.ground.hills]
    assert hills
    assert all(hill.height_m < 0.61 * one.file.parameters["return.height_m"] for one, hill in hills)


@pytest.mark.parametrize("kind", sorted(NEEDS))
def test_the_fault_that_is_drawn_is_in_the_file(kind: str) -> None:
    of_kind = [one for one in MANY if one.fault == kind]
    assert of_kind
    for one in of_kind:
        values, packs = one.values, one.file.packs
        if kind == "gauge lies":
            assert [(pack.charge_pct, pack.gauge_pct) for pack in packs] == [(values["charge_pct"], 100.0)] * 2
            scales = [pack.current_scale for pack in packs]
            assert all(scale is not None and 0.94 <= scale <= 1.06 for scale in scales)
            assert one.file.faults == []
            continue
        if kind == "weak cell":
            assert packs[0].weak_cell in range(1, 13)
            assert packs[0].weak_mohm == values["mohm"]
            assert packs[1].weak_cell is None
            assert one.file.faults == []
            continue
        fault = one.file.faults[0]
        assert (fault.fault, fault.when.at_s) == (kind, values["at_s"])
        do = do_of(one)
        match kind:
            case "pack opens":
                assert do["open_pack"] in {1, 2}
            case "motor weakens":
                assert do["weaken"]["rotor"] in range(1, 7)
                assert do["weaken"]["health"] == values["health"]
            case "wind rises":
                assert do["wind"]["speed_m_s"] == values["speed_m_s"]
                assert do["wind"]["after_s"] == values["after_s"]
            case "antenna comes loose":
                assert do == {"antenna_loss_db": values["loss_db"]}
            case "satellites jammed":
                assert do == {"jam_db": values["db"]}
            case "position pulled":
                speed = math.hypot(do["pull"]["north_m_s"], do["pull"]["east_m_s"])
                assert speed == pytest.approx(values["speed_m_s"])
            case "motors stop":
                assert do == {"stop_motors": True}
            case _:
                assert do == {"restart": True}


def test_what_a_fault_picks_is_picked_evenly() -> None:
    opened = {do_of(one)["open_pack"] for one in MANY if one.fault == "pack opens"}
    rotors = {do_of(one)["weaken"]["rotor"] for one in MANY if one.fault == "motor weakens"}
    assert opened == {1, 2}
    assert rotors == set(range(1, 7))


def test_drawn_flights_could_be_written_as_scenarios(tmp_path: Path) -> None:
    """All 300, by the same checks that a scenario of a person gets, those between values included."""
    path = tmp_path / "drawn.yaml"
    for one in MANY:
        keys = json.loads(one.file.model_dump_json(exclude_none=True, exclude_defaults=True))
        path.write_text(yaml.safe_dump(keys, sort_keys=False), encoding="utf-8")
        again = load(path)
        assert isinstance(again, FlownScenario)
        assert again.written == one.file


def test_the_crew_flies_on_until_it_is_told() -> None:
    for one in MANY[:40]:
        file = one.file
        assert (file.system, file.duration_s, file.return_after_plan) == (SYSTEM, LIMIT_S, False)
        assert [event.when.at_s for event in file.crew] == [ARM_S, ARM_S + 4]
        assert file.plan[-1].stay_s == 3600.0
        assert all(file.parameters[f"low{i}.action"] == 0.0 for i in (1, 2, 3))  # reports only


def test_at_the_ends_of_what_a_file_may_hold_flights_are_valid_still() -> None:
    """Everything that the check of the file lets through can be drawn."""
    ends = SHIPPED.flight.model_dump()
    least = {name: (0, 0) if isinstance(pair, tuple) else pair for name, pair in ends.items()}
    least |= {"charge_pct": (10, 10), "distance_m": (10, 10), "height_m": (5, 5), "speed_m_s": (1, 1)}
    least |= {
        "far_m": (10, 10), "climb_m_s": (0.5, 0.5), "sink_m_s": (0.3, 0.3), "return_height_m": (3, 3),
        "return_speed_m_s": (1, 1), "return_hold_m": (2, 2), "landing_m_s": (0.2, 0.2), "latitude_deg": (-60, -60),
        "longitude_deg": (-179, -179), "capacity_part": (0.5, 0.5),
    }  # fmt: skip
    least |= {"temperature_degc": (-40, -40), "altitude_m": (-500, -500), "unequal_pct": (9, 9)}
    most = {
        "wind_m_s": (25, 25), "gust_share": (1, 1), "temperature_degc": (50, 50), "altitude_m": (5000, 5000),
        "load_kg": (40, 40), "line_m": (60, 60), "charge_pct": (100, 100), "unequal_pct": (0, 0),
        "cycles": (1000, 1000), "capacity_part": (1.2, 1.2), "distance_m": (15_000, 15_000),
        "height_m": (400, 400), "speed_m_s": (20, 20),
        "far_m": (15_000, 15_000), "climb_m_s": (6, 6), "sink_m_s": (6, 6), "return_height_m": (400, 400),
        "return_speed_m_s": (20, 20), "return_hold_s": (600, 600), "return_hold_m": (100, 100),
        "landing_m_s": (2, 2), "latitude_deg": (60, 60), "longitude_deg": (179, 179), "far_chance": 1.0,
    }  # fmt: skip
    for flight in (least, {**ends, **most, "hill_chance": 1.0, "line_chance": 1.0}):
        for pick in (0, 1):
            faults = [
                one.model_dump()
                | {"by": {name: (pair[pick], pair[pick]) for name, pair in NEEDS[one.kind].items()}}
                for one in SHIPPED.faults
            ]
            keys = {"flight": flight, "no_fault": 0.0, "faults": faults}
            found = Distributions.model_validate(json.loads(json.dumps(keys)))
            assert {draw(found, 1, number).fault for number in range(120)} == set(NEEDS)
