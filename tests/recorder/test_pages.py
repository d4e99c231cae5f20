"""Columns of samples: packed and unpacked, put together, compared."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.recorder.pages import (
    DAY_MS,
    HOUR_MS,
    LEVELS,
    MINUTE_MS,
    QUARTER_MS,
    RAW,
    PageKey,
    pack_samples,
    pack_summaries,
    slot_of,
    unpack_samples,
    unpack_summaries,
)
from services.recorder.rows import Grade
from services.recorder.samples import checksum, from_rows, in_line, overwritten
from services.recorder.stretches import Levels
from services.recorder.summaries import grouped, joined, of_samples, overlaid

NOW = 1_774_000_000_000
ROWS = st.lists(
    st.tuples(st.integers(0, DAY_MS - 1), st.none() | st.floats(-1e6, 1e6), st.sampled_from(Grade)),
    unique_by=lambda row: row[0],
    max_size=40,
).map(sorted)


def rows_of(samples):
    value = [None if np.isnan(one) else one for one in samples.value.tolist()]
    return list(zip(samples.at_ms.tolist(), value, samples.grade.tolist(), strict=True))


def summed(*pairs):
    at_ms, value = zip(*pairs, strict=True)
    return of_samples(np.array(at_ms, dtype=np.int64), np.array(value, dtype=np.float64))


@given(ROWS.filter(bool), st.integers(0, 30_000))
def test_samples_come_out_of_a_page_bit_by_bit(rows, day):
    begins_ms = day * DAY_MS
    samples = from_rows([(begins_ms + at_ms, value, grade) for at_ms, value, grade in rows])
    again = unpack_samples(pack_samples(samples, begins_ms), len(samples), begins_ms)
    assert rows_of(again) == rows_of(samples)


def test_summaries_come_out_of_a_page_with_means_to_seven_digits():
    before = grouped(summed((0, 18.0625), (1000, 18.125), (MINUTE_MS, 19.0)), MINUTE_MS)
    after = unpack_summaries(pack_summaries(before, 0), len(before), 0)
    assert after.count.tolist() == [2, 1]
    assert after.least.tolist() == before.least.tolist()
    assert after.mean.tolist() == pytest.approx(before.mean.tolist(), rel=1e-7)


@pytest.mark.parametrize("level", [RAW, *LEVELS])
@pytest.mark.parametrize("at_ms", [0, 1, DAY_MS, 1_774_000_000_123])
def test_every_moment_lies_in_the_span_of_its_page(level, at_ms):
    page, following = (PageKey(1, level, slot_of(level, at_ms) + n) for n in (0, 1))
    assert page.begins_ms <= at_ms < following.begins_ms


@given(ROWS, ROWS)
def test_of_two_writings_of_a_moment_the_newer_counts(older, newer):
    merged = overwritten(from_rows(older), from_rows(newer))
    wanted = {row[0]: row for row in older} | {row[0]: row for row in newer}
    assert rows_of(merged) == [wanted[at_ms] for at_ms in sorted(wanted)]


def test_parts_of_nothing_are_nothing():
    assert len(in_line([])) == 0


def test_range_of_samples_has_its_start_and_not_its_end():
    samples = from_rows([(0, 1.0, 0), (10, 2.0, 0), (20, 3.0, 0)])
    assert samples.within(10, 20).at_ms.tolist() == [10]


def test_only_what_has_a_value_and_is_not_bad_is_summed_up():
    samples = from_rows([(0, 1.0, Grade.GOOD), (1, None, Grade.GOOD), (2, 3.0, Grade.BAD), (3, 4.0, Grade.UNCERTAIN)])
    assert samples.usable.mean.tolist() == [1.0, 4.0]


@given(ROWS.filter(lambda rows: len(rows) > 1), st.data())
def test_checksum_does_not_depend_on_order_and_sees_a_lost_sample(rows, data):
    shuffled = data.draw(st.permutations(rows))
    assert checksum(from_rows(shuffled)) == checksum(from_rows(rows))
    assert checksum(from_rows(rows[1:])) != checksum(from_rows(rows))


def test_checksum_tells_nothing_from_zero_and_a_grade_from_another():
    sums = [checksum(from_rows([row])) for row in ((NOW, 0.0, 0), (NOW, None, 0), (NOW, 0.0, 1), (NOW + 1, 0.0, 0))]
    assert len(set(sums)) == 4


def test_checksum_takes_minus_zero_for_zero():
    assert checksum(from_rows([(0, -0.0, 0)])) == checksum(from_rows([(0, 0.0, 0)]))


@given(ROWS, st.sampled_from([QUARTER_MS, HOUR_MS]))
def test_summing_up_minutes_gives_what_summing_up_samples_gives(rows, level_ms):
    samples = from_rows(rows).usable
    direct, stepwise = grouped(samples, level_ms), grouped(grouped(samples, MINUTE_MS), level_ms)
    for one, other in zip(direct.columns, stepwise.columns, strict=True):
        assert np.allclose(one, other, rtol=1e-9, atol=1e-6)


def test_stretch_without_samples_has_no_summary():
    assert grouped(summed((0, 1.0), (3 * MINUTE_MS, 2.0)), MINUTE_MS).at_ms.tolist() == [0, 3 * MINUTE_MS]


def test_summaries_of_one_moment_are_both_kept_when_joined_and_the_newer_when_overlaid():
    older, newer = summed((0, 1.0), (10, 2.0)), summed((10, 3.0), (20, 4.0))
    assert joined(older, newer).mean.tolist() == [1.0, 3.0, 2.0, 4.0]
    assert overlaid(older, newer).mean.tolist() == [1.0, 3.0, 4.0]


def levels(*pairs, end_ms=4 * HOUR_MS):
    begins, level = zip(*pairs, strict=True)
    return Levels(np.array(begins, dtype=np.int64), np.array(level), end_ms)


def test_half_an_hour_at_full_counts_as_an_hour_at_half():
    full = levels((0, 1.0), (HOUR_MS // 2, 0.0))
    half = levels((0, 0.5), (HOUR_MS, 0.0))
    assert full.full_hours() == half.full_hours() == 0.5


def test_last_level_holds_up_to_the_end():
    assert levels((0, 0.0), (HOUR_MS, 1.0)).full_hours() == 3.0


def test_changed_level_is_no_start_and_what_ran_before_has_not_started():
    assert levels((0, 1.0), (1, 0.5), (2, 0.0), (3, 0.2), (4, 1.0)).starts() == 1
