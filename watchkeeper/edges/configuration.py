"""Options of `watch` from a TOML file: option over file over default, unknown keys are faults."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic_core import PydanticCustomError

from watchkeeper.alerts.spoken import NumberStyle
from watchkeeper.edges.mqtt.login import Messages
from watchkeeper.edges.sources.urls import DEFAULT_URL
from watchkeeper.errors import BadInputError, Fault, bad_input, did_you_mean
from watchkeeper.resources import shipped_languages

MAX_BYTES = 1_000_000
ENGLISH = "en"
"""The language that needs no file."""


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str | Path) else value


Texts = Annotated[list[str], BeforeValidator(_listed)]
Paths = Annotated[list[Path], BeforeValidator(_listed)]


class Voice(BaseModel):
    """Table `[voice]`: how callouts sound."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    language: str = Field(default="en-us", min_length=1, max_length=40, pattern=r"^[A-Za-z0-9+_-]+$")
    rate_wpm: int = Field(default=175, ge=80, le=300)
    """Words a minute."""
    volume: float = Field(default=1.0, gt=0.0, le=1.0)
    """Of attention sounds and words alike."""
    role: Literal["pilot", "observer"] = "pilot"
    """Who is spoken to: the pilot, who is told all, or on a machine of their own the observer."""
    numbers: NumberStyle = NumberStyle.DIGITS
    device: str | None = Field(default=None, min_length=1, max_length=200)
    """The sound device's name, as the system lists it; without it the system's usual one."""


def _language(name: str) -> str:
    known = (ENGLISH, *shipped_languages())
    if name not in known and not is_file(name):
        raise PydanticCustomError("language", f"is none of {', '.join(known)}, nor a .yaml file")
    return name


class WatchOptions(BaseModel):
    """What `watch` can be told, under the names of its options. A single word may stand for a list of one."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sources: Texts = Field(default=[DEFAULT_URL], alias="from", min_length=1, max_length=16)
    aircraft: Paths = []
    sortie: Path | None = None
    rules: Paths = []
    only_rules: bool = Field(default=False, alias="only-rules")
    station: str = Field(
        default="station", min_length=1, max_length=64, pattern=r"^[^/+#$\x00-\x1f][^/+#\x00-\x1f]*$"
    )
    """One level of an MQTT topic: no /, + or #, no control characters."""
    mqtt: str | None = None
    broker: str | None = None
    """HOST:PORT of an embedded broker, in place of `mqtt`."""
    page: str | None = None
    """HOST:PORT at which a page is served."""
    page_names: Texts = Field(default=[], alias="page-names", max_length=16)
    """More names by which browsers ask for it, where a router or a name server gives it some; a file only."""
    record: Path | None = None
    learned: Path | None = None
    """Folder in which what is learned in flight is kept; a file only, no option."""
    outbox: Path | None = None
    """Folder in which messages wait for the broker; a file only, no option."""
    mute: bool = False
    quiet: bool = False
    language: Annotated[str, AfterValidator(_language)] = ENGLISH
    """Of the callouts: the name of a shipped language, or a language file; a file only, no option."""
    voice: Voice = Voice()
    messages: Messages = Messages()


_TABLES: Mapping[str, type[BaseModel]] = {"voice": Voice, "messages": Messages}


def is_file(language: str) -> bool:
    """Whether a language is named by its file."""
    return language.endswith((".yaml", ".yml"))


def read_configuration(path: Path) -> dict[str, Any]:
    """Read a configuration file; the result goes into `settle`. Paths in it count from its folder.

    Raises BadInputError with every fault found, each with its line.
    """
    name = str(path)
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
        text = raw.decode("utf-8")
    except FileNotFoundError:
        raise bad_input("no such configuration file", "check the name", file=name) from None
    except UnicodeDecodeError:
        raise bad_input("configuration is not UTF-8 text", "save it as UTF-8", file=name) from None
    except OSError as error:
        raise bad_input(f"cannot read configuration: {error.strerror}", "check the file", file=name) from None
    if len(raw) > MAX_BYTES:
        raise bad_input(f"configuration is larger than {MAX_BYTES} bytes", "name the right file", file=name)
    try:
        found = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise _not_toml(name, text, error) from None
    try:
        options = WatchOptions.model_validate(found)
    except ValidationError as error:
        raise BadInputError([_fault(name, text, one) for one in error.errors()]) from None
    settings = {field: getattr(options, field) for field in options.model_fields_set}
    if {"mqtt", "broker"} <= settings.keys():
        line, column = _place(text, ["broker"])
        raise bad_input("both mqtt and broker", "leave one out", file=name, line=line, column=column)
    folder = path.parent
    if "messages" in settings:
        settings["messages"] = settings["messages"].under(folder)
    for field in ("aircraft", "rules"):
        if field in settings:
            settings[field] = [folder / one for one in settings[field]]
    if is_file(settings.get("language", ENGLISH)):
        settings["language"] = str(folder / settings["language"])
    for field in ("sortie", "record", "learned", "outbox"):
        if settings.get(field) is not None:
            settings[field] = folder / settings[field]
    return settings


def settle(options: Mapping[str, Any], file: Mapping[str, Any]) -> WatchOptions:
    """Return what holds: an option that was given, else the file, else the default.

    `options` are keyed by field name; None, False and an empty list mean: not given. BadInputError for an
    option that is out of range.
    """
    given = {
        name: value for name, value in options.items() if value is not None and value is not False and value != []
    }
    if "mqtt" in given or "broker" in given:
        file = {name: value for name, value in file.items() if name not in ("mqtt", "broker")}
    try:
        return WatchOptions.model_validate({_shown(name): value for name, value in {**file, **given}.items()})
    except ValidationError as error:
        raise BadInputError([_option_fault(one) for one in error.errors()]) from None


def _option_fault(error: Any) -> Fault:
    return Fault("", 0, 0, f"--{error['loc'][0]}: {_words(error)}", "see watchkeeper watch --help")


def _shown(field: str) -> str:
    """Return what a person calls a field."""
    return WatchOptions.model_fields[field].alias or field


def _not_toml(name: str, text: str, error: Exception) -> BadInputError:
    if isinstance(error, RecursionError):
        return bad_input("nested too deeply", "make it simpler", file=name)
    said = str(error)
    place = re.search(r" \(at line (\d+), column (\d+)\)$", said)
    if place is None:
        last = max(text.count("\n") + (not text.endswith("\n")), 1)
        return bad_input(
            f"not TOML: {said.removesuffix(' (at end of document)')}", "check it", file=name, line=last, column=1
        )
    line, column = int(place[1]), int(place[2])
    return bad_input(
        f"not TOML: {said[: place.start()]}", "check quotes and brackets", file=name, line=line, column=column
    )


def _fault(name: str, text: str, error: Any) -> Fault:
    path = [str(part) for part in error["loc"] if isinstance(part, str)]
    line, column = _place(text, path)
    lines = text.splitlines()
    shown = lines[line - 1] if 0 < line <= len(lines) else ""
    key = ".".join(path)
    if error["type"] == "extra_forbidden":
        model = _TABLES.get(path[0], WatchOptions) if len(path) > 1 else WatchOptions
        known = [field.alias or own for own, field in model.model_fields.items()]
        hint = did_you_mean(path[-1], known, otherwise=f"known are {', '.join(known)}")
        return Fault(name, line, column, f"unknown key '{key}'", hint, shown)
    return Fault(name, line, column, f"'{key}': {_words(error)}", "correct it", shown)


def _words(error: Any) -> str:
    return str(error["msg"])[:1].lower() + str(error["msg"])[1:]


def _place(text: str, path: list[str]) -> tuple[int, int]:
    """Return line and column of a key (its table's, if it is written in a way not looked for here)."""
    table: list[str] = []
    best = (1, 1)
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[+\s*(.*?)\s*\]+", line)
        if header:
            table = [part.strip().strip("\"'") for part in header[1].split(".")]
            if table and path[: len(table)] == table:
                best = (number, line.index("[") + 1)
                if path == table:
                    return best
            continue
        key = re.match(r"\s*([^=#]+?)\s*=", line)
        if key:
            here = [*table, *(part.strip().strip("\"'") for part in key[1].split("."))]
            if path[: len(here)] == here:
                best = (number, key.start(1) + 1)
                if path == here:
                    return best
    return best
