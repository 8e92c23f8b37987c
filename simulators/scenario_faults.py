"""What a scenario file is told about a mistake: where it stands, what is wrong, what to do."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from watchkeeper.documents import Document
from watchkeeper.documents import Path as DocumentPath
from watchkeeper.errors import Fault, did_you_mean, nearest

_MUST: Final = re.compile(r"^Input should be ")
_QUOTED: Final = re.compile(r"'([^']+)'")
_LONGEST: Final = 40
_BRACES: Final = ("has to be keys and values", "write it like {key: value}")
_BRACKETS: Final = ("has to be a list", "write it like [ … ]")
_NAME: Final = ("has to be small letters, digits and hyphens", "write it like four-faults")
_SHOWN: Final = ("has to be text that can be shown", "write it in plain letters")
_MOMENT: Final = ("is no date and time", 'write it like "2026-05-12T12:00:00Z"')
_SAID: Final[Mapping[str, tuple[str, str]]] = {
    "model_type": _BRACES,
    "model_attributes_type": _BRACES,
    "dict_type": _BRACES,
    "list_type": _BRACKETS,
    "tuple_type": _BRACKETS,
    "int_type": ("has to be a whole number", "correct it"),
    "int_from_float": ("has to be a whole number", "correct it"),
    "bool_type": ("has to be true or false", "correct it"),
    "string_type": ("has to be text", "write words, or a number in quotes"),
    "datetime_type": _MOMENT,
    "datetime_parsing": _MOMENT,
    "datetime_from_date_parsing": _MOMENT,
    "datetime_object_invalid": _MOMENT,
}
"""What is wrong and what to do, by pydantic's type of error."""


def _counted(actual: int, limit: int, *, least: bool) -> str:
    holds = "is empty" if actual == 0 else f"holds {actual}"
    return f"{holds}, has to hold at {'least' if least else 'most'} {limit}"


def _few(context: Mapping[str, Any]) -> tuple[str, str]:
    return _counted(context["actual_length"], context["min_length"], least=True), "add what is missing"


def _many(context: Mapping[str, Any]) -> tuple[str, str]:
    return _counted(context["actual_length"], context["max_length"], least=False), "take some out"


def _pattern(context: Mapping[str, Any]) -> tuple[str, str]:
    return _NAME if "a-z" in context["pattern"] else _SHOWN


_WITH_CONTEXT: Final[Mapping[str, Callable[[Mapping[str, Any]], tuple[str, str]]]] = {
    "too_short": _few,
    "too_long": _many,
    "string_too_short": lambda _: ("is empty", "write something"),
    "string_too_long": lambda context: (f"is longer than {context['max_length']} characters", "shorten it"),
    "string_pattern_mismatch": _pattern,
}


def faults_of(
    document: Document, error: ValidationError, whole: type[BaseModel], parts: Mapping[str, type[BaseModel]]
) -> list[Fault]:
    """Return pydantic's findings as faults with their places in the file.

    `whole` is the model of the file, `parts` those behind its keys. A key that is missing because it is written
    wrongly is told once.
    """
    faults: list[Fault] = []
    meant: set[DocumentPath] = set()
    missing: list[tuple[DocumentPath, Fault]] = []
    for detail in error.errors():
        path: DocumentPath = tuple(detail["loc"])
        at = _written(document, path)
        if detail["type"] == "extra_forbidden":
            above = [str(part) for part in path[:-1] if str(part) in parts]
            known = (parts[above[-1]] if above else whole).model_fields
            meant.add((*at[:-1], nearest(str(path[-1]), known) or ""))
            what = f"unknown key '{str(path[-1])[:_LONGEST]}'"
            todo = did_you_mean(str(path[-1]), known, otherwise="take it out")
            faults.append(document.fault(at, what, todo, key=True))
        elif detail["type"] in {"missing", "union_tag_not_found"}:
            missing.append(_missing(document, detail, at))
        else:
            faults.append(_wrong(document, detail, at))
    faults += [fault for at, fault in missing if at not in meant]
    return sorted(faults, key=lambda fault: (fault.line, fault.column))


def _name(path: DocumentPath) -> str:
    return next((part for part in reversed(path) if isinstance(part, str)), "scenario")


def _missing(document: Document, detail: Any, at: DocumentPath) -> tuple[DocumentPath, Fault]:
    if detail["type"] == "union_tag_not_found":
        at = (*at, detail["ctx"]["discriminator"].strip("'"))
    if isinstance(at[-1], int):
        return at, document.fault(at[:-1], f"{_name(at)}: value {at[-1] + 1} is missing", "give all values")
    return at, document.fault(at[:-1], f"'{at[-1]}' is missing", f"add '{at[-1]}: …'")


def _wrong(document: Document, detail: Any, at: DocumentPath) -> Fault:
    kind, context, given = str(detail["type"]), detail.get("ctx", {}), detail["input"]
    if kind == "union_tag_invalid":
        at = (*at, context["discriminator"].strip("'"))
        kind, given = "literal_error", context["tag"]
        context = {"expected": " or ".join(context["expected_tags"].split(", "))}
    what, todo = _words(kind, context, given, detail["msg"])
    return document.fault(at, f"{_name(at)}: {what}", todo)


def empty(document: Document) -> Iterator[Fault]:
    """Yield a fault for each value that is not there: it could be meant as none, or as the usual."""
    waiting: list[tuple[DocumentPath, Any]] = [((), document.data)]
    while waiting:
        path, value = waiting.pop()
        if value is None:
            yield document.fault(path, f"'{_name(path)}' has no value", "give it one, or take it out")
        elif isinstance(value, dict):
            waiting += [((*path, key), value[key]) for key in reversed(value)]
        elif isinstance(value, list):
            waiting += [((*path, i), value[i]) for i in reversed(range(len(value)))]


def _words(kind: str, context: Mapping[str, Any], given: Any, message: str) -> tuple[str, str]:
    if kind in _WITH_CONTEXT:
        return _WITH_CONTEXT[kind](context)
    if kind in _SAID:
        return _SAID[kind]
    if kind == "literal_error":
        known = _QUOTED.findall(context["expected"]) if isinstance(given, str) else []
        return f"has to be {context['expected']}", did_you_mean(str(given), known, otherwise="correct it")
    return _MUST.sub("has to be ", message), str(context.get("todo", "correct it"))


def _written(document: Document, path: DocumentPath) -> DocumentPath:
    """Return a path as it stands in the file: pydantic names there which of several models it took."""
    at: DocumentPath = ()
    for i, part in enumerate(path):
        if i + 1 == len(path) or (*at, part) in document.places:
            at = (*at, part)
    return at
