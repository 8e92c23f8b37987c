"""How fast recordings are decoded, beside a bare pymavlink loop over the same file in the same run.

    python tests/bench/decode.py [RECORDING]... [--rounds N]

Prints messages a second and the ratio for (a) pymavlink's `recv_match` loop, which does nothing with what it gets;
(b) the link: recording, framing, checksum, loss, and the values of the usual messages; (c) the same folded into
aircraft. The best of the rounds counts: other work on the machine only ever slows a round down.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("MAVLINK20", "1")  # mavutil reads it as it is imported

from pymavlink import mavutil

from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.link.decode import unpack
from watchkeeper.link.framing import Framer
from watchkeeper.link.recording import RecordingReader
from watchkeeper.link.sequence import SequenceTracker
from watchkeeper.link.tables import by_name

FOLDER = Path(os.environ.get("WATCHKEEPER_DATA", Path(__file__).resolve().parents[3] / "shared" / "data"))
USUAL = frozenset(
    by_name(name).id
    for name in (
        "HEARTBEAT", "SYS_STATUS", "GPS_RAW_INT", "ATTITUDE", "GLOBAL_POSITION_INT", "MISSION_CURRENT",
        "VFR_HUD", "RADIO_STATUS", "BATTERY_STATUS", "HOME_POSITION", "EXTENDED_SYS_STATE", "STATUSTEXT",
        "PARAM_VALUE", "WIND",
    )
)  # fmt: skip
CHUNK = 1 << 16


def bare(path: Path) -> int:
    """Return how many messages pymavlink gives."""
    log = mavutil.mavlink_connection(str(path), dialect="all")
    count = 0
    while log.recv_match() is not None:
        count += 1
    log.close()
    return count


def link(path: Path) -> int:
    """Return how many frames the link gives, the usual ones decoded."""
    reader, framer = RecordingReader(), Framer()
    feed, usual = framer.feed, USUAL
    trackers: dict[int, SequenceTracker] = {}
    count = 0
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            for _, raw in reader.feed(chunk):
                for system, component, sequence, message, payload, _, status in feed(raw):
                    count += 1
                    key = system << 8 | component
                    tracker = trackers.get(key)
                    if tracker is None:
                        tracker = trackers[key] = SequenceTracker()
                    tracker.receive(sequence)
                    if not status and message in usual:
                        unpack(message, payload)
    return count


def aircraft(path: Path) -> int:
    """Return how many frames were folded into aircraft."""
    reader, framer = RecordingReader(), Framer()
    feed = framer.feed
    receive = Fleet().receive
    count = 0
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            for time_us, raw in reader.feed(chunk):
                for frame in feed(raw):
                    count += 1
                    receive("bench", frame, time_us)
    return count


def best_rate(decode: Callable[[Path], int], path: Path, rounds: int) -> tuple[int, float]:
    """Return the count and the best rate a second."""
    best_s = float("inf")
    count = 0
    for _ in range(rounds):
        begin_s = time.perf_counter()
        count = decode(path)
        best_s = min(best_s, time.perf_counter() - begin_s)
    return count, count / best_s


def options_of(description: str) -> tuple[list[Path], int]:
    """Return the recordings named (else the shared ones) and the rounds. SystemExit without any."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("recordings", nargs="*", type=Path, help="telemetry logs (default: the shared recordings)")
    parser.add_argument("--rounds", type=int, default=5, help="the best of so many counts (default: 5)")
    options = parser.parse_args()
    paths = options.recordings or sorted((FOLDER / "flights").glob("*.tlog"))
    if not paths:
        parser.error("no recordings; name one, or set WATCHKEEPER_DATA to their folder")
    return paths, options.rounds


def main() -> int:
    """Time each recording."""
    paths, rounds = options_of("Decoding against a bare pymavlink loop.")
    for path in paths:
        print(path.name)
        theirs, base = best_rate(bare, path, rounds)
        print(f"  pymavlink  {theirs:8d} messages {base:11,.0f} /s")
        for name, decode in (("link", link), ("aircraft", aircraft)):
            count, rate = best_rate(decode, path, rounds)
            print(f"  {name:10s} {count:8d} messages {rate:11,.0f} /s  {rate / base:5.1f} times")
    return 0


if __name__ == "__main__":
    sys.exit(main())
