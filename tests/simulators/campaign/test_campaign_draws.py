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
from simulators.campaign.draw import ARM_S, HOME, SYSTEM, Drawn, draw
from simulators.flown.scenario import FlownScenario
from simulators.flown.truth import LIMIT_S
from simulators.scenario import load
from tests.simulators.campaign.campaigning import shipped

SHIPPED: Final = shipped()
MANY: Final = [draw(SHIPPED, 1, number) for number in range(300)]


def do_of(one: Drawn) -> dict[str, Any]:
    """Return the deed of a flight's one fault."""
    assert len(one.file.faults) == 1
    return one.file.faults[0].do.model_dump(exclude_none=True)


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
        east, north = (math.radians(file.plan[0].at[i] - HOME[i]) * 111_000 * 180 / math.pi for i in (1, 0))
        values.setdefault("wind_m_s", []).append(weather.wind[0][1])
        values.setdefault("temperature_degc", []).append(weather.temperature_degc)
        values.setdefault("altitude_m", []).append(file.altitude_m)
        values.setdefault("load_kg", []).append(load_keys.mass_kg)
        values.setdefault("distance_m", []).append(math.hypot(east * math.cos(math.radians(HOME[0])), north))
        values.setdefault("height_m", []).append(file.plan[0].height_m)
        values.setdefault("speed_m_s", []).append(file.parameters["fly.speed_m_s"])
        if one.fault != "gauge lies":
            values.setdefault("charge_pct", []).append(file.packs[0].charge_pct)
        values.setdefault("cycles", []).append(file.packs[0].cycles)
        assert weather.gusts_m_s <= weather.wind[0][1] * keys.gust_share[1]
        assert within(file.packs[0].charge_pct - file.packs[1].charge_pct, keys.unequal_pct)
        assert load_keys.line_m == 0.0 or within(load_keys.line_m, keys.line_m)
    for name, drawn in values.items():
        pair = getattr(keys, name)
        tenth = 0.1 * (pair[1] - pair[0])
        assert all(within(value, pair) for value in drawn), name
        assert min(drawn) < pair[0] + tenth, name
        assert max(drawn) > pair[1] - tenth, name


def test_chances_are_kept() -> None:
    """Within 4 standard deviations of 300 trials."""
    for chance, count in (
        (SHIPPED.no_fault, sum(one.fault is None for one in MANY)),
        (SHIPPED.flight.hill_chance, sum(one.file.ground is not None for one in MANY)),
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
        assert set(one.values) == set(keys.by)
        assert all(within(value, keys.by[name]) for name, value in one.values.items())


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
        assert file.parameters["return.height_m"] >= 40.0


def test_at_the_ends_of_what_a_file_may_hold_flights_are_valid_still() -> None:
    """Everything that the check of the file lets through can be drawn."""
    ends = SHIPPED.flight.model_dump()
    least = {name: (0, 0) if isinstance(pair, tuple) else pair for name, pair in ends.items()}
    least |= {"charge_pct": (10, 10), "distance_m": (10, 10), "height_m": (5, 5), "speed_m_s": (1, 1)}
    least |= {"temperature_degc": (-40, -40), "altitude_m": (-500, -500), "unequal_pct": (9, 9)}
    most = {
        "wind_m_s": (25, 25), "gust_share": (1, 1), "temperature_degc": (50, 50), "altitude_m": (5000, 5000),
        "load_kg": (40, 40), "line_m": (60, 60), "charge_pct": (100, 100), "unequal_pct": (0, 0),
        "cycles": (1000, 1000), "distance_m": (15_000, 15_000), "height_m": (400, 400), "speed_m_s": (20, 20),
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
