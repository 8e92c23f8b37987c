"""Hostile files of flown scenarios: they are refused in one line, or can be flown."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.scenario import find, load
from tests.simulators.flown.test_flown_scenario_file import GOOD, told, written
from watchkeeper.errors import BadInputError


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "1:1: is empty; see the README for an example"),
        ("- weather\n", "1:1: is not a list of keys and values; see a shipped scenario"),
        ("weather\n", "1:1: is not a list of keys and values; see a shipped scenario"),
        (
            GOOD.replace("load: {mass_kg: 6}", "load: &a {mass_kg: 6}").replace("sky: {mask_deg: 12}", "sky: *a"),
            "13:6: not YAML: aliases (*name) are not allowed; write the value out; check indentation and quotes",
        ),
        (
            GOOD.replace("load: {mass_kg: 6}", "load: !!python/object/apply:os.system [true]"),
            "7:7: load: has to be keys and values; write it like {key: value}",
        ),
        (
            GOOD.replace("about: a", "about: !local a"),
            "2:8: tags (!name) are not allowed; write plain values",
        ),
        (GOOD.replace("load:", "system: 144\nload:"), "7:1: 'system' is given twice; keep one"),
        (GOOD.replace("{mass_kg: 6}", "{<<: {mass_kg: 6}}"), None),
        (GOOD.replace("{mass_kg: 6}", "{[1]: 6}"), "7:8: a key must be a word; use plain keys"),
        (GOOD.replace("{mass_kg: 6}", "{mass_kg: .nan}"), "7:17: mass_kg: has to be a valid number; correct it"),
        (GOOD.replace("{mass_kg: 6}", "{mass_kg: 0x10}"), "7:17: mass_kg: has to be a valid number; correct it"),
        (
            GOOD.replace("a pack comes loose", '"\\e[2J\\u202e"'),
            "22:12: fault: holds characters that cannot be shown; take them out",
        ),
        (
            GOOD.replace("a short flight", '"\\x9b2J"'),
            "2:8: about: holds characters that cannot be shown; take them out",
        ),
        (
            GOOD.replace("load:", '"\\e]0;x\\a":'),
            "7:1: unknown key '\N{REPLACEMENT CHARACTER}]0;x\N{REPLACEMENT CHARACTER}'; take it out",
        ),
        (GOOD.replace("load:", f"{'load' * 200}:"), f"7:1: unknown key '{'load' * 10}'; take it out"),
    ],
)
def test_hostile_texts_are_refused(tmp_path: Path, text: str, says: str | None) -> None:
    said = told(tmp_path, text)
    if says is not None:
        assert said == [f"flight.yaml:{says}"]
    for line in said:
        assert line.isprintable()
        assert len(line) < 300


def test_hostile_bytes_and_depths_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "flight.yaml"
    for data in (b"\xff\xfe\x00", GOOD.encode("utf-16")):
        path.write_bytes(data)
        with pytest.raises(BadInputError, match="cannot read the scenario; name a YAML file in UTF-8"):
            load(path)
    for text in ("a: " + "[" * 100_000, "a: " + "{b: " * 50 + "1" + "}" * 50, GOOD + "\0", "#" * 1_000_001):
        assert len(told(tmp_path, text)) == 1
    for name in ("x" * 300, "a\0b", str(tmp_path)):
        with pytest.raises(BadInputError, match="no scenario"):
            find(name)


HOSTILE = (
    "", "~", "0", "-1", "1e308", "1e999", "-0.0", ".nan", "true", "x", '""', "[]", "{}", "[[]]", "{a: 1}",
    "[1, 2]", "99999999999999999999999", "'\\0'", '"\\0"', "2026-05-12", "position_hold", "7200", "0.0001",
)  # fmt: skip


def spans(node: yaml.Node) -> Iterator[tuple[int, int]]:
    """Yield where each value of a text begins and ends."""
    yield node.start_mark.index, node.end_mark.index
    if isinstance(node, yaml.MappingNode):
        for _, value in node.value:
            yield from spans(value)
    elif isinstance(node, yaml.SequenceNode):
        for value in node.value:
            yield from spans(value)


def test_whatever_a_file_says_it_is_refused_or_can_be_flown(tmp_path: Path) -> None:
    """Each value, list and set of keys in turn is something else."""
    root = yaml.compose(GOOD, Loader=yaml.SafeLoader)
    assert root is not None
    spots = list(spans(root))
    assert len(spots) > 70
    dice = random.Random(8)
    flown = 0
    for start, end in spots:
        for value in dice.sample(HOSTILE, 6):
            path = written(tmp_path, GOOD[:start] + value + GOOD[end:])
            try:
                scenario = load(path)
            except BadInputError:
                continue
            assert isinstance(scenario, FlownScenario)
            drill = FlownDrill(scenario)
            for event in scenario.written.events():
                event.do.carry_out(drill.flight, drill.around)
                drill.step()
            flown += 1
    assert flown > 10
