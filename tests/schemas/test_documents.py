"""Generated documents: fresh, and true to what is really sent."""

import json
import re
from pathlib import Path

import pytest

from schemas.asyncapi import document
from schemas.contract import KINDS
from schemas.topics import SHAPES, TopicKind
from scripts.documents import generated

FILES = generated()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_generated_document_is_fresh(path: Path) -> None:
    assert path.read_text(encoding="utf-8") == FILES[path], "stale: run `make docs`"


def test_every_reference_in_the_contract_document_leads_somewhere() -> None:
    whole = document()
    for reference in re.findall(r'"\$ref": "#/([^"]+)"', json.dumps(whole)):
        found = whole
        for part in reference.split("/"):
            found = found[part]
        assert found


def test_contract_document_has_every_topic_and_message() -> None:
    whole = document()
    assert set(whole["channels"]) == {kind.value for kind in TopicKind}
    assert set(whole["components"]["messages"]) == {model.__name__ for model in KINDS}
    assert whole["channels"]["reading"]["address"] == "coldside/{site}/reading/{chamber}/{probe}"


def test_contract_document_says_what_is_retained() -> None:
    operations = document()["operations"]
    told = {kind: operations[f"send-{kind}"]["bindings"]["mqtt"]["retain"] for kind in TopicKind}
    assert told == {kind: shape.retained for kind, shape in SHAPES.items()}
