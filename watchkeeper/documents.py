"""YAML text to plain data that knows where each part stands. Text from outside is hostile: no tags, no aliases.

Plain scalars resolve to null, true/false, whole and decimal numbers only; everything else stays text, so that
`on`, `no` and dates mean what a person typed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

from watchkeeper.errors import BadInputError, Fault

MAX_BYTES = 1_000_000  # the longest file a crew would write is a tenth of this
MAX_DEPTH = 24
MAX_NODES = 50_000

Path = tuple[str | int, ...]

_INT = re.compile(r"[-+]?\d+\Z")
_FLOAT = re.compile(r"[-+]?(\d+\.\d*|\.\d+|\d+)([eE][-+]?\d+)?\Z")


@dataclass(slots=True)
class Document:
    """A parsed text. `data` is dicts, lists, str, int, float, bool, None; `places` maps a path to its place.

    `places[path]` is (line, column) of the value, `key_places[path]` of the key, both from 1.
    """

    name: str
    lines: list[str]
    data: Any = None
    places: dict[Path, tuple[int, int]] = field(default_factory=dict)
    key_places: dict[Path, tuple[int, int]] = field(default_factory=dict)

    def fault(self, path: Path, what: str, do: str = "", *, key: bool = False, offset: int = 0) -> Fault:
        """Return a fault at a path (or its nearest known parent); `offset` moves the column into the text."""
        at = tuple(path)
        table = self.key_places if key else self.places
        while at and at not in table:
            at = at[:-1]
            table = self.places
        line, column = table.get(at, (1, 1))
        shown = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        return Fault(self.name, line, column + offset, what, do, shown)


def parse_document(text: str, name: str) -> Document:
    """Parse YAML `text`; `name` is what messages call it. Raises BadInputError with place."""
    document = Document(name, text.splitlines())
    if len(text) > MAX_BYTES:
        raise BadInputError([Fault(name, 0, 0, f"larger than {MAX_BYTES} characters", "split it")])
    try:
        root = _Composer(text).get_single_node()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        shown = document.lines[line - 1] if line <= len(document.lines) else ""
        raise BadInputError(
            [Fault(name, line, column, f"not YAML: {error.problem}", "check indentation and quotes", shown)]
        ) from None
    except (yaml.YAMLError, RecursionError) as error:
        what = "nested too deeply" if isinstance(error, RecursionError) else "holds characters that YAML forbids"
        raise BadInputError([Fault(name, 1, 1, what, "write it anew as plain text")]) from None
    if root is None:
        raise BadInputError([Fault(name, 1, 1, "is empty", "see the README for an example")])
    _Builder(document).build(root)
    return document


class _Composer(yaml.SafeLoader):
    """The stock composer, refusing aliases (an alias bomb grows without bound) and explicit tags."""

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        if self.check_event(yaml.AliasEvent):
            event = self.peek_event()  # type: ignore[no-untyped-call]
            raise yaml.MarkedYAMLError(
                None, None, "aliases (*name) are not allowed; write the value out", event.start_mark
            )
        return super().compose_node(parent, index)


class _Builder:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.count = 0
        self.faults: list[Fault] = []

    def build(self, root: yaml.Node) -> None:
        self.document.data = self._value(root, ())
        if self.faults:
            raise BadInputError(self.faults)

    def _value(self, node: yaml.Node, path: Path) -> Any:
        document = self.document
        document.places[path] = (node.start_mark.line + 1, node.start_mark.column + 1)
        self.count += 1
        if len(path) > MAX_DEPTH or self.count > MAX_NODES:
            raise BadInputError([document.fault(path, "nested too deeply or too long", "make it simpler")])
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self._value(child, (*path, i)) for i, child in enumerate(node.value)]
        return self._scalar(node, path)

    def _mapping(self, node: yaml.MappingNode, path: Path) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            place = (key_node.start_mark.line + 1, key_node.start_mark.column + 1)
            if not isinstance(key_node, yaml.ScalarNode):
                self.document.places[(*path, "?")] = place
                raise BadInputError([self.document.fault((*path, "?"), "a key must be a word", "use plain keys")])
            key = str(key_node.value)
            here = (*path, key)
            if key in result:
                self.document.key_places[here] = place
                self.faults.append(self.document.fault(here, f"'{key}' is given twice", "keep one", key=True))
                continue
            self.document.key_places[here] = place
            result[key] = self._value(value_node, here)
        return result

    def _scalar(self, node: yaml.Node, path: Path) -> Any:
        text = str(node.value)
        if not node.tag.startswith("tag:yaml.org,2002:"):
            self.faults.append(self.document.fault(path, "tags (!name) are not allowed", "write plain values"))
            return text
        if getattr(node, "style", None) is not None:
            return text
        if text in ("", "~", "null"):
            return None
        if text in ("true", "false"):
            return text == "true"
        if _INT.match(text):
            return int(text) if len(text) < 20 else float(text)
        if _FLOAT.match(text):
            return float(text)
        return text
