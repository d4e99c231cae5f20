"""A recorder on a disk that fills up, in a process of its own: `python -m ... FOLDER DISK SINK`. Says what happened.

SINK is `file`, the embedded store, or `spool`, from which a store elsewhere is filled at the end. DISK is `small`: a
tmpfs of some MB is mounted at the folder, in this process's own view of the file system, which needs `unshare --mount`;
or `limited`: the operating system lets no file of this process grow over some MB.
"""

import contextlib
import json
import resource
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from schemas.alarms import Condition
from schemas.contract import topic_for
from services.recorder.core import Recorder
from services.recorder.forwarder import Forwarder
from services.recorder.rows import milliseconds
from services.recorder.samples import checksum, from_rows
from services.recorder.spool import Spool, SpoolLimits
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Sink, StoreError
from services.runtime.service import Incoming
from tests.recorder.history import BEER, DAY, FOR_EVER
from tests.recorder.test_recorder import PLANT, reading

MB = 1 << 20
ROOM, BALLAST = 2 * MB, MB
HEAP = 500
TRIES, MOST = 5, 1_000_000


class Site:
    """A bridge that says everything again until the recorder has it safe, as the broker does."""

    def __init__(self, begin: Callable[[], Sink]) -> None:
        self.begin_sink = begin
        self.safe, self.number = 0, 0
        self.refusals: list[str] = []
        self.conditions: dict[str, bool] = {}
        self.recorder = Recorder(PLANT, sink=begin())

    def begin_anew(self) -> None:
        """As after a kill: what was heard and not safe comes again."""
        self.recorder = Recorder(PLANT, self.recorder.snapshot(), sink=self.begin_sink())
        heard, self.number = self.number, self.safe
        self.hear(heard - self.safe)

    def hear(self, count: int) -> None:
        for _ in range(count):
            one = spoken(self.number)
            self.recorder.receive(Incoming(topic_for("shed", one), one), one.at)
            self.number += 1

    def tick(self) -> bool:
        """Whether all is safe."""
        now = DAY + timedelta(seconds=self.number)
        sent = [one.body for one in self.recorder.tick(now)]
        self.conditions.update({one.name: one.active for one in sent if isinstance(one, Condition)})
        if self.recorder.pending:
            self.refusals.append(self.recorder.kept_back()[1])
            return False
        self.safe = self.number
        return True


def spoken(number: int):
    return reading().model_copy(update={"at": at(number), "temperature_c": number % 997 / 16})


def at(number: int) -> datetime:
    return DAY + timedelta(seconds=number)


def main() -> None:
    folder, disk, sink = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
    make_room = DISKS[disk](folder)
    begin, bring_out = SINKS[sink]
    site = Site(partial(begin, folder))
    while len(site.refusals) < TRIES:
        assert site.number < MOST, "the disk is never full"
        site.hear(HEAP)
        site.tick()
    raised = dict(site.conditions)
    with contextlib.suppress(StoreError):
        site.begin_anew()
        site.recorder.flush(at(site.number))
    make_room()
    site.begin_anew()
    site.hear(HEAP)
    assert site.tick(), site.refusals
    wanted = from_rows([(milliseconds(at(n)), n % 997 / 16, 0) for n in range(site.number)])
    told = {"raised": raised, "refusals": site.refusals, "ended": site.conditions, "wanted": checksum(wanted)}
    print(json.dumps(told | bring_out(folder)))


def begin_file(folder: Path) -> Sink:
    return SqliteStore(folder / "history.sqlite")


def bring_out_of_file(folder: Path) -> dict[str, object]:
    store = SqliteStore(folder / "history.sqlite", read_only=True)
    (verdict,) = store.query("PRAGMA integrity_check")
    return {"sound": verdict[0], "kept": checksum(store.raw(BEER, *FOR_EVER))}


def begin_spool(folder: Path) -> Sink:
    return Forwarder(Spool(folder / "spool", SpoolLimits(segment_bytes=2 * ROOM)), SqliteStore(IN_MEMORY))


def bring_out_of_spool(folder: Path) -> dict[str, object]:
    store = SqliteStore(IN_MEMORY)
    forwarder = Forwarder(Spool(folder / "spool"), store)
    while forwarder.step():
        pass
    return {
        "sound": "ok" if not forwarder.counts else str(forwarder.counts),
        "kept": checksum(store.raw(BEER, *FOR_EVER)),
    }


def small(folder: Path) -> Callable[[], None]:
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(folder)], check=True)
    ballast = folder / "ballast"
    ballast.write_bytes(bytes(BALLAST))
    return ballast.unlink


def limited(_: Path) -> Callable[[], None]:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (BALLAST, resource.RLIM_INFINITY))
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


DISKS = {"small": small, "limited": limited}
SINKS = {"file": (begin_file, bring_out_of_file), "spool": (begin_spool, bring_out_of_spool)}

if __name__ == "__main__":
    main()
