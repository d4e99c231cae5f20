"""History: how fast it is written and read back, and how much room it takes.

Baselines are taken in the same run on the same machine: a bare `executemany` of the same rows for writing, a bare scan
of one table for reading raw, a raw line-protocol post for InfluxDB.
"""

import sqlite3
import tempfile
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from random import Random
from statistics import median

from benchmarks.rows import Row, at_least, at_most
from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.telemetry import Quality, TemperatureReading
from services.recorder.core import Recorder
from services.recorder.housekeeping import Retention
from services.recorder.rows import Sample, Series, SeriesKind, milliseconds
from services.recorder.sqlite_store import SqliteStore
from services.runtime.clock import machine_seconds
from services.runtime.service import Incoming

NAME = "history"
SITE, CHAMBER = "shed", "left"
START = datetime(2026, 1, 1, tzinfo=UTC)
BATCH = 500
WRITTEN = 20_000
ROUNDS = 5
DAYS_30 = timedelta(days=30)
CHAMBERS = 12
PLOTTED = (("reading", "beer"), ("setpoint", "setpoint"))
"""What the overview draws of each chamber."""
CHAMBER_SERIES = ("beer", "air", "room", "line", "bath")
PLANT = Plant.model_validate(
    {
        "site": {"name": SITE},
        "chambers": {
            CHAMBER: {"kind": "fridge", "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}}}
        },
    }
)


def run() -> Iterable[Row]:
    """All figures; about two minutes."""
    with tempfile.TemporaryDirectory() as folder:
        yield writing(Path(folder))
        yield from reading_a_month(Path(folder))
        yield from growth(Path(folder))


def writing(folder: Path) -> Row:
    """Messages through the recorder, against the same rows into a bare table; both durable every 500."""
    incoming = list(_readings(WRITTEN))
    rows = [(1, milliseconds(one.body.at), one.body.value, 0) for one in incoming]  # type: ignore[union-attr]
    pairs = [(_bare_rate(folder / f"bare-{n}", rows), _our_rate(folder / f"ours-{n}", incoming)) for n in range(ROUNDS)]
    bare, ours = median(pair[0] for pair in pairs), median(pair[1] for pair in pairs)
    ratio = median(pair[1] / pair[0] for pair in pairs)
    return at_least(NAME, "sqlite_write_over_bare", ratio, "rows/s over rows/s", 0.4, bare, ours / bare)


def reading_a_month(folder: Path) -> Iterator[Row]:
    """259,200 samples into 1,000 buckets, and all of them raw, against a scan of a bare table that holds the same."""
    store, bare = SqliteStore(folder / "month"), sqlite3.connect(folder / "month-bare")
    series, samples = Series(SITE, CHAMBER, SeriesKind.READING, "beer", "degC"), list(_wave("beer", START, DAYS_30))
    store.write([Sample(series, *one) for one in samples])
    _settle(store, START + DAYS_30 + timedelta(hours=2))
    _bare_table(bare, samples)
    end = START + DAYS_30
    buckets_s = _seconds(lambda: store.buckets(series, START, end, 1000))
    raw_s = _seconds(lambda: store.raw(series, START, end))
    scan_s = _seconds(lambda: bare.execute("SELECT at, value, grade FROM sample WHERE series = 1").fetchall())
    yield at_most(NAME, "read_30_days_rollup_ms", 1000 * buckets_s, "ms", 20, 1000 * scan_s, buckets_s / scan_s)
    yield at_most(NAME, "read_30_days_raw_over_bare_scan", raw_s / scan_s, "s over s", 1.3, scan_s, raw_s / scan_s)
    store.close()


def growth(folder: Path) -> Iterator[Row]:
    """The overview of twelve chambers and the room one chamber takes, after a month, a year and three years."""
    store = SqliteStore(folder / "years")
    overview_s: dict[int, float] = {}
    for months in range(1, 37):
        _add_month(store, months)
        if months in (1, 12, 36):
            span = timedelta(days=30 * months)
            overview_s[months] = _seconds(lambda span=span: _overview(store, span))  # type: ignore[misc]
            yield Row(NAME, f"overview_{months}_months_12_chambers_s", overview_s[months], "s")
    yield at_most(
        NAME, "overview_year_12_chambers_s", overview_s[12], "s", 1, overview_s[1], overview_s[12] / overview_s[1]
    )
    store.close()
    yield from _room(folder)


def _room(folder: Path) -> Iterator[Row]:
    path = folder / "room"
    store = SqliteStore(path)
    for month in range(36):
        begins = START + month * DAYS_30
        for name in CHAMBER_SERIES:
            series = Series(SITE, CHAMBER, SeriesKind.READING, name, "degC")
            _write(store, series, _wave(name, begins, DAYS_30 + (timedelta(days=5) if month == 11 else timedelta(0))))
        _settle(store, begins + DAYS_30 + timedelta(hours=2))
        if month in (0, 11, 35):
            store.query("PRAGMA wal_checkpoint(TRUNCATE)")
            size = path.stat().st_size / 1e6
            yield Row(NAME, f"mb_per_chamber_{month + 1}_months", size, "MB")
        if month == 11:
            yield at_most(NAME, "mb_per_chamber_year", size, "MB", 80)
    store.close()


def _add_month(store: SqliteStore, month: int) -> None:
    """Twelve chambers' plotted series, one more month; sampled every minute, which is what is left of it later."""
    begins = START + (month - 1) * DAYS_30
    for number in range(CHAMBERS):
        for kind, name in PLOTTED:
            series = Series(SITE, f"chamber-{number}", kind, name, "degC")
            _write(store, series, _wave(name, begins, DAYS_30, every_s=60))
    _settle(store, begins + DAYS_30 + timedelta(hours=2))


def _overview(store: SqliteStore, span: timedelta) -> None:
    for number in range(CHAMBERS):
        for kind, name in PLOTTED:
            store.buckets(Series(SITE, f"chamber-{number}", kind, name, "degC"), START, START + span, 500)


def _wave(name: str, start: datetime, span: timedelta, every_s: int = 10) -> Iterator[tuple[int, float, int]]:
    """A probe with steps of 1/16 K around a slow drift, with noise, as cheap sensors give."""
    random = Random(f"{name}{start}")
    start_ms, value = milliseconds(start), 18.0
    for number in range(int(span.total_seconds() / every_s)):
        value += random.gauss(0, 0.02) - 0.001 * (value - 18)
        yield start_ms + 1000 * every_s * number, round(16 * (value + random.gauss(0, 0.04))) / 16, 0


def _write(store: SqliteStore, series: Series, samples: Iterator[tuple[int, float, int]]) -> None:
    while batch := [Sample(series, *one) for one in islice(samples, 50_000)]:
        store.write(batch)


def _settle(store: SqliteStore, now: datetime) -> None:
    while store.maintain(now, Retention()):
        pass


def _readings(count: int) -> Iterator[Incoming]:
    topic = ""
    for at_ms, value, _ in islice(_wave("beer", START, DAYS_30), count):
        at = START + timedelta(milliseconds=at_ms - milliseconds(START))
        reading = TemperatureReading(
            at=at, source="bridge", chamber=CHAMBER, probe="beer", quality=Quality.GOOD, temperature_c=value
        )
        topic = topic or topic_for(SITE, reading)
        yield Incoming(topic, reading)


def _our_rate(path: Path, incoming: list[Incoming]) -> float:
    store = SqliteStore(path)
    recorder = Recorder(PLANT, sink=store)
    began = machine_seconds()
    for number, one in enumerate(incoming, start=1):
        recorder.receive(one, START)
        if number % BATCH == 0:
            recorder.flush(START)
    took_s = machine_seconds() - began
    store.close()
    return len(incoming) / took_s


def _bare_rate(path: Path, rows: list[tuple[int, int, float, int]]) -> float:
    connection = sqlite3.connect(path)
    _create(connection)
    began = machine_seconds()
    for first in range(0, len(rows), BATCH):
        with connection:
            connection.executemany("INSERT OR REPLACE INTO sample VALUES (?, ?, ?, ?)", rows[first : first + BATCH])
    took_s = machine_seconds() - began
    connection.close()
    return len(rows) / took_s


def _bare_table(connection: sqlite3.Connection, samples: list[tuple[int, float, int]]) -> None:
    _create(connection)
    with connection:
        connection.executemany("INSERT INTO sample VALUES (1, ?, ?, ?)", samples)


def _create(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(
        "CREATE TABLE sample (series INTEGER, at INTEGER, value REAL, grade INTEGER, PRIMARY KEY (series, at)) WITHOUT ROWID"
    )


def _seconds(act: Callable[[], object]) -> float:
    """The median of a few runs."""
    taken = []
    for _ in range(ROUNDS):
        began = machine_seconds()
        act()
        taken.append(machine_seconds() - began)
    return median(taken)
