"""Flies a campaign: `python -m simulators.campaign --flights 40 --seed 7 --json`."""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

from simulators.campaign.distributions import SHIPPED, Distributions, read
from simulators.campaign.figures import figures
from simulators.campaign.judge import Judged, judge
from simulators.campaign.knowledge import LEVELS
from watchkeeper.errors import BadInputError


def campaign(
    distributions: Distributions,
    flights: int,
    seed: int,
    workers: int | None = None,
    kept: Path | None = None,
    levels: Sequence[str] = LEVELS,
) -> list[Judged]:
    """Fly and judge that many flights on all cores, or on so many workers; in the order of their numbers.

    `kept` is a folder for what does not depend on the watch, `levels` are those of what the watch is told. Raises
    RuntimeError if the watch fails; no further flight begins then.
    """
    judged: list[Judged] = []
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers or os.cpu_count(), mp_context=context) as pool:
        waiting = [pool.submit(judge, distributions, seed, number, kept, levels) for number in range(flights)]
        try:
            for done in as_completed(waiting):
                judged.append(done.result())
                sys.stderr.write(f"\r{len(judged)} of {flights} flights")
                sys.stderr.flush()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
        finally:
            sys.stderr.write("\n")
    return sorted(judged, key=lambda one: one.number)


def main(arguments: Sequence[str] | None = None) -> int:
    """Fly a campaign and print its figures. Returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m simulators.campaign",
        description="Flies many random simulated flights, runs the watch over each, and judges what it said.",
    )
    parser.add_argument("--flights", type=int, default=40, metavar="N", help="how many (40)")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="what they are drawn by (1)")
    parser.add_argument(
        "--distributions",
        type=Path,
        default=SHIPPED,
        metavar="FILE",
        help="what flights and faults are drawn from",
    )
    parser.add_argument(
        "--keep",
        type=Path,
        metavar="FOLDER",
        help="keep the flights there, and take those that are there: only the watch is run anew",
    )
    parser.add_argument(
        "--knowing",
        action="append",
        choices=LEVELS,
        help="what the watch is told; may be given more than once (all, one after another)",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, nothing else")
    given = parser.parse_args(arguments)
    try:
        distributions = read(given.distributions)
        if given.flights < 1:
            parser.error("--flights: at least one")
        levels = given.knowing or LEVELS
        judged = campaign(distributions, given.flights, given.seed, kept=given.keep, levels=levels)
        found = figures(judged, distributions, given.seed, levels)
    except BadInputError as error:
        for fault in error.faults:
            sys.stderr.write(f"{fault}\n")
        return 2
    except RuntimeError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    except KeyboardInterrupt:
        return 0
    if given.json:
        print(json.dumps(found))  # noqa: T201  # the answer
    else:
        _show(found)
    return 0


def _show(found: dict[str, Any]) -> None:
    """Write the figures for a person to read."""
    lines = [f"{found['flights']} flights, {found['hours']:.1f} h, seed {found['seed']}"]
    lines += [f"{count} tell nothing of the reserve: {why}" for why, count in found["left_out"].items()]
    early = found["ordinary_returns"]
    lines.append(
        f"ordinary returns: {early['flights']}, with a false warning: {_rate(early['false_warning'])}, "
        f"with a false caution: {_rate(early['false_caution'])} {early['by_rule']}"
    )
    for level, one in found["levels"].items():
        lines += [f"\nknowing {level}:"]
        for kind, fault in one["faults"].items():
            lines.append(
                f"  {kind:20} {fault['detectable']} of {fault['injected']} detectable: called "
                f"{_rate(fault['called'])}, late {fault['late']}, missed {fault['missed']}; told before "
                f"{fault['stood']}, cut short {fault['cut_short']}"
            )
        wrong = one["false_warnings"]
        lines.append(
            f"  false warnings {wrong['count']} {wrong['by_rule']}: {wrong['per_hour']} an hour of recorded flight"
        )
        lines.append(f"  alerts in ten minutes {one['alerts_per_10_min']['per_10_min']}, chatter {one['chatter']}")
        calm = one["calm"]
        lines.append(
            f"  in calm flights, {calm['hours']} h: {calm['per_10_min']} in ten minutes {calm['by_rule']}"
        )
        for severity, rules in one["told_by_rule"].items():
            each = ", ".join(f"{rule} {counted['count']}" for rule, counted in rules.items())
            lines.append(f"  told as {severity}: {each or 'nothing'}")
        for name, crew in one["crews"].items():
            lines.append(f"  crews reacting in {name}: {_ended(crew)}")
        error = one["charge_error_pct"]
        lines.append(f"  charge off by {error['mean']} % on average, 95 % within {error['p95']} %")
        for name, words in (("at_caution", "at the first caution"), ("at_last_good", "at the last good moment")):
            found_at = one[name]
            lines.append(
                f"  charge at landing, foretold {words}: off by {found_at['error_pct']['median']} % (median, "
                f"{found_at['error_pct']['median_ci']}), bound held {_rate(found_at['bound_held'])}"
            )
    lines.append("\nfixed rules:")
    lines += [f"  {rule:18} {_ended(crew)}" for rule, crew in found["fixed_rules"].items()]
    print("\n".join(lines))  # noqa: T201  # the answer


def _rate(rate: dict[str, Any]) -> str:
    if not rate["of"]:
        return "none of 0"
    return f"{rate['count']} of {rate['of']} ({rate['low']:.2f} to {rate['high']:.2f})"


def _ended(crew: dict[str, Any]) -> str:
    used, lowest = crew["range_used"]["mean"], crew["lowest_cell_v"]
    return (
        f"turned back {_rate(crew['turned_back'])}, with reserve {_rate(crew['landed_with_reserve'])}, "
        f"ran out {_rate(crew['ran_out'])}, range used {used}, lowest cell on the way home "
        f"{lowest['median']} V (5 to 95 %: {lowest['p5']} to {lowest['p95']})"
    )


if __name__ == "__main__":
    sys.exit(main())
