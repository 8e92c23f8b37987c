"""The schemas of all messages and the AsyncAPI document as files that ship with the package.

For developers, after a change of the models: `python -m watchkeeper.edges.messages.schema_files`. A test holds
that the files are what the models give.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from watchkeeper.edges.messages.asyncapi import document
from watchkeeper.edges.messages.schemas import schemas
from watchkeeper.resources import shipped_schemas

ASYNCAPI: Final = "asyncapi.json"


def texts() -> Mapping[str, str]:
    """Return every file's text by its name."""
    found = {f"{name}.json": schema for name, schema in schemas().items()} | {ASYNCAPI: document()}
    return {name: json.dumps(content, indent=2) + "\n" for name, content in found.items()}


def write(folder: Path) -> list[str]:
    """Write every file, and take away those of messages that are no more; returns the names."""
    folder.mkdir(exist_ok=True)
    wanted = texts()
    for old in folder.glob("*.json"):
        if old.name not in wanted:
            old.unlink()
    for name, text in wanted.items():
        (folder / name).write_text(text, encoding="ascii")
    return sorted(wanted)


if __name__ == "__main__":
    sys.stdout.write("\n".join(write(shipped_schemas())) + "\n")
