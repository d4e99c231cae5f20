"""Killing the writing process at random moments loses nothing that it was told is safe."""

import random
import subprocess
import sys
import threading

import pytest

from services.recorder.sqlite_store import SqliteStore
from tests.recorder.history import BEER, FOR_EVER
from tests.recorder.writer import BATCH


def write_and_kill(path, begin, after_s):
    """The highest row that the writer was told is safe."""
    command = [sys.executable, "-m", "tests.recorder.writer", str(path), str(begin)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        said = [writer.stdout.readline()]
        threading.Timer(after_s, writer.kill).start()
        said += writer.stdout.readlines()
    whole = [int(line) for line in said if line.endswith("\n")]
    return whole[-1]


@pytest.mark.parametrize("seed", range(4))
def test_what_was_acknowledged_is_there_exactly_once_after_kill_9(tmp_path, seed):
    moments = random.Random(seed)
    path, promised = tmp_path / "history.sqlite", 0
    for _ in range(3):
        promised = write_and_kill(path, max(0, promised - BATCH), moments.uniform(0.0, 0.3))
        store = SqliteStore(path)
        raw = store.raw(BEER, *FOR_EVER)
        assert raw.value.tolist()[:promised] == [float(number) for number in range(promised)]
        assert len(raw) - promised in (0, BATCH)
        assert len(store.annotations(*FOR_EVER)) * BATCH == len(raw)
        store.close()
