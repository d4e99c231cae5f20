"""What only InfluxDB 2 has: organisations, tokens, buckets with a retention, and databases mapped to buckets."""

from datetime import timedelta
from os import getpid

import pytest

from services.recorder.forwarder import Forwarder
from services.recorder.influx_server import BatchRefused
from services.recorder.influx_store import InfluxStore
from services.recorder.rows import Sample, milliseconds
from services.recorder.spool import Spool
from services.recorder.store import StoreError, StoreUnreachable
from services.runtime.clock import SystemClock
from tests.recorder.conftest import NUMBERS
from tests.recorder.history import BEER, DAY, FOR_EVER, after, note, sample


def name():
    return f"test-{getpid()}-{next(NUMBERS)}"


@pytest.fixture
def bucket(influx2):
    return influx2.new_database(name())


def changed(server, **fields):
    return InfluxStore(server.model_copy(update=fields))


def drained(forwarder):
    while forwarder.step():
        pass
    return forwarder.backlog(DAY)


def test_rows_wait_while_the_plant_file_names_no_organisation(bucket, tmp_path):
    forwarder = Forwarder(Spool(tmp_path), changed(bucket, organisation=""))
    forwarder.write([sample(1)])
    waiting = drained(forwarder)
    assert (waiting.rows, list(tmp_path.glob("*.refused"))) == (1, [])
    assert "history: {influx: {organisation: ...}}" in waiting.problem
    drained(Forwarder(Spool(tmp_path), InfluxStore(bucket)))
    assert len(InfluxStore(bucket).raw(BEER, *FOR_EVER)) == 1


@pytest.mark.parametrize(
    ("fields", "helps"),
    [
        ({"organisation": "nobody"}, "'organisation' in the plant file must be one that the server has"),
        ({"token": "wrong"}, "the server does not know the token"),
        ({"token": ""}, "the server does not know the token"),
        ({"database": "nowhere"}, "make a bucket of that name"),
        ({"database": "nowhere", "writes": 1}, "make a bucket of the database's name"),
    ],
)
def test_what_is_wrong_with_the_way_in_is_told_with_what_helps(bucket, fields, helps):
    with pytest.raises(StoreUnreachable, match=f"; {helps}"):
        changed(bucket, **fields).write([sample(1)])


def test_a_token_that_may_read_and_write_the_one_bucket_is_enough(influx2, bucket):
    store = InfluxStore(influx2.limited(bucket, "read", "write"))
    store.write([sample(1), sample(2)], [note(1)])
    store.roll_up(BEER, int(DAY.timestamp() // 86400))
    store.drop_before(0, after(minutes=2))
    assert store.series() == [BEER]
    assert (len(store.raw(BEER, *FOR_EVER)), store.annotations(*FOR_EVER)) == (1, [note(1)])


def test_a_token_that_may_only_read_shows_history_and_changes_nothing(influx2, bucket):
    InfluxStore(bucket).write([sample(1)])
    looking = InfluxStore(influx2.limited(bucket, "read"))
    assert len(looking.raw(BEER, *FOR_EVER)) == 1
    for change in (lambda: looking.write([sample(2)]), lambda: looking.drop_before(0, after(days=1))):
        with pytest.raises(StoreUnreachable, match="; give the token the right to read and to write the bucket"):
            change()
    assert len(looking.raw(BEER, *FOR_EVER)) == 1


def test_a_token_that_may_not_read_is_told_with_what_helps(influx2, bucket):
    with pytest.raises(StoreError, match="; make it .* and give the token the right to read it"):
        InfluxStore(influx2.limited(bucket, "write")).series()


def test_a_bucket_that_forgets_is_told_with_what_helps_and_takes_what_is_young(influx2):
    store, now = InfluxStore(influx2.new_database(name(), keep_s=3600)), SystemClock().now()
    young = Sample(BEER, milliseconds(now - timedelta(minutes=1)), 18.0)
    with pytest.raises(BatchRefused, match=r"; let the bucket keep everything for ever \(retention 0\)"):
        store.write([Sample(BEER, milliseconds(now - timedelta(days=1)), 17.0), young])
    assert store.raw(BEER, *FOR_EVER).value.tolist() == [18.0]


def test_a_database_that_an_upgrade_from_version_1_left_goes_on_by_the_v1_path(influx2):
    database = name()
    upgraded = influx2.new_database(f"{database}/autogen").model_copy(update={"database": database})
    influx2.map(database, f"{database}/autogen")
    with pytest.raises(StoreUnreachable, match="say 'writes: v1'"):
        InfluxStore(upgraded).write([sample(1)])
    store = changed(upgraded, writes=1)
    store.write([sample(1), sample(2)])
    store.drop_before(0, after(minutes=2))
    assert store.raw(BEER, *FOR_EVER).at_ms.tolist() == [sample(2).at_ms]
