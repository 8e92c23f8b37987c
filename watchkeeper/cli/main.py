"""The command `watchkeeper`: picks the subcommand, and turns faults into one line and a status."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from watchkeeper import __version__
from watchkeeper.errors import BadInputError, did_you_mean

DONE, FAILED, USAGE = 0, 1, 2

CAUTION = (
    "An aid to a licensed crew. It is not certified, replaces no duty of the pilot in command, no manual, "
    "checklist or licence, and defers to local rules. It only listens: it never sends to the aircraft."
)
_ABOUT = "Watchkeeper listens beside a ground station and tells the crew in time what matters."


class Parser(argparse.ArgumentParser):
    """Says what is wrong in one line and ends with status 2."""

    def error(self, message: str) -> NoReturn:
        """Print one line and leave."""
        words = message.split()
        hint = ""
        if "unrecognized arguments:" in message:
            wrong = words[words.index("arguments:") + 1].split("=")[0]
            known = [option for action in self._actions for option in action.option_strings]
            message = f"unknown option or word '{wrong}'"
            hint = did_you_mean(wrong, known)
        self.exit(USAGE, f"{self.prog}: {message}; {hint or f'see {self.prog} --help'}\n")


def build_parser() -> Parser:
    """Return the parser of all commands."""
    from watchkeeper.cli import drill, replay, rules, watch  # noqa: PLC0415  (each command imports what it needs)

    parser = Parser(prog="watchkeeper", description=_ABOUT, epilog=CAUTION)
    parser.add_argument("--version", action="version", version=f"watchkeeper {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for module in (watch, replay, drill, rules):
        module.add(commands, CAUTION)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line. Returns the exit status: 0 done, 1 a check failed, 2 bad usage or a bad file."""
    parser = build_parser()
    given = parser.parse_args(arguments)
    try:
        return int(given.run(given))
    except BadInputError as error:
        more = len(error.faults) - 1
        tail = f" (and {more} more)" if more else ""
        print(f"{error.faults[0]}{tail}", file=sys.stderr)
        return USAGE
    except KeyboardInterrupt:
        return DONE
    except BrokenPipeError:  # the reader of our output has left: nothing more to say, and nothing wrong
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE


if __name__ == "__main__":
    sys.exit(main())
