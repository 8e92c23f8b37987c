"""What a monitor counted of what the charger put back: by hand, and on published cells by pybamm."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from tests.estimate.publishedcells import CELLS
from tests.estimate.test_owncurve import AH, flown, measured
from watchkeeper.aircraft.files import Packs, load_aircraft_file
from watchkeeper.aircraft.ledger import Ledger, PackEntry
from watchkeeper.aircraft.readings import Readings
from watchkeeper.estimate.packs.battery import BatteryEstimates
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.owncurve import curve_of
from watchkeeper.estimate.packs.pack import PackEstimate
from watchkeeper.estimate.packs.packseen import pack_seen
from watchkeeper.estimate.packs.packtoday import SCALE, Scale, at_monitor, packs_today, scale_of

OVER = 1.06
"""Two deviations of a current sensor (3 %, common practice)."""


def packs(more: str = "") -> Packs:
    return load_aircraft_file(f"packs: {{cells: 12, capacity: {AH} Ah, age: 0 cycles{more}}}", "a").packs


def counted(flights: int = 3) -> str:
    return f", counted: [{flights * 15.0 * OVER:.2f} Ah of {flights * 15.0:.2f} Ah]"


def drawn_by(pack: Packs) -> float:
    """Return of how many Ah, as measured, a pack is emptied."""
    return 1.0 / ChargeFilter(pack, 12, pack.capacity_ah or AH).state().per_ah


def in_ledger(pack: Packs, capacity: str) -> Packs:
    """Return a pack as the watch takes it that a ledger has a capacity of."""
    ledger = Ledger(None, {"A1": PackEntry.model_validate({"capacity": capacity})})
    (fitted,) = packs_today(pack, ledger, ["A1"])
    return at_monitor(fitted, pack.counted, 1)


def watched(packs_text: str, labels: Sequence[str] = ()) -> BatteryEstimates:
    file = load_aircraft_file(f"packs: {{cells: 12, capacity: {AH} Ah, age: 0 cycles, {packs_text}}}", "a")
    ledger = Ledger(None, {one: PackEntry.model_validate({"capacity": "20 Ah within 0.2 Ah"}) for one in labels})
    return BatteryEstimates(Readings(), file, packs_today(file.packs, ledger, labels) if labels else ())


def test_by_hand() -> None:
    """Of 22 Ah, a monitor that counts 47.7 of 45 counts 23.32. What is usual weighs with it: 3 % to 0.56 %."""
    measured_sd = math.hypot(0.005, 0.005 * 22 / 45)
    weight = 0.03**2 / (0.03**2 + measured_sd**2)
    off = weight * math.log(1.06)
    pack = packs(counted())
    assert scale_of(pack) == pytest.approx((off, math.sqrt(weight) * measured_sd))
    assert drawn_by(pack) == pytest.approx(22.0 * math.exp(off))
    assert drawn_by(pack) == pytest.approx(23.32, rel=0.003)
    assert scale_of(packs()) == Scale(0.0, SCALE)


def test_a_little_tells_little() -> None:
    """Charges end within 0.5 % of 22 Ah: 1.4 Ah of 1 Ah may be one of 1.5 to 1.3."""
    told = scale_of(packs(", counted: [1.4 Ah of 1 Ah]"))
    assert told.off < 0.03
    assert 0.95 * SCALE < told.doubt < SCALE


def test_each_pack_has_its_own_monitor_and_one_may_measure_them_all() -> None:
    """As the watch takes them, packs told apart by their monitors; numbers by hand."""
    each = "count: 2, monitors: {0: pack 1, 1: pack 2, 2: sum}, counted: [47.7 Ah of 45 Ah, 43.2 Ah of 45 Ah]"
    alone, labelled = watched(each), watched(each, ["A1", "A2"])
    assert [drawn_by(alone._of(pack)) for pack in (1, 2)] == pytest.approx([22 * 1.06, 22 * 0.96], rel=0.003)
    assert [drawn_by(labelled._of(pack)) for pack in (1, 2)] == pytest.approx([20 * 1.06, 20 * 0.96], rel=0.003)
    assert scale_of(alone._all).off == scale_of(labelled._all).off == 0.0  # what a third one counts is not known
    whole = "count: 2, monitors: {0: sum}, counted: [95.4 Ah of 90 Ah]"
    for one, ah in ((watched(whole), 44.0), (watched(whole, ["A1", "A2"]), 40.0)):
        assert drawn_by(one._all) == pytest.approx(1.06 * ah, rel=0.003)
        assert scale_of(one._of(1)).off == 0.0
    series = watched("count: 2, topology: series, monitors: {0: sum}, counted: [47.7 Ah of 45 Ah]")
    assert drawn_by(series._all) == pytest.approx(1.06 * 22.0, rel=0.003)


def test_the_brief_reckons_without_it() -> None:
    """A wrong sensor makes no more energy; what it makes of a gauge stays in doubt there."""
    pack = packs(counted())
    assert [scale_of(one) for one in packs_today(pack, None, ())] == [Scale(0.0, SCALE)]


def test_what_is_known_of_a_monitor_is_no_longer_in_doubt() -> None:
    told, usual = (
        packs(counted() + f", charged: [{measured('Ai2020')}]"),
        packs(f", charged: [{measured('Ai2020')}]"),
    )
    doubts = [ChargeFilter(one, 12, AH)._p[3][3] ** 0.5 for one in (told, usual)]
    # the charger's own 1 % is in what was put back and in what was counted of it
    assert doubts == pytest.approx([scale_of(told).doubt, math.hypot(0.01, 0.03)])
    own = []
    for one in (told, usual):
        filter_, _ = flown("Ai2020", 1.0, one)
        own.append(math.hypot(*(one[0] for one in filter_.own_errors(0.0))))
    assert own[0] < 0.6 * own[1]
    curves = [curve_of(in_ledger(one, "22 Ah within 0.3 Ah")) for one in (told, usual)]
    assert curves[0].spread_at(50.0) <= curves[1].spread_at(50.0)
    assert sum(curves[0].spreads_v) < sum(curves[1].spreads_v)


@pytest.mark.parametrize("name", CELLS)
def test_a_wrong_sensor_that_was_measured_misleads_less(name: str) -> None:
    """From full to 12 %, cells noted. Found at the end: within one deviation, which is half as large."""
    points = f", charged: [{measured(name)}]"
    known, off = flown(name, 1.0, packs(points + counted()), OVER)
    unknown, _ = flown(name, 1.0, packs(points), OVER)
    assert abs(known.counted - 0.12) < 0.01
    assert abs(known.counted - 0.12) < 0.5 * abs(unknown.counted - 0.12)
    assert max(abs(deviations) for deviations in off.values()) < 1.0


@pytest.mark.parametrize("name", CELLS)
@pytest.mark.parametrize("part", [0.94, 1.06])
def test_with_what_a_pack_holds_as_well_the_charge_is_known_throughout(name: str, part: float) -> None:
    """By a charger, its cells noted: found within 1.5 %, said to be 2 at most; by its label alone up to 6."""
    told = packs(f", charged: [{measured(name, held_ah=part * AH)}]" + counted())
    pack = in_ledger(told, f"{part * AH:.1f} Ah within 0.2 Ah")
    known, off = flown(name, part, pack, OVER)
    assert abs(known.charge - 0.12) < 0.015
    assert known.charge_doubt < 0.02
    assert max(abs(deviations) for deviations in off.values()) < 1.0


def test_a_ledger_is_shown_a_charger_s_ampere_hours() -> None:
    """What a flight shows of the capacity has the monitor's error taken out."""
    shown = []
    for told in (packs(counted()), packs()):
        one, _ = flown("Ai2020", 1.0, told, OVER)
        capacity = one.capacity_shown()
        assert capacity is not None
        shown.append(capacity[0])
    assert shown[1] / shown[0] == pytest.approx(1.06, abs=0.01)


@pytest.mark.parametrize(("text", "doubt"), [(counted(), 0.0055), ("", 0.03)])
def test_a_flight_is_booked_in_what_a_charger_would_count(text: str, doubt: float) -> None:
    """Cycles too: a monitor that counts too much does not age the packs."""
    one = load_aircraft_file(f"packs: {{cells: 12, capacity: {AH} Ah{text}}}", "a").packs
    ledger = Ledger(None, {"A1": PackEntry()})
    (fitted,) = packs_today(one, ledger, ["A1"])
    pack = PackEstimate((), at_monitor(fitted, one.counted, 1), lambda: None)
    pack.filter, _ = flown("Ai2020", 1.0, pack.packs, OVER if text else 1.0)
    shown = pack.filter.capacity_shown()
    assert shown is not None
    seen = pack_seen(pack)
    assert seen is not None
    assert seen.cycles == pytest.approx(0.88, abs=0.01)
    assert seen.capacity_doubt == pytest.approx(math.hypot(shown[1], doubt), rel=0.02)


def test_what_was_kept_goes_on_when_the_crew_has_measured_its_monitor() -> None:
    """What voltages have taught of it already is not corrected once more; a ledger is shown the same as before."""
    before, _ = flown("Ai2020", 1.0, packs(), OVER)
    from_the_start, _ = flown("Ai2020", 1.0, packs(counted()), OVER)
    again = ChargeFilter(packs(counted()), 12, AH)
    again.resume(before.learned())
    assert again.counted == before.counted
    assert again.state().per_ah == pytest.approx(from_the_start.state().per_ah, rel=0.02)
    shown, shown_before = again.capacity_shown(), before.capacity_shown()
    assert shown is not None
    assert shown_before is not None
    assert shown[0] == pytest.approx(shown_before[0] * math.exp(-scale_of(packs(counted())).off))
    same = ChargeFilter(packs(), 12, AH)
    same.resume(before.learned())
    assert same.state().per_ah == before.state().per_ah
    for odd in ([math.nan], [1e300], []):
        with pytest.raises(ValueError, match="that was kept"):
            same.resume({**before.learned(), "scale_off": odd})


def test_before_anything_was_learned_all_of_it_is_corrected() -> None:
    fresh = ChargeFilter(packs(), 12, AH)
    assert fresh.begin(4.2, None, resting=True, load_a=0.0)
    again = ChargeFilter(packs(counted()), 12, AH)
    again.resume(fresh.learned())
    assert again.state().per_ah == pytest.approx(ChargeFilter(packs(counted()), 12, AH).state().per_ah)
