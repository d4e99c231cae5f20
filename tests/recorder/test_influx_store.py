"""InfluxDB behind the store's contract: roll-ups, retention, and what is told when a server is not as it should be."""

import numpy as np
import pytest

from services.recorder.buckets import Buckets
from services.recorder.influx_server import InfluxServer, refusal
from services.recorder.influx_store import InfluxStore, rolled
from services.recorder.pages import HOUR_MS, MINUTE_MS
from services.recorder.rows import SeriesKind
from services.recorder.store import StoreError, StoreUnreachable
from tests.recorder.history import BEER, DAY, FOR_EVER, a_day_of, after, note, sample


def all_of(store, hours):
    return store.buckets(BEER, DAY, after(hours=hours), hours)


def test_influx_answers_from_roll_ups_what_it_would_from_samples(database):
    store = InfluxStore(database)
    store.write(a_day_of(hours=72))
    plain: Buckets = all_of(store, 72)
    for day in range(3):
        store.roll_up(BEER, int(DAY.timestamp() // 86400) + day)
    store.drop_before(0, after(hours=72))
    assert len(store.raw(BEER, *FOR_EVER)) == 0
    for name in ("count", "least", "mean", "greatest", "last"):
        np.testing.assert_allclose(getattr(all_of(store, 72), name), getattr(plain, name))


def test_influx_keeps_roll_ups_of_each_level_until_their_own_time(database):
    store = InfluxStore(database)
    store.write(a_day_of(hours=48))
    for day in range(2):
        store.roll_up(BEER, int(DAY.timestamp() // 86400) + day)
    store.drop_before(MINUTE_MS, after(hours=24))
    begin, end = int(DAY.timestamp() * 1000), int(after(hours=48).timestamp() * 1000)
    assert [len(store.summaries(BEER, level, begin, end)) for level in (MINUTE_MS, HOUR_MS)] == [1440, 48]


def test_influx_drops_what_is_older_than_a_moment_and_not_what_is_of_it(database):
    store = InfluxStore(database)
    store.write([sample(minute) for minute in range(4)], [note(0)])
    store.drop_before(0, after(minutes=2))
    assert store.raw(BEER, *FOR_EVER).at_ms.tolist() == [sample(minute).at_ms for minute in (2, 3)]
    assert store.annotations(*FOR_EVER) == [note(0)]


def test_roll_ups_have_measurements_of_their_own():
    assert [rolled(SeriesKind.READING, level) for level in (0, MINUTE_MS)] == ["reading", "reading_60s"]


def test_a_server_that_is_not_there_is_told_in_a_sentence(database):
    server = database.model_copy(update={"url": "http://127.0.0.1:9"})
    with pytest.raises(StoreUnreachable, match=r"127\.0\.0\.1:9 does not answer"):
        InfluxStore(server).write([sample(1)])
    v2 = InfluxServer(url="http://127.0.0.1:9", database="d", organisation="o", token="t")
    with pytest.raises(StoreUnreachable, match="does not answer"):
        InfluxStore(v2).write([sample(1)])


def test_a_database_that_the_server_does_not_have_is_told_with_what_helps(database):
    store = InfluxStore(database.model_copy(update={"database": "nowhere"}))
    with pytest.raises(StoreError, match=r"nowhere.*; make it \(version 1: CREATE DATABASE; version 2: a bucket"):
        store.series()
    with pytest.raises(StoreUnreachable, match=r"nowhere.*; make "):
        store.write([sample(1)])


def test_a_server_without_the_v2_write_path_is_told_with_what_helps(influxd):
    store = InfluxStore(InfluxServer(url=influxd.url, database="d", organisation="o", token="t"))
    with pytest.raises(StoreUnreachable, match="answered 404: .*say 'writes: v1' in the plant file"):
        store.write([sample(1)])


def test_lines_wait_when_the_plant_file_names_no_organisation():
    """As InfluxDB 2.7.12 answers."""
    said = '{"code":"invalid","message":"Please provide either orgID or org"}'
    error = refusal("http://store", 400, said)
    assert type(error) is StoreUnreachable
    assert "history: {influx: {organisation: ...}}" in str(error)
