"""A process that writes history for ever and says after each batch what it was promised: `python -m ... FILE`."""

import sys
from pathlib import Path

from services.recorder.sqlite_store import SqliteStore
from tests.recorder.history import note, sample

BATCH = 7


def main() -> None:
    store = SqliteStore(Path(sys.argv[1]))
    number = int(sys.argv[2])
    while True:
        rows = [sample((number + step) / 6, float(number + step)) for step in range(BATCH)]
        store.write(rows, [note(number, f"n{number}")])
        number += BATCH
        print(number, flush=True)


if __name__ == "__main__":
    main()
