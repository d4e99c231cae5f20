"""Writes every dashboard's JSON again: `python -m grafana_provisioning.build`. A test fails when one is stale."""

import json
from pathlib import Path
from typing import Any

from grafana_foundation_sdk.cog.encoder import JSONEncoder

from grafana_provisioning.dashboards import ALL

FOLDER = Path(__file__).parent / "dashboards"


def generated() -> dict[Path, str]:
    """Each file and what it must contain."""
    return {FOLDER / f"{name}.json": _text(as_stored(as_built(name))) for name in ALL}


def as_built(name: str) -> dict[str, Any]:
    """One dashboard as the SDK describes it."""
    built: dict[str, Any] = json.loads(json.dumps(ALL[name]().build(), cls=JSONEncoder))
    return built


def as_stored(built: dict[str, Any]) -> dict[str, Any]:
    """What the SDK cannot say: the data source wants an annotation's statement under `query`, and its columns."""
    for one in built["annotations"].get("list", ()):
        one |= {"query": one.pop("expr"), "textColumn": "text", "titleColumn": "name"}
    return built


def _text(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def main() -> None:
    """Writes them."""
    for path, text in generated().items():
        path.write_text(text, encoding="utf-8")
        print(path.relative_to(FOLDER.parent.parent))


if __name__ == "__main__":
    main()
