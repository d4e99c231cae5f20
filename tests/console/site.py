"""A whole barn with its console, started as a person starts it, for browsers to look at."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

from services.runtime.doorway import FILE
from tests.commands.live import COLDSIDE, answer, coldside
from tests.waiting import wait_until

PATIENCE_S = 180.0
SERVICES = 6
"""Simulator, bridge, supervisor, scheduler, notifier, recorder: at least."""


@dataclass(frozen=True, slots=True)
class Site:
    """Where it is served and where it keeps its state."""

    state: Path
    address: str

    def at(self, path: str = "/") -> str:
        """The address of a page."""
        return self.address.rstrip("/") + path

    def do(self, *words: str) -> None:
        """One `coldside` command that is expected to be taken."""
        done = coldside(*words, state=self.state)
        assert done.returncode == 0, done.stderr

    def says(self, *words: str) -> Any:
        """What a `coldside` command answers with --json."""
        return answer(*words, state=self.state)

    def told(self, shelf: str) -> list[dict[str, Any]]:
        """What the console has heard of one kind ('statuses', 'healths'); nothing while it does not answer."""
        try:
            with urlopen(self.at(f"/api/v1/{shelf}"), timeout=20) as response:
                return list(json.load(response))
        except (URLError, OSError, ValueError):
            return []

    def status_of(self, chamber: str) -> dict[str, Any]:
        """What the supervisor says of a chamber; empty before it does."""
        return next((one for one in self.told("statuses") if one["chamber"] == chamber), {})

    def process_of(self, member: str) -> int | None:
        """The process of the services that are named so ('bridge', 'console'), by what it was started with."""
        for folder in Path("/proc").iterdir():
            if folder.name.isdigit() and _is_member(folder, member, self.state):
                return int(folder.name)
        return None

    def kill(self, member: str) -> None:
        """Ends one process without warning; the keeper starts it again by and by."""
        found = self.process_of(member)
        assert found is not None, f"{member} does not run"
        os.kill(found, signal.SIGKILL)


@contextmanager
def open_site(state: Path, *options: str) -> Iterator[Site]:
    """`coldside up` without a past; every chamber has spoken, and the console answers, when it is handed over."""
    command = [
        *COLDSIDE,
        "up",
        "--no-past",
        "--state",
        str(state),
        "--console",
        "always",
        "--console-port",
        "0",
        *options,
    ]
    with (state / "up.log").open("w") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log, text=True)
        try:
            wait_until((state / FILE).exists, "the console's address is known", PATIENCE_S)
            site = Site(state, json.loads((state / FILE).read_text())["url"])
            wait_until(
                lambda: all_are_there(site), f"every chamber and service is heard of at {site.address}", PATIENCE_S
            )
            yield site
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(60)


def all_are_there(site: Site) -> bool:
    """Whether every chamber has a status, and all six kinds of service and the console itself are well."""
    chambers, statuses = site.told("chambers"), site.told("statuses")
    return 0 < len(chambers) == len(statuses) and len(site.told("healths")) >= SERVICES


def _is_member(folder: Path, member: str, state: Path) -> bool:
    try:
        words = (folder / "cmdline").read_bytes().decode().split("\0")
    except OSError:
        return False
    module = "services.commands.console" if member == "console" else "services.commands.member"
    named = member == "console" or member in words
    return words[0] == sys.executable and module in words and named and str(state) in words
