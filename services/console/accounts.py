"""Who may use the console: people with a role and a password, and tokens for their programs. No account comes along."""

import fcntl
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from secrets import token_urlsafe
from typing import Literal

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from pydantic import Field, TypeAdapter, ValidationError

from schemas.base import Instant, Model, Name
from services.runtime.durable import write_durably

FILE = "accounts.json"
SECRET_FILE = "page-secret"
SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 500


class Role(StrEnum):
    """What somebody may do: look, or also act; `nobody` has not signed in."""

    NOBODY = "nobody"
    VIEWER = "viewer"
    OPERATOR = "operator"


class AccountRefused(ValueError):
    """The accounts were not changed; the text says why and what would be right."""


class KeptToken(Model):
    """A token as it is kept: `digest` is the SHA-256 of the secret, which has 256 random bits."""

    id: str
    label: str
    digest: str
    made: Instant
    expires: Instant | None = None


class Account(Model):
    """One person."""

    name: Name
    role: Literal[Role.VIEWER, Role.OPERATOR]
    password: str = Field(description="Argon2id, with its salt and costs.")
    changed: Instant = Field(description="When role or password were set last; sessions from before do not count.")
    tokens: tuple[KeptToken, ...] = ()


class Book(Model):
    """All accounts."""

    v: Literal[1] = 1
    accounts: tuple[Account, ...] = ()

    def find(self, name: str) -> Account | None:
        """The account of that name."""
        return next((one for one in self.accounts if one.name == name), None)

    def put(self, account: Account) -> "Book":
        """With this account added, or in the place of the one of its name."""
        others = [one for one in self.accounts if one.name != account.name]
        return Book(accounts=tuple(sorted([*others, account], key=lambda one: one.name)))

    @property
    def has_operator(self) -> bool:
        """Whether somebody can act after signing in."""
        return any(one.role is Role.OPERATOR for one in self.accounts)


_Stamp = tuple[int, int, int] | None
_NAME: TypeAdapter[str] = TypeAdapter(Name)


class Accounts:
    """The file of accounts, read again whenever it has changed: the command line writes it, too."""

    def __init__(self, folder: Path, hasher: PasswordHasher | None = None) -> None:
        self._path = folder / FILE
        self._hasher = hasher or PasswordHasher(time_cost=3, memory_cost=19_456, parallelism=1)
        self._stamp: _Stamp = None
        self._book = Book()
        self._decoy = ""

    @property
    def book(self) -> Book:
        """As the file is now. Raises AccountRefused when it cannot be read: then nobody gets in."""
        stamp = _stamp(self._path)
        if stamp != self._stamp:
            self._book = _read(self._path)
            self._stamp = stamp
        return self._book

    def check(self, name: str, password: str) -> Account | None:
        """The account when the password is its own; takes as long for a name that is not there."""
        account = self.book.find(name)
        kept = account.password if account else self._some_hash()
        try:
            self._hasher.verify(kept, password[:LONGEST_PASSWORD])
        except (Argon2Error, InvalidHashError):
            return None
        return account

    def add(self, name: str, role: Role, password: str, now: datetime) -> Account:
        """A new account. Raises AccountRefused for a name that is taken or cannot be, and for a short password."""
        _check_name(name)
        hashed = self._hash(password)

        def change(book: Book) -> Book:
            if book.find(name):
                raise AccountRefused(f"there is an account {name!r} already; change its password, or remove it first")
            return book.put(_account(name, role, hashed, now))

        return self._changed(change, name)

    def set_password(self, name: str, password: str, now: datetime) -> Account:
        """Another password; sessions from before end. Raises AccountRefused."""
        hashed = self._hash(password)
        return self.update(name, lambda one: one.model_copy(update={"password": hashed, "changed": now}))

    def update(self, name: str, change: Callable[[Account], Account]) -> Account:
        """One account changed. Raises AccountRefused when there is none of that name."""
        return self._changed(lambda book: book.put(change(_known(book, name))), name)

    def remove(self, name: str) -> None:
        """Takes an account away with its tokens; the last operator stays while viewers do. Raises AccountRefused."""

        def change(book: Book) -> Book:
            _known(book, name)
            left = Book(accounts=tuple(one for one in book.accounts if one.name != name))
            if left.accounts and not left.has_operator:
                raise AccountRefused(f"{name!r} is the only operator; add another first")
            return left

        with self._writing() as write:
            write(change)

    def secret(self) -> str:
        """What page cookies are signed with; made at the first call and kept beside the accounts."""
        path = self._path.with_name(SECRET_FILE)
        if not path.exists():
            write_durably(path, token_urlsafe(32).encode())
        return path.read_text(encoding="utf-8")

    def _changed(self, change: Callable[[Book], Book], name: str) -> Account:
        with self._writing() as write:
            return _known(write(change), name)

    @contextmanager
    def _writing(self) -> Iterator[Callable[[Callable[[Book], Book]], Book]]:
        """One writer at a time, in whichever process."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        lock = os.open(self._path.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield self._write
        finally:
            os.close(lock)

    def _write(self, change: Callable[[Book], Book]) -> Book:
        book = change(_read(self._path))
        write_durably(self._path, book.model_dump_json(indent=1).encode())
        return book

    def _hash(self, password: str) -> str:
        if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
            raise AccountRefused(f"a password has {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters")
        return self._hasher.hash(password)

    def _some_hash(self) -> str:
        if not self._decoy:
            self._decoy = self._hasher.hash(os.urandom(16))
        return self._decoy


def _account(name: str, role: Role, hashed: str, now: datetime) -> Account:
    if role is Role.NOBODY:
        raise AccountRefused("an account's role is viewer or operator")
    return Account(name=name, role=role, password=hashed, changed=now)


def _check_name(name: str) -> None:
    try:
        _NAME.validate_python(name)
    except ValidationError as error:
        raise AccountRefused(f"{name!r} cannot be a name: lower-case letters, digits and inner hyphens can") from error


def _known(book: Book, name: str) -> Account:
    account = book.find(name)
    if account is None:
        there = ", ".join(one.name for one in book.accounts) or "none"
        raise AccountRefused(f"there is no account {name!r}; there are: {there}")
    return account


def _read(path: Path) -> Book:
    try:
        return Book.model_validate_json(path.read_bytes())
    except FileNotFoundError:
        return Book()
    except (OSError, ValidationError) as error:
        raise AccountRefused(f"{path} cannot be read, so nobody can sign in: {_first_line(error)}") from error


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0]


def _stamp(path: Path) -> _Stamp:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
