"""Every kind of store, each behind the one contract suite."""

import os
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import TypeVar

import pytest

from benchmarks.servers import InfluxD, NotInstalled, Server, VictoriaMetrics
from services.recorder.housekeeping import Retention
from services.recorder.influx_server import InfluxServer, WriterV2
from services.recorder.influx_store import ANNOTATION, InfluxStore
from services.recorder.rows import Annotation, Sample, SeriesKind
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Store

NUMBERS = count(1)
S = TypeVar("S", bound=Server)

LATER = datetime(2101, 1, 1, tzinfo=UTC)
ALL_FOR_EVER = Retention(raw_days=None, minute_days=None, quarter_days=None)


class PackedStore(SqliteStore):
    """Packs whatever was written at once, as if the day were long over."""

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        super().write(samples, annotations)
        while self.maintain(LATER, ALL_FOR_EVER):
            pass


@pytest.fixture(scope="session")
def influxd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxD]:
    yield from running(InfluxD, tmp_path_factory.mktemp("influxd"))


@pytest.fixture(scope="session")
def victoria(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VictoriaMetrics]:
    yield from running(VictoriaMetrics, tmp_path_factory.mktemp("victoria"))


def running(kind: type[S], folder: Path) -> Iterator[S]:
    """A server while it is needed; one that is not installed fails whoever asks for it."""
    try:
        server = kind(folder)
    except NotInstalled as error:
        pytest.fail(f"{error}; `make test` installs it")
    server.start()
    yield server
    server.kill()


@pytest.fixture
def own_influxd(tmp_path: Path) -> Iterator[InfluxD]:
    """One that a test may kill."""
    yield from running(InfluxD, tmp_path / "influxd")


@pytest.fixture
def database(influxd: InfluxD) -> InfluxServer:
    """An empty one."""
    return influxd.new_database(f"d{next(NUMBERS)}")


def real_server() -> InfluxServer:
    """An InfluxDB 2 that whoever runs the tests has named."""
    url, token, organisation, bucket = (
        os.environ[f"COLDSIDE_TEST_INFLUX_{n}"] for n in ("URL", "TOKEN", "ORG", "BUCKET")
    )
    server = InfluxServer(url=url, database=bucket, token=token, organisation=organisation)
    writer = WriterV2(server)
    for measurement in (*SeriesKind, ANNOTATION):
        writer.drop_before(measurement, LATER)
    return server


MAKERS: dict[str, Callable[[Path], Store]] = {
    "file": lambda folder: SqliteStore(folder / "history.sqlite"),
    "memory": lambda _: SqliteStore(IN_MEMORY),
    "packed": lambda folder: PackedStore(folder / "history.sqlite"),
}


@pytest.fixture(params=[*MAKERS, "influx 1.6", *(["influx 2"] if "COLDSIDE_TEST_INFLUX_URL" in os.environ else [])])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    made: Store
    if request.param == "influx 1.6":
        made = InfluxStore(request.getfixturevalue("database"))
    elif request.param == "influx 2":
        made = InfluxStore(real_server())
    else:
        made = MAKERS[request.param](tmp_path)
    yield made
    made.close()
