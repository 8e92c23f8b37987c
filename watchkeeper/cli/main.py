"""The command `watchkeeper`: picks the subcommand, and turns faults into one line and a status."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from typing import Final, NoReturn

from watchkeeper import __version__
from watchkeeper.errors import BadInputError, did_you_mean

DONE, FAILED, USAGE = 0, 1, 2
_ENDS: Final = (signal.SIGINT, signal.SIGTERM)

CAUTION = (
    "An aid to a licensed crew. It is not certified, replaces no duty of the pilot in command, no manual, "
    "checklist or licence, and defers to local rules. It only listens: it never sends to the aircraft."
)
_ABOUT = "Watchkeeper listens beside a ground station and tells the crew in time what matters."


class Parser(argparse.ArgumentParser):
    """Says what is wrong in one line and ends with status 2."""

    def error(self, message: str) -> NoReturn:
        """Print one line and leave."""
        self.exit(USAGE, f"{self.prog}: {message}; see {self.prog} --help\n")

    def refuse(self, word: str) -> NoReturn:
        """Leave because of an option or word that this command does not know."""
        known = [option for action in self._actions for option in action.option_strings]
        hint = did_you_mean(word, known, otherwise=f"see {self.prog} --help")
        self.exit(USAGE, f"{self.prog}: unknown option or word '{word}'; {hint}\n")


COMMANDS: Final = ("watch", "replay", "drill", "brief", "debrief", "rules", "board")


def build_parser(wanted: Sequence[str] = COMMANDS) -> Parser:
    """Return the parser of commands; what the others need is not loaded."""
    parser = Parser(prog="watchkeeper", description=_ABOUT, epilog=CAUTION)
    parser.add_argument("--version", action="version", version=f"watchkeeper {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    for name in wanted:
        importlib.import_module(f"watchkeeper.cli.{name}").add(commands, CAUTION)
    return parser


def _chosen(parser: Parser, given: argparse.Namespace) -> Parser:
    """Return the parser of the command that was given."""
    for action in parser._actions:  # noqa: SLF001  (argparse offers no other way to its subcommands)
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001
            chosen: Parser = action.choices[getattr(given, action.dest)]
            return _chosen(chosen, given)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line. Returns the exit status: 0 done, 1 a check failed, 2 bad usage or a bad file."""
    words = sys.argv[1:] if arguments is None else arguments
    with _nothing_to_end():
        parser = build_parser(words[:1] if words[:1] and words[0] in COMMANDS else COMMANDS)
    given, unknown = parser.parse_known_args(arguments)
    if unknown:
        _chosen(parser, given).refuse(unknown[0].split("=")[0])
    if sys.stdout is None:  # started with standard output closed
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115  (it stays open to the end)
    signal.signal(signal.SIGTERM, _interrupt)
    try:
        status = int(given.run(given))
        sys.stdout.flush()
    except BadInputError as error:
        more = len(error.faults) - 1
        tail = f" (and {more} more)" if more else ""
        print(f"{error.faults[0]}{tail}", file=sys.stderr)
        return USAGE
    except KeyboardInterrupt:
        return DONE
    except BrokenPipeError:  # the reader of our output has left: nothing more to say, and nothing wrong
        _drop_output()
        return DONE
    except OSError as error:  # a file that is read reports for itself; what is left is where we write
        print(f"cannot write output: {error.strerror}; make room, or write elsewhere", file=sys.stderr)
        _drop_output()
        return USAGE
    return status


@contextlib.contextmanager
def _nothing_to_end() -> Iterator[None]:
    """While modules are loaded, leave at once on Ctrl-C and TERM: a half-loaded library may say anything else."""
    numbers = [number for number in _ENDS if signal.getsignal(number) is not signal.SIG_IGN]
    before = [signal.signal(number, lambda *_: os._exit(DONE)) for number in numbers]
    try:
        yield
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)


def _interrupt(*_: object) -> NoReturn:
    """End on TERM as on Ctrl-C (a running watch has its own way)."""
    raise KeyboardInterrupt


def _drop_output() -> None:
    """Let nothing more be written when the interpreter flushes at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
