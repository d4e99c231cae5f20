"""Down-sampling as arithmetic, without any store."""

import numpy as np
import pytest

from services.recorder.buckets import carried, empty, even_edges, into_buckets
from services.recorder.summaries import of_samples


def columns(*pairs):
    at, value = zip(*pairs, strict=True)
    return of_samples(np.array(at, dtype=np.int64), np.array(value, dtype=np.float64))


def test_edges_are_even_whole_milliseconds_from_start_to_end():
    assert even_edges(0, 10, 4).tolist() == [0, 2, 5, 7, 10]


def test_a_sample_on_an_edge_belongs_to_the_later_bucket():
    assert into_buckets(even_edges(0, 20, 2), columns((10, 1.0))).count.tolist() == [0, 1]


def test_samples_outside_the_edges_do_not_count():
    assert into_buckets(even_edges(0, 20, 2), columns((-1, 1.0), (5, 2.0), (20, 3.0))).count.tolist() == [1, 0]


def test_what_holds_until_told_otherwise_fills_gaps_from_the_left():
    buckets = into_buckets(even_edges(0, 50, 5), columns((12, 1.0), (31, 0.0)))
    assert carried(buckets, None).last.tolist()[1:] == [1.0, 1.0, 0.0, 0.0]
    assert np.isnan(carried(buckets, None).last[0])
    assert carried(buckets, 0.5).mean.tolist() == [0.5, 1.0, 1.0, 0.0, 0.0]


def test_filled_gaps_still_count_nothing():
    assert carried(empty(even_edges(0, 50, 5)), 1.0).count.tolist() == [0] * 5


def test_a_bucket_without_samples_has_no_values():
    (bucket,) = empty(even_edges(0, 1000, 1))
    assert (bucket.count, bucket.least, bucket.mean, bucket.greatest, bucket.last) == (0, None, None, None, None)


@pytest.mark.parametrize("count", [1, 7, 1000])
def test_every_sample_lands_in_exactly_one_bucket(count):
    at = np.arange(0, 86_400_000, 9_973, dtype=np.int64)
    assert into_buckets(even_edges(0, 86_400_000, count), of_samples(at, np.ones(len(at)))).count.sum() == len(at)
