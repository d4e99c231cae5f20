"""What all of `make run` takes of the machine's memory, the embedded broker included, after ten minutes.

The sum of each process's resident set, as the kernel counts it: what processes share is counted for each of them, so
the machine really gives less. COLDSIDE_MEMORY_MINUTES shortens the wait while working on it; the figure's name then
says so.
"""

import os
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event

from benchmarks.rows import Row, at_most

NAME = "memory"
RESIDENT_MB = 350.0
MINUTES = 10.0


def run() -> Iterable[Row]:
    """One row for the whole, and one for each process."""
    minutes = float(os.environ.get("COLDSIDE_MEMORY_MINUTES", MINUTES))
    with TemporaryDirectory(prefix="coldside-bench-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        command = [sys.executable, "-m", "services.cli", "up", "--state", str(folder / "state")]
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            Event().wait(60 * minutes)
            family = [process.pid, *_descendants(process.pid)]
            resident = {pid: _resident_mb(pid) for pid in family}
            titles = {pid: _title(pid) for pid in family}
        finally:
            process.terminate()
            process.wait(60)
    suffix = "" if minutes == MINUTES else f"_after_{minutes:g}_min"
    yield at_most(NAME, f"resident_mb_total{suffix}", sum(resident.values()), "MB", RESIDENT_MB)
    for pid, megabytes in resident.items():
        yield Row(NAME, f"resident_mb_{titles[pid]}", megabytes, "MB")


def _descendants(pid: int) -> list[int]:
    listed = (path.read_text().split() for path in Path(f"/proc/{pid}/task").glob("*/children"))
    return [one for children in listed for child in children for one in (int(child), *_descendants(int(child)))]


def _resident_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024


def _title(pid: int) -> str:
    """The services that a process runs, or its program's name."""
    words = Path(f"/proc/{pid}/cmdline").read_bytes().decode().split("\0")
    if "services.runtime.family" in words:
        return "keeper"
    if "--log" in words:
        return Path(words[words.index("--log") + 1]).stem
    return Path(words[0]).name
