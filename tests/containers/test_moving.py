"""From `coldside up` to compose: the documented command carries the state over, and history goes on."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from services.recorder.sqlite_store import SqliteStore
from tests.containers.deployment import USER, Deployment, deployed
from tests.containers.engine import ROOT
from tests.recorder.history import sample

READ = """
from datetime import UTC, datetime
from pathlib import Path
from services.recorder.sqlite_store import SqliteStore
store = SqliteStore(Path('/state/history.sqlite'))
begin, end = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
print(*(value for series in store.series() for value in store.raw(series, begin, end).value.tolist()))
"""
"""As the recorder in the container opens it: to be written to."""


@pytest.fixture
def deployment(images: None, tmp_path: Path) -> Iterator[Deployment]:
    """With secrets, and nothing that runs yet."""
    with deployed(Deployment(tmp_path / "site", f"coldside-moving-{os.getpid()}", store=False)) as made:
        yield made


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """What `coldside up` left behind: five readings, a service's state, and what belongs to its own broker."""
    folder = tmp_path / "state"
    (folder / "broker").mkdir(parents=True)
    store = SqliteStore(folder / "history.sqlite")
    store.write([sample(minute, 18 + minute / 10) for minute in range(5)])
    store.close()
    for name in ("scheduler.json", "broker.json", "bridge.lock", "broker/nats.conf"):
        (folder / name).write_text("{}")
    for path in (folder, *folder.rglob("*")):
        os.chown(path, USER, -1)
    return folder


def documented() -> str:
    """The one command of the documentation that copies."""
    found = re.search(r"--entrypoint sh ready -c \\\n\s+'(cd /old .*)'\n", (ROOT / "docs/containers.md").read_text())
    assert found, "docs/containers.md no longer says how to carry the state over"
    return found[1]


def test_documented_command_carries_history_and_state_over(deployment: Deployment, old: Path) -> None:
    copy = ("run", "-T", "--rm", "-v", f"{old}:/old:ro", "--entrypoint", "sh", "ready", "-c")
    copied = deployment.compose(*copy, documented())
    assert copied.returncode == 0, copied.stderr
    listed = deployment.compose("run", "-T", "--rm", "--entrypoint", "ls", "ready", "/state").stdout.split()
    assert {"history.sqlite", "scheduler.json"} <= set(listed)
    assert not {"broker.json", "bridge.lock", "broker"} & set(listed)
    told = deployment.compose("run", "-T", "--rm", "--entrypoint", "python3", "ready", "-c", READ)
    assert told.stdout.split() == ["18.0", "18.1", "18.2", "18.3", "18.4"], told.stderr
