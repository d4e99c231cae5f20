"""Durable state: the old or the new, never a part, and what cannot be read is kept."""

import pytest

from schemas.base import Model
from services.runtime.durable import write_durably
from services.runtime.state import StateFile


class Kept(Model):
    """Something worth keeping."""

    v: int = 1
    words: tuple[str, ...] = ()


@pytest.fixture
def file(tmp_path):
    return StateFile(tmp_path / "state" / "kept.json", Kept)


def test_nothing_saved_is_nothing_loaded(file):
    assert file.load() is None
    assert file.trouble == ""


def test_what_was_saved_last_is_loaded(file):
    file.save(Kept(words=("old",)))
    file.save(Kept(words=("new", "é")))
    assert file.load() == Kept(words=("new", "é"))


def test_saving_leaves_no_other_file_behind(file):
    file.save(Kept())
    assert [path.name for path in file.path.parent.iterdir()] == ["kept.json"]


def test_half_written_new_file_does_not_count(file):
    file.save(Kept(words=("whole",)))
    (file.path.parent / ".kept.json.new").write_text('{"v":1,"wo')
    assert file.load() == Kept(words=("whole",))


def test_half_written_new_file_is_in_nobodys_way(file):
    file.save(Kept())
    (file.path.parent / ".kept.json.new").write_text("torn")
    file.save(Kept(words=("whole",)))
    assert file.load() == Kept(words=("whole",))


@pytest.mark.parametrize("length", range(0, 24, 3))
def test_state_torn_anywhere_is_moved_aside_and_described(file, length):
    file.save(Kept(words=("whole",)))
    file.path.write_bytes(file.path.read_bytes()[:length])
    assert file.load() is None
    assert "kept as kept.json.unreadable-1; starting fresh" in file.trouble
    assert not file.path.exists()


def test_every_unreadable_file_is_kept_under_a_name_of_its_own(file):
    for number in (1, 2):
        file.path.parent.mkdir(exist_ok=True)
        file.path.write_text(f"torn {number}")
        file.load()
    kept = {path.name: path.read_text() for path in file.path.parent.iterdir()}
    assert kept == {"kept.json.unreadable-1": "torn 1", "kept.json.unreadable-2": "torn 2"}


def test_trouble_is_forgotten_with_the_next_good_load(file):
    file.path.parent.mkdir()
    file.path.write_text("torn")
    file.load()
    file.save(Kept())
    file.load()
    assert file.trouble == ""


def test_failed_write_leaves_the_old_content(tmp_path):
    path = tmp_path / "kept"
    write_durably(path, b"old")
    (tmp_path / ".kept.new").mkdir()
    with pytest.raises(OSError, match="directory"):
        write_durably(path, b"new")
    assert path.read_bytes() == b"old"


def test_state_is_readable_by_its_owner_only(file):
    file.save(Kept())
    assert file.path.stat().st_mode & 0o077 == 0
