"""One barn for tests that may spoil it: none of the pages' tests looks at it."""

import json
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from services.runtime.doorway import FILE
from tests.commands.live import COLDSIDE, all_speak
from tests.console.site import Site
from tests.waiting import wait_until


@pytest.fixture(scope="package")
def spoilt(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A real barn whose console comes with a visitor; processes may be killed, batches started, chambers locked out."""
    with barn_with_a_closed_door(tmp_path_factory.mktemp("ground-barn")) as opened:
        yield opened


@contextmanager
def barn_with_a_closed_door(state: Path) -> Iterator[Site]:
    """As a person starts it, on a port of the machine's choice."""
    command = [*COLDSIDE, "up", "--no-past", "--state", str(state), "--console-port", "0"]
    with (state / "up.log").open("w") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            wait_until(lambda: all_speak(state), "every chamber has a status", 120)
            yield Site(state, json.loads((state / FILE).read_text())["url"])
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(60)
