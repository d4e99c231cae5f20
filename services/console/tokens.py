"""Tokens for people's programs: shown once, kept as a digest, taken back at any time, and dated if so wished."""

import hmac
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from secrets import token_hex, token_urlsafe

from services.console.accounts import Account, AccountRefused, Accounts, Book, KeptToken
from services.console.sessions import digest

MARK = "coldside-"
"""What every token begins with, so that one that went astray is recognised."""
MOST_TOKENS = 20
LONGEST_LABEL = 80


@dataclass(frozen=True, slots=True)
class Shown:
    """A new token: `secret` is seen this one time."""

    secret: str
    kept: KeptToken


def make(
    accounts: Accounts,
    name: str,
    label: str,
    now: datetime,
    expires: datetime | None = None,
    make_secret: Callable[[], str] = token_urlsafe,
) -> Shown:
    """A token with the rights of the account. Raises AccountRefused for an unknown one, a past date, too many."""
    if expires is not None and expires <= now:
        raise AccountRefused(f"a token cannot expire in the past, at {expires:%Y-%m-%d %H:%M} UTC")
    if not 0 < len(label.strip()) <= LONGEST_LABEL:
        raise AccountRefused(f"a token needs a label of up to {LONGEST_LABEL} characters that says what it is for")
    secret = MARK + make_secret()
    kept = KeptToken(id=token_hex(4), label=label.strip(), digest=digest(secret), made=now, expires=expires)

    def with_it(account: Account) -> Account:
        if len(account.tokens) >= MOST_TOKENS:
            raise AccountRefused(f"{name!r} has {MOST_TOKENS} tokens already; take one back first")
        return account.model_copy(update={"tokens": (*account.tokens, kept)})

    accounts.update(name, with_it)
    return Shown(secret, kept)


def take_back(accounts: Accounts, name: str, token_id: str) -> None:
    """From now on it opens nothing. Raises AccountRefused when the account has no such token."""

    def without(account: Account) -> Account:
        left = tuple(one for one in account.tokens if one.id != token_id)
        if len(left) == len(account.tokens):
            raise AccountRefused(f"{name!r} has no token {token_id!r}")
        return account.model_copy(update={"tokens": left})

    accounts.update(name, without)


def owner(book: Book, secret: str, now: datetime) -> Account | None:
    """Whose token it is; None for one that is unknown, taken back or expired."""
    wanted = digest(secret)
    for account in book.accounts:
        for token in account.tokens:
            if hmac.compare_digest(token.digest, wanted):
                return account if token.expires is None or now < token.expires else None
    return None
