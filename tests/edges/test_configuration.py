"""Configuration: option over file over default; every fault with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from watchkeeper.edges.configuration import read_configuration, settle
from watchkeeper.errors import BadInputError

EVERYTHING = """
from = ["udp://0.0.0.0:14570", "udp://127.0.0.1:14600"]
aircraft = "heavy.yaml"
sortie = "today/sortie.yaml"
rules = ["mine.yaml", "/etc/rules"]
only-rules = true
station = "ridge"
mqtt = "mqtt://broker:1883"
record = "flights"
learned = "state"
outbox = "waiting"
mute = true
quiet = false

[voice]
language = "en-gb"
rate_wpm = 160
volume = 0.8
role = "observer"
numbers = "plain"
device = "Headset"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "watch.toml"
    path.write_text(text)
    return path


def test_every_option_can_stand_in_the_file_and_its_paths_count_from_there(tmp_path: Path) -> None:
    options = settle({}, read_configuration(written(tmp_path, EVERYTHING)))
    assert options.sources == ["udp://0.0.0.0:14570", "udp://127.0.0.1:14600"]
    assert options.aircraft == [tmp_path / "heavy.yaml"]
    assert options.sortie == tmp_path / "today" / "sortie.yaml"
    assert options.rules == [tmp_path / "mine.yaml", Path("/etc/rules")]
    assert options.record == tmp_path / "flights"
    assert options.learned == tmp_path / "state"
    assert options.outbox == tmp_path / "waiting"
    assert (options.only_rules, options.station, options.mqtt) == (True, "ridge", "mqtt://broker:1883")
    assert (options.mute, options.quiet) == (True, False)
    assert (options.voice.role, settle({}, {}).voice.role) == ("observer", "pilot")
    assert (options.voice.language, options.voice.rate_wpm, options.voice.volume) == ("en-gb", 160, 0.8)
    assert (options.voice.numbers, options.voice.device) == ("plain", "Headset")


def test_defaults() -> None:
    options = settle({}, {})
    assert options.sources == ["udp://127.0.0.1:14570"]  # loopback unless told otherwise
    assert options.mqtt is None
    assert not options.mute


def test_an_option_wins_over_the_file_and_one_not_given_does_not(tmp_path: Path) -> None:
    file = read_configuration(written(tmp_path, EVERYTHING))
    given = {"station": "valley", "mute": False, "sources": [], "sortie": None, "rules": [Path("here.yaml")]}
    options = settle(given, file)
    assert options.station == "valley"
    assert options.mute
    assert len(options.sources) == 2
    assert options.sortie == tmp_path / "today" / "sortie.yaml"
    assert options.rules == [Path("here.yaml")]  # counts from where the command was given


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("\nstaton = 'x'\n", ["2:1: unknown key 'staton'; did you mean 'station'?"]),
        ("mute = true\n\n[voice]\nrate = 3\n", ["4:1: unknown key 'voice.rate'; did you mean 'rate_wpm'?"]),
        (
            "voice.rate_wpm = 9000\n",
            ["1:1: 'voice.rate_wpm': input should be less than or equal to 300; correct it"],
        ),
        ("voice = {volume = 2}\n", ["1:1: 'voice.volume': input should be less than or equal to 1; correct it"]),
        ("sources = 'udp://127.0.0.1:1'\n", ["1:1: unknown key 'sources'; "]),
        ("station = 'a/b'\n", ["1:1: 'station': "]),
        ("mute = true\nmute = false\n", ["2:13: not TOML: Cannot overwrite a value; "]),
        ("mute =\n", ["1:7: not TOML: Invalid value; "]),
        ("mute = 'oops", ["1:1: not TOML: "]),
        ("a = 1\n  bee = 2\n", ["1:1: unknown key 'a'; ", "2:3: unknown key 'bee'; "]),
        ("x = " + "[" * 3000, [": nested too deeply"]),
    ],
)
def test_every_fault_has_its_line(tmp_path: Path, text: str, faults: list[str]) -> None:
    path = written(tmp_path, text)
    with pytest.raises(BadInputError) as caught:
        read_configuration(path)
    assert len(caught.value.faults) == len(faults)
    for fault, expected in zip(caught.value.faults, faults, strict=True):
        assert str(fault).removeprefix(f"{path}:").lstrip().startswith(expected.lstrip(": "))
        assert "\n" not in str(fault)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="no such configuration file; check the name"):
        read_configuration(tmp_path / "absent.toml")
    with pytest.raises(BadInputError, match="cannot read configuration: Is a directory"):
        read_configuration(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b"station = '\xe9'\n")
    with pytest.raises(BadInputError, match="not UTF-8"):
        read_configuration(tmp_path / "latin.toml")
    with pytest.raises(BadInputError, match="larger than"):
        read_configuration(written(tmp_path, "#" * 1_000_001))


def test_an_option_out_of_range_is_said_by_its_name() -> None:
    with pytest.raises(BadInputError) as caught:
        settle({"station": "a/#"}, {})
    assert str(caught.value).startswith("--station: ")
