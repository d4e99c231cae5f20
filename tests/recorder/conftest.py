"""Every kind of store, each behind the one contract suite."""

import os
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import TypeVar

import pytest

from benchmarks.influx2 import ADDRESS, PROGRAM, InfluxD2, InfluxDb2, named
from benchmarks.servers import InfluxD, NotInstalled, Server, VictoriaMetrics
from services.recorder.housekeeping import Retention
from services.recorder.influx_server import InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.rows import Annotation, Sample
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Store

NUMBERS = count(1)
INFLUX = ["influx 1.6", *(["influx 2"] if {ADDRESS, PROGRAM} & set(os.environ) else [])]
S = TypeVar("S", bound=Server)

if "influx 2" not in INFLUX:
    collect_ignore = ["test_influx2.py"]
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


@pytest.fixture(scope="session")
def influx2(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxDb2]:
    """The one that is named, or one of the program that is."""
    if ADDRESS in os.environ:
        server = named()
        yield server
        server.tidy_up()
    else:
        for own in running(InfluxD2, tmp_path_factory.mktemp("influxd2")):
            yield own.set_up()


@pytest.fixture(params=[InfluxD, *([InfluxD2] if PROGRAM in os.environ else [])])
def own_influxd(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[InfluxD | InfluxD2]:
    """One that a test may kill."""
    yield from running(request.param, tmp_path / "influxd")


@pytest.fixture(params=INFLUX)
def database(request: pytest.FixtureRequest) -> InfluxServer:
    """An empty one."""
    return new_database(request, request.param)


def new_database(request: pytest.FixtureRequest, kind: str) -> InfluxServer:
    """An empty one on a server of this kind."""
    server: InfluxD | InfluxDb2 = request.getfixturevalue("influx2" if kind == "influx 2" else "influxd")
    return server.new_database(f"test-{os.getpid()}-{next(NUMBERS)}")


def as_plant_file_says(server: InfluxServer, folder: Path) -> dict[str, str]:
    """What goes under `history: influx:`; its token is put into a file."""
    said = {"address": server.url, "database": server.database, "writes": f"v{server.writes}"}
    if not server.token:
        return said
    (folder / "influx-token").write_text(f"{server.token}\n", encoding="utf-8")
    return {**said, "organisation": server.organisation, "token_file": str(folder / "influx-token")}


MAKERS: dict[str, Callable[[Path], Store]] = {
    "file": lambda folder: SqliteStore(folder / "history.sqlite"),
    "memory": lambda _: SqliteStore(IN_MEMORY),
    "packed": lambda folder: PackedStore(folder / "history.sqlite"),
}


@pytest.fixture(params=[*MAKERS, *INFLUX])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    if request.param in INFLUX:
        made: Store = InfluxStore(new_database(request, request.param))
    else:
        made = MAKERS[request.param](tmp_path)
    yield made
    made.close()


@pytest.fixture(params=["file", *INFLUX])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Where history is moved to."""
    made: Store
    if request.param == "file":
        made = SqliteStore(tmp_path / "target")
    else:
        made = InfluxStore(new_database(request, request.param))
    yield made
    made.close()
