"""History: how fast it is written and read back, and how much room it takes.

Baselines are taken in the same run on the same machine: a bare `executemany` of the same rows for writing, a bare scan
of one table for reading raw, a raw line-protocol post for InfluxDB.
"""

import os
import sqlite3
import tempfile
import threading
import zlib
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import islice, repeat
from pathlib import Path
from statistics import median

import numpy as np
import urllib3

from benchmarks.influx2 import PROGRAM, InfluxD2
from benchmarks.rows import Row, at_least, at_most
from benchmarks.servers import InfluxD, Server, VictoriaMetrics
from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.telemetry import Quality, TemperatureReading
from services.recorder.core import Recorder
from services.recorder.forwarder import Forwarder
from services.recorder.housekeeping import Retention
from services.recorder.influx_server import InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.rows import Sample, Series, SeriesKind, milliseconds, moment
from services.recorder.spool import Spool
from services.recorder.sqlite_store import SqliteStore
from services.runtime.clock import VirtualClock, machine_seconds
from services.runtime.service import Incoming

NAME = "history"
SITE, CHAMBER = "shed", "left"
START = datetime(2026, 1, 1, tzinfo=UTC)
BATCH = 500
WRITTEN = 20_000
ROUNDS = 9
DAYS_30 = timedelta(days=30)
CHAMBERS = 12
PLOTTED = (("reading", "beer"), ("setpoint", "setpoint"))
"""What the overview draws of each chamber."""
CHAMBER_SERIES = ("beer", "air", "room", "line", "bath")
YEAR = 12
MONTHS = (1, YEAR, 36)
"""After how many months growth is looked at."""
PLANT = Plant.model_validate(
    {
        "site": {"name": SITE},
        "chambers": {
            CHAMBER: {"kind": "fridge", "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}}}
        },
    }
)


def run() -> Iterable[Row]:
    """All figures; about four minutes."""
    with tempfile.TemporaryDirectory() as folder:
        yield sqlite_writing(Path(folder))
        yield from influx_writing(Path(folder))
        yield from reading_a_month(Path(folder))
        yield from overviews(Path(folder))
        yield from room(Path(folder))


def sqlite_writing(folder: Path) -> Row:
    """Messages through the recorder, against the same rows into a bare table; both durable every 500."""
    incoming = list(_readings(WRITTEN))
    rows = [(1, milliseconds(one.body.at), one.body.value, 0) for one in incoming]  # type: ignore[union-attr]
    pairs = [(_bare_rate(folder / f"bare-{n}", rows), _our_rate(folder / f"ours-{n}", incoming)) for n in range(ROUNDS)]
    return _over_bare("sqlite_write_over_bare", pairs)


def influx_writing(folder: Path) -> Iterator[Row]:
    """Messages through recorder, spool and forwarder to a real server, against writing lines and posting them, 500s.

    The v2 write path goes to VictoriaMetrics, the v1 path to InfluxDB 1.6: the servers that Debian has. To InfluxDB 2
    it goes as well where COLDSIDE_TEST_INFLUXD2 names that program.
    """
    v2, v1 = VictoriaMetrics(folder / "v2"), InfluxD(folder / "v1")
    to_v2 = InfluxServer(url=v2.url, database="d", organisation="o", token="t")
    yield from _writing_to(v2, lambda: to_v2, "influx_write_over_bare", folder)
    yield from _writing_to(v1, lambda: v1.new_database("d"), "influx_v1_write_over_bare", folder)
    if PROGRAM in os.environ:
        real = InfluxD2(folder / "influxd2")
        yield from _writing_to(real, lambda: real.new_database("d"), "influxdb_2_write_over_bare", folder)


def _writing_to(server: Server, database: Callable[[], InfluxServer], figure: str, folder: Path) -> Iterator[Row]:
    """`database` is called when the server runs."""
    server.start()
    try:
        yield _over_bare(figure, list(_influx_pairs(database(), folder / figure)))
    finally:
        server.kill()


def reading_a_month(folder: Path) -> Iterator[Row]:
    """259,200 samples into 1,000 buckets, and all of them raw, against a scan of a bare table that holds the same."""
    store, series = SqliteStore(folder / "month"), Series(SITE, CHAMBER, SeriesKind.READING, "beer", "degC")
    samples = list(_wave("beer", START, DAYS_30))
    _write(store, series, iter(samples))
    _settle(store, START + DAYS_30 + timedelta(hours=2))
    scan_s = _scan_seconds(folder / "month-bare", samples)
    buckets_s, raw_s = _reading_seconds(store, series, START)
    yield at_most(NAME, "read_30_days_rollup_ms", 1000 * buckets_s, "ms", 20, 1000 * scan_s, buckets_s / scan_s)
    yield at_most(NAME, "read_30_days_raw_over_bare_scan", raw_s / scan_s, "s over s", 1.3, scan_s, raw_s / scan_s)
    store.close()


def overviews(folder: Path) -> Iterator[Row]:
    """Beer and setpoint of twelve chambers in 500 buckets each, over all of one month, one year and three years.

    Sampled every ten minutes from the second month on: the hourly roll-ups that answer are as many as in life.
    """
    store, growth = SqliteStore(folder / "years"), Growth()
    for month in range(1, MONTHS[-1] + 1):
        _add_month(store, month, every_s=60 if month == 1 else 600)
        if month in MONTHS:
            taken_s = _seconds(partial(_overview, store, timedelta(days=30 * month)))
            yield growth.row("overview_{}_months_12_chambers_s", month, taken_s, "s")
        if month == YEAR:
            yield at_most(NAME, "overview_year_12_chambers_s", taken_s, "s", 1)
    store.close()


def room(folder: Path) -> Iterator[Row]:
    """What five series of one chamber take on disk, and how reading and writing fare as they grow.

    The month that is kept in full is sampled every 10 s, the others every 20 s: their minutes are as many and varied.
    """
    path, growth = folder / "room", Growth()
    store, series = SqliteStore(path), Series(SITE, CHAMBER, SeriesKind.READING, "beer", "degC")
    for month in range(1, MONTHS[-1] + 1):
        begins = START + (month - 1) * DAYS_30
        for name in CHAMBER_SERIES:
            _write(
                store, series._replace(name=name), _wave(name, begins, DAYS_30, every_s=10 if month in MONTHS else 20)
            )
        _settle(store, begins + DAYS_30 + timedelta(hours=2))
        if month in MONTHS:
            yield from _grown(store, path, series, month, growth)
    store.close()


class Growth:
    """Figures of one store as it grows; each is told beside what it was after the first month."""

    def __init__(self) -> None:
        self._first: dict[str, float] = {}

    def row(self, figure: str, month: int, value: float, unit: str) -> Row:
        """`figure` has `{}` where the number of months goes."""
        first = self._first.setdefault(figure, value)
        return Row(NAME, figure.format(month), value, unit, first, value / first)


def _grown(store: SqliteStore, path: Path, series: Series, month: int, growth: Growth) -> Iterator[Row]:
    store.query("PRAGMA wal_checkpoint(TRUNCATE)")
    size_mb = path.stat().st_size / 1e6
    yield growth.row("mb_per_chamber_{}_months", month, size_mb, "MB")
    if month == YEAR:
        yield at_most(NAME, "mb_per_chamber_year", size_mb, "MB", 80)
    ends = START + month * DAYS_30
    buckets_s, raw_s = _reading_seconds(store, series, ends - DAYS_30)
    yield growth.row("read_30_days_rollup_ms_after_{}_months", month, 1000 * buckets_s, "ms")
    yield growth.row("read_30_days_raw_ms_after_{}_months", month, 1000 * raw_s, "ms")
    rate = median(_rate_into(store, list(_readings(WRITTEN, ends))) for _ in range(3))
    yield growth.row("sqlite_write_after_{}_months", month, rate, "rows/s")


def _over_bare(figure: str, pairs: list[tuple[float, float]]) -> Row:
    """From pairs of rates, bare and ours, taken one right after the other."""
    bare, ratio = median(pair[0] for pair in pairs), median(ours / bare for bare, ours in pairs)
    return at_least(NAME, figure, ratio, "rows/s over rows/s", 0.4, bare, ratio)


def _influx_pairs(server: InfluxServer, folder: Path) -> Iterator[tuple[float, float]]:
    for number in range(ROUNDS):
        incoming = list(_readings(WRITTEN, START + number * DAYS_30))
        rows = [(milliseconds(one.body.at), one.body.value) for one in incoming]  # type: ignore[union-attr]
        yield _post_rate(server, rows), _forward_rate(server, folder / str(number), incoming)


def _post_rate(server: InfluxServer, rows: list[tuple[int, float]]) -> float:
    """Writes lines and posts them, and nothing else."""
    v2 = f"/api/v2/write?bucket={server.database}&org={server.organisation}"
    url = f"{server.url}{v2 if server.writes == 2 else f'/write?db={server.database}'}&precision=ms"
    http = urllib3.PoolManager(headers={"Authorization": f"Token {server.token}"} if server.token else None)
    head = f"reading,chamber={CHAMBER},name=bare,origin=life,site={SITE},unit=degC"
    began = machine_seconds()
    for first in range(0, len(rows), BATCH):
        lines = "\n".join(f"{head} value={value},grade=0i {at}" for at, value in rows[first : first + BATCH])
        answer = http.request("POST", url, body=lines.encode())
        assert answer.status < 300
    return len(rows) / (machine_seconds() - began)


def _forward_rate(server: InfluxServer, folder: Path, incoming: list[Incoming]) -> float:
    """The forwarder sends from a thread of its own, as it does in life; the clock stops when nothing waits any more."""
    forwarder = Forwarder(Spool(folder), InfluxStore(server))
    forwarder.write([Sample(Series(SITE, CHAMBER, SeriesKind.READING, "first", "degC"), milliseconds(START), 1.0)])
    forwarder.step()
    stop, recorder = threading.Event(), Recorder(PLANT, sink=forwarder)
    sender = threading.Thread(target=forwarder.run, args=(stop, VirtualClock(START)))
    sender.start()
    began = machine_seconds()
    for number, one in enumerate(incoming, start=1):
        recorder.receive(one, START)
        if number % BATCH == 0:
            recorder.flush(START)
    while forwarder.spool.oldest(1) is not None:
        stop.wait(0.002)
    took_s = machine_seconds() - began
    stop.set()
    sender.join()
    return len(incoming) / took_s


def _reading_seconds(store: SqliteStore, series: Series, start: datetime) -> tuple[float, float]:
    end = start + DAYS_30
    return _seconds(partial(store.buckets, series, start, end, 1000)), _seconds(partial(store.raw, series, start, end))


def _scan_seconds(path: Path, samples: list[tuple[int, float, int]]) -> float:
    bare = sqlite3.connect(path)
    _bare_table(bare, samples)
    taken_s = _seconds(lambda: bare.execute("SELECT at, value, grade FROM sample WHERE series = 1").fetchall())
    bare.close()
    return taken_s


def _add_month(store: SqliteStore, month: int, every_s: int) -> None:
    begins = START + (month - 1) * DAYS_30
    for number in range(CHAMBERS):
        for kind, name in PLOTTED:
            series = Series(SITE, f"chamber-{number}", kind, name, "degC")
            _write(store, series, _wave(name, begins, DAYS_30, every_s=every_s))
    _settle(store, begins + DAYS_30 + timedelta(hours=2))


def _overview(store: SqliteStore, span: timedelta) -> None:
    for number in range(CHAMBERS):
        for kind, name in PLOTTED:
            store.buckets(Series(SITE, f"chamber-{number}", kind, name, "degC"), START, START + span, 500)


def _wave(name: str, start: datetime, span: timedelta, every_s: int = 10) -> Iterator[tuple[int, float, int]]:
    """A probe with steps of 1/16 K around a slow drift, with noise, as cheap sensors give. Invented."""
    count = int(span.total_seconds() / every_s)
    chance = np.random.default_rng(zlib.crc32(f"{name}{start}".encode()))
    drift = 18 + np.cumsum(chance.normal(0, 0.02, count)) * np.exp(-np.arange(count) / count)
    value = np.round(16 * (drift + chance.normal(0, 0.04, count))) / 16
    at_ms = milliseconds(start) + 1000 * every_s * np.arange(count)
    return zip(at_ms.tolist(), value.tolist(), repeat(0), strict=False)


def _write(store: SqliteStore, series: Series, samples: Iterator[tuple[int, float, int]]) -> None:
    while batch := [Sample(series, *one) for one in islice(samples, 50_000)]:
        store.write(batch)


def _settle(store: SqliteStore, now: datetime) -> None:
    while store.maintain(now, Retention()):
        pass


def _readings(count: int, start: datetime = START) -> Iterator[Incoming]:
    topic = ""
    for at_ms, value, _ in islice(_wave("beer", start, DAYS_30), count):
        reading = TemperatureReading(
            at=moment(at_ms), source="bridge", chamber=CHAMBER, probe="beer", quality=Quality.GOOD, temperature_c=value
        )
        topic = topic or topic_for(SITE, reading)
        yield Incoming(topic, reading)


def _our_rate(path: Path, incoming: list[Incoming]) -> float:
    store = SqliteStore(path)
    rate = _rate_into(store, incoming)
    store.close()
    return rate


def _rate_into(store: SqliteStore, incoming: list[Incoming]) -> float:
    recorder = Recorder(PLANT, sink=store)
    began = machine_seconds()
    for number, one in enumerate(incoming, start=1):
        recorder.receive(one, START)
        if number % BATCH == 0:
            recorder.flush(START)
    return len(incoming) / (machine_seconds() - began)


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
        "CREATE TABLE sample (series INTEGER, at INTEGER, value REAL, grade INTEGER, "
        "PRIMARY KEY (series, at)) WITHOUT ROWID"
    )


def _seconds(act: Callable[[], object]) -> float:
    """The shortest of a few runs: what it takes when nothing else disturbs."""
    taken = []
    for _ in range(ROUNDS):
        began = machine_seconds()
        act()
        taken.append(machine_seconds() - began)
    return min(taken)
