"""What a flight of a campaign leaves: a telemetry log, and the truth beside it; and what the watch makes of it."""

from __future__ import annotations

import itertools
import math
import os
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NamedTuple

import pytest

from simulators.campaign.knowledge import LEVELS, CrewFiles, write
from simulators.campaign.record import TAIL_S, Flown, fly
from simulators.campaign.watch import _columns, listen
from simulators.physics.cell import CELLS
from tests.simulators.campaign.campaigning import FULL, LEAST, MEASURED, drawn
from watchkeeper.aircraft.files import AircraftFile, load_aircraft_file
from watchkeeper.cli.inputs import find_ledger, load_crew_files
from watchkeeper.estimate.packs.owncurve import unlikely
from watchkeeper.estimate.packs.packtoday import packs_today
from watchkeeper.link.framing import GOOD, Framer
from watchkeeper.link.recording import RecordingReader

HOME_S: Final = 70.0
STATION, RADIO = 255, 51


class Kept(NamedTuple):
    """A flight, and its log."""

    truth: Flown
    log: Path


def flown_to(folder: Path, kind: str | None = None, do: dict[str, Any] | None = None, **keys: Any) -> Kept:
    log = folder / "flight.tlog"
    return Kept(fly(drawn(kind, do, **keys), log, HOME_S), log)


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    """Return a flight without a fault, which goes home at 70 s."""
    return flown_to(tmp_path_factory.mktemp("calm"))


@pytest.fixture(scope="module")
def silent(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    """Return a flight of which nothing more is heard from 40 s on."""
    return flown_to(tmp_path_factory.mktemp("silent"), "antenna comes loose", {"antenna_loss_db": 100.0})


def test_a_flight_goes_out_turns_back_and_lands(calm: Kept) -> None:
    truth = calm.truth
    assert 9.0 < truth.took_off_s < 13.0
    assert truth.turned_back_s == pytest.approx(HOME_S, abs=0.02)
    assert truth.landed
    assert not truth.crashed
    assert HOME_S + 30.0 < truth.end_s < HOME_S + 120.0
    assert (truth.fault_began_s, truth.floor_passed_s, truth.silences_s, truth.no_fix_s) == (None, None, [], [])


def test_its_charge_is_kept_each_second(calm: Kept) -> None:
    truth = calm.truth
    seconds = truth.charge_pct
    assert len(seconds) == int(truth.end_s + TAIL_S) + 1
    after = seconds[int(truth.took_off_s) + 10 : int(truth.end_s)]
    assert all(earlier > later for earlier, later in itertools.pairwise(after))
    assert truth.landing_charge_pct == pytest.approx(seconds[int(truth.end_s)], abs=0.2)
    rate = (seconds[int(truth.took_off_s)] - seconds[int(HOME_S)]) / (int(HOME_S) - int(truth.took_off_s))
    assert truth.charge_fall_pct_s == pytest.approx(rate)
    assert 0.03 < rate < 0.15  # some 4 kW from two packs of 0.9 kWh


def test_its_log_is_read_without_damage(calm: Kept) -> None:
    reader, framer = RecordingReader(), Framer()
    records = reader.feed(calm.log.read_bytes())
    assert (reader.end(), reader.skipped_bytes, reader.wrong_times) == (0, 0, 0)
    times_us = [time_us for time_us, _ in records]
    assert times_us == sorted(times_us)
    assert (times_us[-1] - times_us[0]) / 1e6 == pytest.approx(calm.truth.end_s + TAIL_S, abs=1.0)
    frames = [frame for _, raw in records for frame in framer.feed(raw)]
    assert len(frames) == len(records)
    assert {frame[6] for frame in frames} == {GOOD}
    assert {frame[0] for frame in frames} == {143, STATION, RADIO}
    beats = Counter(frame[0] for frame in frames if frame[3] == 0)
    assert beats[143] == pytest.approx(calm.truth.end_s + TAIL_S, rel=0.05)


def test_pymavlink_reads_the_same(calm: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    """By its reader of logs, message by message."""
    for name, value in {**os.environ, "MAVLINK20": "1", "MAVLINK_DIALECT": "all"}.items():
        monkeypatch.setenv(name, value)  # mavutil sets its own as it is imported; undone after the test
    from pymavlink import mavutil  # noqa: PLC0415 (reads the environment as it is imported)

    log = mavutil.mavlink_connection(str(calm.log), dialect="all")
    assert isinstance(log, mavutil.mavlogfile)
    reader = RecordingReader()
    ours = reader.feed(calm.log.read_bytes())
    count = armed = 0
    for time_us, raw in ours:
        message = log.recv_msg()
        assert message.get_type() != "BAD_DATA"
        assert bytes(message.get_msgbuf()) == raw
        assert message._timestamp == pytest.approx(time_us / 1e6, abs=1e-5)
        armed += message.get_type() == "HEARTBEAT" and bool(message.base_mode & 128)
        count += 1
    assert log.recv_msg() is None
    assert count == len(ours) > 3000
    assert armed > 60
    log.close()


def test_silence_of_the_link_is_kept(silent: Kept) -> None:
    truth = silent.truth
    assert truth.fault_began_s == pytest.approx(40.0, abs=0.11)
    ((begin_s, end_s),) = truth.silences_s
    assert begin_s == pytest.approx(40.0, abs=1.5)
    assert end_s == pytest.approx(truth.end_s + TAIL_S, abs=1.0)
    assert [truth.silent_at(at_s) for at_s in (39.0, begin_s + 1.0, 60.0, end_s)] == [False, False, True, True]
    assert truth.landed  # another link commands it


def test_without_a_position_it_lands_where_it_is(tmp_path: Path) -> None:
    truth = flown_to(tmp_path, "satellites jammed", {"jam_db": 60.0}).truth
    assert 40.0 < truth.no_fix_s[0] < 44.0  # the receiver looks once a second, and coasts for a moment
    assert truth.turned_back_s == pytest.approx(HOME_S, abs=0.02)
    assert truth.landed
    assert [truth.without_fix_at(at_s) for at_s in (39.0, truth.no_fix_s[0], 100.0)] == [False, True, True]


def test_a_fall_ends_it(tmp_path: Path) -> None:
    truth = flown_to(tmp_path, "motors stop", {"stop_motors": True}).truth
    assert (truth.crashed, truth.landed, truth.turned_back_s) == (True, False, None)
    assert 41.0 < truth.end_s < 46.0  # from 30 m
    assert truth.floor_passed_s is not None


def test_a_fault_that_never_comes_did_not_begin(tmp_path: Path) -> None:
    truth = flown_to(tmp_path, "pack opens", {"open_pack": 1}, at_s=400.0).truth
    assert (truth.fault_began_s, truth.floor_passed_s) == (None, None)


# --- what the watch is told, and what it says --------------------------------------------------------------------


def read_aircraft(files: CrewFiles) -> AircraftFile:
    return load_aircraft_file(files.aircraft.read_text(encoding="utf-8"), str(files.aircraft))


def test_what_a_crew_knows_stands_in_good_files(tmp_path: Path) -> None:
    one = drawn(packs=[{"charge_pct": 90, "cycles": 120.4}, {"charge_pct": 90, "cycles": 100}],
                parameters={"return.height_m": 55.0})  # fmt: skip
    found = write(one, tmp_path)
    assert tuple(found) == LEVELS
    full, least = (read_aircraft(found[level]) for level in (FULL, LEAST))
    assert found[FULL].sortie is found[LEAST].sortie is None
    assert (full.packs.cells, full.packs.capacity_ah, full.packs.count) == (12, 22.0, 2)
    assert full.packs.age_cycles == 120
    assert full.return_.height_m == 55.0
    assert (least.packs.cells, least.packs.capacity_ah) == (12, 22.0)
    assert least.hover_power is None
    assert least.return_.height_m is None
    assert full.packs.counted == ()
    assert least.packs.charged == ()


def test_what_a_crew_has_measured_of_its_packs_is_what_they_are(tmp_path: Path) -> None:
    """Each monitor against a charger, each pack's capacity by it: their ratio has no charger in it."""
    keys = {"charge_pct": 90, "cycles": 200, "capacity_part": 0.96}
    one = drawn(packs=[{**keys, "current_scale": scale} for scale in (0.95, 1.04)])
    files = write(one, tmp_path)[MEASURED]
    (aircraft,), sortie = load_crew_files([files.aircraft], files.sortie)
    assert sortie is not None
    ledger = find_ledger(sortie, files.sortie, [aircraft])
    assert ledger.faults == ()
    assert ledger.ledger is not None
    assert len(aircraft.packs.charged) == 7
    assert unlikely(aircraft.packs) == []
    holds_ah = 0.96 * CELLS["plain"].aged_capacity_ah(200)
    fitted = packs_today(aircraft.packs, ledger.ledger, sortie.fitted)
    for pack, told, scale in zip(fitted, aircraft.packs.counted, (0.95, 1.04), strict=True):
        assert pack.capacity_ah is not None
        # by the monitor; 0.5 % where each charge ends, and the last digit
        assert pack.capacity_ah * told.monitor_ah / told.charger_ah == pytest.approx(holds_ah * scale, rel=0.02)


@pytest.mark.parametrize("cell", CELLS)
def test_what_a_crew_notes_of_its_cells_is_what_they_show(tmp_path: Path, cell: str) -> None:
    """Within three deviations of a voltmeter, a charger and their last digits; another flight, another noting."""
    keys = {"charge_pct": 90, "cycles": 200, "cell": cell, "capacity_part": 0.96}
    one = drawn(packs=[keys, keys])
    flights = one, replace(one, number=one.number + 1)
    noted = [read_aircraft(write(flight, tmp_path)[FULL]).packs for flight in flights]
    assert noted[0].charged != noted[1].charged
    holds_ah = 0.96 * CELLS[cell].aged_capacity_ah(200)
    for packs in noted:
        assert len(packs.charged) == 5
        assert unlikely(packs) == []
        for ah, cell_v in packs.charged:
            charge = 1.0 - ah / holds_ah
            volt, slope_v = CELLS[cell].open_circuit(charge)[:2]
            assert abs(cell_v - volt) < 0.005 + 3.0 * math.hypot(0.005, 0.01 * (1.0 - charge) * slope_v)


def test_the_full_file_states_what_is_set_and_an_old_one_what_was(tmp_path: Path) -> None:
    """The defaults of the aircraft, by hand: 40 m, 8 m/s, 10 s at 8 m, 0.7 m/s, descent 1.5 m/s."""
    settings = {
        "return.height_m": 61.5, "return.speed_m_s": 10.5, "return.hold_s": 33.0, "return.hold_m": 12.5,
        "return.order": 125346.0, "land.slow_m_s": 0.45, "fly.sink_m_s": 2.2,
    }  # fmt: skip
    new = drawn(parameters=settings)
    found = []
    for old_file in (False, True):
        file = read_aircraft(write(replace(new, old_file=old_file), tmp_path)[FULL])
        home = file.return_
        assert home.hold is not None
        found.append((home.height_m, home.speed_m_s, home.hold, home.landing_m_s, file.limits.descent_m_s))
        order = "climb, hold, cruise, descend, land" if not old_file else "climb, cruise, descend, hold, land"
        assert home.order == tuple(order.split(", "))
    (set_now, before) = found
    assert (*set_now[:2], *set_now[3:]) == (61.5, 10.5, 0.45, 2.2)
    assert (*before[:2], *before[3:]) == (40.0, 8.0, 0.7, 1.5)
    assert [(one[2].time_s, one[2].height_m) for one in found] == [(33.0, 12.5), (10.0, 8.0)]


def test_the_watch_is_heard_by_its_lines_and_its_table(silent: Kept, tmp_path: Path) -> None:
    paths = write(drawn(parameters={"return.height_m": 40.0}), tmp_path)
    heard = listen(silent.log, paths[FULL], ["battery.charge_left", "flight.phase", "position.height"])
    lost_s = heard.first(["link-lost"])
    assert lost_s is not None
    assert silent.truth.silent_at(lost_s)
    assert all(one.change and one.rule and one.level in {"warning", "caution", "advisory"} for one in heard.said)
    assert all(0.0 <= one.at_s <= silent.truth.end_s + TAIL_S for one in heard.said)
    assert all(earlier.at_s <= later.at_s for earlier, later in itertools.pairwise(heard.said))
    left, height = (heard.readings[name] for name in ("battery.charge_left", "position.height"))
    assert len(left) == len(height) == pytest.approx(silent.truth.end_s + TAIL_S, abs=2)
    assert height[37] == pytest.approx(30.0, abs=3.0)  # over the place where it stays
    assert left[37] is not None
    assert 20.0 < left[37] < 60.0
    assert set(heard.readings["flight.phase"]) == {None}  # a word is no number


def test_seconds_without_a_row_are_unknown(tmp_path: Path) -> None:
    """The aircraft is heard from the third second on, and once not."""
    table = tmp_path / "readings.csv"
    table.write_text("elapsed_s,aircraft,a [%],b\n2,143,90,\n3,143,,x\n5,143,88.5,7\n", encoding="utf-8")
    assert _columns(table, ["a", "b", "c"]) == {
        "a": [None, None, 90.0, None, None, 88.5],
        "b": [None, None, None, None, None, 7.0],
        "c": [None] * 6,
    }


def test_a_watch_that_fails_is_told_with_its_words(calm: Kept, tmp_path: Path) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("aircraft: drawn\nwheels: 4\n", encoding="utf-8")
    with pytest.raises(RuntimeError, match=r"the watch ended with 2: .*bad\.yaml:2:1: .*wheels"):
        listen(calm.log, CrewFiles(bad), [])
    with pytest.raises(RuntimeError, match=r"no-such\.tlog"):
        listen(tmp_path / "no-such.tlog", write(drawn(parameters={"return.height_m": 40.0}), tmp_path)[FULL], [])


def test_no_time_is_no_rate() -> None:
    assert Flown().charge_fall_pct_s == 0.0
    assert not math.isnan(Flown(took_off_s=3.0, end_s=3.0, charge_pct=[50.0] * 5).charge_fall_pct_s)
