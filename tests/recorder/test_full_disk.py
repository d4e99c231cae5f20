"""A disk that really is full, under the embedded store and under the spool: nothing lost, nothing twice, all told."""

import json
import os
import subprocess
import sys
from functools import cache

import pytest

APART = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--user", "--map-root-user", "--mount"]
"""A process with mounts of its own, which are gone with it."""


@cache
def mounts():
    """Whether this machine lets us mount: a bare container and some hardened systems do not."""
    command = [*APART, "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
    return subprocess.run(command, check=False, stderr=subprocess.DEVNULL).returncode == 0


def filled_up(folder, disk, sink):
    """What a recorder tells whose disk was filled up, which was killed, and for which room was made."""
    if disk == "small" and not mounts():
        pytest.skip("this machine mounts nothing for us: the limited disk stands in")
    command = [*(APART if disk == "small" else []), sys.executable, "-m", "tests.recorder.full_disk"]
    done = subprocess.run([*command, str(folder), disk, sink], stdout=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 0
    return json.loads(done.stdout)


ALARM = {("limited", "file"): "store-behind"}
"""SQLite tells a file that may not grow from a full disk; people are told of either."""


@pytest.mark.parametrize("sink", ["file", "spool"])
@pytest.mark.parametrize("disk", ["small", "limited"])
def test_a_full_disk_loses_nothing_doubles_nothing_spoils_nothing_and_is_told(tmp_path, disk, sink):
    told = filled_up(tmp_path, disk, sink)
    alarm = ALARM.get((disk, sink), "disk-full")
    assert len(told["refusals"]) >= 3
    assert told["raised"][alarm] is True
    assert told["ended"][alarm] is False
    assert told["sound"] == "ok"
    assert told["kept"] == told["wanted"]
    assert told["kept"][0] > 5_000
