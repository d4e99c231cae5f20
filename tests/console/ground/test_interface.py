"""The interface does as its own description says, against a real broker and the barn's services."""

import json
from typing import Any
from urllib.request import urlopen

import hypothesis
import pytest
import schemathesis
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.console.site import Site
from tests.waiting import wait_until

EXAMPLES = 3
PER_PROCESS = ("/rehearsals", "/report.html", "/report.pdf", "/backup", "/support-bundle")
"""Each of these starts a process or copies the store: a test of their own has them."""
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]


@pytest.fixture(scope="module")
def description(spoilt: Site) -> dict[str, Any]:
    with urlopen(spoilt.at("/api/v1/openapi.json"), timeout=60) as answer:
        found: dict[str, Any] = json.load(answer)
    return found


def operations(description: dict[str, Any]) -> set[tuple[str, str]]:
    paths = description["paths"].items()
    return {(path, method) for path, methods in paths for method in methods if not path.endswith(PER_PROCESS)}


def test_no_operation_fails_or_answers_otherwise_than_described(description: dict[str, Any], spoilt: Site) -> None:
    wanted = operations(description)
    schema = schemathesis.openapi.from_dict(description)
    schema.config.update(base_url=spoilt.at("").rstrip("/"))
    tried = set()
    for result in schema.get_all_operations():
        operation = result.ok()
        if (operation.path, operation.method) in wanted:
            _try(operation)
            tried.add((operation.path, operation.method))
    assert tried == wanted


def _try(operation: Any) -> None:
    @hypothesis.given(case=operation.as_strategy())
    @hypothesis.settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    def check(case: Any) -> None:
        answer = case.call(timeout=60)
        if answer.status_code == 503:  # a machine so busy that a service did not answer: it must, by and by
            wait_until(lambda: case.call(timeout=60).status_code != 503, f"{operation.path} is answered")
            answer = case.call(timeout=60)
        case.validate_response(answer, checks=CHECKS)

    check()
