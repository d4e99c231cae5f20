"""Who has signed in: sessions that outlive a restart of the console and end with the account, its password or time."""

import hashlib
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from secrets import token_urlsafe
from typing import Literal

from schemas.base import Instant, Model, Name
from services.console.accounts import Account, Book
from services.runtime.state import StateFile

FILE = "sessions.json"
COOKIE = "coldside_session"
LASTS = timedelta(days=14)
MOST_KEPT = 200


class Session(Model):
    """`changed` is the account's at sign-in: another one means another role or password, and ends the session."""

    name: Name
    changed: Instant
    ends: Instant


class Kept(Model):
    """By the SHA-256 of the secret in the cookie: whoever reads the file cannot sign in with it."""

    v: Literal[1] = 1
    sessions: dict[str, Session] = {}


class Sessions:
    """`make_secret` is handed in by tests that need to know what comes."""

    def __init__(self, folder: Path, make_secret: Callable[[], str] = token_urlsafe) -> None:
        self._file = StateFile(folder / FILE, Kept)
        self._make_secret = make_secret
        kept = self._file.load()
        self._sessions = dict(kept.sessions) if kept else {}

    def begin(self, account: Account, now: datetime) -> str:
        """The secret for the cookie. Raises OSError when the disk refuses."""
        secret = self._make_secret()
        self._sessions = {key: one for key, one in self._sessions.items() if one.ends > now}
        self._sessions[digest(secret)] = Session(name=account.name, changed=account.changed, ends=now + LASTS)
        while len(self._sessions) > MOST_KEPT:
            del self._sessions[next(iter(self._sessions))]
        self._save()
        return secret

    def account(self, secret: str, book: Book, now: datetime) -> Account | None:
        """Whose session it is; None when it has ended or never was."""
        session = self._sessions.get(digest(secret))
        if session is None or session.ends <= now:
            return None
        account = book.find(session.name)
        return account if account and account.changed == session.changed else None

    def end(self, secret: str) -> None:
        """Signs out; a secret that is not known changes nothing."""
        if self._sessions.pop(digest(secret), None):
            self._save()

    def _save(self) -> None:
        self._file.save(Kept(sessions=self._sessions))


def digest(secret: str) -> str:
    """What is kept instead of a secret with 256 random bits, which needs neither salt nor a slow hash."""
    return hashlib.sha256(secret.encode()).hexdigest()
