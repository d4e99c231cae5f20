"""What every store of history must do, whichever it is."""

import math
from datetime import timedelta
from random import Random

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from services.recorder.rows import AnnotationKind, Sample, milliseconds
from services.recorder.samples import annotation_checksum, checksum
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Match
from tests.recorder.history import BEER, COOL, DAY, FOR_EVER, a_day_of, after, note, sample


def test_what_was_written_is_read_back_in_order_of_time(store):
    store.write([sample(2, 18.5), sample(1, 18.25), sample(3, 18.75)])
    raw = store.raw(BEER, *FOR_EVER)
    assert raw.value.tolist() == [18.25, 18.5, 18.75]
    assert raw.at_ms.tolist() == [milliseconds(after(minutes=n)) for n in (1, 2, 3)]


def test_a_range_includes_its_start_and_not_its_end(store):
    store.write([sample(minute, minute) for minute in range(5)])
    assert store.raw(BEER, after(minutes=1), after(minutes=3)).value.tolist() == [1, 2]


def test_milliseconds_survive(store):
    moment = milliseconds(DAY) + 123
    store.write([Sample(BEER, moment, 1.0, 0)])
    assert store.raw(BEER, *FOR_EVER).at_ms.tolist() == [moment]


def test_the_same_series_and_time_overwrites(store):
    store.write([sample(1, 18.0), sample(2, 19.0)])
    store.write([sample(1, 17.0)])
    store.write([sample(1, 17.0), sample(1, 17.5)])
    assert store.raw(BEER, *FOR_EVER).value.tolist() == [17.5, 19.0]


def test_writing_everything_twice_and_in_any_order_changes_nothing(store):
    day = a_day_of(hours=2)
    store.write(day)
    before = checksum(store.raw(BEER, *FOR_EVER))
    store.write(day[::-1])
    assert checksum(store.raw(BEER, *FOR_EVER)) == before
    assert before[0] == len(day)


def test_a_bad_sample_is_kept_with_its_grade_and_counts_in_no_bucket(store):
    store.write([sample(1, 18.0), sample(2, 85.0, grade=2), sample(3, None, grade=2), sample(4, 19.0, grade=1)])
    raw = store.raw(BEER, *FOR_EVER)
    assert raw.grade.tolist() == [0, 2, 2, 1]
    assert math.isnan(raw.value[2])
    (bucket,) = store.buckets(BEER, DAY, after(minutes=5), 1)
    assert (bucket.count, bucket.least, bucket.mean, bucket.greatest, bucket.last) == (2, 18.0, 18.5, 19.0, 19.0)


def test_buckets_give_least_mean_greatest_and_last(store):
    store.write([sample(0, 5.0), sample(1, 1.0), sample(2, 3.0), sample(10, 7.0)])
    first, second = store.buckets(BEER, DAY, after(minutes=20), 2)
    assert (first.count, first.least, first.mean, first.greatest, first.last) == (3, 1.0, 3.0, 5.0, 3.0)
    assert (second.begins, second.ends, second.last) == (after(minutes=10), after(minutes=20), 7.0)


def test_a_gap_stays_a_gap(store):
    store.write([sample(0), sample(45)])
    buckets = list(store.buckets(BEER, DAY, after(minutes=60), 6))
    assert [bucket.count for bucket in buckets] == [1, 0, 0, 0, 1, 0]
    assert {bucket.mean for bucket in buckets if not bucket.count} == {None}


def test_buckets_of_nothing_are_gaps(store):
    assert [bucket.count for bucket in store.buckets(BEER, DAY, after(hours=1), 3)] == [0, 0, 0]


@pytest.mark.parametrize(("hours", "count"), [(24, 0), (0, 10), (-1, 10)])
def test_buckets_need_some_time_and_at_least_one(store, hours, count):
    with pytest.raises(ValueError, match="buckets"):
        store.buckets(BEER, DAY, after(hours=hours), count)


def test_a_day_in_a_thousand_buckets_is_what_plain_arithmetic_gives(store):
    day = a_day_of()
    store.write(day)
    buckets = store.buckets(BEER, DAY, after(hours=24), 1000)
    slot = np.searchsorted(buckets.edges_ms, [one.at_ms for one in day], side="right") - 1
    for number, bucket in list(enumerate(buckets))[::97]:
        inside = [one.value for one, where in zip(day, slot, strict=True) if where == number]
        assert (bucket.count, bucket.least, bucket.greatest) == (len(inside), min(inside), max(inside))
        assert bucket.mean == pytest.approx(sum(inside) / len(inside))


def test_series_are_found_by_any_part_of_their_key(store):
    store.write([sample(1), sample(1, 1.0, series=COOL), sample(1, series=BEER._replace(origin="simulated"))])
    assert len(store.series()) == 3
    assert store.series(Match(kind="report")) == [COOL]
    assert store.series(Match(name="beer", origin="life")) == [BEER]
    assert store.series(Match(site="elsewhere")) == []


def test_series_do_not_mix(store):
    store.write(
        [sample(1, 18.0), sample(1, 1.0, series=COOL), sample(1, 9.0, series=BEER._replace(origin="simulated"))]
    )
    assert store.raw(BEER, *FOR_EVER).value.tolist() == [18.0]


def test_the_last_sample_before_a_moment(store):
    store.write([sample(1, 1.0), sample(5, None, grade=2)])
    assert store.last_before(BEER, after(minutes=5)) == sample(1, 1.0)
    assert store.last_before(BEER, after(minutes=6)) == sample(5, None, grade=2)
    assert store.last_before(BEER, after(minutes=1)) is None


def test_an_annotation_comes_back_whole(store):
    written = note(
        1, batch="pale-7", who="Ann", text='Said "wait", and\nwaited, at 5 °C = 41 °F.', facts={"a": [1, None]}
    )
    store.write([], [written])
    assert store.annotations(*FOR_EVER) == [written]


def test_the_same_id_is_the_same_annotation(store):
    for _ in range(3):
        store.write([], [note(1, "once", text="first")])
    store.write([], [note(1, "once", text="corrected")])
    assert [one.text for one in store.annotations(*FOR_EVER)] == ["corrected"]


def test_annotations_of_one_millisecond_are_all_kept(store):
    store.write([], [note(1, f"n{number}") for number in range(20)])
    assert len(store.annotations(*FOR_EVER)) == 20


def test_annotations_are_found_by_kind_chamber_and_batch_in_order_of_time(store):
    alarm = note(9, kind=AnnotationKind.ALARM)
    store.write([], [note(30, batch="pale-7"), alarm, note(3, batch="pale-7"), note(5, chamber="right")])
    assert [one.id for one in store.annotations(*FOR_EVER, Match(batch="pale-7"))] == ["note-3", "note-30"]
    assert store.annotations(*FOR_EVER, Match(kind="alarm")) == [alarm]
    assert [one.id for one in store.annotations(*FOR_EVER, Match(chamber="right"))] == ["note-5"]
    assert [one.id for one in store.annotations(DAY, after(minutes=9))] == ["note-3", "note-5"]


def test_checksums_tell_a_changed_value_a_lost_sample_and_nothing_from_zero(store):
    store.write([sample(1, 0.0), sample(2, 5.0)])
    first = checksum(store.raw(BEER, *FOR_EVER))
    sums = {first}
    for changed in (sample(2, 5.0625), sample(1, None), sample(3, 5.0)):
        store.write([changed])
        sums.add(checksum(store.raw(BEER, *FOR_EVER)))
    assert len(sums) == 4


def test_checksums_of_annotations_do_not_depend_on_order():
    notes = [note(1), note(2), note(3)]
    assert annotation_checksum(notes) == annotation_checksum(reversed(notes))
    assert annotation_checksum(notes) != annotation_checksum(notes[:2])


SOME = st.lists(
    st.tuples(st.integers(0, 3_600_000), st.one_of(st.none(), st.floats(-50, 120)), st.sampled_from([0, 1, 2])),
    max_size=60,
)


@given(rows=SOME, count=st.integers(1, 50), seed=st.randoms())
@example(rows=[(3_600_000, 0.0, 0)], count=1, seed=Random(0))  # in the last second of the range, and of a roll-up
def test_any_history_in_any_order_with_repeats_reads_as_its_last_writing_says(rows, count, seed):
    store = SqliteStore(IN_MEMORY)
    start = milliseconds(DAY)
    samples = [Sample(BEER, start + at, value, grade) for at, value, grade in rows]
    for one in samples:
        store.write([one])
    kept = {one.at_ms: one for one in samples}
    again = list(kept.values())
    seed.shuffle(again)
    store.write(again)
    good = [one for one in kept.values() if one.value is not None and one.grade < 2]
    buckets = store.buckets(BEER, DAY, DAY + timedelta(seconds=3601), count)
    assert len(store.raw(BEER, *FOR_EVER)) == len(kept)
    assert int(buckets.count.sum()) == len(good)
    store.close()
