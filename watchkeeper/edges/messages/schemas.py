"""JSON schemas (draft 2020-12) of everything that goes over MQTT, made from the models."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, Literal

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, models_json_schema
from pydantic_core.core_schema import TupleSchema

from watchkeeper.edges.messages.payloads import PAYLOADS

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
MODELS: Final[Mapping[str, type[BaseModel]]] = {m.__name__: m for group in PAYLOADS.values() for m in group}
"""Every payload by the name of its model."""


class _Plain(GenerateJsonSchema):
    """Without titles that only repeat the names of fields."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ARG002
        return False

    def tuple_schema(self, schema: TupleSchema) -> dict[str, Any]:
        """Say pairs of one kind in words that mean the same in draft 7, which has no `prefixItems`."""
        said = super().tuple_schema(schema)
        kinds = said.pop("prefixItems")
        assert all(kind == kinds[0] for kind in kinds), "a tuple of several kinds"
        return said | {"items": kinds[0]}


def schemas() -> dict[str, dict[str, Any]]:
    """Return the schema of every payload, whole, by the name of its model."""
    return {
        name: {"$schema": DRAFT} | model.model_json_schema(schema_generator=_Plain)
        for name, model in MODELS.items()
    }


def shared_schemas(ref_template: str) -> dict[str, Any]:
    """Return the schemas of all payloads and of what they share, each once, referring to each other."""
    inputs: list[tuple[type[BaseModel], Literal["validation"]]] = [
        (model, "validation") for model in MODELS.values()
    ]
    _, found = models_json_schema(inputs, ref_template=ref_template, schema_generator=_Plain)
    shared: dict[str, Any] = found["$defs"]
    return shared
