"""Moving history from one store to another, and back-ups: everything, once, checked, and taken up after a break."""

import random
import signal
import subprocess
import sys
import threading

import numpy as np
import pytest

from services.recorder.backup import back_up, bring_back
from services.recorder.housekeeping import Retention
from services.recorder.influx_store import InfluxStore
from services.recorder.migration import NotTheSame, migrate
from services.recorder.pages import LEVELS, MINUTE_MS
from services.recorder.samples import annotation_checksum, checksum, summary_checksum
from services.recorder.sqlite_store import SqliteStore
from services.recorder.store import StoreUnreachable
from tests.recorder.history import BEER, COOL, DAY, FOR_EVER, a_day_of, after, note, sample

DROP_RAW = Retention(raw_days=8, minute_days=None, quarter_days=None)


def filled(path, hours=24 * 16):
    """A store with fresh, packed and dropped days, bad samples and annotations."""
    store = SqliteStore(path)
    store.write(a_day_of(hours=hours, every_s=60), [note(minute * 60) for minute in range(100)])
    store.write(a_day_of(COOL, hours=30) + [sample(1.5, None, grade=2)])
    while store.maintain(after(hours=hours), DROP_RAW):
        pass
    return store


def aged(path):
    """A store of forty days of which the oldest are left in hours only, younger ones in quarters, then minutes."""
    store = SqliteStore(path)
    store.write(a_day_of(hours=24 * 40, every_s=300))
    while store.maintain(after(days=40), Retention(raw_days=5, minute_days=10, quarter_days=20)):
        pass
    return store


def content(store, level=MINUTE_MS):
    """Everything that two stores with the same history agree on."""
    sums = {one: checksum(store.raw(one, *FOR_EVER)) for one in store.series()}
    return sums, summed(store, level), annotation_checksum(store.annotations(*FOR_EVER))


def summed(store, level):
    """Roll-ups of one level, by count and checksum."""
    begin, end = int(DAY.timestamp() * 1000), int(after(days=40).timestamp() * 1000)
    return summary_checksum(store.summaries(BEER, level, begin, end))


def complete(steps):
    return list(steps)[-1]


def test_everything_arrives_samples_minutes_and_annotations(tmp_path, target):
    source = filled(tmp_path / "source")
    last = complete(migrate(source, target, tmp_path / "ledger"))
    assert last.done == last.total
    assert content(target) == content(source)


def test_roll_ups_of_every_level_arrive_though_all_that_is_finer_was_dropped(tmp_path, target):
    source = aged(tmp_path / "source")
    complete(migrate(source, target, tmp_path / "ledger"))
    counts = [summed(source, level)[0] for level in LEVELS]
    assert 0 < counts[0] < 40 * 288
    assert counts[1] < 40 * 96
    assert counts[2] == 40 * 24
    assert [summed(target, level) for level in LEVELS] == [summed(source, level) for level in LEVELS]
    assert target.series() == [BEER]
    assert target.extent(BEER)[0] <= int(DAY.timestamp() * 1000)


def test_there_and_back_again_is_the_same(tmp_path, database):
    source, back = filled(tmp_path / "source"), SqliteStore(tmp_path / "back")
    complete(migrate(source, InfluxStore(database), tmp_path / "there"))
    complete(migrate(InfluxStore(database), back, tmp_path / "back-again"))
    assert content(back) == content(source)


def test_a_migration_that_was_stopped_goes_on_where_it_was(tmp_path):
    source, target = filled(tmp_path / "source"), SqliteStore(tmp_path / "target")
    for _, step in zip(range(3), migrate(source, target, tmp_path / "ledger"), strict=False):
        assert step.total > 3
    before = target.query("PRAGMA data_version")
    steps = migrate(source, target, tmp_path / "ledger")
    for _ in range(2):
        next(steps)
    assert target.query("PRAGMA data_version") == before
    complete(steps)
    assert content(target) == content(source)


def killed_after(writes, tmp_path, database):
    """What a migration said before it was killed."""
    (tmp_path / "server.json").write_text(database.model_dump_json())
    words = [str(tmp_path / "source"), str(tmp_path / "server.json"), str(tmp_path / "ledger"), str(writes)]
    command = [sys.executable, "-m", "tests.recorder.mover", *words]
    mover = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    assert mover.returncode == -signal.SIGKILL
    return mover.stdout.splitlines()


def test_a_migration_to_a_server_is_taken_up_after_kill_9(tmp_path, database):
    source = aged(tmp_path / "source")
    first, second = killed_after(3, tmp_path, database), killed_after(2, tmp_path, database)
    assert [line.split()[0] for line in first] == ["1", "2"]
    assert [line.split()[0] for line in second] == ["1", "2", "3"]
    target = InfluxStore(database)
    complete(migrate(source, target, tmp_path / "ledger"))
    assert [content(target, level) for level in LEVELS] == [content(source, level) for level in LEVELS]


def test_a_lost_ledger_only_costs_time(tmp_path):
    source, target = filled(tmp_path / "source"), SqliteStore(tmp_path / "target")
    complete(migrate(source, target, tmp_path / "ledger"))
    (tmp_path / "ledger").write_text("{")
    complete(migrate(source, target, tmp_path / "ledger"))
    assert content(target) == content(source)


def test_what_the_target_has_besides_stays(tmp_path):
    source, target = filled(tmp_path / "source"), SqliteStore(tmp_path / "target")
    target.write([sample(-5, 4.0)])
    complete(migrate(source, target, tmp_path / "ledger"))
    assert target.last_before(BEER, DAY) == sample(-5, 4.0)


class Forgetful(SqliteStore):
    """Takes everything and keeps only some of it."""

    def write(self, samples, annotations=()):
        super().write(samples[: len(samples) // 2], annotations)


def test_a_target_that_loses_samples_is_found_out(tmp_path):
    source = filled(tmp_path / "source")
    with pytest.raises(NotTheSame, match="the target holds"):
        complete(migrate(source, Forgetful(tmp_path / "target"), tmp_path / "ledger"))


def test_an_empty_store_is_moved_in_no_time(tmp_path):
    assert list(migrate(SqliteStore(tmp_path / "a"), SqliteStore(tmp_path / "b"), tmp_path / "ledger")) == []


def test_a_backup_holds_everything_and_is_one_file(tmp_path):
    source = filled(tmp_path / "source")
    back_up(tmp_path / "source", tmp_path / "copies" / "one")
    assert [path.name for path in (tmp_path / "copies").iterdir()] == ["one"]
    assert content(SqliteStore(tmp_path / "copies" / "one", read_only=True)) == content(source)


def test_a_backup_made_while_others_write_is_whole(tmp_path):
    store, stop = filled(tmp_path / "source"), threading.Event()

    def go_on_writing():
        writer, number = SqliteStore(tmp_path / "source"), 0
        while not stop.is_set():
            writer.write([sample(50_000 + number + step, float(number)) for step in range(10)])
            number += 10

    others = threading.Thread(target=go_on_writing)
    others.start()
    for name in range(5):
        back_up(tmp_path / "source", tmp_path / f"copy-{name}")
        copy = SqliteStore(tmp_path / f"copy-{name}", read_only=True)
        values = copy.raw(BEER, after(minutes=50_000), FOR_EVER[1]).value
        assert np.all(np.diff(values[::10]) == 10)
        assert len(values) % 10 == 0
    stop.set()
    others.join()
    store.close()


def test_a_backup_that_fails_leaves_no_half_copy(tmp_path):
    with pytest.raises(StoreUnreachable):
        back_up(tmp_path / "nothing", tmp_path / "copy")
    assert list(tmp_path.iterdir()) == []


def test_a_backup_is_brought_back_into_a_store_that_is_in_use(tmp_path):
    old = filled(tmp_path / "old")
    back_up(tmp_path / "old", tmp_path / "copy")
    live = SqliteStore(tmp_path / "live")
    live.write([sample(30_000, 7.0)], [note(30_000)])
    for _ in bring_back(tmp_path / "copy", SqliteStore(tmp_path / "live"), tmp_path / "ledger"):
        live.write([sample(30_000 + random.randrange(5), 7.0)])
    assert checksum(live.raw(COOL, *FOR_EVER)) == checksum(old.raw(COOL, *FOR_EVER))
    assert len(live.raw(BEER, after(minutes=29_000), FOR_EVER[1])) >= 1
    assert len(live.annotations(*FOR_EVER)) == 101
