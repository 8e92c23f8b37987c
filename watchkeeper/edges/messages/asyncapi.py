"""The AsyncAPI 3.0 document of what goes over MQTT, made from the models of the messages.

Operations are those of the watch: it sends what it decides, and receives orders. Payloads stand as plain schema
objects: what the models need of JSON Schema means the same in draft 2020-12 and in the draft 7 that AsyncAPI's own
schema objects extend, so that no reader needs a plug-in.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from watchkeeper import __version__
from watchkeeper.edges.messages.payloads import PAYLOADS
from watchkeeper.edges.messages.schemas import MODELS, shared_schemas

_BINDING: Final = "0.2.0"
"""Of AsyncAPI's binding for MQTT."""

_ABOUT: Final = """\
What a watch tells a crew by MQTT, and what the crew can ask of it. The watch only listens to the aircraft: no
order here reaches it.

Every payload of the watch carries `message_id` (the same when a message is sent again: quality of service 1 can
deliver twice), `sent_at`, `valid_until` and `exercise`. Where `exercise` is true everything is simulated or
replayed: show it as an exercise, and raise no alarm by it. Drills publish under a station of their own, whose name
begins with `drill-`.

Nothing leans on a property of MQTT 5; 3.1.1 will do. Retained messages tell how things stand; those of alerts that
have been over for ten minutes are emptied (a payload of no bytes). Orders are not to be retained: those are
ignored, and so is an order whose `message_id` was seen before; one older than 60 s is refused, one that says what
somebody sees after 15 s. Every other order is answered under `event` with its id as `in_reply_to`.
"""

_PARAMETERS: Final[dict[str, dict[str, Any]]] = {
    "station": {
        "description": "Name of the station: one level of a topic.",
        "examples": ["field-1", "drill-field-1"],
    },
    "aircraft": {
        "description": "MAVLink system id of the aircraft, 1 to 255, or `watch` for the watch itself.",
        "examples": ["42", "watch"],
    },
    "rule": {
        "description": "Id of the rule, percent-encoded but for letters, digits and _ . - ~ : @",
        "examples": ["link-lost", "watch-mqtt"],
    },
}


class _Channel(NamedTuple):
    """What is said of a channel beside its models. `key` names it; `retained` None: the watch receives it."""

    key: str
    title: str
    about: str
    retained: bool | None


_CHANNELS: Final[dict[str, _Channel]] = {
    "watchkeeper/{station}/status": _Channel(
        "status",
        "Whether the watch runs",
        "The broker says `lost` in its place if the watch dies (its will).",
        True,
    ),
    "watchkeeper/{station}/{aircraft}/alert/{rule}": _Channel(
        "alert",
        "How an alert stands",
        "Published anew at every connect; emptied ten minutes after it is over.",
        True,
    ),
    "watchkeeper/{station}/{aircraft}/event": _Channel(
        "event", "What happened", "Changes of alerts, steps before a take-off, and answers to orders.", False
    ),
    "watchkeeper/{station}/{aircraft}/callout": _Channel(
        "callout", "What is said", "Words given to the voice; a test call to the post reaches it here.", False
    ),
    "watchkeeper/{station}/{aircraft}/readings": _Channel(
        "readings",
        "Readings, once a second",
        "Never sent late: what the broker is too slow for is left out.",
        False,
    ),
    "watchkeeper/{station}/{aircraft}/outlook": _Channel(
        "outlook",
        "What follows from the readings, once a second",
        "With `watch` in place of an aircraft: what the watch says of itself. Never sent late.",
        False,
    ),
    "watchkeeper/{station}/{aircraft}/surroundings": _Channel(
        "surroundings",
        "What lies around an aircraft's home",
        "Sent anew when it changes, at most every ten seconds, and at every connect; emptied when the aircraft is "
        "gone or the watch has been stopped.",
        True,
    ),
    "watchkeeper/{station}/{aircraft}/alert/{rule}/order": _Channel(
        "alertOrder",
        "An order about an alert",
        "An acknowledgement belongs to a role: only the pilot's quiets the pilot's voice. No warning is shelved "
        "from afar in flight. The broker's access rules have to hold who may write in whose name.",
        None,
    ),
    "watchkeeper/{station}/{aircraft}/order": _Channel(
        "crewOrder",
        "An order about an aircraft",
        "Before a take-off: items of the checklist, test calls, and that the giver's own role hears (the post: "
        "reads) the watch. At any time: what observer or post see, which the pilot is told at once.",
        None,
    ),
}

_EXAMPLES: Final[dict[str, dict[str, Any]]] = {
    "OrderMessage": {
        "message_id": "0b4c8f0e-6a3e-4c55-9d0e-1f3a5b7c9d01",
        "role": "observer",
        "by": "Ada",
        "at": "2026-05-04T09:30:00Z",
        "action": "shelve",
        "minutes": 5,
    },
    "CrewOrder": {
        "message_id": "0b4c8f0e-6a3e-4c55-9d0e-1f3a5b7c9d02",
        "role": "observer",
        "by": "Ada",
        "at": "2026-05-04T09:30:00Z",
        "action": "check",
        "item": "rotor latches",
    },
}


def document() -> dict[str, Any]:
    """Return the document."""
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Watchkeeper over MQTT",
            "version": __version__,
            "description": _ABOUT,
        },
        "defaultContentType": "application/json",
        "channels": {_CHANNELS[topic].key: _channel(topic) for topic in PAYLOADS},
        "operations": dict(_operation(topic) for topic in PAYLOADS),
        "components": {
            "messages": {name: _message(name) for name in MODELS},
            "parameters": _PARAMETERS,
            "schemas": shared_schemas("#/components/schemas/{model}"),
        },
    }


def _channel(topic: str) -> dict[str, Any]:
    said = _CHANNELS[topic]
    names = [name for name in _PARAMETERS if f"{{{name}}}" in topic]
    return {
        "address": topic,
        "title": said.title,
        "description": said.about,
        "messages": {m.__name__: {"$ref": f"#/components/messages/{m.__name__}"} for m in PAYLOADS[topic]},
        "parameters": {name: {"$ref": f"#/components/parameters/{name}"} for name in names},
    }


def _operation(topic: str) -> tuple[str, dict[str, Any]]:
    said = _CHANNELS[topic]
    receives = said.retained is None
    operation: dict[str, Any] = {
        "action": "receive" if receives else "send",
        "channel": {"$ref": f"#/channels/{said.key}"},
        "title": said.title,
        "messages": [{"$ref": f"#/channels/{said.key}/messages/{m.__name__}"} for m in PAYLOADS[topic]],
        "bindings": {"mqtt": {"qos": 1, "retain": bool(said.retained), "bindingVersion": _BINDING}},
    }
    if receives:
        others = [] if said.key == "alertOrder" else ["PreparationEvent"]
        answers = ["AlertEvent", *others, "RefusalEvent"]
        operation["reply"] = {
            "channel": {"$ref": "#/channels/event"},
            "messages": [{"$ref": f"#/channels/event/messages/{name}"} for name in answers],
        }
    return f"{'receive' if receives else 'send'}{said.key[0].upper()}{said.key[1:]}", operation


def _message(name: str) -> dict[str, Any]:
    message: dict[str, Any] = {
        "name": name,
        "contentType": "application/json",
        "payload": {"$ref": f"#/components/schemas/{name}"},
    }
    if name in _EXAMPLES:
        message["examples"] = [{"name": "order", "payload": _EXAMPLES[name]}]
    return message
