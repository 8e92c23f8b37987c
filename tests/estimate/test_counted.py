"""What a monitor counted of what the charger put back: by hand, and on published cells by pybamm."""

from __future__ import annotations

import math

import pytest

from tests.estimate.publishedcells import CELLS
from tests.estimate.test_owncurve import AH, flown, measured
from watchkeeper.aircraft.files import Packs, load_aircraft_file
from watchkeeper.aircraft.ledger import Ledger, PackEntry
from watchkeeper.estimate.packs.battery import whole_today
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.packtoday import SCALE, Scale, packs_today, scale_of

OVER = 1.06
"""Two deviations of a current sensor (3 %, common practice)."""


def packs(more: str = "") -> Packs:
    return load_aircraft_file(f"packs: {{cells: 12, capacity: {AH} Ah, age: 0 cycles{more}}}", "a").packs


def counted(flights: int = 3) -> str:
    return f", counted: [{flights * 15.0 * OVER:.2f} Ah of {flights * 15.0:.2f} Ah]"


def drawn_by(pack: Packs) -> float:
    """Return of how many Ah, as measured, a pack is emptied."""
    return 1.0 / ChargeFilter(pack, 12, pack.capacity_ah or AH).state().per_ah


def in_ledger(pack: Packs, capacity: str, *, labels: tuple[str, ...] = ("A1",)) -> list[Packs]:
    entries = {label: PackEntry.model_validate({"capacity": capacity}) for label in labels}
    return packs_today(pack, Ledger(None, entries), labels)


def test_by_hand() -> None:
    """Of 22 Ah, a monitor that counts 15.9 of 15 counts 23.32; 45 Ah show it within 0.5 and 0.24 %."""
    pack = packs(counted())
    assert drawn_by(pack) == pytest.approx(22.0 * 1.06)
    assert scale_of(pack) == pytest.approx((math.log(1.06), math.hypot(0.005, 0.005 * 22 / 45)))
    assert scale_of(packs()) == Scale(0.0, SCALE)
    little = packs(", counted: [1 Ah of 1 Ah]")  # tells nothing more than is usual
    assert scale_of(little).doubt == SCALE


def test_each_pack_has_its_own_monitor_and_one_may_measure_them_all() -> None:
    both = packs(", count: 2, counted: [15.9 Ah of 15 Ah, 14.4 Ah of 15 Ah]")
    assert [drawn_by(one) for one in packs_today(both, None, ())] == pytest.approx([22 * 1.06, 22 * 0.96])
    labelled = in_ledger(both, "20 Ah within 0.2 Ah", labels=("A1", "A2"))
    assert [drawn_by(one) for one in labelled] == pytest.approx([20 * 1.06, 20 * 0.96])
    assert scale_of(whole_today(both, ())).off == 0.0  # what a third monitor counts is not known
    one = packs(", count: 2, counted: [31.8 Ah of 30 Ah]")
    assert scale_of(whole_today(one, ())).off == pytest.approx(math.log(1.06))
    assert [scale_of(each).off for each in packs_today(one, None, ())] == [0.0, 0.0]


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
    (pack,) = in_ledger(told, f"{part * AH:.1f} Ah within 0.2 Ah")
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


def test_what_was_kept_goes_on_when_the_crew_has_measured_its_monitor() -> None:
    before, _ = flown("Mohtat2020", 1.0, packs(), OVER)
    again = ChargeFilter(packs(counted()), 12, AH)
    again.resume(before.learned())
    assert again.counted == before.counted
    assert again.state().per_ah == pytest.approx(before.state().per_ah / 1.06)
    same = ChargeFilter(packs(), 12, AH)
    same.resume(before.learned())
    assert same.state().per_ah == before.state().per_ah
    with pytest.raises(ValueError, match="no charge that was kept"):
        same.resume({**before.learned(), "scale_off": [math.nan]})
