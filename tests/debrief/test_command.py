"""`watchkeeper debrief` over an invented flight with every number known, and over damaged and odd ones."""

from __future__ import annotations

import os
import random
import re
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from tests.brief.pagecheck import Element, read
from tests.debrief import aflight
from tests.recordings import shipped
from watchkeeper.cli import debrief as command
from watchkeeper.cli.main import main
from watchkeeper.debrief.words import AFTERWARDS
from watchkeeper.link.encode import Encoder

RULES = shipped()


@pytest.fixture(scope="module", autouse=True)
def _rules_once() -> Iterator[None]:
    """Compile the shipped rules once: no recording here brings others."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(command, "load_rules", lambda *_, **__: RULES)
        yield


def debrief(*words: str | Path) -> int:
    return main(["debrief", *map(str, words)])


def words_of(html: str, section: str) -> str:
    """Return what is read in a section."""
    return " ".join(found(html, section).words().split())


def found(html: str, section: str) -> Element:
    return next(e for e in read(html).all("section") if e.attributes["aria-labelledby"] == section)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return aflight.write_folder(tmp_path_factory.mktemp("debrief") / "kept")


@pytest.fixture(scope="module")
def html(folder: Path) -> str:
    """Return the report of the folder, with its aircraft file."""
    file = folder.parent / "quad.yaml"
    file.write_text(aflight.AIRCRAFT)
    assert debrief(folder, "--aircraft", file, "--output", folder.parent / "report.html") == 0
    return (folder.parent / "report.html").read_text(encoding="utf-8")


def energy_wh(begin_s: float, end_s: float) -> float:
    """Energy by the trapezoidal rule over what the invented flight sent (rounded as the messages are), by hand."""
    total, before = 0.0, None
    for step in range(round(begin_s * 4), round(end_s * 4) + 1):
        at_s = step / 4
        power = round(aflight.cell_v(at_s) * 4 * 1000) / 1000 * round(aflight.current_a(at_s) * 100) / 100
        if before is not None:
            total += (before + power) / 2 * 0.25 / 3600
        before = power
    return total


def test_the_flight_in_a_paragraph(html: str) -> None:
    said = words_of(html, "short")
    assert re.search(r"2027-01-15, 08:00:2[0-3] to 08:02:1[0-3] UTC, 1 min (4[7-9]|5[0-3]) s", said)
    assert "at most 200 m from home, at most 30 m above home" in said
    assert "at home" in said
    way_m = float(re.search(r"It flew (\d+) m over ground", said)[1])  # type: ignore[index]
    assert way_m == pytest.approx(2 * aflight.OUT_M, abs=4)
    used = float(re.search(r"after ([\d.]+) Wh", said)[1])  # type: ignore[index]
    assert used == pytest.approx(energy_wh(aflight.TAKE_OFF_S, aflight.LAND_S), rel=0.03)
    lowest = float(re.search(r"lowest voltage a cell was ([\d.]+) V", said)[1])  # type: ignore[index]
    assert lowest == pytest.approx(aflight.cell_v(aflight.LAND_S - 0.25), abs=0.006)


def test_the_farthest_place_is_that_of_the_geodesic() -> None:
    """The invented flight itself against geographiclib (Karney)."""
    lat, lon = aflight.place(75.0)
    assert Geodesic.WGS84.Inverse(*aflight.HOME, lat, lon)["s12"] == pytest.approx(aflight.OUT_M, abs=0.01)


def test_reaction_times_are_those_of_the_log(html: str) -> None:
    said = words_of(html, "timeline")
    assert "Caution. Test. return-reserve." in said
    assert "voice: spoken after 0.2 s" in said or "voice: spoken after 0.3 s" in said  # 60.25 - 60.0
    assert "Acknowledged by pilot after 4.5 s" in said
    acted = re.search(r"turned back after (\d+) s", said)
    assert acted is not None
    assert int(acted[1]) == pytest.approx(aflight.TURN_S - 60.0, abs=2)
    assert "over after 30 s" in said
    assert "voltage a cell" in said or "3.21 V" in said
    assert "Not acknowledged, stood to the end" in said


def test_what_was_decided_then_counts_and_a_difference_is_told(html: str) -> None:
    assert "this version decides otherwise" in words_of(html, "made")
    assert "damaged lines passed over" in words_of(html, "made")


def test_fixed_thresholds_speak_when_by_hand_they_would(html: str) -> None:
    section = found(html, "thresholds")
    rows = {
        row.all("th", "td")[0].words().split(":")[0]: [c.words() for c in row.all("th", "td")]
        for row in section.all("tr")
    }
    at_once, lasting = rows["3.5 V a cell, as measured"], rows["3.5 V a cell, lasting"]
    assert at_once[1].startswith("08:01:40, 1:40")
    assert lasting[1].startswith("08:01:50, 1:50")
    assert at_once[2] == "40 s after the watch's call"  # 100 - 60
    used = float(next(cell for cell in at_once if cell.endswith(" Wh")).split()[0])
    assert used == pytest.approx(energy_wh(aflight.CROSSES_S, aflight.LAND_S), abs=0.35)
    assert "25 % of the gauge: the aircraft told no gauge" in words_of(html, "thresholds")


def test_hostile_text_stays_text(html: str) -> None:
    root = read(html)
    assert not root.all("script")
    assert aflight.HOSTILE in root.words()  # what the aircraft said, as evidence
    assert all(not name.startswith("on") for e in root.all() for name in e.attributes)
    assert "test quad <b>" in root.words()


def test_an_output_is_replaced_at_once_or_not_at_all(folder: Path, tmp_path: Path) -> None:
    log = folder / "source-1.tlog"
    out = tmp_path / "report.html"
    out.write_text("old")
    assert debrief(log, "--output", out) == 0
    assert "Debrief: source-1.tlog" in out.read_text()
    assert [one.name for one in tmp_path.iterdir()] == ["report.html"]
    root = read(out.read_text())
    assert not root.all("script")
    assert AFTERWARDS in root.words()


@pytest.mark.parametrize("what", ["folder", "missing folder", "recording", "no recording", "unwritable"])
def test_bad_use_is_one_line_and_status_2(
    what: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = folder / "source-1.tlog"
    recording, out = log, tmp_path / "report.html"
    if what == "folder":
        out = tmp_path
    elif what == "missing folder":
        out = tmp_path / "no" / "report.html"
    elif what == "recording":
        out = log
    elif what == "unwritable":
        (tmp_path / "locked").mkdir()
        out = tmp_path / "locked" / "report.html"
        (tmp_path / "locked").chmod(stat.S_IRUSR | stat.S_IXUSR)
        if os.access(tmp_path / "locked", os.W_OK):
            out = Path("/proc/report.html")  # for whom no right is missing
    else:
        recording = tmp_path / "none.tlog"
    before = log.read_bytes()
    assert debrief(recording, "--output", out) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert log.read_bytes() == before


def test_a_damaged_recording_is_debriefed_as_far_as_it_goes(folder: Path, tmp_path: Path) -> None:
    data = bytearray((folder / "source-1.tlog").read_bytes())
    chance = random.Random(4)
    for _ in range(40):
        at = chance.randrange(len(data))
        data[at : at + 20] = bytes(chance.randrange(256) for _ in range(20))
    (tmp_path / "damaged.tlog").write_bytes(data[: len(data) * 2 // 3])
    assert debrief(tmp_path / "damaged.tlog", "--output", tmp_path / "r.html") == 0
    html = (tmp_path / "r.html").read_text()
    assert "the recording holds no landing" in words_of(html, "short").lower()
    assert "damaged bytes passed over" in words_of(html, "made")


def test_heartbeats_alone_and_a_radio_alone_say_why_there_is_nothing(tmp_path: Path) -> None:
    craft, radio = Encoder(7, 1), Encoder(51, 68)
    beats = ((float(k), craft.encode("HEARTBEAT", type=2, autopilot=0, base_mode=1)) for k in range(30))
    (tmp_path / "beats.tlog").write_bytes(aflight.log_bytes(beats))
    assert debrief(tmp_path / "beats.tlog", "--output", tmp_path / "r.html") == 0
    html = (tmp_path / "r.html").read_text()
    assert "was not seen to fly" in words_of(html, "short")
    assert "No number of satellites was told." in words_of(html, "aircraft-7")
    assert [e.words() for e in found(html, "aircraft-7").all("title")] == ["Link"]  # loss, of heartbeats
    alone = (
        (float(k), radio.encode("RADIO_STATUS", rssi=90, remrssi=90, noise=40, remnoise=40)) for k in range(30)
    )
    (tmp_path / "radio.tlog").write_bytes(aflight.log_bytes(alone))
    assert debrief(tmp_path / "radio.tlog", "--output", tmp_path / "r.html") == 0
    assert "No aircraft is in this recording" in words_of((tmp_path / "r.html").read_text(), "short")


def test_several_aircraft_and_time_that_runs_back(tmp_path: Path) -> None:
    both = sorted([*aflight.frames(7), *aflight.frames(8, text="plain")], key=lambda one: one[0])
    data = aflight.log_bytes(iter(both))
    again = aflight.log_bytes((at_s - 1000.0, frame) for at_s, frame in aflight.frames(7) if at_s < 25)
    (tmp_path / "two.tlog").write_bytes(data + again)
    assert debrief(tmp_path / "two.tlog", "--output", tmp_path / "r.html") == 0
    html = (tmp_path / "r.html").read_text()
    said = words_of(html, "short")
    assert "Aircraft 7" in said
    assert "Aircraft 8" in said
    assert "recorded time ran back 1 time(s)" in words_of(html, "made")
    ids = [e.attributes["id"] for e in read(html).all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))
