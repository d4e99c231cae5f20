"""What people are told to do after secrets were made."""

from pathlib import Path

from schemas.plant import Plant
from services.secure.making import Wishes
from services.secure.notes import notes
from tests.secure.site import NOW, secured


def said(folder: Path, plant: Plant, wishes: Wishes | None = None) -> str:
    """Everything that is printed."""
    return "\n".join(notes(secured(folder, plant, wishes, NOW), folder))


def test_each_device_has_a_block_with_its_own_topics(tmp_path: Path, shed: Plant) -> None:
    told = said(tmp_path / "s", shed)
    assert told.count("\nOn device-") == 2
    assert "may hear   garage/node3/relay/1, garage/node3/relay/2" in told


def test_without_a_host_the_option_that_names_one_is_told(tmp_path: Path, shed: Plant) -> None:
    assert "--host NAME" in said(tmp_path / "s", shed)
    assert "--host NAME" not in said(tmp_path / "s", shed, Wishes(hosts=("barn.example",)))


def test_broker_is_to_be_told_only_of_changes(tmp_path: Path, shed: Plant) -> None:
    assert "kill -s HUP broker" in said(tmp_path / "s", shed)
    assert "kill -s HUP broker" not in said(tmp_path / "s", shed)


def test_revoked_and_deleted_accounts_are_named(tmp_path: Path, shed: Plant) -> None:
    said(tmp_path / "s", shed)
    told = said(tmp_path / "s", shed, Wishes(revoke=frozenset({"device-keg-board"})))
    assert "let in no more: device-keg-board" in told
    assert "deleted: device-keg-board" in told
