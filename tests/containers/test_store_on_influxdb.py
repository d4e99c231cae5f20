"""The contract of stores on InfluxDB in a container, or on the version 1 that COLDSIDE_TEST_INFLUX1_URL names.

On version 2 the contract runs in `make test`, where such a server is named: docs/containers.md says how.
"""

import os
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
import urllib3

from services.recorder.influx_server import InfluxQl, InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.store import Store
from tests.containers.engine import RAN_ON, SERVERS, serving
from tests.recorder.test_store_contract import *  # noqa: F403 - the same tests, on another store
from tests.waiting import wait_until

NUMBERS = count(1)
CONFIGURATION = """reporting-disabled = true
[meta]
dir = "/data/meta"
[data]
dir = "/data/data"
wal-dir = "/data/wal"
[monitor]
store-enabled = false
[http]
log-enabled = false
"""


@pytest.fixture(scope="module")
def influxdb(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where it is."""
    named = os.environ.get("COLDSIDE_TEST_INFLUX1_URL")
    RAN_ON["store contract"] = named or f"influxdb 1.6 of {SERVERS}, Debian's"
    if named:
        yield named
        return
    request.getfixturevalue("images")
    folder = Path(tmp_path_factory.mktemp("influxdb"))
    (folder / "influxdb.conf").write_text(CONFIGURATION)
    command = ["/usr/bin/influxd", "-config", "/configuration/influxdb.conf"]
    with serving(SERVERS, 8086, command, {folder: "/configuration"}) as port:
        wait_until(lambda: answers(f"http://127.0.0.1:{port}"), "influxdb to answer")
        yield f"http://127.0.0.1:{port}"


@pytest.fixture
def store(influxdb: str) -> Iterator[Store]:
    """An empty database on it."""
    name = f"containers{next(NUMBERS)}"
    server = InfluxServer(url=influxdb, database=name, writes=1)
    for statement in (f"DROP DATABASE {name}", f"CREATE DATABASE {name}"):
        InfluxQl(server).ask(statement)
    made = InfluxStore(server)
    yield made
    made.close()


def answers(url: str) -> bool:
    """Whether it serves."""
    try:
        return urllib3.request("GET", f"{url}/ping", retries=False, timeout=1.0).status == 204
    except urllib3.exceptions.HTTPError:
        return False
