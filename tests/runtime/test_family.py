"""The keeper: the dead come back, and nobody outlives it. Real processes."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path

import pytest

from services.runtime.broker import find_address
from services.runtime.clock import machine_seconds
from services.runtime.family import Plan
from tests.waiting import wait_until

CHILD = """
import os, pathlib, signal, sys
folder, name = pathlib.Path(sys.argv[1]), sys.argv[2]
with open(folder / "lives", "a") as lives: lives.write(f"{name} {os.getpid()}\\n")
def leave(*_):
    with open(folder / "deaths", "a") as deaths: deaths.write(f"{name}\\n")
    sys.exit(0)
signal.signal(signal.SIGTERM, leave)
(folder / name).write_text(" ".join(sys.argv[3:]))
while True: signal.pause()
"""


@pytest.fixture
def keep(tmp_path: Path) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Starts a keeper; whatever is left of it is killed after the test."""
    keepers: list[subprocess.Popen[str]] = []

    def start(*names: str, **plan: object) -> subprocess.Popen[str]:
        members = {name: [sys.executable, "-c", CHILD, str(tmp_path), name, "{broker}"] for name in names}
        described = Plan(**{"members": members, "state_folder": str(tmp_path), "embedded_broker": False, **plan})
        command = [sys.executable, "-m", "services.runtime.family", json.dumps(asdict(described))]
        keepers.append(subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True))
        return keepers[-1]

    yield start
    for keeper in keepers:
        keeper.kill()
        keeper.communicate()


def pids(tmp_path: Path, name: str) -> list[int]:
    """Every life that a child had, oldest first."""
    path = tmp_path / "lives"
    lines = path.read_text().splitlines() if path.exists() else []
    return [int(line.split()[1]) for line in lines if line.split()[0] == name]


def is_alive(pid: int) -> bool:
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False


def await_up(tmp_path: Path, *names: str) -> None:
    wait_until(lambda: all((tmp_path / name).exists() for name in names), "the children to be up")


def test_child_that_dies_is_started_again(keep, tmp_path):
    keep("one", "two")
    await_up(tmp_path, "one", "two")
    os.kill(pids(tmp_path, "one")[0], signal.SIGKILL)
    wait_until(lambda: len(pids(tmp_path, "one")) == 2, "the second life")
    assert len(pids(tmp_path, "two")) == 1


def test_child_that_dies_at_once_is_started_again_ever_more_slowly(keep, tmp_path):
    keep(members={"mayfly": [sys.executable, "-c", f"open({str(tmp_path / 'tries')!r}, 'a').write('x')"]})
    began_s = machine_seconds()
    wait_until(lambda: (tmp_path / "tries").exists() and len((tmp_path / "tries").read_text()) == 3, "three tries")
    assert machine_seconds() - began_s >= 1.0 + 2.0


def test_command_that_cannot_be_started_does_not_end_the_keeper(keep, tmp_path):
    keeper = keep(members={"missing": ["/nowhere/at/all"]}, for_s=2.0)
    assert keeper.wait(20) == 0
    assert "missing" in keeper.stderr.read()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_signal_stops_all_in_the_opposite_order_and_exits_with_0(keep, tmp_path, number):
    keeper = keep("one", "two", "three")
    await_up(tmp_path, "one", "two", "three")
    keeper.send_signal(number)
    assert keeper.wait(20) == 0
    assert (tmp_path / "deaths").read_text().split() == ["three", "two", "one"]


def test_keeper_ends_by_itself_after_its_time(keep, tmp_path):
    keeper = keep("one", for_s=1.5)
    assert keeper.wait(20) == 0
    assert not is_alive(pids(tmp_path, "one")[0])


def test_no_child_outlives_a_killed_keeper(keep, tmp_path):
    keeper = keep("one", "two")
    await_up(tmp_path, "one", "two")
    keeper.kill()
    children = pids(tmp_path, "one") + pids(tmp_path, "two")
    wait_until(lambda: not any(is_alive(pid) for pid in children), "the children to end")


def test_child_that_will_not_stop_is_killed(keep, tmp_path):
    stubborn = "import pathlib, signal, sys, os\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
    stubborn += "pathlib.Path(sys.argv[1]).write_text(str(os.getpid()))\nwhile True: signal.pause()"
    keeper = keep(members={"stubborn": [sys.executable, "-c", stubborn, str(tmp_path / "stubborn")]})
    wait_until(lambda: (tmp_path / "stubborn").exists() and bool((tmp_path / "stubborn").read_text()), "the child")
    keeper.terminate()
    assert keeper.wait(20) == 0
    assert not is_alive(int((tmp_path / "stubborn").read_text()))


def test_children_get_the_address_of_the_embedded_broker_and_so_does_the_greeting(keep, tmp_path):
    keeper = keep("one", embedded_broker=True, preferred_port=0, greeting="broker: {broker}", for_s=3.0)
    await_up(tmp_path, "one")
    wait_until(lambda: bool((tmp_path / "one").read_text()), "the child to write its arguments")
    assert (tmp_path / "one").read_text() == find_address(tmp_path)
    assert keeper.wait(20) == 0
    assert keeper.stdout.read().strip() == f"broker: {find_address(tmp_path)}"


def test_two_keepers_side_by_side_get_brokers_of_their_own(keep, tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    keep(embedded_broker=True, members={}, state_folder=str(tmp_path / "a"), greeting="up")
    wait_until(lambda: find_address(tmp_path / "a") is not None, "the first address")
    port = int(str(find_address(tmp_path / "a")).rsplit(":", 1)[1])
    second = keep(
        embedded_broker=True, members={}, state_folder=str(tmp_path / "b"), preferred_port=port, greeting="up"
    )
    assert second.stdout.readline() == "up\n"
    assert find_address(tmp_path / "b") != find_address(tmp_path / "a")


def test_keeper_stays_small(keep, tmp_path):
    """It lives for weeks beside the services; an interpreter alone takes about 10 MB."""
    keeper = keep("one")
    await_up(tmp_path, "one")
    status = Path(f"/proc/{keeper.pid}/status").read_text()
    resident_kb = int(status.split("VmRSS:")[1].split()[0])
    assert resident_kb < 20_000
