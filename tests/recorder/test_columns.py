"""Columns of samples, summaries and buckets at their edges: none, one, gaps, the same moment twice."""

from datetime import timedelta

import numpy as np
import pytest

from services.recorder.batches import Batch, from_bytes, thinned, to_bytes, together
from services.recorder.buckets import carried, empty, even_edges, into_buckets, on_whole
from services.recorder.pages import (
    HOUR_MS,
    MINUTE_MS,
    RAW,
    PageKey,
    pack_samples,
    pack_summaries,
    slot_of,
    unpack_samples,
    unpack_summaries,
)
from services.recorder.rows import Grade, milliseconds, moment
from services.recorder.samples import annotation_checksum, checksum, from_rows, in_line, overwritten, summary_checksum
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.stretches import Levels
from services.recorder.summaries import grouped, joined, of_groups, of_samples, overlaid
from tests.recorder.history import BEER, COOL, DAY, after, note, sample

NOTHING = from_rows(())


@pytest.fixture
def store():
    made = SqliteStore(IN_MEMORY)
    yield made
    made.close()


def summaries(*pairs):
    return from_rows([(at, value, 0) for at, value in pairs]).usable


def levels(*pairs, end_h=10):
    begins, level = zip(*pairs, strict=True)
    return Levels(np.array(begins, dtype=np.int64) * HOUR_MS, np.array(level, dtype=np.float64), end_h * HOUR_MS)


def edges(*at):
    return np.array(at, dtype=np.int64)


def test_moment_survives_as_milliseconds():
    assert moment(milliseconds(after(milliseconds=1))) == after(milliseconds=1)


def test_less_than_a_millisecond_is_rounded_down():
    assert milliseconds(after(microseconds=999)) == milliseconds(DAY)


def test_moments_before_1970_are_rounded_down_as_well():
    assert milliseconds(moment(0) - timedelta(microseconds=1)) == -1


def test_one_bucket_reaches_from_start_to_end():
    assert even_edges(3, 10, 1).tolist() == [3, 10]


@pytest.mark.parametrize(("start", "end", "count"), [(5, 5, 1), (6, 5, 1), (0, 10, 0)])
def test_buckets_of_no_time_or_no_number_are_refused(start, end, count):
    with pytest.raises(ValueError, match="one at least"):
        even_edges(start, end, count)


def test_edges_on_whole_stretches_still_hold_what_was_asked_for():
    moved = on_whole(edges(70, 130, 170), 60)
    assert moved.tolist() == [60, 120, 180]


def test_edges_that_are_whole_already_stay():
    assert on_whole(edges(0, 60, 120), 60).tolist() == [0, 60, 120]


def test_inner_edges_move_to_the_nearest_whole_stretch():
    assert on_whole(edges(0, 29, 91, 180), 60).tolist() == [0, 0, 120, 180]


def test_bucket_holds_least_mean_greatest_and_last_of_its_samples():
    (bucket,) = into_buckets(edges(0, 10), summaries((1, 3.0), (2, 1.0), (3, 2.0)))
    assert (bucket.count, bucket.least, bucket.mean, bucket.greatest, bucket.last) == (3, 1.0, 2.0, 3.0, 2.0)


def test_bucket_begins_where_the_one_before_ends():
    first, second = empty(even_edges(milliseconds(DAY), milliseconds(after(hours=2)), 2))
    assert (first.begins, first.ends, second.begins) == (DAY, after(hours=1), after(hours=1))


def test_number_of_buckets_is_one_less_than_that_of_edges():
    assert len(empty(edges(0, 1, 2, 3))) == 3


def test_buckets_with_nothing_before_and_nothing_in_them_stay_gaps():
    assert np.isnan(carried(empty(edges(0, 1, 2)), None).last).all()


def test_carrying_leaves_full_buckets_as_they_are():
    full = carried(into_buckets(edges(0, 10), summaries((1, 3.0), (2, 2.0), (3, 1.0), (4, 2.0))), 9.0)
    assert (full.least.tolist(), full.greatest.tolist(), full.last.tolist()) == ([1.0], [3.0], [2.0])


def test_nothing_summed_up_is_nothing():
    assert len(grouped(summaries(), 60)) == 0


def test_stretch_begins_at_a_whole_multiple_of_its_length():
    assert grouped(summaries((61, 1.0), (119, 2.0), (120, 3.0)), 60).at_ms.tolist() == [60, 120]


def test_mean_of_means_weighs_each_by_its_count():
    halves = grouped(summaries((0, 1.0), (1, 1.0), (2, 1.0), (60, 5.0)), 60)
    assert grouped(halves, 120).mean.tolist() == [2.0]


def test_each_group_goes_up_to_the_next():
    groups = of_groups(summaries((1, 1.0), (2, 5.0), (3, 2.0)), np.array([0, 2]))
    assert (groups.count.tolist(), groups.last.tolist(), groups.at_ms.tolist()) == ([2, 1], [5.0, 2.0], [1, 3])


def test_sample_is_a_summary_of_itself():
    one = of_samples(edges(7), np.array([4.0]))
    assert [column.tolist() for column in one.columns] == [[7], [1], [4.0], [4.0], [4.0], [4.0]]


def test_summaries_are_picked_by_place_and_by_wish():
    three = summaries((1, 1.0), (2, 5.0), (3, 2.0))
    assert three.between(1, 2).at_ms.tolist() == [2]
    assert three.where(three.last < 3.0).at_ms.tolist() == [1, 3]


def test_nothing_overlaid_on_nothing_is_nothing():
    assert len(overlaid(summaries(), summaries())) == 0


def test_joining_puts_summaries_in_order_of_time():
    assert joined(summaries((1, 1.0), (9, 9.0)), summaries((5, 5.0))).last.tolist() == [1.0, 5.0, 9.0]


def test_older_samples_stay_where_there_are_no_newer_ones():
    old = from_rows([(1, 4.0, 0)])
    assert overwritten(old, NOTHING).value.tolist() == overwritten(NOTHING, old).value.tolist() == [4.0]


def test_parts_follow_each_other_in_their_order():
    assert in_line([from_rows([(1, 1.0, 0)]), NOTHING, from_rows([(2, 2.0, 0)])]).at_ms.tolist() == [1, 2]


def test_samples_outside_a_range_are_left_out():
    assert len(from_rows([(1, 1.0, 0), (2, 2.0, 0)]).within(3, 9)) == 0


def test_uncertain_sample_counts_and_a_bad_one_does_not():
    rows = from_rows([(1, 1.0, Grade.UNCERTAIN), (2, 2.0, Grade.BAD)])
    assert rows.usable.at_ms.tolist() == [1]


def test_checksum_of_nothing_counts_nothing():
    assert checksum(NOTHING) == (0, 0)


def test_checksum_sees_a_moved_sample():
    assert checksum(from_rows([(1, 4.0, 0)])) != checksum(from_rows([(2, 4.0, 0)]))


def test_checksum_of_summaries_sees_least_and_greatest_swapped():
    one = grouped(summaries((0, 1.0), (1, 3.0)), 60)
    swapped = type(one)(one.at_ms, one.count, one.greatest, one.mean, one.least, one.last)
    assert summary_checksum(one) != summary_checksum(swapped)


def test_checksum_of_summaries_passes_over_what_the_store_cannot_keep():
    one = other = summaries((0, 1.0))
    finer = type(other)(other.at_ms, other.count, other.least, other.mean + 1e-12, other.greatest, other.last)
    assert summary_checksum(one) == summary_checksum(finer)


def test_checksum_of_annotations_sees_another_text():
    assert annotation_checksum([note(1)]) != annotation_checksum([note(1, text="It was late.")])


def test_page_begins_at_the_moment_of_its_slot():
    at = milliseconds(DAY)
    assert PageKey(1, RAW, slot_of(RAW, at)).begins_ms == at


def test_last_millisecond_of_a_day_is_in_its_page_and_the_next_is_not():
    midnight = milliseconds(DAY)
    assert slot_of(RAW, midnight) == slot_of(RAW, midnight - 1) + 1


def test_page_of_nothing_comes_back_as_nothing():
    assert len(unpack_samples(pack_samples(NOTHING, 0), 0, 0)) == 0
    assert len(unpack_summaries(pack_summaries(NOTHING.usable, 0), 0, 0)) == 0


def test_day_of_nothing_but_bad_samples_is_packed_like_any_other(store):
    store.write([sample(minute, None, Grade.BAD) for minute in range(10)], [])
    assert store.maintain(after(days=2))
    assert not store.maintain(after(days=2))
    assert store.raw(BEER, DAY, after(days=1)).grade.tolist() == [Grade.BAD] * 10


def test_day_after_one_of_nothing_but_bad_samples_is_packed_and_summed_up(store):
    bad = [sample(minute, None, Grade.BAD) for minute in range(10)]
    store.write([*bad, sample(1500, 18.0)], [])
    while store.maintain(after(days=3)):
        pass
    assert sum(store.buckets(BEER, DAY, after(days=2), 2).count.tolist()) == 1


def test_day_of_bad_samples_whose_samples_were_dropped_leaves_a_gap(store):
    store.write([sample(minute, None, Grade.BAD) for minute in range(10)], [])
    while store.maintain(after(days=60)):
        pass
    assert store.buckets(BEER, DAY, after(days=1), 1).count.tolist() == [0]
    assert store.last_before(BEER, after(days=1)) is None


def test_empty_batch_comes_back_empty():
    again = from_bytes(to_bytes(Batch()))
    assert (again.rows, again.samples, again.annotations, again.rolled) == (0, [], [], [])


def test_last_good_day_is_found_behind_many_bad_ones_whose_samples_were_dropped(store):
    bad = [sample(1440.0 * day, None, Grade.BAD) for day in range(1, 6)]
    store.write([sample(1, 18.0), *bad], [])
    while store.maintain(after(days=60)):
        pass
    found = store.last_before(BEER, after(days=6))
    assert found is not None
    assert found.value == 18.0


def test_rows_of_a_batch_are_everything_in_it():
    rolled = ((BEER, grouped(summaries((0, 1.0), (60_000, 2.0)), MINUTE_MS)),)
    assert Batch([sample(1)], [note(1), note(2)], rolled).rows == 5


def test_minutes_of_a_batch_come_back_as_they_were():
    batch = Batch(rolled=[(BEER, summaries((0, 1.0), (60_000, 2.5)))])
    ((series, minutes),) = from_bytes(to_bytes(batch)).rolled
    assert (series, minutes.last.tolist(), minutes.at_ms.tolist()) == (BEER, [1.0, 2.5], [0, 60_000])


def test_batches_together_keep_their_order():
    both = together([Batch([sample(2)], [note(2)]), Batch([sample(1)], [note(1)])])
    assert (both.samples, both.annotations) == ([sample(2), sample(1)], [note(2), note(1)])


def test_thinning_takes_the_newest_of_a_moment_that_was_written_twice():
    ((_, minutes),) = thinned([Batch([sample(1, 4.0)]), Batch([sample(1, 6.0)])]).rolled
    assert (minutes.count.tolist(), minutes.mean.tolist()) == ([1], [6.0])


def test_thinning_keeps_series_apart():
    rolled = thinned([Batch([sample(1, 4.0), sample(1, 1.0, series=COOL)])]).rolled
    assert {series: minutes.mean.tolist() for series, minutes in rolled} == {BEER: [4.0], COOL: [1.0]}


def test_thinning_keeps_what_was_thinned_before():
    earlier = (BEER, summaries((0, 1.0)))
    assert thinned([Batch(rolled=[earlier]), Batch([sample(1)])]).rolled[0] is earlier


def test_output_that_is_always_off_runs_no_hour_and_never_starts():
    assert (levels((0, 0.0)).full_hours(), levels((0, 0.0)).starts()) == (0.0, 0)


def test_hours_on_and_hours_off_make_up_the_whole_time():
    told = levels((0, 0.0), (2, 1.0), (5, 0.0))
    off = levels((0, 1.0), (2, 0.0), (5, 1.0))
    assert told.full_hours() == 3.0
    assert told.full_hours() + off.full_hours() == 10.0


def test_each_way_from_off_to_on_is_a_start():
    assert levels((0, 0.0), (1, 1.0), (2, 0.0), (3, 0.4), (4, 0.9)).starts() == 2
