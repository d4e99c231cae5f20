"""A copy of the embedded store, made while the recorder writes; and such a copy brought back, also meanwhile."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

from services.recorder.migration import Step, migrate
from services.recorder.sqlite_store import SqliteStore
from services.recorder.store import Store, StoreDamaged, StoreUnreachable


def back_up(path: Path, target: Path) -> None:
    """Copies the store, checks the copy, and only then gives it its name. Raises StoreError, leaving nothing."""
    part = target.with_name(f"{target.name}.part")
    part.unlink(missing_ok=True)
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        _copy(path, part)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def bring_back(backup: Path, target: Store, ledger: Path) -> Iterator[Step]:
    """Adds what a backup holds to a store that may be in use; what was recorded since stays. Yields its progress."""
    source = SqliteStore(backup, read_only=True)
    try:
        yield from migrate(source, target, ledger)
    finally:
        source.close()


def _copy(path: Path, part: Path) -> None:
    source = SqliteStore(path, read_only=True)
    copy = sqlite3.connect(part)
    try:
        source.copy_into(copy)
        (verdict,) = copy.execute("PRAGMA quick_check").fetchone()
        copy.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        raise StoreUnreachable(f"{part}: {error}") from error
    finally:
        copy.close()
        source.close()
    if verdict != "ok":
        raise StoreDamaged(f"the copy of {path} is damaged: {verdict}")
