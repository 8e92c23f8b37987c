"""The page's own files, in memory: no request can name any other file, and none waits for a disk."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from watchkeeper.errors import bad_input

STATIC: Final = Path(__file__).resolve().parent / "static"
INDEX: Final = "index.html"
TYPES: Final = {
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".ico": "image/vnd.microsoft.icon",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".mp3": "audio/mpeg",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".wav": "audio/wav",
    ".webmanifest": "application/manifest+json",
    ".woff2": "font/woff2",
}
"""Not from the system's table of types, which differs, and on some machines is wrong."""


@dataclass(frozen=True, slots=True)
class Asset:
    """One file."""

    body: bytes
    kind: str
    tag: str
    """Changes with its content."""


def load_assets(folder: Path = STATIC) -> dict[str, Asset]:
    """Return the files of a folder by name below it. Raises BadInputError without a page among them."""
    found = {}
    for path in sorted(folder.rglob("*")):
        kind = TYPES.get(path.suffix)
        if kind is not None and path.is_file():
            body = path.read_bytes()
            tag = f'"{hashlib.sha256(body).hexdigest()[:16]}"'
            found[path.relative_to(folder).as_posix()] = Asset(body, kind, tag)
    if INDEX not in found:
        raise bad_input("--page: the page's own files are missing", "install the program anew", file=str(folder))
    return found
