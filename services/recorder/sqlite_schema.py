"""The layout of the embedded store's file, version by version; opening an older file brings it up to date."""

import sqlite3

from services.recorder.store import NewerStore

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        site TEXT NOT NULL, chamber TEXT NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL,
        unit TEXT NOT NULL, origin TEXT NOT NULL,
        UNIQUE (site, chamber, kind, name, unit, origin)
    );
    CREATE TABLE sample (
        series INTEGER NOT NULL, at INTEGER NOT NULL, value REAL, grade INTEGER NOT NULL,
        PRIMARY KEY (series, at)
    ) WITHOUT ROWID;
    CREATE TABLE annotation (
        id TEXT PRIMARY KEY, at INTEGER NOT NULL,
        site TEXT NOT NULL, chamber TEXT NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL,
        batch TEXT NOT NULL, who TEXT NOT NULL, text TEXT NOT NULL, facts TEXT NOT NULL, origin TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE INDEX annotation_by_time ON annotation (site, at);
    CREATE INDEX annotation_by_batch ON annotation (batch, at) WHERE batch != '';
    """,
    """
    CREATE TABLE page (
        series INTEGER NOT NULL, level INTEGER NOT NULL, slot INTEGER NOT NULL,
        rows INTEGER NOT NULL, body BLOB NOT NULL,
        PRIMARY KEY (series, level, slot)
    );
    """,
)


def bring_up_to_date(connection: sqlite3.Connection, path: str) -> None:
    """Applies what is missing, each version in its own transaction; raises NewerStore for a later version's file."""
    version = stored_version(connection)
    if version > len(MIGRATIONS):
        raise NewerStore(f"{path}: written by a later version (layout {version}, this program knows {len(MIGRATIONS)})")
    for number, script in enumerate(MIGRATIONS[version:], start=version + 1):
        connection.executescript(f"BEGIN IMMEDIATE; {script} PRAGMA user_version = {number}; COMMIT;")


def stored_version(connection: sqlite3.Connection) -> int:
    """0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])
