"""What the other side has taken is remembered through kills, torn files and full disks."""

from services.notifier.taken import REMEMBERED, Taken


def test_what_was_taken_is_known_after_a_restart(tmp_path):
    Taken(tmp_path / "state" / "taken").add("a1")
    again = Taken(tmp_path / "state" / "taken")
    assert "a1" in again
    assert "b2" not in again


def test_half_a_line_after_a_kill_is_no_id_and_spoils_no_other(tmp_path):
    path = tmp_path / "taken"
    path.write_text("whole\nhal")
    Taken(path).add("next")
    again = Taken(path)
    assert all(one in again for one in ("whole", "next"))
    assert "hal" not in again
    assert "halnext" not in again


def test_a_file_that_cannot_be_read_costs_only_the_certainty(tmp_path):
    path = tmp_path / "taken"
    path.write_bytes(b"\xff\xfe\n")
    taken = Taken(path)
    taken.add("a1")
    assert "a1" in taken


def test_a_file_that_cannot_be_written_keeps_no_message_from_going(tmp_path):
    (tmp_path / "taken").mkdir()
    taken = Taken(tmp_path / "taken")
    taken.add("a1")
    assert "a1" in taken


def test_the_file_does_not_grow_for_ever(tmp_path):
    path = tmp_path / "taken"
    path.write_text("".join(f"id{number}\n" for number in range(10 * REMEMBERED)))
    assert f"id{10 * REMEMBERED - 1}" in Taken(path)
    assert len(path.read_text().split()) == REMEMBERED
