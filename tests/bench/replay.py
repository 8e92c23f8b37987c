"""How fast whole recordings are replayed, beside a bare pymavlink loop over the same file in the same run.

    python tests/bench/replay.py [RECORDING]... [--rounds N]

A replay is everything: recording, frames, aircraft, estimates, the shipped rules on their grid, decisions as
lines. Prints messages a second, the ratio, and how many seconds of flight a second. The best of the rounds counts.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # run as a script from anywhere

from tests.bench.decode import bare, best_rate, options_of
from watchkeeper.cli.inputs import load_rules
from watchkeeper.cli.replay import play
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.edges.records.jsonlines import decision_line
from watchkeeper.engine import Engine

RULES = load_rules([])
_elapsed_s: dict[Path, float] = {}
_counts: dict[Path, int] = {}


def replay(path: Path) -> int:
    """Replay one recording; return how many events it held."""
    engine = Engine(RULES)
    recording = open_recording(path)
    for happenings in play(engine, recording):
        for happening in happenings:
            decision_line(happening, exercise=True)
    _elapsed_s[path] = engine.elapsed_s
    return _counts[path]


def main() -> int:
    """Time each recording."""
    paths, rounds = options_of("Replay against a bare pymavlink loop.")
    for path in paths:
        print(path.name)
        theirs, base = best_rate(bare, path, rounds)
        print(f"  pymavlink  {theirs:8d} messages {base:11,.0f} /s")
        _counts[path] = sum(1 for _ in open_recording(path).events())
        count, rate = best_rate(replay, path, rounds)
        flight_s = _elapsed_s[path] * rate / count
        pace = f"{rate / base:5.1f} times; {flight_s:,.0f} s a second"
        print(f"  replay     {count:8d} messages {rate:11,.0f} /s  {pace}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
