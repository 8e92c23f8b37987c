"""A sortie that names its packs by label: each begins as the ledger knows it, and is seen once a flight."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest

from tests.estimate.packflight import Bench, Second, flown_a, fly, thevenin
from tests.recordings import lines, shipped
from tests.test_engine import T0, Plane
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.aircraft.ledger import Ledger, read_ledger
from watchkeeper.alerts.events import Happening, Order
from watchkeeper.cli.inputs import (
    LEDGER,
    find_kept,
    find_kept_ledger,
    find_ledger,
    keep_files,
    kept_files,
    load_crew_files,
)
from watchkeeper.engine import Engine
from watchkeeper.estimate.packs.battery import whole_today
from watchkeeper.estimate.packs.cell import aged_capacity, aged_resistance
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.packseen import Flown
from watchkeeper.estimate.packs.packtoday import FittedPack, packs_today

FILE = "packs: {cells: 12, capacity: 22 Ah, count: 2, resistance: 18 mohm, age: 80 cycles}"
LEDGER_TEXT = """\
packs:
  A1: {cycles: 61, capacity: 20 Ah, resistance: 16.1 mohm at 10 degC}
  A2: {cycles: 200}
  A3: {capacity: 21 Ah within 0.42 Ah, resistance: 20 mohm}
  A4:
"""
PACKS = load_aircraft_file(FILE, "a").packs
KNOWN = read_ledger(LEDGER_TEXT, "packs.yaml")
SORTIE = load_sortie_file("fitted: [A1, A2]", "s")


def today(*labels: str, ledger: Ledger | None = KNOWN) -> list[FittedPack]:
    found = packs_today(PACKS, ledger, labels)
    assert all(isinstance(one, FittedPack) for one in found)
    return [one for one in found if isinstance(one, FittedPack)]


def holds(pack: FittedPack) -> tuple[float, float]:
    """Return what the filter takes a pack for: Ah today, mohm of the whole settled pack at 25 degrees C."""
    state = ChargeFilter(pack, 12, pack.capacity_ah or 0.0).state()
    return 1.0 / state.per_ah, 12e3 * state.cell_ohm


# --- what the ledger knows -----


def test_what_was_seen_goes_before_label_and_age_and_age_counts_once() -> None:
    a1, a2, a3, a4 = today("A1", "A2", "A3", "A4")
    # by hand: 16.1 mohm at 10 degrees C over exp(2600 (1/283.15 - 1/298.15)) = 1.5872
    assert holds(a1) == pytest.approx((20.0, 16.1 / 1.5872), rel=1e-4)
    assert (a1.age_cycles, a1.rated_ah, a1.label) == (61, 22, "A1")
    # age alone, by common practice: 0.2 of the capacity and once more the resistance in 400 cycles
    assert holds(a2) == pytest.approx((22 * 0.9, 18 * 1.5))
    # without a temperature as it was told; of the aircraft file's age, which does not count again
    assert holds(a3) == pytest.approx((21.0, 20.0))
    assert a3.age_cycles == 80
    assert a3.capacity_doubt == pytest.approx(0.02)
    # nothing known: as the aircraft file has it
    assert holds(a4) == pytest.approx((22 * aged_capacity(80), 18 * aged_resistance(80)))
    assert holds(today("A9", ledger=None)[0]) == holds(a4)


def test_a_capacity_that_was_seen_is_surer_than_a_label_of_some_age() -> None:
    def doubts(pack: FittedPack) -> tuple[float, float]:
        filter_ = ChargeFilter(pack, 12, 22.0)
        return filter_._p[3][3] ** 0.5, filter_._p[1][1] ** 0.5

    a1, a2, a3 = today("A1", "A2", "A3")
    assert doubts(a1) == pytest.approx(((0.05**2 + 0.03**2) ** 0.5, 0.15))  # with the current sensor's 3 %
    assert doubts(a2) == pytest.approx(((0.03**2 + 0.03**2 + 0.04**2) ** 0.5, 0.3))
    assert doubts(a3) == pytest.approx(((0.02**2 + 0.03**2) ** 0.5, 0.3))  # at a temperature nobody told


def test_without_labels_all_packs_are_the_aircraft_files() -> None:
    assert packs_today(PACKS, KNOWN, ()) == [PACKS, PACKS]
    assert Bench(FILE).estimates._of(1) == PACKS


def test_a_monitor_of_the_whole_sees_the_fitted_packs_together() -> None:
    a1, a2, a3 = today("A1", "A2", "A3")
    both = whole_today(PACKS, [a1, a3])
    assert isinstance(both, FittedPack)
    # side by side: capacities add, conductances add
    ohm = 1 / (1 / (16.1 / 1.5872) + 1 / 20)
    assert holds(both) == pytest.approx((41.0, ohm), rel=1e-4)
    some = whole_today(PACKS, [a1, a2])  # of one nothing was seen: label and the worse age
    assert isinstance(some, FittedPack)
    assert some.age_cycles == 200
    assert holds(some) == pytest.approx((44 * 0.9, 9 * 1.5))
    series = PACKS.model_copy(update={"topology": "series"})
    behind = whole_today(series, [a1, a3])
    assert (behind.cells, behind.capacity_ah) == (24, 20.0)
    assert behind.resistance_ohm == pytest.approx(0.0161 / 1.5872 + 0.020, rel=1e-4)
    single = PACKS.model_copy(update={"count": 1})
    assert whole_today(single, [a1]) is a1


# --- flown: pybamm -----


def test_a_tired_pack_known_by_its_label_is_foretold_from_the_start() -> None:
    """A cell of 17 Ah and 3.5 mohm settled: with its ledger the first minute knows it, without it does not."""
    entry = "packs: {A1: {cycles: 300, capacity: 17 Ah, resistance: 42 mohm at 25 degC}}"
    file = "packs: {cells: 12, capacity: 22 Ah}"
    seconds = [s for s in thevenin(0.99, flown_a(900), capacity_ah=17.0, r0_ohm=2.5e-3) if s.charge > 0.1]

    def left_s(labelled: bool) -> float:
        """Return the seconds left, as told a minute after take-off, to 20 % of charge at the mean current."""
        bench = Bench(file)
        if labelled:
            ledger = read_ledger(entry, "p")
            bench.estimates._fitted = packs_today(bench.estimates._each, ledger, ["A1"])
        fly(bench, seconds[:90])
        state = bench.filter.state()
        return (state.charge - 0.2) / state.per_ah * 3600 / 67.0

    drawn_as = 0.0
    for second in seconds[90:]:
        drawn_as += second.current_a
        if second.charge < 0.2:
            break
    truth_s = drawn_as / 67.0
    assert left_s(labelled=True) == pytest.approx(truth_s, rel=0.06)
    assert left_s(labelled=False) > 1.15 * truth_s


# --- an aircraft with two packs, as the engine hears it -----


@cache
def cell() -> list[Second]:
    """Return a cell's flight of 12 minutes, down to 25 %.

    At 45 % published cells differ by so much that a voltage there tells no capacity (nor does it at 31 %).
    """
    return [s for s in thevenin(0.99, flown_a(760), capacity_ah=18.0) if s.charge > 0.1]


def drawn_cycles() -> float:
    return sum(s.current_a for s in cell()) / 3600 / 22


class Carrier(Plane):
    """An aircraft whose two packs are pybamm's cells; `age_s` is where on their flight they are."""

    def __init__(self, system: int = 7) -> None:
        super().__init__(system)
        self.flown = cell()
        self.age_s = 0
        self.used_ah = 0.0

    def battery(self) -> bytes:
        second = self.flown[min(self.age_s, len(self.flown) - 1)]
        self.age_s += 1
        self.used_ah += second.current_a / 3600
        volts = round(12 * second.cell_v * 1000)
        return b"".join(
            self.encoder.encode(
                "BATTERY_STATUS",
                id=pack,
                battery_function=1,
                temperature=2200,
                voltages=[volts, *[65535] * 9],
                current_battery=round(second.current_a * 100),
                current_consumed=round(self.used_ah * 1000),
                battery_remaining=-1,
            )
            for pack in (0, 1)
        )


def crew() -> Engine:
    return Engine(shipped(), [load_aircraft_file(FILE, "a")], SORTIE, KNOWN)


def on(engine: Engine, planes: list[Carrier], begin_s: int, end_s: int) -> list[Happening]:
    happened: list[Happening] = []
    for second in range(begin_s, end_s):
        for plane in planes:
            data = plane.frames(second) + plane.battery()
            happened += engine.receive("udp://a", data, T0 + second)
    return happened


def land(plane: Carrier, landed: bool = True) -> None:
    plane.armed, plane.landed, plane.height_m = not landed, 1 if landed else 2, 0.0 if landed else 30.0


def one_flight(engine: Engine, planes: list[Carrier], end_s: int = 75) -> int:
    """Stand for 30 s, fly until `end_s`, stand again; return when that is over."""
    for plane in planes:
        land(plane)
    on(engine, planes, 0, 30)
    for plane in planes:
        land(plane, landed=False)
    on(engine, planes, 30, end_s)
    assert engine.take_flown() == []
    for plane in planes:
        land(plane)
    on(engine, planes, end_s, end_s + 5)
    return end_s + 5


def test_after_a_flight_each_pack_is_seen_by_its_label_and_once() -> None:
    engine, plane = crew(), Carrier()
    end_s = one_flight(engine, [plane], len(cell()))
    (flown,) = engine.take_flown()
    assert [one.label for one in flown.packs] == ["A1", "A2"]
    for one in flown.packs:
        assert one.cycles == pytest.approx(drawn_cycles(), rel=0.01)
        assert one.capacity_ah == pytest.approx(18.0, rel=2 * one.capacity_doubt)
        assert one.degc == 22.0
    on(engine, [plane], end_s, end_s + 60)
    assert engine.take_flown() == []


def test_whether_anybody_asks_changes_no_decision_and_is_bounded() -> None:
    asked, silent = crew(), crew()
    told: list[list[Happening]] = []
    for engine in (asked, silent):
        happened: list[Happening] = []
        told.append(happened)
        plane = Carrier()
        land(plane)
        happened.extend(on(engine, [plane], 0, 30))
        for hop in range(12):
            land(plane, landed=False)
            happened.extend(on(engine, [plane], 30 + 30 * hop, 45 + 30 * hop))
            land(plane)
            happened.extend(on(engine, [plane], 45 + 30 * hop, 60 + 30 * hop))
            if engine is asked:
                assert len(engine.take_flown()) == 1
    assert lines(told[0]) == lines(told[1])
    assert told[0]
    assert len(silent.take_flown()) == 8


def test_packs_may_have_been_changed_once_it_was_without_power_after_a_flight() -> None:
    engine, plane = crew(), Carrier()
    plane.boot_s = 500.0
    land(plane)
    on(engine, [plane], 0, 10)
    plane.boot_s = -10.0  # powered up twice before it flies: the packs are the ones that were named
    on(engine, [plane], 10, 30)
    assert engine.aircraft(7).power_up == 2
    land(plane, landed=False)
    on(engine, [plane], 30, 120)
    land(plane)
    on(engine, [plane], 120, 130)
    (flown,) = engine.take_flown()
    assert [one.label for one in flown.packs] == ["A1", "A2"]
    plane.boot_s = -131.0
    on(engine, [plane], 132, 150)
    assert engine.aircraft(7).power_up == 3
    land(plane, landed=False)
    on(engine, [plane], 150, 200)
    land(plane)
    on(engine, [plane], 200, 205)
    assert engine.take_flown() == [Flown((), unlabelled=True)]


def test_one_that_was_gone_from_the_air_for_long_may_have_other_packs() -> None:
    engine, plane = crew(), Carrier()
    end_s = one_flight(engine, [plane])
    assert len(engine.take_flown()) == 1
    engine.tick(T0 + end_s + 90)
    assert engine.systems() == []
    land(plane, landed=False)
    on(engine, [plane], end_s + 90, end_s + 130)
    land(plane)
    on(engine, [plane], end_s + 130, end_s + 140)
    assert [flown.unlabelled for flown in engine.take_flown()] == [True]


def test_started_anew_in_the_air_what_it_showed_before_is_not_lost() -> None:
    engine, plane = crew(), Carrier()
    land(plane)
    on(engine, [plane], 0, 30)
    land(plane, landed=False)
    on(engine, [plane], 30, 300)
    plane.boot_s = -300.0
    on(engine, [plane], 301, 400)
    assert engine.aircraft(7).power_up == 2
    land(plane)
    on(engine, [plane], 400, 405)
    before, after = engine.take_flown()
    drawn = sum(s.current_a for s in cell()[:400]) / 3600 / 22
    for i in (0, 1):
        assert before.packs[i].cycles + after.packs[i].cycles == pytest.approx(drawn, rel=0.03)


def test_the_labels_are_of_one_aircraft() -> None:
    engine, first, second = crew(), Carrier(7), Carrier(8)
    one_flight(engine, [first, second])
    assert [len(flown.packs) for flown in engine.take_flown()] == [2]
    named = Engine(shipped(), [load_aircraft_file(f"system: 8\n{FILE}", "a")], SORTIE, KNOWN)
    one_flight(named, [Carrier(7), Carrier(8)])
    assert named.aircraft(7).labels.fitted == ()
    assert named.aircraft(8).labels.fitted == ("A1", "A2")
    assert len(named.take_flown()) == 1


@pytest.mark.parametrize("sortie", ["sortie: no labels", "fitted: [A1, A1]"])
def test_without_labels_or_with_one_twice_nothing_is_seen(sortie: str) -> None:
    engine = Engine(shipped(), [load_aircraft_file(FILE, "a")], load_sortie_file(sortie, "s"), KNOWN)
    one_flight(engine, [Carrier()])
    assert engine.take_flown() == []


def test_a_watch_started_again_in_flight_books_the_whole_flight_and_one_after_it_nothing() -> None:
    engine, plane = crew(), Carrier()
    land(plane)
    on(engine, [plane], 0, 30)
    land(plane, landed=False)
    on(engine, [plane], 30, 300)
    kept = json.loads(json.dumps(engine.learned()))["aircraft"]
    after = crew()
    after.tick(T0 + 300)
    after.order(Order("resume", aircraft=7, role="watch", kept=kept[0]), T0 + 300)
    on(after, [plane], 301, len(cell()))
    land(plane)
    on(after, [plane], len(cell()), len(cell()) + 5)
    (flown,) = after.take_flown()
    assert [one.cycles for one in flown.packs] == pytest.approx([drawn_cycles(), drawn_cycles()], rel=0.01)
    late = crew()
    on(late, [plane], len(cell()) + 6, len(cell()) + 40)
    assert late.take_flown() == []


# --- files -----


def written(folder: Path, ledger: str | None = LEDGER_TEXT, fitted: str = "[A1, A2]") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "a.yaml").write_text(FILE)
    (folder / "s.yaml").write_text(f"aircraft: a.yaml\nledger: ../packs.yaml\nfitted: {fitted}\n")
    if ledger is not None:
        (folder.parent / "packs.yaml").write_text(ledger)
    return folder / "s.yaml"


def test_a_sortie_brings_its_ledger_and_a_recording_keeps_it(tmp_path: Path) -> None:
    path = written(tmp_path / "crew")
    files, sortie = load_crew_files([], path)
    found = find_ledger(sortie, path, files)
    assert (found.ledger, found.text, found.faults) == (KNOWN, LEDGER_TEXT, ())
    recording = tmp_path / "recording"
    recording.mkdir()
    keep_files(recording, kept_files([], path, [], found.text))
    (tmp_path / "packs.yaml").write_text("packs: {A1: {cycles: 999}}")  # booked since
    aircraft, kept_sortie, _ = find_kept(recording)
    files, again = load_crew_files(aircraft, kept_sortie)
    replayed = find_ledger(again, kept_sortie, files, kept=find_kept_ledger(recording))
    assert replayed.ledger == KNOWN
    assert find_kept_ledger(recording).name == LEDGER


@pytest.mark.parametrize(
    ("ledger", "fitted", "fault", "usable"),
    [
        (None, "[A1, A2]", "no such pack ledger", False),
        ("packs: {A1: {cyles: 3}}", "[A1, A2]", "unknown key 'cyles'", False),
        (LEDGER_TEXT, "[A1, A22]", "pack 'A22' is not in the ledger; did you mean 'A2'?", True),
        (LEDGER_TEXT, "[A1]", "1 packs are fitted", True),
    ],
)
def test_what_is_wrong_with_it_is_told_and_the_watch_goes_on(
    tmp_path: Path, ledger: str | None, fitted: str, fault: str, usable: bool
) -> None:
    path = written(tmp_path / "crew", ledger, fitted)
    files, sortie = load_crew_files([], path)
    found = find_ledger(sortie, path, files)
    assert fault in str(found.faults[0])
    assert (found.ledger is not None) is usable
    engine = Engine(shipped(), files, sortie, found.ledger)
    on(engine, [Carrier()], 0, 10)
    assert engine.readings(7)["battery.1.charge_left"] is not None
    assert find_ledger(None, None, files).faults == ()
