"""What the embedded nats-server reads: accounts with bcrypt hashes and the subjects that MQTT topics stand for."""

import json
from collections.abc import Iterable, Mapping

import bcrypt

from services.secure.rights import Account, Holder

ROUNDS = 4
"""The least that bcrypt takes: the passwords are random and long, and every guard connection pays for it."""
HEAD = "# Written by `coldside secure`; what is not named is refused."
SESSION = "$MQTT.sub.>"
"""Where the server delivers what a QoS 1 subscription gets; names under it are random and known to the server only."""


def subjects(topic_filter: str) -> tuple[str, ...]:
    """The NATS subjects of a topic or filter, as the server's documentation maps them.

    `/` becomes `.`, an empty level `/`, a dot inside a level `//`; `+` becomes `*` and `#` becomes `>`. A filter `a/#`
    takes in `a` itself, which `a.>` does not, so there are two of them.
    """
    whole = ".".join(_level(one) for one in topic_filter.split("/"))
    return (whole, whole.removesuffix(".>")) if whole.endswith(".>") else (whole,)


def _level(level: str) -> str:
    return {"": "/", "+": "*", "#": ">"}.get(level) or level.replace(".", "//")


def hashes(passwords: Mapping[str, str], before: Mapping[str, str]) -> dict[str, str]:
    """A bcrypt hash for each account; one of `before` that still fits is kept."""
    return {name: _hash(password, before.get(name, "")) for name, password in passwords.items()}


def _hash(password: str, kept: str) -> str:
    if kept and bcrypt.checkpw(password.encode(), kept.encode()):
        return kept
    return bcrypt.hashpw(password.encode(), bcrypt.gensalt(ROUNDS, b"2a")).decode()


def authorization(accounts: Iterable[Account], hashed: Mapping[str, str]) -> str:
    """A block to be included in the server's configuration; what is not named is refused."""
    users = [_user(account, hashed[account.name]) for account in accounts if account.holder is not Holder.CHECK]
    return "\n".join((HEAD, "authorization {", "  users = [", *users, "  ]", "}", ""))


def _user(account: Account, hashed: str) -> str:
    publish, subscribe = (
        [one for some in wanted for one in subjects(some)] for wanted in (account.writes, account.reads)
    )
    user = {
        "user": account.name,
        "password": hashed,
        "permissions": {"publish": {"allow": publish}, "subscribe": {"allow": [*subscribe, SESSION]}},
    }
    return json.dumps(user, ensure_ascii=False)
