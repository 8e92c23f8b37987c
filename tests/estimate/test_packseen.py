"""What a flight shows of its packs: pybamm's cell and the simulator's packs, whose capacity and age are known."""

from __future__ import annotations

import math
import random
from functools import cache

import pytest

from simulators.onboard.gauge import MonitorErrors
from simulators.physics.packs import Pack, PackModel
from tests.estimate.packflight import GROUND_S, Bench, Second, flown_a, fly, thevenin
from watchkeeper.aircraft.ledger import Capacity, PackEntry, Resistance
from watchkeeper.estimate.packs.belief import Belief, Unbooked
from watchkeeper.estimate.packs.packseen import LEAST_AH, FlightEnd, PackSeen, booked, pack_seen
from watchkeeper.estimate.packs.packtoday import SEEN_OHM, FittedPack, fitted_pack

FILE = "packs: {cells: 12, capacity: 22 Ah}"
LEFT = 0.10
"""Below this the oracle's curve (3.0 V at empty) is another than the published one (2.5 V)."""


def labelled(file: str = FILE, entry: FittedPack | None = None) -> Bench:
    """Return a bench whose first pack is A1, of which the ledger knows nothing, or what `entry` says."""
    bench = Bench(file)
    each = bench.estimates._each
    bench.estimates._fitted = (entry or fitted_pack(each, None, "A1"),)
    return bench


@cache
def oracle(capacity_ah: float, charge: float, seconds: int) -> tuple[Second, ...]:
    return tuple(s for s in thevenin(charge, flown_a(seconds), capacity_ah=capacity_ah) if s.charge > LEFT)


def seen_of(bench: Bench) -> PackSeen:
    (seen,) = bench.estimates.seen()
    return seen


# --- pybamm: a cell of known capacity and resistance (facts section 6) -------------------------------------------


@pytest.mark.parametrize("scale", [0.97, 1.03])
@pytest.mark.parametrize("capacity_ah", [18.0, 20.0, 22.0, 24.0])
def test_capacity_is_seen_within_its_stated_doubt(capacity_ah: float, scale: float) -> None:
    for seed in range(3):
        bench = labelled()
        fly(bench, oracle(capacity_ah, 0.99, 700), scale=scale, seed=seed)
        seen = seen_of(bench)
        assert seen.capacity_ah is not None
        assert abs(math.log(seen.capacity_ah / capacity_ah)) < 2 * seen.capacity_doubt
        # it is told apart from the label: 18 Ah against 22 are 20 %
        assert 0.03 < seen.capacity_doubt < 0.086


def test_what_is_seen_does_not_lean_on_what_was_supposed() -> None:
    """A ledger that is wrong by a sixth is not repeated as seen: the same flight shows the same."""
    plain, wrong = labelled(), labelled()
    each = wrong.estimates._each
    wrong.estimates._fitted = (
        fitted_pack(each, None, "A1").model_copy(update={"capacity_ah": 25.6, "capacity_doubt": 0.05}),
    )
    for bench in (plain, wrong):
        fly(bench, oracle(22.0, 0.99, 700))
    first, second = seen_of(plain), seen_of(wrong)
    assert first.capacity_ah is not None
    assert second.capacity_ah is not None
    # the filter is linear only near what it supposes, so not quite the same: within one stated deviation, where
    # what is believed in all differs by more
    assert abs(math.log(first.capacity_ah / second.capacity_ah)) < first.capacity_doubt
    believed = [1.0 / bench.filter.state().per_ah for bench in (plain, wrong)]
    assert abs(math.log(believed[0] / believed[1])) > first.capacity_doubt
    assert abs(math.log(second.capacity_ah / 22.0)) < 2 * second.capacity_doubt


@pytest.mark.parametrize("r0_ohm", [1.0e-3, 1.5e-3, 3.0e-3])
def test_resistance_is_seen_as_the_cell_has_it(r0_ohm: float) -> None:
    bench = labelled()
    fly(bench, thevenin(0.95, flown_a(500), r0_ohm=r0_ohm))
    seen = seen_of(bench)
    assert seen.resistance_ohm is not None
    # settled: R0 and R1 of 1 mohm, twelve cells; within the deviation with which the next flight takes it up, for
    # two relaxing parts of fixed shares stand for the oracle's one
    assert abs(math.log(seen.resistance_ohm / (12 * (r0_ohm + 1e-3)))) < SEEN_OHM
    assert seen.degc is None


def test_cycles_are_charge_drawn_over_the_capacity_by_the_label() -> None:
    # common practice: equivalent full cycles, of the rated capacity; the current is summed by the trapezoid's kin
    amps = flown_a(400)
    bench = labelled(
        entry=fitted_pack(Bench(FILE).estimates._each, None, "A1").model_copy(
            update={"capacity_ah": 18.0, "capacity_doubt": 0.05}
        )
    )
    fly(bench, oracle(18.0, 0.99, 400))
    assert seen_of(bench).cycles == pytest.approx(sum(amps[1:]) / 3600 / 22, rel=0.002)


def test_a_flight_that_drew_little_or_told_little_says_nothing_of_the_capacity() -> None:
    short = labelled()
    fly(short, oracle(18.0, 0.99, 220))
    seen = seen_of(short)
    assert seen.cycles > 0.1
    assert seen.capacity_ah is None
    flat = labelled()  # from 70 %: on the flat of the curve the voltage does not tell
    fly(flat, oracle(22.0, 0.7, 400))
    assert seen_of(flat).capacity_ah is None
    steady = labelled()
    seconds = [s._replace(current_a=1.0) for s in oracle(22.0, 0.7, 60)]
    fly(steady, seconds)
    assert seen_of(steady).resistance_ohm is None


def test_a_current_that_is_grossly_wrong_tells_no_capacity_and_counts_by_voltage() -> None:
    bench = labelled()
    fly(bench, oracle(22.0, 0.99, 500)[:100], scale=2.0)
    bench.estimates.distrust_current()
    fly(bench, oracle(22.0, 0.99, 700)[100:], scale=2.0)
    drawn = oracle(22.0, 0.99, 700)[0].charge - oracle(22.0, 0.99, 700)[-1].charge
    seen = seen_of(bench)
    assert (seen.capacity_ah, seen.resistance_ohm) == (None, None)
    # twice the draw would be counted; by the voltage it is known within a tenth
    assert seen.cycles == pytest.approx(drawn, abs=0.1)
    wrong = labelled()
    fly(wrong, oracle(22.0, 0.99, 700), scale=2.2)  # nobody has noticed: 48 Ah out of a pack of 22 are not written
    assert seen_of(wrong).capacity_ah is None


# --- the simulator: packs of known age, another cell, its own monitors' errors -----------------------------------


@pytest.mark.parametrize("seed", range(10))
def test_a_simulated_pack_of_some_age_is_seen_within_the_stated_doubt(seed: int) -> None:
    dice = random.Random(seed)
    model = PackModel(cycles=dice.uniform(0, 350))
    start, end, load = dice.choice([1.0, 1.0, 0.97]), dice.uniform(0.22, 0.35), dice.uniform(0.6, 1.1)
    pack = Pack(model, start, 15.0, [dice.gauss(0, 0.003) for _ in range(12)])
    errors = MonitorErrors.draw(seed)
    bench, used_ah, drawn_ah = labelled(), 0.0, 0.0
    amps = flown_a(4000)
    for second in range(4000):
        amp = (load if second >= GROUND_S else 1.0) * amps[second]
        for _ in range(10):
            pack.prepare(0.1)
            pack.carry(amp, 15.0)
        drawn_ah += amp / 3600
        shown_a = amp * errors.scale + errors.offset_a + dice.gauss(0, errors.current_a)
        used_ah += shown_a / 3600
        bench.at(second, flying=second >= GROUND_S)
        bench.tell(
            1,
            voltage=pack.terminal_v * errors.voltage_scale + dice.gauss(0, errors.voltage_v),
            current=shown_a,
            consumed=used_ah,
            temperature=pack.temperature_degc,
        )
        bench.run()
        if pack.charge < end:
            break
    seen = seen_of(bench)
    assert seen.capacity_ah is not None
    assert abs(math.log(seen.capacity_ah / model.cell.aged_capacity_ah(model.cycles))) < 2 * seen.capacity_doubt
    assert seen.cycles == pytest.approx(drawn_ah / 22, rel=0.09)  # the sensor is off by 6 % at most, and 0.4 A
    assert seen.resistance_ohm is not None
    assert seen.degc == pytest.approx(pack.temperature_degc, abs=1.0)
    cell = model.cell
    factor = (
        cell.charge_factor(0.5) * cell.temperature_factor(pack.temperature_degc) * cell.age_factor(model.cycles)
    )
    settled_ohm = 12 * factor * (cell.r0_ohm + cell.r1_ohm + cell.r2_ohm) + model.wiring_ohm
    # within two of the deviations with which it is taken up before the next flight (15 %)
    assert abs(math.log(seen.resistance_ohm / settled_ohm)) < 2 * SEEN_OHM


# --- never twice -------------------------------------------------------------------------------------------------


def test_what_was_booked_is_not_seen_again() -> None:
    bench = labelled()
    seconds = oracle(18.0, 0.99, 700)
    fly(bench, seconds[:400])
    first = seen_of(bench)
    nothing = seen_of(bench)
    assert (nothing.cycles, nothing.capacity_ah, nothing.resistance_ohm) == (0.0, None, None)
    fly(bench, seconds[400:])
    second = seen_of(bench)
    whole = labelled()
    fly(whole, seconds)
    assert first.cycles + second.cycles == pytest.approx(seen_of(whole).cycles, rel=0.01)


def test_what_is_not_booked_outlives_a_restart_of_the_watch() -> None:
    before, after, steady = labelled(), labelled(), labelled()
    seconds = oracle(18.0, 0.99, 700)
    fly(before, seconds[:400], counter=True)
    after.estimates.resume(before.estimates.learned())
    fly(steady, seconds, counter=True)
    drawn_ah = sum(s.current_a for s in seconds[1:400]) / 3600
    for second in seconds[400:]:
        after.at(second.time_s, flying=True)
        drawn_ah += second.current_a / 3600
        after.tell(1, voltage=12 * second.cell_v, current=second.current_a, consumed=drawn_ah)
        after.run()
    one, other = seen_of(after), seen_of(steady)
    assert one.cycles == pytest.approx(other.cycles, rel=0.01)
    assert one.capacity_ah is not None
    assert abs(math.log(one.capacity_ah / 18.0)) < 2 * one.capacity_doubt


@pytest.mark.parametrize(
    "values",
    [
        [],
        [0.0, 1.0, 0.0, 1.0],
        [0.0, 1.0, 0.0, 1.0, math.nan],
        [0.0, 0.0, 0.0, 1.0, 1.0],
        [0.0, 1.0, 0.0, -1.0, 1.0],
        [0.0, 1e9, 0.0, 1.0, 1.0],
        [0.0, 1.0, 0.0, 1.0, 1e9],
    ],
)
def test_what_was_kept_is_checked(values: list[float]) -> None:
    with pytest.raises(ValueError, match="no draw"):
        Unbooked.kept(values)
    good = Unbooked(Belief(0.1, 0.2), Belief(0.3, 0.4), 5.0)
    assert Unbooked.kept(good.values()) == good


def test_a_belief_without_what_was_supposed_is_what_was_measured() -> None:
    # the textbook's product of two normals: 0.2 with variance 0.04, measured 0.5 with 0.01, gives 0.44 with 0.008
    shown = Belief(0.44, 0.008).without(Belief(0.2, 0.04))
    assert shown is not None
    assert tuple(shown) == pytest.approx((0.5, 0.01))
    assert Belief(0.2, 0.039).without(Belief(0.2, 0.04)) is None
    assert Belief(0.2, 0.05).without(Belief(0.2, 0.04)) is None


def test_only_a_pack_with_a_label_is_seen() -> None:
    bench = Bench(FILE)
    fly(bench, oracle(22.0, 0.99, 220))
    assert bench.estimates.seen() == ()
    assert labelled().estimates.seen() == ()  # never heard
    assert pack_seen(Bench(FILE).estimates._whole) is None


# --- what becomes of the ledger ----------------------------------------------------------------------------------


def test_old_and_new_are_weighed_by_their_doubts() -> None:
    old = PackEntry().model_copy(
        update={
            "cycles": 60.5,
            "capacity": Capacity(21.2, 1.06),
            "resistance": Resistance(0.0161, 25.0),
            "seen": "2026-11-02",
        }
    )
    seen = PackSeen("A1", 0.7, 20.0, 0.05, 0.020, 0.08, 10.0)
    entry = booked(old, seen, "2026-11-03")
    assert entry.cycles == pytest.approx(61.2)
    assert entry.seen == "2026-11-03"
    # equal doubts of 5 %: the geometric mean, its doubt 5 % / sqrt 2
    assert entry.capacity is not None
    assert entry.capacity.ah == pytest.approx(math.sqrt(21.2 * 20.0))
    assert entry.capacity.doubt_ah == pytest.approx(entry.capacity.ah * LEAST_AH)
    # 16.1 mohm at 25 are 25.55 at 10 degrees C (factor 1.5872, by hand); weights 1/0.15^2 and 1/0.08^2
    assert entry.resistance is not None
    share = 0.15**-2 / (0.15**-2 + 0.08**-2)
    assert entry.resistance.ohm == pytest.approx(0.02555**share * 0.020 ** (1 - share), rel=1e-3)
    assert entry.resistance.degc == 10.0
    sure = booked(old, seen._replace(capacity_doubt=0.2), "2026-11-03").capacity
    assert sure is not None
    assert sure.ah == pytest.approx(21.2, rel=0.005)  # by one part in seventeen


def test_what_was_not_seen_stays_and_what_was_unknown_is_taken() -> None:
    old = PackEntry().model_copy(update={"capacity": Capacity(21.2), "resistance": Resistance(0.0161, 22.0)})
    entry = booked(old, PackSeen("A1", 0.2), "2026-11-03")
    assert (entry.capacity, entry.resistance) == (old.capacity, old.resistance)
    assert entry.cycles is None  # of unknown age, which is not new
    fresh = booked(PackEntry(), PackSeen("A1", 0.7, 20.0, 0.06, 0.020, 0.08, None), "2026-11-03")
    assert fresh.capacity is not None
    assert tuple(fresh.capacity) == pytest.approx((20.0, 1.2))
    assert fresh.resistance == Resistance(0.020, None)
    untold = booked(old, PackSeen("A1", 0.7, resistance_ohm=0.03, resistance_doubt=0.05), "2026-11-03").resistance
    assert untold is not None
    assert untold.ohm == pytest.approx(0.03, rel=0.05)  # at another temperature, or not: the old one weighs little


def test_what_a_crew_has_measured_better_stays_so_well_known() -> None:
    """Weighed by the inverse of the variances by hand: 21.3 Ah within 1.4 %, and 23.5 within 5."""
    entry = PackEntry.model_validate({"capacity": "21.3 Ah within 0.3 Ah"})
    after = booked(entry, PackSeen("A1", 0.7, 23.5, 0.05), "2026-11-03").capacity
    assert after is not None
    weights = (0.3 / 21.3) ** -2, 0.05**-2
    mean = (weights[0] * math.log(21.3) + weights[1] * math.log(23.5)) / sum(weights)
    assert after.ah == pytest.approx(math.exp(mean))
    assert after.doubt_ah == pytest.approx(0.3 / 21.3 * after.ah)


def test_many_flights_find_a_pack_that_fades_and_stay_humble() -> None:
    entry = PackEntry().model_copy(update={"cycles": 0.0, "capacity": Capacity(22.0)})
    for _ in range(30):
        entry = booked(entry, PackSeen("A1", 0.7, 18.0, 0.06), "2026-11-03")
    assert entry.capacity is not None
    assert entry.capacity.ah == pytest.approx(18.0, rel=0.01)
    assert entry.capacity.doubt_ah == pytest.approx(0.04 * entry.capacity.ah)
    assert entry.cycles == pytest.approx(21.0)


# --- when a flight is over ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("signs", "ends"),
    [
        ("g a t f r l L", [6]),
        ("g a f f d", [4]),  # disarmed after flight, whatever the phase
        ("f g", [1]),  # on the ground when it is heard again
        ("a g a L", []),  # never flew
        ("f L f L", [1, 3]),
        ("f d d d L", [1]),
        ("f - - L", [3]),
    ],
)
def test_a_flight_is_over_once(signs: str, ends: list[int]) -> None:
    words = {
        "g": ("on_ground", False),
        "a": ("armed", True),
        "t": ("taking_off", True),
        "f": ("airborne", True),
        "r": ("returning", True),
        "l": ("landing", True),
        "L": ("landed", True),
        "d": ("airborne", False),
        "-": (None, None),
    }
    end = FlightEnd()
    assert [i for i, sign in enumerate(signs.split()) if end.over(*words[sign])] == ends
