"""A migration to a server that is killed right after its Nth write: `python -m ... FILE SERVER LEDGER N`."""

import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from services.recorder.influx_server import InfluxServer
from services.recorder.influx_store import InfluxStore
from services.recorder.migration import migrate
from services.recorder.rows import Annotation, Sample
from services.recorder.sqlite_store import SqliteStore


class Mortal(InfluxStore):
    writes_left = 0

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        super().write(samples, annotations)
        self.writes_left -= 1
        if not self.writes_left:
            os.kill(os.getpid(), signal.SIGKILL)


def main() -> None:
    file, server, ledger, writes = sys.argv[1:]
    target = Mortal(InfluxServer.model_validate_json(Path(server).read_bytes()))
    target.writes_left = int(writes)
    for step in migrate(SqliteStore(Path(file), read_only=True), target, Path(ledger)):
        print(step.done, step.total, flush=True)


if __name__ == "__main__":
    main()
