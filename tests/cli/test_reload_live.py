"""Other rules for a watch that runs: by signal, and where there is none, when the files have changed."""

from __future__ import annotations

import asyncio
import json
import signal
from pathlib import Path

import pytest

from tests.cli.test_watch import running
from watchkeeper import daemon
from watchkeeper.cli.inputs import pack_files
from watchkeeper.cli.main import main
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.pack_files import MAX_BYTES
from watchkeeper.engine import Engine
from watchkeeper.errors import BadInputError
from watchkeeper.rules.load import RuleSet

PACK = """pack: mine
about: for tests
rules:
  - id: fix-gone
    level: {level}
    when: satellites.fix == no_fix
    say: "Fix. Gone. Fly by hand."
    why: common practice
    cases:
      - {{given: {{satellites.fix: no_fix}}, expect: met}}
      - {{given: {{satellites.fix: fix_3d}}, expect: not met}}
"""


def test_on_the_signal_a_watch_takes_new_rules_and_its_record_replays_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack, record = tmp_path / "mine.yaml", tmp_path / "record"
    pack.write_text(PACK.format(level="advisory"), encoding="utf-8")
    with running(tmp_path, "--rules", str(pack), "--only-rules", "--record", str(record)) as watch:
        watch.plane.fix = 1
        watch.fly(watch.saw("ADVISORY  aircraft 7    Advisory. Fix. Gone."))
        pack.write_text(PACK.format(level="cation"), encoding="utf-8")
        watch.process.send_signal(signal.SIGHUP)
        said: list[str] = []
        while not said or "mine.yaml:5:12: unknown word 'cation'" not in said[-1]:
            said.append(watch.line(""))
        assert any("Advisory. Watch. New rules refused. The old ones stay." in line for line in said)
        pack.write_text(PACK.format(level="caution"), encoding="utf-8")
        watch.process.send_signal(signal.SIGHUP)
        watch.fly(watch.saw("CAUTION   aircraft 7    Caution. Fix. Gone."))
        pack.unlink()
        watch.process.send_signal(signal.SIGHUP)
        watch.fly(watch.saw("Watch. Rule packs cannot be read. The old rules stay."))
        watch.process.send_signal(signal.SIGINT)
        assert watch.process.wait(5) == 0
    assert (
        main(["replay", str(record), "--only-rules", "--rules", str(record / "crew" / "rules-1.yaml"), "--json"])
        == 0
    )
    own_rules = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {line["level"] for line in own_rules if line["rule"] == "fix-gone"} == {
        "advisory"
    }  # tried on it: no reload
    assert main(["replay", str(record), "--json"]) == 0
    replayed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    decided = [json.loads(line) for line in (record / "decisions.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [line["level"] for line in decided if line["rule"] == "fix-gone" and line["change"] == "raised"] == [
        "advisory",
        "caution",
    ]
    after = [line for line in replayed if line["rule"] == "fix-gone" and line["level"] == "caution"]
    live = [line for line in decided if line["rule"] == "fix-gone" and line["level"] == "caution"]
    assert [(line["elapsed_s"], line["change"]) for line in after] == [
        (line["elapsed_s"], line["change"]) for line in live
    ]


async def test_where_there_is_no_signal_a_changed_file_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack = tmp_path / "mine.yaml"
    pack.write_text(PACK.format(level="advisory"), encoding="utf-8")
    monkeypatch.setattr(daemon, "LOOK_EVERY_S", 0.005)
    watch = daemon.Watch(Engine(RuleSet(())), Clock(), tell=lambda _: None)
    asked = asyncio.Event()
    monkeypatch.setattr(watch, "reload", asked.set)
    following = asyncio.create_task(watch._follow(pack_files([pack], only=True)))
    try:
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(asked.wait(), 0.1)  # nothing has changed
        pack.write_text(PACK.format(level="caution"), encoding="utf-8")
        await asyncio.wait_for(asked.wait(), 20)
    finally:
        following.cancel()


def test_more_than_a_recording_holds_is_refused(tmp_path: Path) -> None:
    for n in range(3):
        (tmp_path / f"{n}.yaml").write_text("#" * (MAX_BYTES // 2), encoding="utf-8")
    with pytest.raises(BadInputError, match="more than 2000000 characters"):
        pack_files([tmp_path], only=True).read()
