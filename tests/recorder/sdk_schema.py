"""Holds what the SDK read against the types it declares: by itself it reads anything and complains of nothing."""

import json
from collections.abc import Iterator
from functools import cache
from typing import Any, get_type_hints

from grafana_foundation_sdk.cog.encoder import JSONEncoder
from pydantic import ConfigDict, TypeAdapter, ValidationError

STRICT = ConfigDict(strict=True, arbitrary_types_allowed=True)


def misfits(described: Any) -> Iterator[str]:
    """Every attribute, at any depth, whose value is not of the type that the SDK's class declares for it."""
    for name, declared in _declared(type(described)).items():
        value = getattr(described, name)
        parts = list(_parts(value))
        try:
            if parts:
                declared.validate_python(value)
            else:
                declared.validate_json(json.dumps(value, cls=JSONEncoder))  # as JSON an enumeration is its value
        except ValidationError as error:
            yield f"{type(described).__name__}.{name} = {value!r}: {error.errors()[0]['msg']}"
        for part in parts:
            yield from misfits(part)


@cache
def _declared(kind: type[Any]) -> dict[str, TypeAdapter[Any]]:
    return {name: TypeAdapter(hint, config=STRICT) for name, hint in get_type_hints(kind).items()}


def _parts(value: Any) -> Iterator[Any]:
    """The objects in a value."""
    if isinstance(value, dict | list):
        for one in value.values() if isinstance(value, dict) else value:
            yield from _parts(one)
    elif hasattr(value, "to_json"):
        yield value
