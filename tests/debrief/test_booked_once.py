"""A flight is booked in the crew's ledger once: by the watch, a first debrief or a second; never an exercise."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.debrief import aflight
from tests.debrief.test_command import debrief, words_of
from tests.recordings import shipped
from watchkeeper.aircraft.ledger import PackEntry, read_ledger
from watchkeeper.cli import debrief as command
from watchkeeper.edges.ledger_file import LedgerKeeper, update
from watchkeeper.edges.ledger_late import book
from watchkeeper.estimate.packs.packseen import Flown, PackSeen, is_booked

TEXT = "packs:\n  A1: {cycles: 60}  # by hand\n  A2: {cycles: 10}\n"
FLIGHT = Flown((PackSeen("A1", 0.5),))
WHEN = "2027-01-15T08:02:10Z"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "packs.yaml"
    path.write_text(TEXT)
    return path


def cycles(path: Path, label: str = "A1") -> float | None:
    return read_ledger(path.read_text(), "x").packs[label].cycles


def test_a_second_booking_of_a_flight_changes_nothing(path: Path) -> None:
    assert book(path, [(FLIGHT, WHEN)]) == [f"Flight that ended {WHEN}: booked pack A1."]
    after = path.read_text()
    assert cycles(path) == 60.5
    assert "# by hand" in after
    assert "had been booked before" in book(path, [(FLIGHT, "2027-01-15T08:02:13Z")])[0]
    assert path.read_text() == after
    assert "booked pack A1" in book(path, [(FLIGHT, "2027-01-15T08:20:00Z")])[0]
    assert cycles(path) == 61.0


def test_what_a_watch_booked_is_not_booked_by_a_debrief(path: Path) -> None:
    keeper = LedgerKeeper(path, lambda *_: None, lambda: "2027-01-15T08:02:11Z")
    keeper.put([FLIGHT])
    keeper.close(timeout_s=20)
    assert cycles(path) == 60.5
    assert "had been booked before" in book(path, [(FLIGHT, WHEN)])[0]
    assert cycles(path) == 60.5


def test_an_older_flight_is_booked_late_and_the_day_stays_that_of_the_newest(path: Path) -> None:
    update(path, FLIGHT.packs, "2027-02-01T08:00:00Z")
    update(path, FLIGHT.packs, WHEN)
    entry = read_ledger(path.read_text(), "x").packs["A1"]
    assert (entry.cycles, entry.seen) == (61.0, "2027-02-01")
    assert entry.flights == ("2027-02-01T08:00:00Z", WHEN)


def test_a_day_alone_marks_no_flight() -> None:
    assert not is_booked(PackEntry(flights=[WHEN]), WHEN[:10])  # type: ignore[arg-type]
    assert is_booked(PackEntry(flights=[WHEN]), WHEN)  # type: ignore[arg-type]


def test_what_cannot_be_booked_is_said(path: Path) -> None:
    assert "nobody said which packs" in book(path, [(Flown((), unlabelled=True), WHEN)])[0]
    assert "pack B9 not in the ledger" in book(path, [(Flown((PackSeen("B9", 1.0),)), WHEN)])[0]
    assert "Nothing written" in book(path, [])[0]
    path.write_text("no: ledger")
    assert book(path, [(FLIGHT, WHEN)])[0].startswith("Not written:")


def test_the_command_books_once_and_never_an_exercise(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rules, folder = shipped(), path.parent
    monkeypatch.setattr(command, "load_rules", lambda *_, **__: rules)
    (folder / "quad.yaml").write_text(aflight.AIRCRAFT)
    (folder / "today.yaml").write_text("sortie: t\naircraft: quad.yaml\nledger: packs.yaml\nfitted: [A1]\n")
    log, out = aflight.write_log(folder / "flight.tlog"), folder / "r.html"
    for said in ("booked pack A1", "pack A1 had been booked before"):
        assert debrief(log, "--sortie", folder / "today.yaml", "--output", out) == 0
        assert said in words_of(out.read_text(), "made")
        # 22.3 A in the mean for 110 s of 10 Ah: by hand
        assert cycles(path) == pytest.approx(60 + 22.7 * 110 / 3600 / 10, abs=0.01)
    kept = aflight.write_folder(folder / "kept")
    (kept / "score.json").write_text('{"exercise": true, "scenario": "x", "elapsed_s": 150}')
    path.write_text(TEXT)
    assert debrief(kept, "--sortie", folder / "today.yaml", "--output", out) == 0
    assert "an exercise never is" in words_of(out.read_text(), "made")
    assert path.read_text() == TEXT
    assert "EXERCISE" in words_of(out.read_text(), "aircraft-7")
