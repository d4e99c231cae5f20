"""Works out who asks, from a cookie, a token, or from sitting at this machine while nobody has a password."""

from dataclasses import dataclass, field
from datetime import datetime
from http.cookies import CookieError, SimpleCookie

from services.console import tokens
from services.console.access import LOCAL, NOBODY, Visitor
from services.console.accounts import Account, AccountRefused, Accounts, Book
from services.console.attempts import Attempts
from services.console.headers import Headers, names_this_machine
from services.console.sessions import COOKIE, Sessions
from services.console.settings import is_loopback
from services.runtime.clock import Clock


@dataclass(slots=True)
class Keys:
    """All that opens the console."""

    accounts: Accounts
    sessions: Sessions
    clock: Clock
    attempts: Attempts = field(default_factory=Attempts)

    def who(self, headers: Headers, place: str) -> Visitor:
        """Who asks from a place, an address. A token that is no good is nobody's, whatever else comes along."""
        try:
            book = self.accounts.book
        except AccountRefused:
            return NOBODY
        if "authorization" in headers:
            return _visitor(self._by_token(headers["authorization"], book, self.clock.now()), "token")
        account = self.sessions.account(session_of(headers), book, self.clock.now())
        if account is None and not book.has_operator and is_loopback(place) and names_this_machine(headers):
            return LOCAL
        return _visitor(account, "session")

    def _by_token(self, written: str, book: Book, now: datetime) -> Account | None:
        scheme, _, secret = written.partition(" ")
        return tokens.owner(book, secret.strip(), now) if scheme.lower() == "bearer" else None


def session_of(headers: Headers) -> str:
    """The secret in the session's cookie, or nothing."""
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""


def _visitor(account: Account | None, by: str) -> Visitor:
    return Visitor(account.name, account.role, by) if account else NOBODY
