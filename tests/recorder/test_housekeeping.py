"""Packing, roll-ups and retention of the embedded store."""

import numpy as np
import pytest

from services.recorder.housekeeping import Retention
from services.recorder.pages import HOUR_MS, LEVELS, MINUTE_MS, RAW
from services.recorder.samples import checksum
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.summaries import grouped
from tests.recorder.conftest import LATER
from tests.recorder.history import BEER, COOL, DAY, FOR_EVER, a_day_of, after, sample

DROP_RAW = Retention(raw_days=1, minute_days=None, quarter_days=None)


@pytest.fixture
def store():
    made = SqliteStore(IN_MEMORY)
    yield made
    made.close()


def settle(store, now=LATER, policy=None):
    while store.maintain(now, policy or Retention(raw_days=None, minute_days=None, quarter_days=None)):
        pass


def fresh(store):
    return store.query("SELECT COUNT(*) FROM sample")[0][0]


def test_a_day_is_packed_an_hour_after_it_is_over(store):
    store.write(a_day_of(hours=30))
    settle(store, after(hours=24.9))
    assert fresh(store) == 30 * 360
    settle(store, after(hours=25))
    assert fresh(store) == 6 * 360


def test_packing_changes_nothing_that_can_be_read(store):
    store.write(a_day_of(hours=60) + a_day_of(COOL, hours=30))
    before = [checksum(store.raw(series, *FOR_EVER)) for series in (BEER, COOL)]
    settle(store)
    assert fresh(store) == 0
    assert [checksum(store.raw(series, *FOR_EVER)) for series in (BEER, COOL)] == before


def test_packing_is_done_in_pieces_that_each_leave_the_store_whole(store):
    store.write(a_day_of(hours=60))
    before = checksum(store.raw(BEER, *FOR_EVER))
    while store.maintain(LATER, Retention(raw_days=None, minute_days=None, quarter_days=None)):
        assert checksum(store.raw(BEER, *FOR_EVER)) == before


@pytest.mark.parametrize("level", LEVELS)
def test_roll_ups_are_what_summing_up_the_samples_gives(store, level):
    store.write(a_day_of(hours=60))
    wanted = grouped(store.raw(BEER, *FOR_EVER).usable, level)
    settle(store)
    rolled = store.shelf(BEER).summaries(level, 0, wanted.at_ms[-1] + level)
    for ours, theirs in zip(rolled.columns, wanted.columns, strict=True):
        np.testing.assert_allclose(ours, theirs, rtol=1e-6)


def test_a_latecomer_into_a_packed_day_is_seen_at_once_and_packed_next_time(store):
    store.write(a_day_of(hours=48))
    settle(store)
    store.write([sample(60, 99.0)])
    for _ in range(2):
        hour = store.shelf(BEER).summaries(HOUR_MS, *[one.timestamp() * 1000 for one in (DAY, after(hours=2))])
        assert hour.greatest.tolist()[1] == 99.0
        assert len(store.raw(BEER, *FOR_EVER)) == 2 * 8640
        settle(store)
    assert fresh(store) == 0


def test_samples_are_dropped_when_their_time_has_passed_and_their_sums_stay(store):
    store.write(a_day_of(hours=72))
    settle(store, after(hours=73), DROP_RAW)
    assert len(store.raw(BEER, *FOR_EVER)) == 24 * 360
    buckets = store.buckets(BEER, DAY, after(hours=72), 72)
    assert buckets.count.tolist() == [360] * 72


def test_fine_buckets_of_a_dropped_day_come_from_its_minutes(store):
    store.write(a_day_of(hours=72))
    settle(store, after(hours=73), DROP_RAW)
    assert store.buckets(BEER, DAY, after(minutes=10), 10).count.tolist() == [6] * 10


def test_what_comes_again_after_its_day_was_dropped_is_not_counted_twice(store):
    store.write(a_day_of(hours=72))
    settle(store, after(hours=73), DROP_RAW)
    store.write(a_day_of(hours=24))
    assert store.buckets(BEER, DAY, after(hours=24), 24).count.tolist() == [360] * 24
    settle(store, after(hours=73), DROP_RAW)
    assert store.buckets(BEER, DAY, after(hours=24), 24).count.tolist() == [360] * 24


def test_what_was_missing_in_a_dropped_day_is_filled_in(store):
    day = a_day_of(hours=72)
    store.write([one for one in day if not 3 <= (one.at_ms - day[0].at_ms) / HOUR_MS < 4])
    settle(store, after(hours=73), DROP_RAW)
    store.write(day[: 24 * 360])
    settle(store, after(hours=73), DROP_RAW)
    assert store.buckets(BEER, DAY, after(hours=24), 24).count.tolist() == [360] * 24


def test_the_last_sample_is_found_in_fresh_packed_and_dropped_days(store):
    store.write(a_day_of(hours=72))
    last = [store.last_before(BEER, after(hours=hours)).value for hours in (24, 48, 72)]
    settle(store, after(hours=49), DROP_RAW)
    assert [store.last_before(BEER, after(hours=hours)).value for hours in (24, 48, 72)] == last
    assert store.last_before(BEER, DAY) is None


def test_each_level_is_dropped_in_its_own_time(store):
    store.write(a_day_of(hours=24))
    kept = []
    for days in (2, 5, 40, 400):
        settle(store, after(days=days), Retention(raw_days=3, minute_days=20, quarter_days=100, hour_days=None))
        kept.append([row[0] for row in store.query("SELECT DISTINCT level FROM page ORDER BY level")])
    everything = [RAW, *LEVELS]
    assert kept == [everything, everything[1:], everything[2:], everything[3:]]


def test_rounding_to_whole_roll_ups_leaves_the_number_of_buckets(store):
    store.write(a_day_of(hours=240))
    settle(store)
    buckets = store.buckets(BEER, after(minutes=7), after(hours=239), 333)
    assert len(buckets) == 333
    assert {int(edge) % MINUTE_MS for edge in buckets.edges_ms} == {0}
    assert int(buckets.count.sum()) == (239 * 60 - 7) * 6


def test_nothing_to_do_is_said(store):
    assert store.maintain(LATER) is False
