"""The keys of the page: one for each role, kept so that a phone goes on after the watch has been started anew."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from urllib.parse import quote

from watchkeeper.alerts.checks import ROLES
from watchkeeper.edges.kept import write_whole
from watchkeeper.edges.records.appending import read_whole

ACTIONS: Final = ("acknowledge", "shelve", "unshelve", "reset", "test", "confirm", "check", "uncheck")
"""What every role may ask; what comes of it is the engine's to decide."""
MAY: Final[Mapping[str, tuple[str, ...]]] = {
    "pilot": ACTIONS,
    "observer": (*ACTIONS, "sighted"),
    "post": ACTIONS,
}
FORMAT: Final = 1
MAX_BYTES: Final = 4096
KEY_BYTES: Final = 32
_LONGEST_NAME: Final = 180


@dataclass(frozen=True, slots=True)
class Keys:
    """By role, the secret that who has it may give that role's orders with."""

    by_role: Mapping[str, str] = field(repr=False)

    def role_of(self, key: str) -> str | None:
        """Return whose key this is, in a time that says nothing of how much of it is right."""
        given = key.encode("utf-8", "replace")
        found = None
        for role, own in self.by_role.items():
            if hmac.compare_digest(given, own.encode()):
                found = role
        return found


def new_keys() -> Keys:
    """Return keys that nobody has seen."""
    return Keys({role: secrets.token_urlsafe(KEY_BYTES) for role in ROLES})


def keys_file(folder: Path, station: str) -> Path:
    """Return the file of a station, whose name may hold anything that a file name may not."""
    name = quote(station, safe=" ")
    if len(name) > _LONGEST_NAME:
        name = hashlib.sha256(station.encode()).hexdigest()
    return folder / f"page-keys-{name}.json"


def cookie_name(station: str) -> str:
    """Return the name of the station's cookie: cookies do not tell ports apart (RFC 6265 section 8.5)."""
    return f"watch-{hashlib.sha256(station.encode()).hexdigest()[:12]}"


def load_keys(path: Path) -> tuple[Keys, str]:
    """Return the keys of a file, made anew if there are none or they cannot be used, and what went wrong or ""."""
    trouble = ""
    try:
        keys = _read(path)
        if path.stat().st_mode & 0o077:
            path.chmod(0o600)
    except FileNotFoundError:
        keys = None
    except (OSError, ValueError, RecursionError) as error:
        why = error.strerror if isinstance(error, OSError) else "damaged"
        trouble = f"{path} cannot be used ({why}): the page has new keys; open it anew with them"
        keys = None
    if keys is not None:
        return keys, ""
    keys = new_keys()
    try:
        write_whole(path, json.dumps({"format": FORMAT, **keys.by_role}).encode() + b"\n")
    except OSError as error:
        trouble = f"{path} cannot be written ({error.strerror}): the page's keys hold until the watch ends"
    return keys, trouble


def _read(path: Path) -> Keys:
    found = json.loads(read_whole(path, MAX_BYTES))
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise ValueError("of another format")
    by_role: dict[str, str] = {}
    for role in ROLES:
        key = found.get(role)
        if not isinstance(key, str) or len(key) < KEY_BYTES or not key.isascii() or not key.isprintable():
            raise ValueError("a key is missing")
        by_role[role] = key
    if len(set(by_role.values())) != len(ROLES):
        raise ValueError("two roles with one key")
    return Keys(by_role)
