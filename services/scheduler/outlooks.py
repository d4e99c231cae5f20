"""What each batch's triggers and plans may reckon with, worked out once for each change of its gravity log."""

from datetime import datetime

from services.scheduler.book import Book
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.plan import Outlook
from services.scheduler.records import BatchRecord


class Outlooks:
    """`awake_since` is since when somebody has been there to notice what is due."""

    def __init__(self, book: Book, awake_since: datetime) -> None:
        self.awake_since = awake_since
        self._book = book
        self._facts: dict[str, GravityFacts] = {}

    def of(self, record: BatchRecord) -> Outlook:
        """The outlook of one batch."""
        return Outlook(self._book.plant.zone, self.facts(record), self._book.reached, self.awake_since)

    def facts(self, record: BatchRecord) -> GravityFacts:
        """What its gravity log says."""
        known = self._facts.get(record.batch)
        if known is None or known.log is not record.gravity or known.original_gravity_sg != record.original_gravity_sg:
            known = self._facts[record.batch] = GravityFacts(record.gravity, record.original_gravity_sg)
        return known

    def forget(self, batch: str) -> None:
        """The batch is no more."""
        self._facts.pop(batch, None)
