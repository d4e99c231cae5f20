"""How the console is opened with everything else."""

import json
import socket
from contextlib import closing
from pathlib import Path

import pytest
import typer

from services.commands.doorstep import IDLE_S, Doorstep, Opening, doorstep
from services.runtime.doorway import FILE

PLANT = Path("plant.yaml")


def opened(opening: Opening, state: Path, port: int | None = 0) -> Doorstep:
    return doorstep(opening, "127.0.0.1", port, PLANT, state, "{broker}")


def test_usually_its_process_waits_for_a_visitor_and_ends_when_nobody_looks(tmp_path: Path) -> None:
    door = opened(Opening.ON_VISIT, tmp_path)
    assert door.listening is not None
    with closing(door.listening):
        assert (list(door.visited), door.members) == (["console"], {})
        assert door.visited["console"][-2:] == ["--idle", str(IDLE_S)]


def test_always_is_a_member_like_any_other(tmp_path: Path) -> None:
    door = opened(Opening.ALWAYS, tmp_path)
    assert door.listening is not None
    with closing(door.listening):
        assert (list(door.members), door.visited) == (["console"], {})
        assert "--idle" not in door.members["console"]


def test_off_listens_nowhere(tmp_path: Path) -> None:
    door = opened(Opening.OFF, tmp_path)
    assert (door.members, door.visited, door.socket_fd) == ({}, {}, None)
    assert "off" in door.words
    assert not (tmp_path / FILE).exists()


def test_the_address_is_said_and_written_down(tmp_path: Path) -> None:
    door = opened(Opening.ON_VISIT, tmp_path)
    assert door.listening is not None
    with closing(door.listening):
        assert json.loads((tmp_path / FILE).read_text())["url"] in door.words


def test_a_wanted_port_that_is_taken_ends_the_command_with_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other, pytest.raises(typer.Exit):
        opened(Opening.ON_VISIT, tmp_path, other.getsockname()[1])
    assert "--console-port" in capsys.readouterr().err


def test_a_host_beyond_this_machine_needs_an_operator_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit):
        doorstep(Opening.ON_VISIT, "127.0.0.1.example.invalid", 0, PLANT, tmp_path, "{broker}")
    assert "before an operator has a password" in capsys.readouterr().err
