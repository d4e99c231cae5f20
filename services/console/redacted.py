"""The plant as anybody may see it: no address of a person, no path of a secret, no user of a server."""

from typing import Any

from schemas.plant import Plant

HIDDEN = "(not shown)"
SECRET_ENDINGS = ("_file", "_env", "token", "password", "user", "organisation")
ADDRESSES = frozenset({"mail", "webhook", "apprise", "file", "env", "ping", "server", "sender"})
"""Names of fields under `people`, `notifier`, `broker` and `history` that lead to somebody or to something secret."""
GUARDED = ("people", "notifier", "broker", "history")


def redacted(plant: Plant) -> dict[str, Any]:
    """As plain data. Texts in the guarded sections are hidden unless their field is known to be harmless."""
    plain: dict[str, Any] = plant.model_dump(mode="json")
    return {section: _hidden(value) if section in GUARDED else value for section, value in plain.items()}


def _hidden(value: Any, field: str = "") -> Any:
    if isinstance(value, dict):
        return {name: _hidden(one, name) for name, one in value.items()}
    if isinstance(value, list):
        return [_hidden(one, field) for one in value]
    return HIDDEN if isinstance(value, str) and _is_secret(field, value) else value


def _is_secret(field: str, value: str) -> bool:
    return field in ADDRESSES or field.endswith(SECRET_ENDINGS) or "@" in value or "://" in value
