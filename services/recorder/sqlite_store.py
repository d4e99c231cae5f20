"""The embedded store: one SQLite file, readable by other processes while the recorder writes."""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import Any

from services.recorder.buckets import Buckets, even_edges
from services.recorder.housekeeping import KEEP_LONG, Retention, maintain
from services.recorder.rows import Annotation, Sample, Series, milliseconds
from services.recorder.samples import RawSamples
from services.recorder.shelf import Shelf
from services.recorder.sqlite_schema import bring_up_to_date
from services.recorder.store import ANY, DiskFull, Match, StoreDamaged, StoreError, StoreUnreachable
from services.recorder.summaries import Summaries

BUSY_S = 5.0
IN_MEMORY = Path(":memory:")

_COLUMNS = ("site", "chamber", "kind", "name", "unit", "origin")
_KEEP_SAMPLE = "INSERT OR REPLACE INTO sample VALUES (?, ?, ?, ?)"
_KEEP_ANNOTATION = "INSERT OR REPLACE INTO annotation VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"


class SqliteStore:
    """WAL with `synchronous=FULL`: what `write` returned from is there after a power cut.

    Opening raises StoreDamaged when the file is not a store, NewerStore when a later version wrote it.
    """

    def __init__(self, path: Path, *, read_only: bool = False, policy: Retention = KEEP_LONG) -> None:
        self.path = path
        self.policy = policy
        with _told(path):
            self._connection = _connect(path, read_only)
            if not read_only:
                bring_up_to_date(self._connection, str(path))
        self._ids: dict[Series, int] = {}

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """One transaction."""
        with self.transaction() as connection:
            ids = self._ids_of(samples)
            connection.executemany(_KEEP_SAMPLE, [(ids[one[0]], one[1], one[2], one[3]) for one in samples])
            connection.executemany(_KEEP_ANNOTATION, map(_annotation_row, annotations))

    def series(self, match: Match = ANY) -> list[Series]:
        """In order of site, chamber, kind and name."""
        where, values = _where(match, _COLUMNS)
        query = f"SELECT {', '.join(_COLUMNS)} FROM series WHERE {where} ORDER BY 1, 2, 3, 4"
        return [Series(*row) for row in self.query(query, values)]

    def buckets(self, series: Series, start: datetime, end: datetime, count: int) -> Buckets:
        """From roll-ups where a bucket holds many of them: its edges are then moved to where roll-ups begin."""
        edges = even_edges(milliseconds(start), milliseconds(end), count)
        return self.shelf(series).buckets(edges)

    def raw(self, series: Series, start: datetime, end: datetime) -> RawSamples:
        """As they came; what retention has dropped is gone."""
        return self.shelf(series).raw(milliseconds(start), milliseconds(end))

    def last_before(self, series: Series, moment: datetime) -> Sample | None:
        """By the key, at once."""
        return self.shelf(series).last_before(series, milliseconds(moment))

    def annotations(self, start: datetime, end: datetime, match: Match = ANY) -> list[Annotation]:
        """In order of time, then of id."""
        where, values = _where(match, ("site", "chamber", "kind", "name", "origin", "batch"))
        query = f"SELECT * FROM annotation WHERE at >= ? AND at < ? AND {where} ORDER BY at, id"
        return [_annotation(row) for row in self.query(query, (milliseconds(start), milliseconds(end), *values))]

    def write_summaries(self, series: Series, level_ms: int, summaries: Summaries) -> None:
        """Roll-ups of days of which nothing finer is known; the coarser levels are made of them."""
        if len(summaries):
            with self.transaction():
                self._ids_of([Sample(series, 0, None)])
            self.shelf(series).take(level_ms, summaries)

    def summaries(self, series: Series, level_ms: int, start_ms: int, end_ms: int) -> Summaries:
        """Roll-ups of one level."""
        return self.shelf(series).summaries(level_ms, start_ms, end_ms)

    def extent(self, series: Series) -> tuple[int, int] | None:
        """In milliseconds, end not included; wider than what is there by up to some days."""
        return self.shelf(series).extent()

    def maintain(self, now: datetime, policy: Retention | None = None) -> bool:
        """One small piece of housekeeping: packs a day, or drops what is too old; False when nothing is left to do."""
        return maintain(self, milliseconds(now), policy or self.policy)

    def shelf(self, series: Series) -> Shelf:
        """One series' part of the file."""
        return Shelf(self, self.id_of(series))

    def close(self) -> None:
        """Closes the file."""
        self._connection.close()

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing. Raises StoreError's kinds for what the disk or another writer refuses."""
        with _told(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                self._ids.clear()
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def copy_into(self, other: sqlite3.Connection) -> None:
        """The whole file as it is now, in one step, so that others who write meanwhile neither wait nor disturb it."""
        with _told(self.path):
            self._connection.backup(other)

    def query(self, text: str, values: Sequence[Any] = ()) -> list[Any]:
        """Every row of an answer."""
        with _told(self.path):
            return self._connection.execute(text, values).fetchall()

    def id_of(self, series: Series) -> int:
        """The number a series has in the file, or -1 when there is nothing of it."""
        found = self._ids.get(series)
        if found is None:
            where = " AND ".join(f"{column} = ?" for column in _COLUMNS)
            rows = self.query(f"SELECT id FROM series WHERE {where}", series)
            if not rows:
                return -1
            found = self._ids[series] = int(rows[0][0])
        return found

    def numbers(self) -> list[int]:
        """Of all series."""
        return [row[0] for row in self.query("SELECT id FROM series ORDER BY id")]

    def _ids_of(self, samples: Sequence[Sample]) -> dict[Series, int]:
        ids = self._ids
        for series in {one[0] for one in samples} - ids.keys():
            if self.id_of(series) < 0:
                cursor = self._connection.execute(
                    f"INSERT INTO series ({', '.join(_COLUMNS)}) VALUES (?, ?, ?, ?, ?, ?)", series
                )
                ids[series] = int(cursor.lastrowid or 0)
        return ids


def open_or_set_aside(path: Path, policy: Retention = KEEP_LONG) -> tuple[SqliteStore, str]:
    """The store, and what had to be done: a damaged file is kept under another name and a new one begun."""
    try:
        return SqliteStore(path, policy=policy), ""
    except StoreDamaged as error:
        aside = next(one for one in (path.with_name(f"{path.name}.damaged-{n}") for n in count(1)) if not one.exists())
        path.rename(aside)
        for companion in ("-wal", "-shm"):
            path.with_name(path.name + companion).unlink(missing_ok=True)
        return SqliteStore(path, policy=policy), f"{error}; kept as {aside.name}, and a new store begun"


def _connect(path: Path, read_only: bool) -> sqlite3.Connection:
    if read_only:
        where = f"{path.absolute().as_uri()}?mode=ro"
        return sqlite3.connect(where, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    if path != IN_MEMORY:
        path.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    return connection


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """What SQLite says, in the store's own words."""
    try:
        yield
    except sqlite3.OperationalError as error:
        kind = DiskFull if "full" in str(error) else StoreUnreachable
        raise kind(f"{path}: {error}") from error
    except sqlite3.DatabaseError as error:
        if type(error) is not sqlite3.DatabaseError:
            raise  # a mistake of ours, not the file's
        raise StoreDamaged(f"{path}: {error}") from error
    except OSError as error:
        raise StoreError(f"{path}: {error}") from error


def _where(match: Match, columns: Sequence[str]) -> tuple[str, list[str]]:
    wanted = {column: value for column in columns if (value := getattr(match, column, None)) is not None}
    return " AND ".join(["1", *(f"{column} = ?" for column in wanted)]), list(wanted.values())


def _annotation_row(one: Annotation) -> tuple[Any, ...]:
    facts = json.dumps(one.facts, ensure_ascii=False, separators=(",", ":"))
    return (
        one.id, one.at_ms, one.site, one.chamber, one.kind, one.name, one.batch, one.who, one.text, facts, one.origin,
    )  # fmt: skip


def _annotation(row: Sequence[Any]) -> Annotation:
    id_, at, site, chamber, kind, name, batch, who, text, facts, origin = row
    return Annotation(id_, at, site, kind, name, chamber, batch, who, text, json.loads(facts), origin)
