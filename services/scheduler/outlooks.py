"""What each batch's triggers and plans may reckon with, worked out once for each change of its gravity log."""

from dataclasses import replace
from datetime import datetime

from services.scheduler.book import Book
from services.scheduler.crash import CrashDesk
from services.scheduler.foresight import Foresight
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.plan import Outlook
from services.scheduler.records import BatchRecord


class Outlooks:
    """`awake_since` is since when somebody has been there to notice what is due."""

    def __init__(
        self, book: Book, awake_since: datetime, crashes: CrashDesk, foresight: Foresight | None = None
    ) -> None:
        self.crashes = crashes
        self.awake_since = awake_since
        self._foresight = foresight
        self._book = book
        self._facts: dict[str, GravityFacts] = {}

    def of(self, record: BatchRecord) -> Outlook:
        """The outlook of one batch."""
        return Outlook(
            self._book.plant.zone,
            self.facts(record),
            reached=self._book.reached,
            awake_since=self.awake_since,
        )

    def foreseeing(self, record: BatchRecord, now: datetime) -> Outlook:
        """The same with the forecast, where there is one."""
        outlook = self.of(record)
        foreseen = None if self._foresight is None else self._foresight.of(record, self.facts(record), now)
        return outlook if foreseen is None else replace(outlook, foreseen=foreseen)

    def facts(self, record: BatchRecord) -> GravityFacts:
        """What its gravity log says."""
        known = self._facts.get(record.batch)
        if known is None or known.log is not record.gravity or known.original_gravity_sg != record.original_gravity_sg:
            known = self._facts[record.batch] = GravityFacts(record.gravity, record.original_gravity_sg)
        return known

    def forget(self, batch: str) -> None:
        """The batch is no more."""
        self._facts.pop(batch, None)
