"""The contract as an AsyncAPI 3 document and as JSON Schemas, made from the models so that they cannot disagree."""

from typing import Any

from pydantic.json_schema import models_json_schema

from schemas.base import SCHEMA_VERSION, Message
from schemas.contract import KINDS
from schemas.plant import Plant
from schemas.profiles import Profile
from schemas.topics import ROOT, SHAPES, TopicKind

_REFERENCE = "#/components/schemas/{model}"


def document() -> dict[str, Any]:
    """The AsyncAPI 3.0 document of all topics and messages."""
    schemas = models_json_schema([(model, "serialization") for model in KINDS], ref_template=_REFERENCE)[1]["$defs"]
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "coldside",
            "version": f"{SCHEMA_VERSION}.0.0",
            "description": "Messages between the services of one site, as UTF-8 JSON over MQTT 3.1.1.",
        },
        "defaultContentType": "application/json",
        "channels": {kind.value: _channel(kind) for kind in TopicKind},
        "operations": {f"send-{kind}": _operation(kind) for kind in TopicKind},
        "components": {"messages": {model.__name__: _message(model) for model in KINDS}, "schemas": schemas},
    }


def json_schemas() -> dict[str, dict[str, Any]]:
    """JSON Schemas of what people write, by file name: the plant file and profiles."""
    return {
        "plant.schema.json": Plant.model_json_schema(by_alias=True),
        "profile.schema.json": Profile.model_json_schema(by_alias=True),
    }


def _channel(kind: TopicKind) -> dict[str, Any]:
    levels = ("site", *SHAPES[kind].levels)
    address = "/".join((ROOT, "{site}", kind, *(f"{{{level}}}" for level in SHAPES[kind].levels)))
    models = [model for model, its_kind in KINDS.items() if its_kind is kind]
    return {
        "address": address,
        "parameters": {level: {"description": f"Name of the {level}."} for level in levels},
        "messages": {model.__name__: {"$ref": f"#/components/messages/{model.__name__}"} for model in models},
    }


def _operation(kind: TopicKind) -> dict[str, Any]:
    return {
        "action": "send",
        "channel": {"$ref": f"#/channels/{kind}"},
        "summary": f"Sent by: {SHAPES[kind].owner}.",
        "bindings": {"mqtt": {"qos": 1, "retain": SHAPES[kind].retained, "bindingVersion": "0.2.0"}},
    }


def _message(model: type[Message]) -> dict[str, Any]:
    summary = (model.__doc__ or "").strip().split("\n")[0]
    return {
        "name": model.__name__,
        "summary": summary,
        "payload": {"$ref": _REFERENCE.format(model=model.__name__)},
    }
