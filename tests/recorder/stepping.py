"""The recorder as a process whose wall clock is set from outside: `python -m ... PLANT STATE BROKER`.

The file `offset_s` in the state folder says how many seconds the clock is off.
"""

import sys
from datetime import datetime, timedelta
from pathlib import Path

from schemas.base import ServiceName
from schemas.plant_file import load
from services.commands.parts import part_of
from services.runtime.address import BrokerAddress
from services.runtime.clock import SystemClock
from services.runtime.compose import Surroundings, run_services

OFFSET = "offset_s"


class SetClock(SystemClock):
    def __init__(self, file: Path) -> None:
        super().__init__()
        self._file = file
        self._seen = self._offset()

    def now(self) -> datetime:
        return super().now() + self._offset()

    def step(self) -> timedelta:
        before, self._seen = self._seen, self._offset()
        return self._seen - before

    def _offset(self) -> timedelta:
        return timedelta(seconds=float(self._file.read_text() or 0)) if self._file.exists() else timedelta(0)


def main() -> None:
    path, state, broker = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    plant = load(path)
    surroundings = Surroundings(
        site=plant.site.name, broker=BrokerAddress.from_url(broker), state_folder=state, clock=SetClock(state / OFFSET)
    )
    sys.exit(run_services([part_of(ServiceName.RECORDER, plant, path, surroundings)], surroundings))


if __name__ == "__main__":
    main()
