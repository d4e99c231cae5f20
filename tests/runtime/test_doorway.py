"""A socket that listens before there is a process behind it."""

import json
import socket
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread

import pytest

from services.runtime.doorway import FILE, PortTaken, listen, note_address, somebody_waits, url_of
from services.runtime.family import Visited
from tests.waiting import wait_until

TAKES_ONE = "import socket, sys; socket.socket(fileno=int(sys.argv[1])).accept()[0].sendall(b'here')"
DIES = "import sys; sys.exit(3)"


@pytest.fixture
def listening() -> Iterator[socket.socket]:
    with listen("127.0.0.1", 0) as made:
        yield made


def caller(listening: socket.socket) -> socket.socket:
    return socket.create_connection(listening.getsockname(), timeout=60)


def member(listening: socket.socket, code: str) -> Visited:
    return Visited("door", [sys.executable, "-c", code, str(listening.fileno())], listening)


def test_a_port_that_is_taken_is_named(listening: socket.socket) -> None:
    port = listening.getsockname()[1]
    with pytest.raises(PortTaken, match=f"127.0.0.1:{port}"):
        listen("127.0.0.1", port)


def test_another_port_is_taken_where_any_will_do(listening: socket.socket) -> None:
    port = listening.getsockname()[1]
    with listen("127.0.0.1", port, or_any=True) as other:
        assert other.getsockname()[1] not in (0, port)


def test_its_address_is_written_down_for_others(listening: socket.socket, tmp_path: Path) -> None:
    note_address(tmp_path / "state", listening)
    assert json.loads((tmp_path / "state" / FILE).read_text()) == {"url": url_of(listening)}
    assert url_of(listening) == f"http://127.0.0.1:{listening.getsockname()[1]}/"


def test_whoever_sees_its_address_sees_all_of_it(listening: socket.socket, tmp_path: Path) -> None:
    """A file that is filled where it stands is empty for a moment: readers who come then have nothing to parse."""
    place, stopped, seen = tmp_path / FILE, Event(), set()

    def look() -> None:
        while not stopped.is_set():
            with suppress(FileNotFoundError):
                seen.add(place.read_text())

    looker = Thread(target=look)
    looker.start()
    for _ in range(300):
        note_address(tmp_path, listening)
    stopped.set()
    looker.join()
    seen.add(place.read_text())
    assert seen == {json.dumps({"url": url_of(listening)}) + "\n"}
    assert place.stat().st_mode & 0o777 == 0o644


def test_nobody_waits_until_somebody_comes(listening: socket.socket) -> None:
    assert not somebody_waits(listening)
    with caller(listening):
        wait_until(lambda: somebody_waits(listening), "the caller is seen")


def test_without_a_visitor_nothing_is_started(listening: socket.socket) -> None:
    door = member(listening, TAKES_ONE)
    door.look_after()
    assert (door.starts, door.alive) == (0, False)


def test_the_visitor_who_came_first_is_answered_by_what_was_started_for_them(listening: socket.socket) -> None:
    door = member(listening, TAKES_ONE)
    for visits in (1, 2):
        with caller(listening) as visitor:
            wait_until(lambda: somebody_waits(listening), "the caller is seen")
            door.look_after()
            assert visitor.recv(4) == b"here"
        wait_until(lambda: not door.alive, "it has ended")
        assert door.starts == visits
    door.stop()


def test_one_that_dies_is_started_again_after_a_pause_while_somebody_waits(listening: socket.socket) -> None:
    door = member(listening, DIES)
    with caller(listening):
        wait_until(lambda: door.look_after() or door.starts >= 2, "it is tried again")
    door.stop()
