"""Campaigns as they are run: a small real one by its command, and what does not depend on how they are run."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import pytest

from simulators.campaign import __main__ as program
from simulators.campaign.crews import REACTIONS_S, THUMBS, reaction_s
from simulators.campaign.distributions import read
from simulators.campaign.draw import draw
from tests.conftest import ROOT
from tests.simulators.campaign.campaigning import FULL, GOOD, LEAST, MEASURED, drawn, shipped, written

RATE: Final = {"count", "of", "rate", "low", "high"}
SPREAD: Final = {"of", "mean", "low", "high", "median", "p5", "p95"}
SHORT: Final = (
    ("load_kg: [0, 14]", "load_kg: [13, 14]"),
    ("charge_pct: [90, 100]", "charge_pct: [38, 42]"),
    ("distance_m: [150, 1400]", "distance_m: [100, 150]"),
    ("height_m: [30, 100]", "height_m: [20, 30]"),
    ("far_chance: 0.15", "far_chance: 0.0"),
    ("no_fault: 0.4", "no_fault: 0.0"),
)
"""Flights of some minutes with packs less than half full."""


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "simulators.campaign", *arguments],
        capture_output=True, text=True, check=False, timeout=240, cwd=ROOT,
    )  # fmt: skip


def check_crew(crew: dict[str, Any], flights: int) -> None:
    assert crew["flights"] == flights
    for name in ("turned_back", "landed_with_reserve", "ran_out"):
        assert set(crew[name]) == RATE
        assert crew[name]["of"] == flights
    assert set(crew["range_used"]) == set(crew["lowest_cell_v"]) == SPREAD


def test_a_small_campaign_gives_one_object_and_nothing_else() -> None:
    """The keys are those of what a campaign is to report; what they hold is the watch's affair."""
    done = run("--flights", "2", "--seed", "5", "--knowing", MEASURED, "--knowing", LEAST, "--json")
    assert done.returncode == 0, done.stderr
    assert "2 of 2 flights" in done.stderr
    assert done.stdout.count("\n") == 1
    found = json.loads(done.stdout)
    assert (found["flights"], found["seed"]) == (2, 5)
    assert 0.2 < found["hours"] < 3.0
    fit = 2 - sum(found["left_out"].values())
    drawn_kinds = {one.fault for one in (draw(shipped(), 5, number) for number in range(2)) if one.fault}
    assert set(found["levels"]) == {MEASURED, LEAST}
    early = found["ordinary_returns"]
    assert set(early) == {"flights", "false_warning", "false_caution", "by_rule"}
    assert early["false_warning"]["of"] == early["false_caution"]["of"] == early["flights"] <= fit
    for level in found["levels"].values():
        assert set(level) == {
            "faults", "false_warnings", "told_by_rule", "alerts_per_10_min", "calm", "chatter",
            "crews", "charge_error_pct", "at_caution", "at_last_good",
        }  # fmt: skip
        assert set(level["faults"]) == drawn_kinds
        for fault in level["faults"].values():
            assert {"injected", "detectable", "called", "late", "missed", "lead_s"} <= set(fault)
            assert set(fault["called"]) == RATE
            assert set(fault["lead_s"]) == SPREAD
            counted = fault["called"]["count"] + fault["late"] + fault["missed"]
            assert counted == fault["called"]["of"] == fault["detectable"] - fault["stood"] - fault["cut_short"]
        assert set(level["false_warnings"]) == {"count", "hours", "per_hour", "low", "high", "by_rule"}
        assert set(level["alerts_per_10_min"]) == {"count", "per_10_min", "low", "high"}
        assert level["chatter"] >= 0
        assert set(level["crews"]) == {"5 to 45 s", "10 s"}
        for crew in level["crews"].values():
            check_crew(crew, fit)
        assert set(level["charge_error_pct"]) == SPREAD
        assert level["charge_error_pct"]["of"] == 2
        for moment in ("at_caution", "at_last_good"):
            assert set(level[moment]) == {"bound_held", "error_pct"}
            assert set(level[moment]["bound_held"]) == RATE
    assert set(found["fixed_rules"]) == set(THUMBS)
    for rule in found["fixed_rules"].values():
        check_crew(rule, fit)
        assert rule["reaction_s"] == 10


def test_a_bad_file_ends_it_with_2_and_its_place(tmp_path: Path) -> None:
    path = written(tmp_path, ("wind_m_s: [0, 9]", "wind_m_s: [9, 0]"))
    done = run("--flights", "1", "--distributions", str(path), "--json")
    line = GOOD[: GOOD.index("wind_m_s")].count("\n") + 1
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"{path}:{line}:13: wind_m_s: 9 is above 0; write the lower end first: [0, 9]\n"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--flights", "0"], "at least one"),
        (["--flights", "x"], "invalid int"),
        (["--knowing", "x"], "invalid choice"),
        (["now"], "now"),
    ],
)
def test_bad_usage_ends_it_with_2(arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as raised:
        program.main(arguments)
    assert raised.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err


def test_a_watch_that_fails_ends_it_with_1_and_its_words(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def failing(*_: object, **__: object) -> None:
        raise RuntimeError("the watch ended with 3: no more")

    monkeypatch.setattr(program, "campaign", failing)
    assert program.main(["--flights", "1", "--json"]) == 1
    assert capsys.readouterr() == ("", "the watch ended with 3: no more\n")


def test_the_number_of_workers_changes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nor how many flights there are: not a bit of a flight; and they come in the order of their numbers."""
    distributions = read(written(tmp_path, *SHORT))
    alone = program.campaign(distributions, 1, 18, workers=1, levels=[FULL])
    together = program.campaign(distributions, 2, 18, workers=2, levels=[FULL])
    assert [one.number for one in together] == [0, 1]
    assert together[:1] == alone
    assert "2 of 2 flights" in capsys.readouterr().err
    assert all(one.flown.landed or one.flown.crashed for one in together)
    fit = [one for one in together if one.left_out is None]
    assert fit
    for one in fit:
        assert set(one.thumbs) == set(THUMBS)
        assert all(level.quick is not None and level.drawn_reaction is not None for level in one.levels.values())


def test_figures_are_shown_to_a_person(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(program, "campaign", lambda *_, **__: [])
    assert program.main(["--flights", "1", "--distributions", str(written(tmp_path))]) == 0
    out = capsys.readouterr().out
    assert out.startswith("0 flights, 0.0 h, seed 1\n")
    assert all(
        words in out for words in (FULL, MEASURED, LEAST, *THUMBS, "bound held none of 0", "ordinary returns: 0")
    )


def test_crews_take_their_time_by_the_flights_seed() -> None:
    """5 to 45 s, the same for the same flight."""
    distributions = shipped()
    times = [reaction_s(draw(distributions, 1, number)) for number in range(200)]
    least, most = REACTIONS_S
    assert all(least <= time_s <= most for time_s in times)
    assert min(times) < least + 2.0
    assert max(times) > most - 2.0
    assert reaction_s(drawn()) == reaction_s(drawn())
