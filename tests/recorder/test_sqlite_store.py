"""What is particular to the embedded store: its file, its versions, its other readers, its damage."""

import sqlite3

import pytest

from services.recorder.sqlite_schema import MIGRATIONS, stored_version
from services.recorder.sqlite_store import SqliteStore, open_or_set_aside
from services.recorder.store import DiskFull, NewerStore, StoreDamaged, StoreUnreachable
from tests.recorder.history import BEER, FOR_EVER, a_day_of, note, sample


@pytest.fixture
def path(tmp_path):
    return tmp_path / "deep" / "history.sqlite"


def test_a_new_file_has_the_newest_layout(path):
    SqliteStore(path).close()
    assert stored_version(sqlite3.connect(path)) == len(MIGRATIONS)


def test_a_file_of_any_older_layout_is_brought_up_to_date_with_what_it_holds(path):
    path.parent.mkdir()
    for version in range(1, len(MIGRATIONS)):
        old = sqlite3.connect(path)
        old.executescript(
            f"{MIGRATIONS[0]}; INSERT INTO series VALUES (1, 'shed', 'left', 'reading', 'beer', 'degC', 'life')"
        )
        old.executescript("INSERT INTO sample VALUES (1, 1000, 18.0, 0);")
        old.executescript(
            "".join(f"{script};" for script in MIGRATIONS[1:version]) + f"PRAGMA user_version = {version}"
        )
        old.close()
        store = SqliteStore(path)
        assert store.raw(BEER, *[FOR_EVER[0].replace(year=1970), FOR_EVER[1]]).value.tolist() == [18.0]
        store.close()
        path.unlink()


def test_a_file_of_a_later_version_is_refused_and_left_alone(path):
    SqliteStore(path).close()
    later = sqlite3.connect(path)
    later.execute("PRAGMA user_version = 99")
    later.close()
    before = path.read_bytes()
    with pytest.raises(NewerStore, match="later version"):
        SqliteStore(path)
    assert path.read_bytes() == before


def test_others_read_while_the_recorder_writes(path):
    writer = SqliteStore(path)
    reader = SqliteStore(path, read_only=True)
    for hour in range(3):
        writer.write(a_day_of(hours=1 + hour))
        assert len(reader.raw(BEER, *FOR_EVER)) == 360 * (1 + hour)


def test_a_reader_cannot_write(path):
    SqliteStore(path).close()
    with pytest.raises(StoreUnreachable, match="readonly"):
        SqliteStore(path, read_only=True).write([sample(1)])


def test_two_writers_take_turns(path):
    one, other = SqliteStore(path), SqliteStore(path)
    one.write([sample(1)])
    other.write([sample(2)])
    one.write([sample(3)])
    assert len(other.raw(BEER, *FOR_EVER)) == 3


def test_a_write_that_fails_half_way_leaves_nothing_behind(path):
    store = SqliteStore(path)
    store.write([sample(1)])
    with pytest.raises(sqlite3.ProgrammingError):
        store.write([sample(2), sample(3, value=[])], [note(1)])  # type: ignore[arg-type]
    assert len(store.raw(BEER, *FOR_EVER)) == 1
    store.write([sample(2)])
    assert len(store.raw(BEER, *FOR_EVER)) == 2


def test_a_damaged_file_is_told_from_one_that_is_merely_busy(path):
    path.parent.mkdir()
    path.write_bytes(b"no database at all" * 100)
    with pytest.raises(StoreDamaged, match="not a database"):
        SqliteStore(path)


def test_a_damaged_file_is_set_aside_and_kept(path):
    path.parent.mkdir()
    for attempt in (1, 2):
        path.write_bytes(b"no database at all" * 100)
        store, trouble = open_or_set_aside(path)
        assert f"history.sqlite.damaged-{attempt}" in trouble
        store.write([sample(1)])
        store.close()
    assert len(list(path.parent.glob("*.damaged-*"))) == 2


def test_a_sound_file_is_opened_without_a_word(path):
    SqliteStore(path).close()
    assert open_or_set_aside(path)[1] == ""


def test_a_full_disk_is_told_and_what_was_there_stays(path):
    store = SqliteStore(path)
    store.write([sample(1)])
    with store.transaction() as connection:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
    store.query(f"PRAGMA max_page_count = {pages + 1}")
    with pytest.raises(DiskFull, match="full"):
        store.write(a_day_of())
    assert len(store.raw(BEER, *FOR_EVER)) == 1
