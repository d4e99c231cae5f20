"""What the scheduler needs of the world: a durable calendar that wakes it, and a file that other calendars follow."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from schemas.plant import Plant
from services.runtime.durable import write_durably
from services.runtime.service import Incoming
from services.scheduler.bells import Bells
from services.scheduler.core import WAKE_TOPIC, Scheduler, SchedulerState
from services.scheduler.feed import feed
from services.scheduler.foresight import Foresight

JOBS, FEED = "calendar.sqlite", "calendar.ics"


class Shell:
    """Built before its core; `poll` does nothing until there is one, and little unless its timetable has changed."""

    def __init__(self, plant: Plant, folder: Path) -> None:
        self._plant = plant
        self._folder = folder
        self._core: Scheduler | None = None
        self._bells: Bells | None = None
        self._revision = -1
        self._told: object = None

    def build(self, kept: SchedulerState | None, _now: datetime) -> Scheduler:
        """The core for life."""
        self._core = Scheduler(self._plant, kept, foresight=Foresight())
        return self._core

    def poll(self, now: datetime) -> Iterable[Incoming]:
        """Bells that have rung; hangs them anew, and writes the feed, when what is to come has changed."""
        if self._core is None:
            return []
        if self._bells is None:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._bells = Bells(self._folder / JOBS, self._plant.zone)
        if self._core.revision != self._revision:
            self._revision = self._core.revision
            self._bells.hang(self._core.timetable())
            self._write_feed(self._core, now)
        return [Incoming(WAKE_TOPIC, bell.encode()) for bell in self._bells.rung()]

    def close(self) -> None:
        """Leaves the calendar on disk."""
        if self._bells is not None:
            self._bells.close()

    def _write_feed(self, core: Scheduler, now: datetime) -> None:
        told = core.batch_states, tuple(core.chores.chores.values())
        if told != self._told:
            self._told = told
            write_durably(self._folder / FEED, feed(self._plant.site.name, *told, now))
