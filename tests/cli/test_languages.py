"""The language of a watch: chosen in the configuration, kept with the recording, checked beside rule packs."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.test_engine import T0, Plane
from watchkeeper.cli.languages import load_language, voice_of
from watchkeeper.cli.main import main
from watchkeeper.edges.configuration import Voice, read_configuration, settle
from watchkeeper.errors import BadInputError
from watchkeeper.resources import shipped_languages
from watchkeeper.rules.load import RuleSet

NOBODY = RuleSet(())
GERMAN = shipped_languages()["de"]


def written(folder: Path, text: str) -> Path:
    path = folder / "watch.toml"
    path.write_text(text)
    return path


def test_a_shipped_language_by_name_or_a_file_beside_the_configuration(tmp_path: Path) -> None:
    assert settle({}, {}).language == "en"
    assert settle({}, read_configuration(written(tmp_path, 'language = "de"'))).language == "de"
    own = settle({}, read_configuration(written(tmp_path, 'language = "ours.yaml"'))).language
    assert own == str(tmp_path / "ours.yaml")
    with pytest.raises(BadInputError) as caught:
        read_configuration(written(tmp_path, 'mute = true\nlanguage = "xx"'))
    fault = caught.value.faults[0]
    assert (fault.line, fault.column) == (2, 1)
    assert fault.what == "'language': is none of en, de, nor a .yaml file"


def test_the_voice_follows_unless_the_crew_has_chosen_one() -> None:
    german = load_language("de", NOBODY)
    assert voice_of(Voice(rate_wpm=160), german) == Voice(rate_wpm=160, language="de")
    assert voice_of(Voice(language="de-at"), german).language == "de-at"
    assert voice_of(Voice(), load_language("en", NOBODY)).language == "en-us"


def test_a_file_of_the_crew_is_held_against_the_shipped_rules(tmp_path: Path) -> None:
    path = tmp_path / "ours.yaml"
    path.write_text(GERMAN.read_text())
    assert load_language(str(path), NOBODY).phrases == load_language("de", NOBODY).phrases
    path.write_text(GERMAN.read_text().replace('"Link. Back."', '"Link. Bock."'))
    with pytest.raises(BadInputError) as caught:
        load_language(str(path), NOBODY)
    assert "did you mean 'Link. Back.'?" in str(caught.value.faults[0])
    with pytest.raises(BadInputError):
        load_language(str(tmp_path / "none.yaml"), NOBODY)


def test_rules_check_takes_language_files_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "ours.yaml"
    path.write_text(GERMAN.read_text())
    assert main(["rules", "check", str(path)]) == 0
    assert "and 1 language file: nothing at fault" in capsys.readouterr().out
    path.write_text(GERMAN.read_text().replace("Sofort umkehren.", "Sofort nach Hause fliegen."))
    assert main(["rules", "check", str(path)]) == 1
    told = capsys.readouterr().err
    assert "return-now: says 'nach hause'" in told
    assert f"{path}:" in told


def recording(folder: Path) -> Path:
    """Write a telemetry log of three seconds."""
    path = folder / "flight.tlog"
    with path.open("wb") as file:
        plane = Plane(7)
        for quarter in range(12):
            file.write(round((T0 + quarter / 4) * 1e6).to_bytes(8, "big"))
            file.write(plane.frames(quarter / 4))
    return path


def test_a_watch_in_german_and_its_replay(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A real watch over a played recording, ended by TERM; the folder is then replayed."""
    log = recording(tmp_path)
    text = f'language = "de"\nfrom = "{log.as_uri()}"\nrecord = "kept"\nmute = true\n'
    config = written(tmp_path, text)
    command = [sys.executable, "-m", "watchkeeper.cli.main", "watch", "--config", str(config)]
    watch = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    said: list[str] = []
    try:
        assert watch.stdout is not None
        for line in watch.stdout:
            said.append(line.rstrip("\n"))
            if "Aufzeichnung ist zu Ende" in line:
                break
        watch.send_signal(signal.SIGTERM)
        _, problems = watch.communicate(timeout=60)
    finally:
        watch.kill()
    assert watch.returncode == 0, problems
    assert said[-1][12:] == "HINWEIS   Wache         Hinweis. Wache. Aufzeichnung ist zu Ende."
    folder = tmp_path / "kept"
    assert (folder / "crew" / "language.yaml").read_text() == GERMAN.read_text()
    lines = [json.loads(line) for line in (folder / "decisions.jsonl").read_text().splitlines()]
    live = [line["callout"] for line in lines if line.get("change")]
    capsys.readouterr()
    assert main(["replay", str(folder), "--json"]) == 0
    printed = capsys.readouterr()
    replayed = [json.loads(line)["callout"] for line in printed.out.splitlines()]
    assert replayed == live
    assert "Hinweis. Wache. Aufzeichnung ist zu Ende." in replayed
    assert "with the language kept in the recording: Deutsch" in printed.err
    # one of another version: told, and used as far as it goes
    kept = folder / "crew" / "language.yaml"
    kept.write_text(GERMAN.read_text().replace('  "pilot": "Pilot"\n', ""))
    assert main(["replay", str(folder), "--json"]) == 0
    printed = capsys.readouterr()
    assert "'pilot' has no translation" in printed.err
    assert [json.loads(line)["callout"] for line in printed.out.splitlines()] == live
    kept.write_text("no: [yaml")
    assert main(["replay", str(folder), "--json"]) == 0
    assert "Advisory. Watch. Recording has ended." in capsys.readouterr().out
