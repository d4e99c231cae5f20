"""A whole barn, started as a person starts it, for tests that talk to it."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.waiting import wait_until

COLDSIDE = (sys.executable, "-m", "services.cli")


def coldside(*words: str, state: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Runs one command to its end."""
    place = ("--state", str(state)) if state else ()
    environment = os.environ | {"COLUMNS": "160", "NO_COLOR": "1"}
    return subprocess.run([*COLDSIDE, *words, *place], capture_output=True, text=True, env=environment, timeout=60)


def answer(*words: str, state: Path) -> Any:
    """What a command says with --json."""
    done = coldside(*words, "--json", state=state)
    return json.loads(done.stdout) if done.stdout else None


@contextmanager
def barn(state: Path, *options: str) -> Iterator[subprocess.Popen[str]]:
    """`coldside up` without a past, stopped with Ctrl-C; every chamber has spoken when it is handed over."""
    command = [*COLDSIDE, "up", "--no-past", "--state", str(state), *options]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        wait_until(lambda: all_speak(state), "every chamber has a status", 60)
        yield process
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=40)


def all_speak(state: Path) -> bool:
    """Whether all five chambers and all services have been heard of."""
    seen = answer("status", state=state) or {}
    return sum("/status/" in topic for topic in seen) == 5 and sum("/health/" in topic for topic in seen) >= 6
