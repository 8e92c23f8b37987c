"""The program's own log: structured lines on standard error, through the one writer of the terminal."""

from __future__ import annotations

import logging
import re
from collections.abc import MutableMapping
from typing import Any

import structlog

from watchkeeper.edges.terminal import Terminal, plain

_IN_URL = re.compile(r"([a-z][a-z0-9+.-]*://)\S*@", re.IGNORECASE)
"""Up to the last @ of the word: a password may hold any sign, and hiding too much does no harm."""
_KEY_IN_URL = re.compile(r"([?&]key=)[^&\s'\"]*")
_SECRET_NAME = re.compile(r"passw|secret|token|credential", re.IGNORECASE)


def without_secrets(text: str) -> str:
    """Return text in which user and password, and the page's key, of every URL are replaced by `***`."""
    return _KEY_IN_URL.sub(r"\1***", _IN_URL.sub(r"\1***@", text))


def _cleaned(value: Any, depth: int = 0) -> Any:
    if isinstance(value, str):
        return without_secrets(value)
    if isinstance(value, int | float | bool | None):
        return value
    if depth < 4 and isinstance(value, dict):
        return {
            name: "***" if _SECRET_NAME.search(str(name)) else _cleaned(v, depth + 1) for name, v in value.items()
        }
    if depth < 4 and isinstance(value, list | tuple):
        return [_cleaned(one, depth + 1) for one in value]
    return without_secrets(str(value))


def hide_secrets(_logger: Any, _method: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """Structlog processor: no password or token gets into a line, whatever was logged."""
    for name, value in event.items():
        event[name] = "***" if _SECRET_NAME.search(name) else _cleaned(value)
    return event


def _readable(_logger: Any, _method: str, event: MutableMapping[str, Any]) -> str:
    time = str(event.pop("timestamp"))[11:19]
    level = str(event.pop("level"))
    what = str(event.pop("event"))
    trace = str(event.pop("exception", ""))
    more = "".join(f"  {name}={value}" for name, value in event.items())
    return f"{time}  {level:<8}  {what}{more}" + (f"\n{trace}" if trace else "")


class _Lines:
    """What structlog writes to."""

    def __init__(self, terminal: Terminal) -> None:
        self._terminal = terminal

    def msg(self, message: str) -> None:
        for line in message.splitlines():
            self._terminal.log(plain(line))

    log = debug = info = warning = warn = error = critical = exception = fatal = msg


class _Carry(logging.Handler):
    """Carries records of libraries that use the standard log over to structlog."""

    def emit(self, record: logging.LogRecord) -> None:
        log = structlog.get_logger(library=record.name)
        log.log(record.levelno, record.getMessage(), exc_info=record.exc_info)


def set_up_logs(terminal: Terminal, *, as_json: bool = False, level: int = logging.INFO) -> None:
    """Send all logs to standard error by way of `terminal`: for people, or as JSON for a service's journal."""
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            hide_secrets,
            structlog.processors.JSONRenderer() if as_json else _readable,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=lambda *_: _Lines(terminal),
        cache_logger_on_first_use=False,
    )
    root = logging.getLogger()
    for handler in [handler for handler in root.handlers if isinstance(handler, _Carry)]:
        root.removeHandler(handler)
    root.addHandler(_Carry())
    root.setLevel(max(level, logging.WARNING))
