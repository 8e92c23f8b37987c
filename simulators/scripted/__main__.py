"""Feeds a running watch with a scripted flight over UDP: `python -m simulators.scripted four-faults`."""

from __future__ import annotations

import argparse
import asyncio
import sys
from collections.abc import Sequence

from simulators.feed import parse_speed, parse_target, play
from simulators.scenario import DEFAULT, Scenario, find, list_scenarios, load, load_scripted
from simulators.scripted.flight import ScriptedFlight
from watchkeeper.errors import BadInputError


def main(arguments: Sequence[str] | None = None) -> int:
    """Send a scripted flight over UDP to a running watch. Returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m simulators.scripted",
        description="Sends a scripted flight over UDP to a running watch. Everything in it is an exercise.",
    )
    names = ", ".join(name for name in list_scenarios() if isinstance(load(find(name)), Scenario))
    parser.add_argument(
        "scenario", metavar="SCENARIO", nargs="?", default=DEFAULT, help=f"{names}, or a file ({DEFAULT})"
    )
    parser.add_argument(
        "--to", default="127.0.0.1:14570", metavar="HOST:PORT", help="where the watch listens (127.0.0.1:14570)"
    )
    parser.add_argument("--beyond", action="store_true", help="allow a HOST other than this machine")
    parser.add_argument("--speed", default="1", metavar="N|max", help="times real time (1)")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="seed of noise and loss (1)")
    given = parser.parse_args(arguments)
    try:
        host, port = parse_target(given.to, beyond=given.beyond)
        speed = parse_speed(given.speed)
        flight = ScriptedFlight(load_scripted(find(given.scenario)), given.seed)
        sent = asyncio.run(play(flight.frames(), host, port, speed))
    except BadInputError as error:
        sys.stderr.write(f"{error.faults[0]}\n")
        return 2
    except KeyboardInterrupt:
        return 0
    sys.stderr.write(f"{sent} frames sent\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
