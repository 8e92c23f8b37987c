"""The report of a real return against the recording itself, read by pymavlink, and against `replay --json`."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic
from pymavlink import mavutil

from tests.brief.pagecheck import read
from tests.conftest import RequireData
from tests.debrief.test_command import words_of
from watchkeeper.cli.main import main

RETURN = "flights/quad-return-61m.tlog"


@pytest.fixture(scope="module")
def html(require_data: RequireData, tmp_path_factory: pytest.TempPathFactory) -> str:
    out = tmp_path_factory.mktemp("real") / "report.html"
    assert main(["debrief", str(require_data(RETURN)), "--output", str(out)]) == 0
    return out.read_text(encoding="utf-8")


def messages(path: Path, kind: str) -> list[tuple[float, object]]:
    log = mavutil.mavlink_connection(str(path), dialect="ardupilotmega")
    found = []
    while (message := log.recv_match(type=kind)) is not None:
        found.append((message._timestamp, message))
    log.close()
    return found


def test_way_and_energy_are_those_of_the_messages(html: str, require_data: RequireData) -> None:
    path = require_data(RETURN)
    said = words_of(html, "short")
    way_m = float(re.search(r"It flew (\d+) m over ground", said)[1])  # type: ignore[index]
    used_wh = float(re.search(r"after ([\d.]+) Wh", said)[1])  # type: ignore[index]
    places = [(m.lat / 1e7, m.lon / 1e7) for _, m in messages(path, "GLOBAL_POSITION_INT")]  # type: ignore[attr-defined]
    straight_m = Geodesic.WGS84.Inverse(*places[0], *places[-1])["s12"]
    steps_m = sum(Geodesic.WGS84.Inverse(*a, *b)["s12"] for a, b in itertools.pairwise(places))
    assert straight_m - 3 <= way_m <= steps_m + 1
    told = [(at_s, m) for at_s, m in messages(path, "SYS_STATUS")]
    power = [(at_s, m.voltage_battery / 1000 * m.current_battery / 100) for at_s, m in told]  # type: ignore[attr-defined]
    whole_wh = sum((p + q) / 2 * (t - s) / 3600 for (s, p), (t, q) in itertools.pairwise(power) if t - s < 10)
    assert used_wh == pytest.approx(whole_wh, rel=0.05)  # some tenths of a second on the ground are in the whole
    assert used_wh == pytest.approx(2.6, abs=0.15)  # README of the data


def test_the_alerts_are_those_of_a_replay(
    html: str, require_data: RequireData, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(require_data(RETURN)), "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    raised = [(one["time"][11:19], one["rule"]) for one in lines if one["change"] in ("raised", "suppressed")]
    timeline = next(e for e in read(html).all("ol") if e.attributes.get("class") == "timeline")
    shown = []
    for item in timeline.all("li"):
        words = " ".join(item.words().split())
        clock, rule = re.search(r"(\d\d:\d\d:\d\d)", words), re.search(r"rule ([a-z-]+)$", words)
        assert clock is not None
        assert rule is not None
        shown.append((clock[1], rule[1]))
    assert shown == raised


def test_it_says_what_it_could_not_know(html: str) -> None:
    assert "in the air already when first heard" in words_of(html, "short")
    assert "No distance: the place or home was not known." in words_of(html, "aircraft-1")
    assert "the aircraft told no gauge" in words_of(html, "thresholds")
    assert "EXERCISE" not in read(html).first("main").words()
