"""Rows wait on disk: through crashes, damage, full disks, and more of them than there is room for."""

import os
import random
import subprocess
from datetime import timedelta

import pytest

from services.recorder.batches import Batch, Unreadable, from_bytes, thinned, to_bytes
from services.recorder.frames import MARK, damaged_bytes, framed, frames, torn_at
from services.recorder.spool import Spool, SpoolLimits
from services.recorder.store import DiskFull
from tests.recorder.history import BEER, COOL, DAY, a_day_of, after, note, sample

TEN = [sample(minute) for minute in range(10)]


def drained(spool):
    """Everything in it, as a store that always answers would get it."""
    batches = []
    while (piece := spool.oldest(1)) is not None:
        batches.append(piece.batch)
        spool.sent(piece)
    return batches


def values(batches):
    return [one.value for batch in batches for one in batch.samples]


def filled(folder, batches=5, **limits):
    spool = Spool(folder, SpoolLimits(**limits))
    for number in range(batches):
        spool.write([sample(number, float(number))], [note(number)])
    return spool


def segments(folder, suffix="whole"):
    return sorted(folder.glob(f"*.{suffix}"))


def test_a_batch_comes_back_as_it_was_written():
    batch = Batch(
        [sample(1), sample(2, None, grade=2), sample(3, series=COOL)], [note(1, text="5 °C\n", facts={"a": [1]})]
    )
    again = from_bytes(to_bytes(batch))
    assert (again.samples, again.annotations) == (batch.samples, batch.annotations)


def test_a_batch_of_a_later_version_loses_only_what_is_new():
    body = to_bytes(Batch(TEN, [note(1)])).replace(b'"who"', b'"mood":"fine","who"')
    assert from_bytes(body).annotations == [note(1)]


@pytest.mark.parametrize("body", [b"", b"[]", b"{}", b'{"series":[],"samples":[[0,1,2,3]],"annotations":[]}'])
def test_what_is_no_batch_is_refused(body):
    with pytest.raises(Unreadable):
        from_bytes(body)


def test_thinning_keeps_annotations_and_the_sum_of_each_minute():
    batch = thinned([Batch(a_day_of(hours=1), [note(1)]), Batch(a_day_of(hours=2), [])])
    ((series, minutes),) = batch.rolled
    assert (series, len(minutes), set(minutes.count.tolist())) == (BEER, 120, {6})
    assert batch.annotations == [note(1)]


def test_records_are_found_again_around_any_damage():
    content = b"".join(framed(bytes([number]) * 50, number) for number in range(5))
    size = len(content) // 5
    for place in range(len(content)):
        damaged = content[:place] + bytes([content[place] ^ 0xFF]) + content[place + 1 :]
        assert [frame.at_ms for frame in frames(damaged)] == [n for n in range(5) if n != place // size]


def test_a_record_cut_short_is_told_from_a_damaged_one():
    whole, second = framed(b"first", 1), framed(b"second", 2)
    for length in range(1, len(second)):
        content = whole + second[:length]
        assert torn_at(content) == len(whole)
        assert damaged_bytes(content) == 0
    assert damaged_bytes(whole + second[:-1] + b"?") == len(second)


def test_the_mark_within_a_body_begins_no_record():
    assert [frame.body for frame in frames(framed(MARK * 3, 1) + framed(b"x", 2))] == [MARK * 3, b"x"]


def test_what_was_written_comes_out_in_order_and_leaves_only_the_file_in_use(tmp_path):
    spool = filled(tmp_path, segment_bytes=300)
    assert len(segments(tmp_path)) > 1
    assert values(drained(spool)) == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert len(segments(tmp_path)) == 1
    assert drained(Spool(tmp_path)) == []
    assert segments(tmp_path) == []


def test_what_was_not_sent_is_there_after_a_restart(tmp_path):
    spool = filled(tmp_path)
    spool.sent(spool.oldest(1))
    assert values(drained(Spool(tmp_path))) == [1.0, 2.0, 3.0, 4.0]


def test_a_lost_cursor_sends_again_rather_than_losing(tmp_path):
    spool = filled(tmp_path)
    spool.sent(spool.oldest(1))
    (tmp_path / "cursor").write_text("nonsense")
    assert values(drained(Spool(tmp_path))) == [0.0, 1.0, 2.0, 3.0, 4.0]


def test_writing_goes_on_while_sending(tmp_path):
    spool = filled(tmp_path, batches=1)
    piece = spool.oldest(1)
    spool.write([sample(9, 9.0)])
    spool.sent(piece)
    assert values(drained(spool)) == [9.0]


def test_how_much_waits_and_since_when_is_told(tmp_path):
    spool = filled(tmp_path)
    waiting = spool.backlog(after(hours=1))
    assert (waiting.rows, waiting.oldest, waiting.problem) == (10, DAY, "")
    assert waiting.size_bytes == sum(path.stat().st_size for path in segments(tmp_path))
    drained(spool)
    waiting = spool.backlog(after(hours=1))
    assert (waiting.rows, waiting.size_bytes, waiting.oldest) == (0, 0, None)


def test_small_batches_are_sent_together(tmp_path):
    spool = filled(tmp_path)
    piece = spool.oldest(6)
    assert (len(piece.batch.samples), len(piece.batch.annotations)) == (3, 3)
    spool.sent(piece)
    assert values(drained(spool)) == [3.0, 4.0]


def test_what_the_store_will_never_take_is_set_aside_and_the_rest_goes_on(tmp_path):
    spool = filled(tmp_path)
    aside = spool.set_aside(spool.oldest(1))
    assert [from_bytes(frame.body).samples[0].value for frame in frames(aside.read_bytes())] == [0.0]
    assert values(drained(spool)) == [1.0, 2.0, 3.0, 4.0]
    assert spool.counts["refused-rows"] == 2


def test_an_empty_write_leaves_no_file(tmp_path):
    Spool(tmp_path).write([])
    assert segments(tmp_path) == []


def test_a_write_cut_short_by_a_crash_is_dropped_in_silence(tmp_path):
    filled(tmp_path)
    (segment,) = segments(tmp_path)
    whole = segment.read_bytes()
    segment.write_bytes(whole + framed(to_bytes(Batch(TEN)), 0)[:-5])
    spool = Spool(tmp_path)
    assert segment.read_bytes() == whole
    assert (spool.problem, spool.counts["damaged-bytes"]) == ("", 0)


def test_a_damaged_record_costs_only_itself_and_a_copy_is_kept(tmp_path):
    filled(tmp_path)
    (segment,) = segments(tmp_path)
    content = bytearray(segment.read_bytes())
    content[len(content) // 2] ^= 0xFF
    segment.write_bytes(content)
    spool = Spool(tmp_path)
    assert len(drained(spool)) == 4
    assert "damaged" in spool.problem
    assert segments(tmp_path, "damaged")[0].read_bytes() == content


def test_a_whole_record_that_no_version_wrote_is_passed_over(tmp_path):
    filled(tmp_path, batches=1)
    (segment,) = segments(tmp_path)
    segment.write_bytes(framed(b"[]", 0) + segment.read_bytes())
    spool = Spool(tmp_path)
    assert values(drained(spool)) == [0.0]
    assert spool.counts["damaged-bytes"] > 0


def test_too_much_is_thinned_to_minutes_oldest_first(tmp_path):
    spool = Spool(tmp_path, SpoolLimits(most_bytes=100_000, segment_bytes=20_000))
    for hour in range(12):
        spool.write(a_day_of(begins=after(hours=hour), hours=1), [note(hour * 60)])
    spool.keep_within_limits(after(hours=12))
    assert segments(tmp_path, "thin") < segments(tmp_path)
    batches = drained(spool)
    assert sum(len(batch.annotations) for batch in batches) == 12
    counted = sum(int(minutes.count.sum()) for batch in batches for _, minutes in batch.rolled)
    assert counted + len(values(batches)) == 12 * 360
    assert "thinned" in spool.problem


def test_only_when_all_is_thin_is_the_oldest_dropped_and_that_is_told(tmp_path):
    spool = Spool(tmp_path, SpoolLimits(most_bytes=12_000, segment_bytes=10_000))
    for hour in range(12):
        spool.write(a_day_of(begins=after(hours=hour), hours=1))
    spool.keep_within_limits(after(hours=12))
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 12_000 + 10_000
    assert spool.counts["dropped-rows"] > 0
    assert "dropped" in spool.backlog(after(hours=12)).problem


def test_what_is_too_old_is_thinned_and_the_newest_segment_never(tmp_path):
    spool = filled(tmp_path, batches=6, segment_bytes=300, most_days=5)
    spool.keep_within_limits(DAY + timedelta(days=4))
    assert segments(tmp_path, "thin") == []
    spool.keep_within_limits(DAY + timedelta(days=6))
    assert len(segments(tmp_path)) == 1


def test_a_segment_thinned_while_it_was_being_sent_is_not_lost(tmp_path):
    spool = Spool(tmp_path, SpoolLimits(most_bytes=25_000, segment_bytes=20_000))
    for hour in range(3):
        spool.write(a_day_of(begins=after(hours=hour), hours=1))
    piece = spool.oldest(1)
    spool.keep_within_limits(after(hours=3))
    spool.sent(piece)
    assert drained(spool)[0].rolled


@pytest.mark.parametrize("seed", range(20))
def test_restarts_at_random_moments_lose_nothing(tmp_path, seed):
    moments, got, spool = random.Random(seed), set(), Spool(tmp_path, SpoolLimits(segment_bytes=500))
    for number in range(60):
        spool.write([sample(number, float(number))])
        if moments.random() < 0.4 and (piece := spool.oldest(1)) is not None:
            got.update(one.value for one in piece.batch.samples)
            if moments.random() < 0.7:
                spool.sent(piece)
        if moments.random() < 0.2:
            spool = Spool(tmp_path, SpoolLimits(segment_bytes=500))
    assert got | set(values(drained(spool))) == {float(number) for number in range(60)}


@pytest.fixture
def small_disk(tmp_path):
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    folder = tmp_path / "small"
    folder.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(folder)], check=False)
    if mounted.returncode:
        pytest.skip("this machine mounts no tmpfs")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_takes_a_batch_whole_or_not_at_all(small_disk):
    spool, written = Spool(small_disk), 0
    with pytest.raises(DiskFull, match="No space"):  # noqa: PT012
        while written < 10_000:
            spool.write([sample(written + n / 100, float(written)) for n in range(100)])
            written += 1
    assert written > 10
    again = Spool(small_disk)
    assert again.counts["damaged-bytes"] == 0
    assert sorted(set(values(drained(again)))) == [float(n) for n in range(written)]


def test_a_spool_on_a_full_disk_goes_on_when_there_is_room_again(small_disk):
    spool = Spool(small_disk)
    spool.write(TEN)
    (small_disk / "ballast").write_bytes(b"x" * (256 * 1024 - 8192))
    with pytest.raises(DiskFull):
        spool.write(a_day_of())
    (small_disk / "ballast").unlink()
    spool.write([sample(11, 11.0)])
    assert len(values(drained(spool))) == 11
