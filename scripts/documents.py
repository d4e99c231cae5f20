"""Writes every generated document again: `python -m scripts.documents`. A test fails when one is stale."""

import json
from pathlib import Path

from grafana_provisioning.build import generated as dashboards
from schemas.asyncapi import document, json_schemas
from services.notifier.catalogue import standard_catalogue
from services.notifier.review import rationalisation
from services.supervisor.interlocks import document as interlocks
from tests.reference.sources import page as sources

DOCS = Path(__file__).parent.parent / "docs"


def generated() -> dict[Path, str]:
    """Each generated file and what it must contain."""
    contract = {"asyncapi.json": document(), **json_schemas()}
    return {
        **{DOCS / "contract" / name: json.dumps(content, indent=1) + "\n" for name, content in contract.items()},
        DOCS / "interlocks.md": interlocks(),
        DOCS / "alarms.md": rationalisation(standard_catalogue()),
        DOCS / "sources.md": sources(),
        **dashboards(),
    }


def main() -> None:
    """Writes them."""
    for path, text in generated().items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        print(path.relative_to(DOCS.parent))


if __name__ == "__main__":
    main()
