"""Seven virtual days without the store: every reading is there once, by count and checksum, when it is back."""

import json
import sqlite3
from datetime import timedelta

import pytest

from benchmarks.servers import VictoriaMetrics
from schemas.contract import topic_for
from services.recorder.core import Recorder
from services.recorder.forwarder import Forwarder
from services.recorder.influx_server import InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.rows import Sample, milliseconds
from services.recorder.samples import checksum, from_rows
from services.recorder.spool import Spool
from services.recorder.sqlite_store import SqliteStore
from services.runtime.service import Incoming
from tests.recorder.conftest import running
from tests.recorder.history import BEER, DAY, FOR_EVER, after
from tests.recorder.test_recorder import PLANT, reading

DAYS = 7


def readings():
    """Nine days, one every 20 s: before, during and after the outage."""
    return [
        reading().model_copy(update={"at": DAY + timedelta(seconds=20 * n), "temperature_c": 18 + n % 61 / 16})
        for n in range(9 * 4320)
    ]


def wanted(said):
    return checksum(from_rows([(milliseconds(one.at), one.temperature_c, 0) for one in said]))


def hear(recorder, said):
    for one in said:
        recorder.receive(Incoming(topic_for("shed", one), one), one.at)


def test_seven_days_of_a_locked_file_lose_nothing(tmp_path):
    store, said = SqliteStore(tmp_path / "history.sqlite"), readings()
    store.query("PRAGMA busy_timeout = 0")
    other = sqlite3.connect(tmp_path / "history.sqlite", isolation_level=None)
    recorder, told = Recorder(PLANT, sink=store), []
    for hour in range(9 * 24):
        if hour == 24:
            other.execute("BEGIN EXCLUSIVE")
        elif hour == 24 + DAYS * 24:
            other.execute("COMMIT")
        hear(recorder, said[hour * 180 : (hour + 1) * 180])
        told += [(one.body.name, one.body.active) for one in recorder.tick(after(hours=hour + 1))]
    assert told == [("store-behind", True), ("store-behind", False)]
    assert checksum(store.raw(BEER, *FOR_EVER)) == wanted(said)


@pytest.fixture
def own_victoria(tmp_path):
    yield from running(VictoriaMetrics, tmp_path / "victoria")


def test_seven_days_without_the_server_of_the_v2_write_path_lose_nothing(tmp_path, own_victoria):
    own_victoria.kill()
    store = InfluxStore(InfluxServer(url=own_victoria.url, database="d", organisation="o", token="t"))
    said, forwarder = readings(), Forwarder(Spool(tmp_path / "spool"), store)
    recorder = Recorder(PLANT, sink=forwarder)
    for hour in range(DAYS * 24):
        hear(recorder, said[hour * 180 : (hour + 1) * 180])
        recorder.tick(after(hours=hour + 1))
        forwarder.step()
    assert forwarder.backlog(after(days=DAYS)).rows > DAYS * 4320
    own_victoria.start()
    hear(recorder, said[DAYS * 4320 :])
    recorder.flush(after(days=9))
    while forwarder.step():
        pass
    assert checksum(from_rows(exported(own_victoria))) == wanted(said)


def exported(server):
    """Every sample of the beer that the server gives out, in order of time."""
    columns = {}
    for line in server.exported('{__name__=~"reading_(value|grade)",name="beer"}'):
        one = json.loads(line)
        columns[one["metric"]["__name__"]] = dict(zip(one["timestamps"], one["values"], strict=True))
    values, grades = columns["reading_value"], columns["reading_grade"]
    return [Sample(BEER, at, values[at], int(grades[at]))[1:] for at in sorted(values)]
