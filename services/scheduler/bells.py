"""The bells of the calendar: APScheduler with a durable job store, ringing when a step or a chore is due.

The core decides what is due, by the same trigger arithmetic; a bell only wakes it, and one that was missed while the
machine was off rings once on return.
"""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from queue import Empty, SimpleQueue
from zoneinfo import ZoneInfo

from apscheduler.jobstores.sqlalchemy import SQLAlchemyJobStore  # type: ignore[import-untyped]
from apscheduler.schedulers.background import BackgroundScheduler  # type: ignore[import-untyped]
from apscheduler.schedulers.base import STATE_RUNNING  # type: ignore[import-untyped]
from apscheduler.triggers.date import DateTrigger  # type: ignore[import-untyped]

from services.scheduler.calendar import cron_trigger

_RUNG: SimpleQueue[str] = SimpleQueue()
"""Bells that have rung in this process; jobs in a durable store can only reach what a module holds."""


def ring(bell: str) -> None:
    """What a job does."""
    _RUNG.put(bell)


class _Peaceful(BackgroundScheduler):  # type: ignore[misc]
    """Rings nothing once it is being stopped; the library's own thread fails when it is stopped between two bells."""

    def _process_jobs(self) -> float | None:
        with self._jobstores_lock:
            wait_s: float | None = super()._process_jobs() if self.state == STATE_RUNNING else None
        return wait_s


class Bells:
    """One bell for each timetable entry, kept in an SQLite file between runs."""

    def __init__(self, file: Path, zone: ZoneInfo) -> None:
        self._zone = zone
        self._hung: dict[str, datetime | str] = {}
        self._scheduler = _Peaceful(
            jobstores={"default": SQLAlchemyJobStore(url=f"sqlite:///{file}")},
            job_defaults={"misfire_grace_time": None, "coalesce": True},
            timezone=zone,
        )
        self._scheduler.start()

    def hang(self, timetable: Mapping[str, datetime | str]) -> None:
        """Makes the store ring at these moments and local times (`Sat 10:00`), and at no others."""
        for bell in {job.id for job in self._scheduler.get_jobs()} - timetable.keys():
            self._scheduler.remove_job(bell)
        for bell, when in timetable.items():
            if self._hung.get(bell) != when:
                trigger = cron_trigger(when, self._zone) if isinstance(when, str) else DateTrigger(when)
                self._scheduler.add_job(ring, trigger, args=[bell], id=bell, replace_existing=True)
        self._hung = dict(timetable)

    def rung(self) -> list[str]:
        """Bells that have rung since the last call."""
        found: list[str] = []
        while True:
            try:
                found.append(_RUNG.get_nowait())
            except Empty:
                return found

    @property
    def waiting(self) -> dict[str, datetime]:
        """When each bell rings next."""
        return {job.id: job.next_run_time for job in self._scheduler.get_jobs()}

    def close(self) -> None:
        """Stops ringing; the store keeps what is to come."""
        self._scheduler.pause()
        self._scheduler.get_jobs()  # comes back when no bell is ringing any more
        self._scheduler.shutdown(wait=False)
