"""The shipped schemas and the AsyncAPI document, against JSON Schema and AsyncAPI's own validators.

JSON Schema draft 2020-12 by the library jsonschema. AsyncAPI by the initiative's own published schema
(@asyncapi/specs) and its own parser (@asyncapi/parser), found in `WATCHKEEPER_NODE` or `.node`:
`npm install --no-save --prefix .node @asyncapi/specs@6 @asyncapi/parser@3`.
"""

from __future__ import annotations

import copy
import json
import os
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker
from jsonschema.validators import validator_for

from tests.conftest import ROOT, RequireProgram, _missing
from tests.edges.mqtt_parts import START_US
from tests.edges.test_mqtt_messages import WRITER, messages
from watchkeeper.alerts.events import Preparation, Step
from watchkeeper.edges.messages.schema_files import ASYNCAPI, texts
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.resources import shipped_schemas

ID = "f4f3f2f1-0000-4000-8000-000000000000"
AT = "2026-05-04T09:30:00.000000Z"
SHIPPED: Mapping[str, dict[str, Any]] = {
    path.stem: json.loads(path.read_text()) for path in shipped_schemas().glob("*.json")
}
DOCUMENT = SHIPPED["asyncapi"]
ORDERS: dict[str, list[dict[str, Any]]] = {
    "OrderMessage": [
        {"message_id": ID, "role": "post", "at": AT, "action": "shelve", "minutes": 5, "by": "Ada"},
        {"message_id": ID, "role": "pilot", "at": AT, "action": "acknowledge"},
    ],
    "CrewOrder": [
        {"message_id": ID, "role": "observer", "at": AT, "action": "confirm"},
        {"message_id": ID, "role": "post", "at": AT, "action": "uncheck", "item": "antennas down"},
        {"message_id": ID, "role": "observer", "at": AT, "action": "sighted", "sight": "lost_sight", "by": "Ada"},
    ],
}
IN_BOTH_DRAFTS = frozenset(
    "type enum const properties required additionalProperties items anyOf if then else pattern format minimum "  # noqa: SIM905
    "maximum exclusiveMinimum exclusiveMaximum minLength maxLength minItems maxItems title description "
    "default $ref".split()
)
"""Words of JSON Schema that mean the same in draft 7 (validation, sections 6 to 10) and in 2020-12."""


def valid(name: str, payload: object) -> bool:
    return bool(Draft202012Validator(SHIPPED[name], format_checker=FormatChecker()).is_valid(payload))


def good() -> Iterator[tuple[str, dict[str, Any]]]:
    step = Preparation(START_US, 0, 42, Step.CONFIRMED, "observer", "observer", reason="\ud800")
    for message in (*messages(), WRITER.prepared(step, START_US, ID)):
        yield type(message).__name__, json.loads(message.to_json())
    for name, orders in ORDERS.items():
        yield from ((name, order) for order in orders)


GOOD = list(good())


@pytest.fixture(scope="module")
def node_modules() -> Path:
    folder = Path(os.environ.get("WATCHKEEPER_NODE", ROOT / ".node")) / "node_modules" / "@asyncapi"
    if not (folder / "specs").is_dir() or not (folder / "parser").is_dir():
        _missing(f"AsyncAPI's own schema and parser are not in {folder}")
    return folder


def test_the_shipped_files_are_what_the_models_give() -> None:
    wanted = {Path(name).stem: json.loads(text) for name, text in texts().items()}
    assert wanted == SHIPPED, "write them anew: python -m watchkeeper.edges.messages.schema_files"


@pytest.mark.parametrize("name", sorted(set(SHIPPED) - {"asyncapi"}))
def test_every_schema_is_one(name: str) -> None:
    Draft202012Validator.check_schema(SHIPPED[name])
    assert name in {found for found, _ in GOOD}


@pytest.mark.parametrize(("name", "payload"), GOOD)
def test_what_is_right_validates_and_what_is_wrong_does_not(name: str, payload: dict[str, Any]) -> None:
    assert valid(name, payload)
    assert not valid(name, payload | {"another": 1})
    for key in SHIPPED[name]["required"]:
        assert not valid(name, {k: v for k, v in payload.items() if k != key}), key
    for key, value in payload.items():
        assert not valid(name, payload | {key: {} if isinstance(value, list) else [[]]}), key
    others = {other for other, _ in GOOD} - {name}
    assert [other for other in others if valid(other, payload)] == []


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("CrewOrder", {"action": "check"}),
        ("CrewOrder", {"action": "confirm", "item": "rotor latches"}),
        ("CrewOrder", {"action": "acknowledge"}),
        ("CrewOrder", {"action": "sighted"}),
        ("CrewOrder", {"action": "sighted", "sight": None}),
        ("CrewOrder", {"action": "sighted", "sight": "whale"}),
        ("CrewOrder", {"action": "sighted", "sight": "stop", "item": "rotor latches"}),
        ("CrewOrder", {"action": "confirm", "sight": "stop"}),
        ("CrewOrder", {"action": "check", "item": "rotor latches", "sight": "stop"}),
        ("CrewOrder", {"role": "watch"}),
        ("CrewOrder", {"message_id": "x"}),
        ("CrewOrder", {"for": "observer"}),
        ("OrderMessage", {"minutes": 0}),
        ("OrderMessage", {"action": "confirm"}),
    ],
)
def test_wrong_orders(name: str, change: dict[str, Any]) -> None:
    assert not valid(name, ORDERS[name][0] | change)


def test_topics_and_ways_are_those_of_the_watch() -> None:
    topics = Topics("S")
    addresses = {key: channel["address"] for key, channel in DOCUMENT["channels"].items()}

    def filled(key: str, who: str = "7", rule: str = "r") -> str:
        found: str = addresses[key]
        return found.replace("{station}", "S").replace("{aircraft}", who).replace("{rule}", rule)

    assert filled("status") == topics.status
    assert filled("alert") == topics.state(7, "r")
    assert [filled(leaf, "watch") for leaf in ("event", "callout")] == [
        topics.under(None, leaf) for leaf in ("event", "callout")
    ]
    assert filled("readings") == topics.under(7, "readings")
    assert filled("outlook", "watch") == topics.under(None, "outlook")
    assert filled("surroundings") == topics.surroundings_of(7)
    assert filled("surroundings", "+") == topics.surroundings
    assert topics.addressed(filled("alertOrder")) == (7, "r")
    assert topics.addressed(filled("crewOrder")) == (7, None)
    assert filled("alertOrder", "+", "+") == topics.orders
    assert filled("crewOrder", "+") == topics.crew_orders
    mqtt = {key: one["bindings"]["mqtt"] for key, one in DOCUMENT["operations"].items()}
    assert {key for key, one in mqtt.items() if one["retain"]} == {
        "sendStatus", "sendAlert", "sendSurroundings",
    }  # fmt: skip  # design section 9, and what it was extended by
    assert {one["qos"] for one in mqtt.values()} == {1}
    assert "exercise" in DOCUMENT["info"]["description"]


def _words(schema: object) -> Iterator[str]:
    if isinstance(schema, dict):
        for word, inside in schema.items():
            yield word
            if word == "properties":
                for one in inside.values():
                    yield from _words(one)
            elif word not in {"default", "enum", "const"}:
                yield from _words(inside)
    elif isinstance(schema, list):
        for one in schema:
            yield from _words(one)


def _moved(schema: object) -> object:
    return json.loads(json.dumps(schema).replace("#/$defs/", "#/components/schemas/"))


def test_the_document_holds_the_same_schemas_in_words_of_both_drafts() -> None:
    shared = DOCUMENT["components"]["schemas"]
    for name, schema in SHIPPED.items():
        if name == "asyncapi":
            continue
        own = {key: value for key, value in schema.items() if key not in {"$schema", "$defs"}}
        assert shared[name] == _moved(own)
        for part, definition in schema.get("$defs", {}).items():
            assert shared[part] == _moved(definition)
    assert {word for schema in shared.values() for word in _words(schema)} <= IN_BOTH_DRAFTS


def test_examples_of_orders_are_valid() -> None:
    found = {
        name: one["examples"] for name, one in DOCUMENT["components"]["messages"].items() if "examples" in one
    }
    assert set(found) == {"OrderMessage", "CrewOrder"}
    for name, examples in found.items():
        assert all(valid(name, example["payload"]) for example in examples)


def test_the_document_is_valid_by_asyncapis_own_schema(node_modules: Path) -> None:
    schema = json.loads((node_modules / "specs" / "schemas" / "3.0.0.json").read_text())
    check = validator_for(schema)(schema)
    assert [error.message for error in check.iter_errors(DOCUMENT)] == []
    for path, value in (
        (("operations", "sendStatus", "action"), "publish"),
        (("channels", "status", "parameters", "station"), {"schema": {}}),
        (("operations", "sendAlert", "bindings", "mqtt", "qos"), 3),
        (("info", "version"), 1),
    ):
        wrong = copy.deepcopy(DOCUMENT)
        where: Any = wrong
        for key in path[:-1]:
            where = where[key]
        where[path[-1]] = value
        assert not check.is_valid(wrong), path


PARSE = """
const { Parser } = require(process.argv[1]);
let text = "";
process.stdin.on("data", (part) => { text += part; });
process.stdin.on("end", () => new Parser().parse(text).then((found) => {
  const errors = found.diagnostics.filter((one) => one.severity === 0).map((one) => one.message);
  const all = found.document ? found.document.operations().all() : [];
  const operations = all.map((one) => [one.id(), one.action()]);
  console.log(JSON.stringify({ errors, operations }));
}));
"""


def parse(node: str, parser: Path, document: object) -> dict[str, Any]:
    done = subprocess.run(
        [node, "-e", PARSE, str(parser)],
        input=json.dumps(document), capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_the_document_is_read_by_asyncapis_own_parser(node_modules: Path, require_program: RequireProgram) -> None:
    node = require_program("node")
    found = parse(node, node_modules / "parser", DOCUMENT)
    assert found["errors"] == []
    assert dict(found["operations"]) == {
        "sendStatus": "send", "sendAlert": "send", "sendEvent": "send", "sendCallout": "send",
        "sendReadings": "send",
        "sendOutlook": "send", "sendSurroundings": "send",
        "receiveAlertOrder": "receive", "receiveCrewOrder": "receive",
    }  # fmt: skip
    wrong = copy.deepcopy(DOCUMENT)
    wrong["operations"]["sendStatus"]["channel"]["$ref"] = "#/channels/nowhere"
    wrong["components"]["messages"]["CrewOrder"]["examples"][0]["payload"]["action"] = "fly"
    assert len(parse(node, node_modules / "parser", wrong)["errors"]) >= 2


def test_the_folder_holds_nothing_else() -> None:
    assert {path.name for path in shipped_schemas().iterdir()} == set(texts())
    assert ASYNCAPI in texts()
