"""Writes every generated document again: `python -m scripts.documents`. A test fails when one is stale."""

import json
from pathlib import Path

from schemas.asyncapi import document, json_schemas

ROOT = Path(__file__).parent.parent


def generated() -> dict[Path, str]:
    """Each generated file and what it must contain."""
    files = {ROOT / "docs" / "contract" / "asyncapi.json": document()}
    files |= {ROOT / "docs" / "contract" / name: schema for name, schema in json_schemas().items()}
    return {path: json.dumps(content, indent=1, sort_keys=False) + "\n" for path, content in files.items()}


def main() -> None:
    """Writes them."""
    for path, text in generated().items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        print(path.relative_to(ROOT))


if __name__ == "__main__":
    main()
