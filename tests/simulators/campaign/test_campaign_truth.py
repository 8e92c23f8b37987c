"""What would have been: usable charge, and the last moment to turn back, against plain searches."""

from __future__ import annotations

import functools
import itertools
import math
from typing import Any, Final

import pytest

from simulators.campaign.crews import THUMBS, Thumbs
from simulators.flown.flight import FastFlight
from simulators.flown.scenario_file import FlownFile
from simulators.flown.truth import CELL_FLOOR_V, RESERVE_PCT, Futures, Outcome, fly, lowest_cell_v, usable_pct
from simulators.physics.packs import Pack, PackBank, PackModel
from tests.simulators.campaign.campaigning import flight_file

GUSTY: Final = {"wind": [[0, 6, 200]], "gusts_m_s": 6.0, "temperature_degc": 2.0}
FLIGHTS: Final[dict[str, dict[str, Any]]] = {
    "plain": {},
    "gusty and cold": {"weather": GUSTY, "packs": [{"charge_pct": 46, "cycles": 200}, {"charge_pct": 45}]},
    "pack opens": {"packs": [{"charge_pct": 52}] * 2, "faults": [
        {"fault": "pack opens", "when": {"at_s": 100.3}, "do": {"open_pack": 2}}]},
    "wind rises": {"faults": [{"fault": "wind rises", "when": {"at_s": 80}, "do": {
        "wind": {"speed_m_s": 12, "from_deg": 180, "after_s": 60}}}]},
    "restart": {"faults": [{"fault": "restart", "when": {"at_s": 90}, "do": {"restart": True}}]},
}  # fmt: skip


def small(name: str) -> FlownFile:
    return flight_file(**FLIGHTS[name])


# --- usable charge -----------------------------------------------------------------------------------------------


def run_down(bank: PackBank, power_w: float, degc: float) -> None:
    """Draw a power until the cells are at their floor under it."""
    while bank.voltage_v / bank.packs[0].model.cells_in_series > CELL_FLOOR_V or bank.current_a == 0.0:
        bank.draw(power_w, 0.1, degc)


@pytest.mark.parametrize(("power_w", "degc", "cycles"), [(2000.0, 25.0, 0.0), (3700.0, 5.0, 200.0)])
def test_nothing_is_usable_when_the_power_brings_the_cells_to_their_floor(
    power_w: float, degc: float, cycles: float
) -> None:
    """The packs run down in the physics; what is usable was worked out without running anything."""
    bank = PackBank([Pack(PackModel(cycles=cycles), 0.4, degc), Pack(PackModel(cycles=0.5 * cycles), 0.4, degc)])
    run_down(bank, power_w, degc)
    assert bank.packs[0].charge > 0.04
    assert usable_pct(bank, power_w) == pytest.approx(0.0, abs=0.4)


def test_one_pack_that_carries_all_is_empty_earlier() -> None:
    both, one = (PackBank([Pack(PackModel(), 0.4, 5.0), Pack(PackModel(), 0.4, 5.0)]) for _ in range(2))
    one.open(1)
    run_down(both, 3000.0, 5.0)
    run_down(one, 3000.0, 5.0)
    assert one.packs[0].charge > both.packs[0].charge + 0.02
    assert usable_pct(one, 3000.0) == pytest.approx(0.0, abs=0.4)


def test_a_full_pack_is_wholly_usable_and_the_emptier_counts() -> None:
    assert usable_pct(PackBank([Pack(PackModel(), 1.0), Pack(PackModel(), 1.0)]), 2500.0) == pytest.approx(100.0)
    uneven = PackBank([Pack(PackModel(), 0.9), Pack(PackModel(), 0.6)])
    even = PackBank([Pack(PackModel(), 0.6), Pack(PackModel(), 0.6)])
    assert usable_pct(uneven, 2500.0) == pytest.approx(usable_pct(even, 2500.0), abs=1e-9)
    uneven.open(1)
    assert usable_pct(uneven, 2500.0) > 85.0


def test_without_a_pack_or_power_enough_nothing_is_usable() -> None:
    bank = PackBank([Pack(PackModel(), 0.8)])
    assert usable_pct(bank, 50_000.0) == 0.0
    bank.open(0)
    assert usable_pct(bank, 1000.0) == 0.0


@pytest.mark.parametrize(("degc", "weak_ohm"), [(25.0, 0.0), (25.0, 0.008), (-10.0, 0.0)])
def test_usable_is_what_is_left_over_the_charge_at_which_the_floor_is_reached(
    degc: float, weak_ohm: float
) -> None:
    """By running another such pack down in the physics, and with one as warm as that has become."""
    other = Pack(PackModel(), 0.2, degc, (), 2, weak_ohm)
    run_down(PackBank([other]), 1500.0, degc)
    pack = Pack(PackModel(), 0.6, other.temperature_degc, (), 2, weak_ohm)
    expected_pct = 100.0 * (0.6 - other.charge) / (1.0 - other.charge)
    assert usable_pct(PackBank([pack]), 1500.0) == pytest.approx(expected_pct, abs=0.4)


# --- flights that turn back earlier or later ---------------------------------------------------------------------


@functools.cache
def futures(name: str) -> Futures:
    """Return what could have become of a flight, the same for all tests: no order of asking changes it."""
    return Futures(small(name), 11)


def latest(name: str) -> float:
    found = futures(name).latest(25.0)
    assert found is not None
    return found


@pytest.mark.parametrize("name", FLIGHTS)
def test_futures_are_those_of_flights_flown_from_the_beginning(name: str) -> None:
    """To the last bit; also at and around the marks, out of order, and asked twice."""
    written = small(name)
    for turn_s in (150.0, 60.0, 60.3, 1.0, None, 150.0):
        assert futures(name).outcome(turn_s) == fly(written, 11, turn_s), turn_s


@pytest.mark.parametrize("name", FLIGHTS)
def test_turning_back_earlier_never_lands_with_less(name: str) -> None:
    """But for a restart, which brings home nearer: there from then on."""
    one = futures(name)
    from_s = 95 if name == "restart" else 30
    left = [one.outcome(turn_s) for turn_s in range(from_s, int(one.outcome(None).end_s), 25)]
    assert len(left) > 12
    for earlier, later in itertools.pairwise(left):
        assert earlier.charge_pct >= later.charge_pct
        assert earlier.landed or not later.with_reserve(1.0)


@pytest.mark.parametrize("name", FLIGHTS)
def test_the_latest_turn_back_is_that_of_a_fine_search(name: str) -> None:
    """Every second from somewhat before it to 20 s after; every 25 s over the whole flight is above."""
    latest_s = latest(name)
    good = [s for s in range(int(latest_s) - 2, int(latest_s) + 21) if futures(name).outcome(s).with_reserve()]
    assert int(latest_s) - 2 in good
    assert -1.0 <= good[-1] - latest_s <= 5.0


@pytest.mark.parametrize("name", FLIGHTS)
def test_the_reserve_is_met_then_and_not_half_a_minute_later(name: str) -> None:
    latest_s = latest(name)
    then, later = (fly(small(name), 11, turn_s) for turn_s in (latest_s, latest_s + 30.0))
    assert then.landed
    assert RESERVE_PCT <= then.charge_pct < RESERVE_PCT + 1.0
    assert not later.with_reserve()


def test_a_return_that_a_restart_takes_away_is_ordered_again() -> None:
    """Ordered at 90 s, of which the restart at 90 s leaves nothing."""
    found = futures("restart").outcome(90.0)
    assert found.landed
    assert found.turned_back_s == pytest.approx(90.0)
    assert found.end_s < 200.0


def test_a_smaller_reserve_is_kept_for_longer() -> None:
    with_less_s = futures("plain").latest(25.0, 5.0)
    assert with_less_s is not None
    assert with_less_s > latest("plain") + 30.0
    assert futures("plain").outcome(with_less_s).charge_pct == pytest.approx(5.0, abs=0.5)


def test_without_a_good_moment_there_is_none() -> None:
    assert (
        Futures(flight_file(packs=[{"charge_pct": 22}] * 2, parameters={"low1.volt_v": 0.0}), 11).latest(25.0)
        is None
    )


def test_a_flight_that_lands_by_itself_has_no_last_moment() -> None:
    plan = [{"at": [1.2503, -31.5], "height_m": 20, "stay_s": 5}]
    written = flight_file(plan=plan, return_after_plan=True, packs=[{"charge_pct": 90}] * 2)
    assert Futures(written, 11).latest(25.0) == math.inf


def test_who_never_turns_back_falls() -> None:
    found = futures("plain").outcome(None)
    assert (found.fell, found.landed, found.turned_back_s, found.charge_pct) == (True, False, None, 0.0)


def test_a_limit_ends_a_flight_in_the_air() -> None:
    found = fly(small("plain"), 11, None, limit_s=60.0)
    assert (found.landed, found.fell) == (False, False)
    assert found.end_s == pytest.approx(60.0)
    assert not found.with_reserve()


def test_outcomes_hold_the_reserve_from_20_pct_on() -> None:
    def ended(*, landed: bool, charge_pct: float) -> Outcome:
        return Outcome(landed, not landed, charge_pct, end_s=9.0, took_off_s=1.0, turned_back_s=None)

    assert ended(landed=True, charge_pct=20.0).with_reserve()
    assert not ended(landed=True, charge_pct=19.9).with_reserve()
    assert not ended(landed=True, charge_pct=20.0).with_reserve(20.1)
    assert not ended(landed=False, charge_pct=90.0).with_reserve()


class _Scripted(Futures):
    """A flight from 25 to 625 s whose returns land with the reserve if begun in some spans of time."""

    def __init__(self, *good: tuple[float, float], charge_pct: float = 30.0) -> None:
        super().__init__(small("plain"), 11)
        self._charge_pct = charge_pct
        self._good = good
        self.asked: set[float] = set()

    def outcome(self, turn_back_s: float | None) -> Outcome:
        if turn_back_s is None:
            return Outcome(False, True, 0.0, 625.0, 10.0, None)
        self.asked.add(turn_back_s)
        safe = any(begin <= turn_back_s <= end for begin, end in self._good)
        return Outcome(True, False, self._charge_pct if safe else 10.0, 700.0, 10.0, turn_back_s)


def test_the_latest_turn_back_is_before_the_first_failure_even_if_later_is_better_again() -> None:
    """Halving alone would find 470 s: its middle, 325 s, is good."""
    storm = _Scripted((0.0, 118.0), (160.0, 470.0))
    found = storm.latest(25.0)
    assert found is not None
    assert 113.0 <= found <= 118.0
    assert len(storm.asked) <= 9  # 25, 55, 85, 115, 145, and three halvings


def test_while_much_is_left_moments_are_tried_further_apart() -> None:
    rich, poor = (_Scripted((0.0, 600.0), charge_pct=charge_pct) for charge_pct in (60.0, 30.0))
    for one in (rich, poor):
        found = one.latest(25.0)
        assert found is not None
        assert 595.0 <= found <= 600.0
    assert len(rich.asked) < 0.6 * len(poor.asked)


@pytest.mark.parametrize("end_s", [26.0, 55.0, 470.0, 624.0])
def test_the_latest_turn_back_is_found_to_five_seconds(end_s: float) -> None:
    found = _Scripted((0.0, end_s)).latest(25.0)
    assert found is not None
    assert end_s - 5.0 <= found <= end_s


def test_the_lowest_cell_is_that_of_the_way_home() -> None:
    """A return from near the end of the packs brings them lower; a weak cell lower than its pack's others."""
    early, late = (fly(small("plain"), 11, turn_s).lowest_cell_v for turn_s in (60.0, latest("plain")))
    assert early is not None
    assert late is not None
    assert 3.0 < late < early - 0.02 < 4.2
    packs = [{"charge_pct": 42, "weak_cell": 3, "weak_mohm": 4.0}, {"charge_pct": 42}]
    weak = fly(flight_file(packs=packs), 11, 60.0).lowest_cell_v
    assert weak is not None
    assert weak < early - 0.1  # some 40 A through 4 milliohm
    assert fly(small("plain"), 11, None).lowest_cell_v is None


def test_the_lowest_cell_of_the_bank_is_the_lowest_of_all_that_are_connected() -> None:
    made = [Pack(PackModel(), 0.6, 25.0, [0.003 * (-1) ** i for i in range(12)]), Pack(PackModel(), 0.5)]
    bank = PackBank(made)
    bank.draw(3000.0, 0.1, 25.0)
    assert lowest_cell_v(bank) == min(pack.cell_voltage_v(i) for pack in made for i in range(12))
    bank.open(1)
    assert lowest_cell_v(bank) == min(made[0].cell_voltage_v(i) for i in range(12))
    bank.open(0)
    assert lowest_cell_v(bank) == math.inf


# --- rules of thumb ----------------------------------------------------------------------------------------------


def test_thumbs_say_so_once_their_rule_has_held_for_a_second() -> None:
    """Against the gauges of the same flight, looked at one by one."""
    thumbs = Thumbs()
    Futures(small("plain"), 11, each_step=thumbs.look).outcome(None)
    shown: list[tuple[float, tuple[float, ...]]] = []

    def note(flight: FastFlight) -> None:
        monitors = [one for one in flight.pilot.gauges.monitors if not one.pack.is_open]
        fullest = max(monitors, key=lambda one: one.voltage_v)
        volts, amps, left = fullest.voltage_v, fullest.current_a, min(one.left_pct for one in monitors)
        over = (volts - 44.0, volts + 0.016 * amps - 44.0, left - 19.0, left - 25.0, left - 30.0, left - 35.0)
        shown.append((flight.time_s, over))

    Futures(small("plain"), 11, each_step=note).outcome(None)
    for i, rule in enumerate(THUMBS):
        said_s = thumbs.times_s[rule]
        assert said_s is not None
        assert all(over[i] < 0 for time_s, over in shown if said_s - 0.95 < time_s <= said_s)
        held_before = [
            all(shown[j - k][1][i] < 0 for k in range(11))
            for j, (time_s, _) in enumerate(shown)
            if 22.0 < time_s < said_s - 0.15
        ]
        assert not any(held_before)
    raw_s, compensated_s, low_s, early_s = (thumbs.times_s[rule] for rule in THUMBS[:4])
    assert raw_s is not None
    assert compensated_s is not None
    assert low_s is not None
    assert early_s is not None
    assert raw_s < compensated_s
    assert early_s < low_s


def test_thumbs_by_a_gauge_look_at_the_lowest_pack_that_carries() -> None:
    """Of unequal packs the lower; of one that has opened nothing, however low its count stands."""
    low = {"packs": [{"charge_pct": 60}, {"charge_pct": 34.5}]}
    opened = [{"fault": "pack opens", "when": {"at_s": 12}, "do": {"open_pack": 2}}]
    both, other = Thumbs(), Thumbs()
    Futures(flight_file(**low), 11, limit_s=60.0, each_step=both.look).outcome(None)
    Futures(flight_file(**low, faults=opened), 11, limit_s=60.0, each_step=other.look).outcome(None)
    assert both.times_s["35 % gauge"] is not None
    assert both.times_s["35 % gauge"] < 30.0
    assert other.times_s["35 % gauge"] is None


def test_thumbs_are_silent_on_the_ground_and_on_lift_off() -> None:
    """44 V are undercut at once by packs at 12 %, but in the air for less than 10 s nobody looks."""
    thumbs = Thumbs()
    written = flight_file(packs=[{"charge_pct": 30}] * 2, parameters={"low1.volt_v": 0.0})
    Futures(written, 11, limit_s=20.0, each_step=thumbs.look).outcome(None)
    assert set(thumbs.times_s.values()) == {None}
    longer = Thumbs()
    Futures(written, 11, limit_s=60.0, each_step=longer.look).outcome(None)
    raw_s = longer.times_s["44 V raw"]
    assert raw_s is not None
    assert raw_s > 20.0
