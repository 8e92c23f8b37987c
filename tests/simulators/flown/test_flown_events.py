"""When things happen in a flown scenario: each condition, delays, once only, in which order; what is expected."""

from __future__ import annotations

from typing import Any

import pytest

from simulators.flown.deeds import Do
from simulators.flown.events import Event, Events, When
from simulators.flown.flight import FastFlight
from simulators.onboard.modes import Landed, Mode
from tests.simulators.flown.drilling import drill, hovering
from tests.simulators.onboard.flying import setup

HOME = (30.0, -40.0, 5.0)


def placed(height_m: float = 25.0, north_m: float = 60.0, east_m: float = 0.0) -> FastFlight:
    """Return a flight put at a place, its home elsewhere."""
    flight = FastFlight(setup())
    flight.pilot.home = HOME
    craft = flight.craft
    craft.height_m, craft.north_m, craft.east_m, craft.on_ground = height_m, north_m, east_m, False
    flight.pilot.landed = Landed.AIR
    return flight


# --- conditions ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "put", "holds"),
    [
        # 20 m above a home that is 5 m above the field; 50 m away from it: 30 north, 40 east
        ({"height_over_m": 19.99}, {}, True),
        ({"height_over_m": 20.01}, {}, False),
        ({"height_under_m": 20.01}, {}, True),
        ({"height_under_m": 19.99}, {}, False),
        ({"distance_over_m": 49.99}, {}, True),
        ({"distance_over_m": 50.01}, {}, False),
        ({"distance_under_m": 50.01}, {}, True),
        ({"distance_under_m": 49.99}, {}, False),
        ({"height_over_m": -6.0}, {"height_m": 0.0}, True),  # below home
        ({"height_over_m": -4.0}, {"height_m": 0.0}, False),
        ({"height_over_m": 19.0, "distance_over_m": 49.0}, {}, True),
        ({"height_over_m": 19.0, "distance_over_m": 51.0}, {}, False),
        ({"height_over_m": 21.0, "distance_over_m": 49.0}, {}, False),
        ({}, {}, True),
    ],
)
def test_heights_and_distances_are_those_from_home(
    when: dict[str, Any], put: dict[str, float], holds: bool
) -> None:
    assert When(**when).holds(placed(**put)) is holds


def test_charge_is_that_of_the_emptiest_pack() -> None:
    flight = placed()
    flight.bank.packs[0].raw_charge, flight.bank.packs[1].raw_charge = 0.8, 0.4
    assert When(charge_under_pct=40.1).holds(flight)
    assert not When(charge_under_pct=39.9).holds(flight)
    flight.bank.packs[1].raw_charge = -0.1  # drawn beyond empty
    assert When(charge_under_pct=0.1).holds(flight)
    assert not When(charge_under_pct=0.0).holds(flight)


def test_mode_and_being_in_the_air() -> None:
    flight = placed()
    for mode in Mode:
        flight.pilot.mode = mode
        for name in ("position_hold", "altitude_hold", "safe_recovery", "mission", "land", "takeoff"):
            assert When(mode=name).holds(flight) is (name == mode.name.lower())
    for landed in Landed:
        flight.pilot.landed = landed
        in_air = landed is Landed.AIR
        assert When(airborne=True).holds(flight) is in_air
        assert When(airborne=False).holds(flight) is not in_air
    flight.pilot.landed, flight.craft.on_ground = Landed.AIR, True  # touched, and not yet noticed
    assert When(airborne=False).holds(flight)


def test_a_time_is_reached_at_that_time() -> None:
    flight = placed()
    flight.craft.time_s = 4.98
    assert not When(at_s=5.0).holds(flight)
    flight.craft.time_s = 5.0
    assert When(at_s=5.0).holds(flight)
    for steps in range(1, 36_001):  # on every step of an hour, whatever rounding does to it
        flight.craft.time_s = steps * 0.1
        assert When(at_s=round(steps * 0.1, 1)).holds(flight)


# --- when and in which order ---------------------------------------------------------------------------------


def test_a_delay_counts_from_when_the_conditions_held_and_they_need_not_hold_on() -> None:
    flight = placed()
    event = Event("it", When(height_over_m=19.0, delay_s=2.0), Do(gusts_m_s=1.0), crew=False)
    events = Events([event])
    times: list[float] = []
    for tenth in range(60):
        flight.craft.time_s = tenth / 10
        flight.craft.height_m = 25.0 if tenth == 11 else 10.0
        times += [flight.craft.time_s for _ in events.happen(flight)]
    assert (event.held_s, event.happened_s, times) == (1.1, 3.1, [3.1])


def test_each_happens_once_and_in_the_order_written() -> None:
    flight = placed()
    names = ["third", "first", "second", "never"]
    whens = [When(at_s=2.0), When(at_s=1.0), When(at_s=1.0), When(at_s=99.0)]
    done = [Event(name, when, Do(gusts_m_s=1.0), crew=True) for name, when in zip(names, whens, strict=True)]
    events = Events(done)
    order: list[tuple[str, float]] = []
    for tenth in range(50):
        flight.craft.time_s = tenth / 10
        order += [(event.name, flight.craft.time_s) for event in events.happen(flight)]
    assert order == [("first", 1.0), ("second", 1.0), ("third", 2.0)]
    assert done[3].happened_s is None


def test_one_deed_may_bring_about_the_next_at_once() -> None:
    flight = placed()
    chain = [
        Event("land", When(at_s=1.0), Do(mode="land"), crew=True),
        Event("landing", When(mode="land"), Do(gusts_m_s=2.0), crew=False),
    ]
    flight.pilot.armed = True
    flight.craft.time_s = 1.0
    assert [event.name for event in Events(chain).happen(flight)] == ["land", "landing"]


def test_what_is_left_to_somebody_else_does_not_happen() -> None:
    flight = placed()
    crew = Event("crew", When(), Do(gusts_m_s=1.0), crew=True)
    fault = Event("fault", When(), Do(gusts_m_s=2.0), crew=False)
    events = Events([crew, fault])
    events.drop_crew()
    assert [event.name for event in events.happen(flight)] == ["fault"]
    assert crew.happened_s is None
    assert flight.craft.gusts.w20_m_s == 2.0


def test_what_is_expected_begins_when_the_fault_happened() -> None:
    faults = [
        {
            "fault": "high", "when": {"height_over_m": 10, "delay_s": 2}, "do": {"gusts_m_s": 5},
            "expect": [{"rule": "a", "within_s": 20}, {"rule": "b", "within_s": 3600}],
        },
        {"fault": "far", "when": {"distance_over_m": 900}, "do": {"gusts_m_s": 6},
         "expect": [{"rule": "c", "within_s": 5}]},
        {"fault": "quiet", "when": {"at_s": 3}, "do": {"gusts_m_s": 1}},
    ]  # fmt: skip
    one = hovering(faults=faults)
    [high, _, quiet] = one._faults
    assert high.held_s is not None
    assert high.happened_s == pytest.approx(high.held_s + 2.0, abs=0.01)
    assert quiet.happened_s == pytest.approx(3.0, abs=0.01)
    begins_s = high.happened_s
    assert begins_s is not None
    assert [(row.rule, row.fault, row.begins, row.by) for row in one.expect] == [
        ("a", "high", begins_s, begins_s + 20.0),
        ("b", "high", begins_s, begins_s + 3600.0),
    ]
    assert [event.name for event in one.happened] == ["crew 1", "crew 2", "quiet", "high"]


def test_a_deadline_may_lie_beyond_the_longest_scenario() -> None:
    fault = {
        "fault": "late", "when": {"at_s": 7000}, "do": {"gusts_m_s": 5},
        "expect": [{"rule": "a", "within_s": 3600}],
    }  # fmt: skip
    one = drill(duration_s=7200, faults=[fault])
    one._faults[0].happened_s = 7000.0
    assert [row.by for row in one.expect] == [10_600.0]
