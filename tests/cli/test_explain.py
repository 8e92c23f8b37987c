"""`rules explain`: words that a crew can read, and what a rule would have done on a recording."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.conftest import RequireData
from tests.recordings import replay, shipped
from watchkeeper.alerts.events import AlertChange
from watchkeeper.cli.explain import explanation
from watchkeeper.cli.main import main
from watchkeeper.rules.condition import Setting
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.phrase import comparisons_in_words, in_words
from watchkeeper.units import unit

SETTINGS = {"floor": Setting(unit("V"), 3.3), "fall": Setting(unit("dB/min"), 3.0)}


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("battery.cell_voltage < floor", "battery.cell_voltage is below 3.3 V (floor)"),
        ("battery.cell_voltage > floor + 50 mV", "battery.cell_voltage is above 3.35 V (floor + 50 mV)"),
        ("link.margin_trend < -fall", "link.margin_trend is below -3 dB/min (-fall)"),
        ("3.0 V <= battery.cell_voltage < floor",
         "3.0 V is at most battery.cell_voltage and battery.cell_voltage is below 3.3 V (floor)"),
        ("flight.phase == taking_off or flight.armed", "flight.phase is taking off, or flight.armed is true"),
        ("not flight.armed and not known(wind.speed)", "flight.armed is false and wind.speed is not known"),
        ("not (flight.armed or known(wind.speed))",
         "it is not so that (flight.armed is true, or wind.speed is known)"),
        ("flight.armed and (wind.speed > 5 m/s or wind.speed < 1 m/s)",
         "flight.armed is true and (wind.speed is above 5 m/s, or wind.speed is below 1 m/s)"),
        ("average(wind.speed, 10 s) > 36 km/h", "the average of wind.speed over 10 s is above 36 km/h"),
        ("slope(position.height, 12 s) < 0.3 m/s", "the slope of position.height over 12 s is below 0.3 m/s"),
        ("age(wind.speed) >= 5 s", "the time since wind.speed last came is at least 5 s"),
        ("lasting(wind.speed > 5 m/s, 20 s)", "wind.speed is above 5 m/s, for 20 s without a break"),
    ],
)  # fmt: skip
def test_conditions_in_words(condition: str, words: str) -> None:
    assert in_words(compile_condition(condition, SETTINGS)) == words


def test_every_comparison_of_every_shipped_rule_has_words() -> None:
    for rule in shipped().rules:
        said = comparisons_in_words(rule.when)
        assert len(said) == len(rule.when.comparisons)
        assert all(part in in_words(rule.when) for part in said)


def test_every_shipped_rule_is_explained_within_a_hundred_columns() -> None:
    rules = shipped()
    for own in rules.rules:
        lines = explanation(own, rules)
        flat = " ".join(" ".join(lines).split())
        assert max(len(line) for text in lines for line in text.splitlines()) <= 100
        for part in (own.why, own.say.text, *(name for name, _ in own.settings), own.level.value):
            assert " ".join(part.split()) in flat


def test_an_unknown_rule_is_refused_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "explain", "voltage-sagg"]) == 2
    assert capsys.readouterr().err == "no rule 'voltage-sagg'; did you mean 'voltage-sag'?\n"


@pytest.mark.parametrize("alert", ["sighted-people", "board-lost", "watch-observer"])
def test_alerts_that_no_rule_raises_are_one_line(alert: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "explain", alert]) == 0
    text = capsys.readouterr().out
    assert text.startswith(f"{alert}: no rule. What ")
    assert text.count("\n") == 1


def test_settings_of_the_sortie_are_used_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sortie = tmp_path / "sortie.yaml"
    sortie.write_text("sortie: test\nhome: [1.0, 2.0]\nsettings: {cell_floor: 3.4 V}\n", encoding="utf-8")
    assert main(["rules", "explain", "cell-low", "--sortie", str(sortie)]) == 0
    text = capsys.readouterr().out
    assert "battery.cell_voltage is below 3.4 V (cell_floor)" in text
    assert "cell_floor: 3.4 V, as the sortie file has it" in text


def test_a_rule_of_a_crew_with_every_key(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack = tmp_path / "mine.yaml"
    pack.write_text(
        """pack: mine
about: for tests
rules:
  - id: far
    level: caution
    when: position.home_distance > 500 m
    on_delay: 4 s
    latch: true
    trial: true
    escalate: {after: 90 s, to: warning}
    repeat: 45 s
    caused_by: [link-lost, position-lost]
    sterile: waits
    say: "Distance. Far. Turn back."
    why: common practice
    cases:
      - {given: {position.home_distance: 501 m}, expect: met}
      - {given: {position.home_distance: 499 m}, expect: not met}
""",
        encoding="utf-8",
    )
    assert main(["rules", "explain", "far", str(pack)]) == 0
    flat = " ".join(capsys.readouterr().out.split())
    for part in (
        "far: caution, on trial, of the pack mine",
        "That has to hold for 4 s",
        "It latches",
        "Unacknowledged for 90 s it becomes a warning",
        "Again every 45 s",
        "While link-lost or position-lost stands",
        "In a sterile phase it waits",
        "told to nobody",
    ):
        assert part in flat, part


def test_on_a_recording_it_shows_what_a_replay_decides(
    require_data: RequireData, capsys: pytest.CaptureFixture[str]
) -> None:
    path = require_data("flights/quad-radio-c.tlog")
    assert main(["rules", "explain", "link-trend", "--on", str(path)]) == 0
    text = capsys.readouterr().out
    shown = re.findall(r"^ *(\d+\.\d) s  (\w+)", text[text.index("\nON ") :], re.MULTILINE)
    _, happened = replay(path, shipped())
    own = [h for h in happened if isinstance(h, AlertChange) and h.rule == "link-trend"]
    assert shown == [(f"{h.elapsed_us / 1e6:.1f}", h.change.value) for h in own]
    assert len(own) >= 2


def test_on_a_recording_it_tells_how_near_it_came_and_when_it_was_blind(
    require_data: RequireData, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = require_data("flights/quad-radio-c.tlog")
    readings = tmp_path / "readings.csv"
    assert main(["replay", str(path), "--json", "--readings", str(readings)]) == 0
    capsys.readouterr()
    rows = [line.split(",") for line in readings.read_text(encoding="utf-8").splitlines()]
    column = rows[0].index("position.home_distance [m]")
    furthest_m = max(float(row[column]) for row in rows[1:] if row[column])
    pack = tmp_path / "mine.yaml"
    pack.write_text(
        """pack: mine
about: for tests
rules:
  - id: far
    level: caution
    when: position.home_distance > 50 km
    say: "Distance. Far. Turn back."
    why: common practice
    cases:
      - {given: {position.home_distance: 51 km}, expect: met}
      - {given: {position.home_distance: 49 km}, expect: not met}
""",
        encoding="utf-8",
    )
    assert main(["rules", "explain", "far", str(pack), "--on", str(path)]) == 0
    text = capsys.readouterr().out
    assert "It did nothing." in text
    found = re.search(r"home_distance is above 50 km: (\S+) m against 5e\+04 m at (\S+) s", text)
    assert found is not None, text
    # the table has a row a second; between two rows it flies no further than some 20 m
    assert furthest_m <= float(found[1]) + 0.05 * furthest_m
    assert float(found[1]) <= furthest_m + 20
    assert "for want of position.home_distance" in text
