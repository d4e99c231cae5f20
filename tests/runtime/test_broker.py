"""The embedded broker: prepared anywhere, found again, and nobody's way in from outside."""

import os
import socket
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from services.runtime.broker import ADDRESS_FILE, EmbeddedBroker, find_address, free_port, prepare_broker


@pytest.fixture
def configuration(tmp_path: Path) -> str:
    broker = prepare_broker(tmp_path, 0)
    return Path(broker.command[2]).read_text()


def test_broker_listens_on_loopback_only(configuration):
    hosts = [line.split("host:")[1].split(",")[0].strip() for line in configuration.splitlines() if "host:" in line]
    assert hosts == ['"127.0.0.1"', '"127.0.0.1"']


def test_broker_keeps_its_store_in_the_state_folder(configuration, tmp_path):
    assert f'store_dir: "{tmp_path}/broker/store"' in configuration


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody else")
def test_broker_started_by_root_runs_as_nobody_and_owns_no_more_than_its_store():
    with TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        broker = prepare_broker(Path(name), 0)
        owners = {path.name: path.owner() for path in Path(name).iterdir()}
    assert broker.user == "nobody"
    assert owners == {"broker": "nobody", ADDRESS_FILE: "root"}


def test_broker_in_a_folder_that_others_cannot_reach_runs_as_whoever_starts_it(tmp_path):
    tmp_path.chmod(0o700)
    assert prepare_broker(tmp_path, 0).user is None


def test_address_is_left_where_others_find_it(tmp_path):
    broker = prepare_broker(tmp_path, 0)
    assert find_address(tmp_path) == broker.url == f"mqtt://127.0.0.1:{broker.port}"


@pytest.mark.parametrize("content", ["", "{", "[]", "{}", "null", '{"port": 1}'])
def test_unusable_address_file_means_no_address(tmp_path, content):
    (tmp_path / ADDRESS_FILE).write_text(content)
    assert find_address(tmp_path) is None


def test_no_address_file_means_no_address(tmp_path):
    assert find_address(tmp_path) is None


def test_taken_port_is_given_up_for_a_free_one():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert free_port(port) not in (0, port)


def test_free_port_is_taken_as_preferred():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    assert free_port(port) == port


def test_nothing_there_does_not_answer():
    assert not EmbeddedBroker((), free_port(0), None).answers()


def test_something_else_there_does_not_count_as_an_answer():
    with socket.create_server(("127.0.0.1", 0)) as other:
        assert not EmbeddedBroker((), other.getsockname()[1], None).answers()
