"""`watchkeeper brief` as a crew calls it: files in, card, page or JSON out; faults with their place."""

from __future__ import annotations

import json
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import pytest

from simulators.onboard.parameters import parameters
from tests.conftest import ROOT
from watchkeeper.cli.main import main

AIRCRAFT = ROOT / "simulators/scenarios/crew/load-carrier.yaml"
SORTIE = """\
sortie: beyond the ridge
aircraft: load-carrier.yaml
home: [1.25, -31.5]
payload: {mass: 6 kg}
reserve: 20 %
ceiling: 120 m
obstacles: [{name: ridge, at: [1.252351, -31.499820], height: 55 m, radius: 60 m}]
landing_places: [{name: meadow, at: [1.255, -31.4975], height: 5 m}]
plan: [{at: [1.253798, -31.498922], height: 80 m, stay: 60 s}]
weather: {wind: 7 m/s from 250 deg, gusts: 11 m/s, temperature: 8 degC}
radio: {kind: sik, frequency: 915 MHz, control: another, budget: 137 dB}
checklist: [rotor latches, pack connectors]
"""


@pytest.fixture
def crew(tmp_path: Path) -> Path:
    shutil.copy(AIRCRAFT, tmp_path / "load-carrier.yaml")
    (tmp_path / "today.yaml").write_text(SORTIE, encoding="utf-8")
    return tmp_path


def brief(*words: str | Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    status = main(["brief", *map(str, words)])
    shown = capsys.readouterr()
    return status, shown.out, shown.err


def own_list(**changed: float) -> str:
    """Return the simulated aircraft's own parameters as a text of names and numbers."""
    names = {one.name: one.value for one in parameters().definitions}
    names |= {name.replace("__", "."): value for name, value in changed.items()}
    return "".join(f"{name} {value:g}\n" for name, value in names.items())


def test_card(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = brief(crew / "today.yaml", capsys=capsys)
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 100
    assert "The crew decides" in out
    assert "not certified" in " ".join(out.split())
    assert "ridge (55 m)" in out  # what binds the return height
    assert "\x1b" not in out


def test_json_alone_on_standard_output(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = brief(crew / "today.yaml", "--json", capsys=capsys)
    assert (status, err) == (0, "")
    told = json.loads(out)
    # by hand: 55 m, and the larger of 15 % of it and 10 m
    assert told["height"]["required_m"] == 65.0
    assert told["battery"]["threshold"]["place"] == "point 1"


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [v for k, v in attrs if v and k in {"src", "href", "action", "poster", "data", "srcset"}]
        if tag in {"script", "link", "iframe", "object", "embed", "base"}:
            self.found.append(tag)


def test_page_asks_for_nothing_outside(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = crew / "today.html"
    assert brief(crew / "today.yaml", "--html", out, capsys=capsys)[0] == 0
    text = out.read_text(encoding="utf-8")
    links = _Links()
    links.feed(text)
    assert [one for one in links.found if not one.startswith("#")] == []
    assert not re.search(r"url\(\s*['\"]?(?!#)", text)
    assert "@import" not in text


def test_parameters_are_compared(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (crew / "has.txt").write_text(own_list(), encoding="utf-8")
    status, out, _ = brief(crew / "today.yaml", "--parameters", crew / "has.txt", "--json", capsys=capsys)
    assert status == 0
    rows = {row["name"]: row for row in json.loads(out)["settings"]["rows"]}
    # 40 m set, 65 m asked: the ridge stands in the way
    assert rows["return height"]["verdict"] == "differs"
    assert any("return.height_m: 40 ->" in one for one in rows["return height"]["changes"])


def test_baseline(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (crew / "has.txt").write_text(own_list(), encoding="utf-8")
    (crew / "ought.txt").write_text(own_list(fly__tilt_deg=25.0), encoding="utf-8")
    words = ("--parameters", crew / "has.txt", "--baseline", crew / "ought.txt", "--json")
    status, out, _ = brief(crew / "today.yaml", *words, capsys=capsys)
    assert status == 0
    found = json.loads(out)["settings"]["differences"]
    assert [(one["name"], one["here"], one["baseline"]) for one in found] == [("fly.tilt_deg", "30", "25")]


def test_baseline_alone_compares_with_nothing(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (crew / "ought.txt").write_text(own_list(), encoding="utf-8")
    status, out, err = brief(crew / "today.yaml", "--baseline", crew / "ought.txt", capsys=capsys)
    assert (status, out) == (2, "")
    assert "--parameters" in err


@pytest.mark.parametrize(
    ("line", "wrong", "place", "help_"),
    [
        ("payload: {mass: 6 kg}", "payload: {mass: 6 m}", ":4:", "give it in kg"),
        ("ceiling: 120 m", "cieling: 120 m", ":6:1", "did you mean 'ceiling'?"),
        ("home: [1.25, -31.5]", "home: [91, 0]", ":3:", "latitude"),
        ("reserve: 20 %", "start: tomorrow", ":5:", "2026-"),
        ("reserve: 20 %", "clearance: {share: 5 %}", ":5:", "at least 10 %"),
    ],
)
def test_faults_name_file_line_key_and_help(
    crew: Path, line: str, wrong: str, place: str, help_: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = crew / "today.yaml"
    file.write_text(SORTIE.replace(line, wrong), encoding="utf-8")
    status, out, err = brief(file, capsys=capsys)
    assert (status, out) == (2, "")
    assert err.startswith(f"{file}{place}")
    assert help_ in err
    assert len(err.splitlines()) == 1


def test_almost_nothing_is_known(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (crew / "bare.yaml").write_text("sortie: to the hut\n", encoding="utf-8")
    status, out, _ = brief(crew / "bare.yaml", capsys=capsys)
    assert status == 0
    assert "no home" in out
    assert "Nothing is worked out of energy: no aircraft file is named" in " ".join(out.split())


def test_ledger_is_begun_and_a_slip_in_a_label_refused(crew: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = crew / "today.yaml"
    file.write_text(SORTIE + "ledger: packs.yaml\nfitted: [A1, A2]\n", encoding="utf-8")
    status, _, err = brief(file, capsys=capsys)
    assert status == 0
    assert "begun, with the packs A1, A2" in err
    assert (crew / "packs.yaml").exists()
    file.write_text(SORTIE + "ledger: packs.yaml\nfitted: [A1, A3]\n", encoding="utf-8")
    status, _, err = brief(file, capsys=capsys)
    assert status == 2
    assert "pack 'A3' is not in the ledger" in err


def test_readme_sortie_is_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The full sortie and aircraft files of the README, as they stand there."""
    blocks = re.findall(r"```yaml\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    sortie = next(one for one in blocks if one.startswith("# today.yaml, in full"))
    aircraft = next(one for one in blocks if one.startswith("# heavy.yaml, in full"))
    (tmp_path / "today.yaml").write_text(sortie, encoding="utf-8")
    (tmp_path / "heavy.yaml").write_text(aircraft, encoding="utf-8")
    status, out, _ = brief(tmp_path / "today.yaml", "--json", capsys=capsys)
    assert status == 0
    assert json.loads(out)["battery"]["threshold"]["place"] == "point 1"
