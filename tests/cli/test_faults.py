"""Bad input gets one clear line on standard error and the right status."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT
from watchkeeper.cli.main import main

PACK = """pack: mine
about: for a test
rules:
  - id: mine
    level: caution
    when: {when}
    say: "Wind. High. Land."
    why: common practice
    cases:
      - {{given: {{wind.speed: 20 m/s}}, expect: [[0, raised]]}}
      - {{given: {{wind.speed: 1 m/s}}, expect: not met}}
"""


def status(*arguments: str) -> int:
    try:
        return main(arguments)
    except SystemExit as left:
        return int(left.code or 0)


def one_line(capsys: pytest.CaptureFixture[str]) -> str:
    captured = capsys.readouterr()
    assert captured.out == ""
    lines = captured.err.splitlines()
    assert len(lines) == 1, captured.err
    return lines[0]


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    return tmp_path / "mine.yaml"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("replay", "nowhere.tlog"), ("nowhere.tlog", "no such recording", "name a")),
        (("drill", "four-fault"), ("no scenario 'four-fault'", "did you mean 'four-faults'")),
        (("drill", "--speed", "-1"), ("no speed",)),
        (("replay", "x", "--until", "soon"), ("no time",)),
        (("watch", "--form", "udp://127.0.0.1:1"), ("--form", "did you mean '--from'")),
        (("wach",), ("invalid choice: 'wach'",)),
        (("watch", "--from", "http://127.0.0.1"), ("unknown kind 'http'",)),
        (("watch", "--mqtt", "http://broker"), ("mqtt://",)),
        (("watch", "--rules", "gone.yaml"), ("gone.yaml", "no such rule pack")),
        (("watch", "--aircraft", "gone.yaml"), ("gone.yaml", "no such aircraft file")),
        (("watch", "--config", "gone.toml"), ("gone.toml", "no such configuration file")),
        (("watch", "--only-rules"), ("--only-rules without --rules",)),
        (("rules", "list", "gone.yaml"), ("gone.yaml",)),
    ],
)
def test_bad_usage_is_one_line_and_status_two(
    arguments: tuple[str, ...], said: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(*arguments) == 2
    line = one_line(capsys)
    for part in said:
        assert part in line


@pytest.mark.parametrize(
    ("when", "column", "said"),
    [
        ("battery.sag > 5 m", 23, "V compared with m"),
        ("wind.sped > 5 m/s", 11, "did you mean 'wind.speed'"),
        ("wind.speed > 5 mph", 26, "unknown unit 'mph'"),
        ("flight.phase == flying", 27, "no word of flight.phase"),
    ],
)
def test_a_condition_at_fault_is_named_to_the_column(
    when: str, column: int, said: str, pack: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack.write_text(PACK.format(when=when), encoding="utf-8")
    assert status("drill", "calm", "--speed", "max", "--rules", str(pack)) == 2
    line = one_line(capsys)
    assert line.startswith(f"{pack}:6:{column}: ")
    assert said in line


def test_a_resting_voltage_that_no_cell_shows_is_a_slip(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "heavy.yaml"
    file.write_text("packs: {cells: 12, capacity: 22 Ah,\n  charged: [4.1 Ah from 3.98 V, 13.2 Ah from 3.30 V]}\n")
    assert status("watch", "--aircraft", str(file)) == 2
    line = one_line(capsys)
    assert line.startswith(f"{file}:2:33: no lipo cell rests at 3.3 V, 13.2 Ah below full; ")
    assert "Ah of one pack charged full" in line


def test_an_unknown_key_is_named_with_the_nearest(pack: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack.write_text(PACK.format(when="wind.speed > 5 m/s").replace("    why:", "    whi:"), encoding="utf-8")
    assert status("watch", "--rules", str(pack)) == 2
    assert "did you mean 'why'" in one_line(capsys)


def test_an_alias_bomb_is_refused(pack: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack.write_text("a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n", encoding="utf-8")
    assert status("watch", "--rules", str(pack)) == 2
    assert "aliases" in one_line(capsys)


def test_an_id_that_exists_is_a_fault_unless_it_replaces(pack: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = PACK.format(when="wind.speed > 5 m/s").replace("id: mine", "id: link-lost")
    pack.write_text(text, encoding="utf-8")
    assert status("drill", "calm", "--speed", "max", "--rules", str(pack)) == 2
    assert "replaces" in one_line(capsys)
    pack.write_text(text.replace("level: caution", "replaces: link-lost\n    level: caution"), encoding="utf-8")
    assert status("drill", "calm", "--speed", "max", "--rules", str(pack)) == 0


def test_a_port_in_use_is_one_line(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        assert status("watch", "--mute", "--from", f"udp://127.0.0.1:{taken.getsockname()[1]}") == 2
    said = capfd.readouterr().err.splitlines()
    assert len(said) == 1
    assert "the port is in use" in said[0]


def test_rules_check_tells_every_fault_with_a_caret(pack: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack.write_text(
        PACK.format(when="wind.sped > 5 m/s").replace('"Wind. High. Land."', '"Wind {wind.sped}"'),
        encoding="utf-8",
    )
    assert status("rules", "check", str(pack)) == 1
    said = capsys.readouterr().err
    assert said.count("did you mean 'wind.speed'") == 2
    assert "\n              when: wind.sped > 5 m/s".strip() in said
    assert "^" in said


def test_rules_test_fails_a_case_that_does_not_hold(pack: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack.write_text(PACK.format(when="wind.speed > 30 m/s"), encoding="utf-8")
    assert status("rules", "test", "--only-rules", str(pack)) == 1
    captured = capsys.readouterr()
    assert "mine, case 1: expected raised at 0 s, nothing came" in captured.err
    assert "1 failed" in captured.out


@pytest.mark.parametrize("silence", ["1e300 s", "-4 s", "0 s", "100 s"])
def test_a_setting_that_would_switch_a_rule_off_is_refused(
    silence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sortie = tmp_path / "sortie.yaml"
    sortie.write_text(f"settings: {{silence: {silence}}}\n", encoding="utf-8")
    assert status("watch", "--sortie", str(sortie)) == 2
    line = one_line(capsys)
    assert "silence" in line
    assert "far from the pack's own '4 s'" in line


def test_a_full_output_is_one_line() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full on this system")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "watchkeeper.cli.main", "rules", "list"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.startswith("cannot write output")
    assert len(done.stderr.splitlines()) == 1
