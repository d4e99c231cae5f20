"""Says what has changed: batches and plans, setpoints, conditions. What is as it was is not said again."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from schemas.alarms import Condition
from schemas.base import SITE_WIDE, Message
from schemas.batches import BatchPhase, BatchState
from schemas.control import Setpoint
from services.scheduler.book import Book
from services.scheduler.chores import ChoreList
from services.scheduler.course import next_move
from services.scheduler.crash import Expected as Arrives
from services.scheduler.crash import with_expected
from services.scheduler.foresight import Scores, with_foretold
from services.scheduler.manual import ManualSetpoints
from services.scheduler.messages import (
    SOURCE,
    Truth,
    batch_state,
    chore_truths,
    manual_setpoint,
    programme_setpoint,
    resting_setpoint,
    truths,
    truths_change_at,
    with_arrivals,
)
from services.scheduler.outlooks import Outlooks
from services.scheduler.plan import Expected, Outlook, Plan, plan
from services.scheduler.progress import wakes_at
from services.scheduler.records import BatchRecord


class Herald:
    """Remembers what it said last."""

    def __init__(
        self,
        book: Book,
        chores: ChoreList,
        manual: ManualSetpoints,
        outlooks: Outlooks,
        conditions: Iterable[Condition] = (),
    ) -> None:
        self.scores = Scores()
        self.conditions = {(one.chamber, one.name): one for one in conditions}
        self._book, self._chores, self._manual, self._outlooks = book, chores, manual, outlooks
        self._setpoints: dict[str, Setpoint] = {}
        self._told: dict[str, BatchRecord] = {}
        self._states: dict[str, BatchState] = {}
        self._expected: dict[str, list[Expected]] = {}
        self._plans: dict[str, Plan] = {}
        self._arrivals: dict[str, dict[int, Arrives | None]] = {}

    def everything(self) -> list[Message]:
        """All that stands, once more."""
        return [*self._states.values(), *self._setpoints.values(), *self.conditions.values()]

    @property
    def states(self) -> tuple[BatchState, ...]:
        """Every batch as last told."""
        return tuple(self._states.values())

    def of_batch(self, record: BatchRecord, now: datetime, *, afresh: bool) -> list[Message]:
        """The batch with its plan, where something about it, or (`afresh`) about others, may be new."""
        if not afresh and self._told.get(record.batch) is record:
            return []
        self._told[record.batch] = record
        found = plan(record, self._outlooks.foreseeing(record, now), now)
        self._expected[record.batch] = found.likely
        self._plans[record.batch] = found
        arrivals = self._arrivals[record.batch] = self._outlooks.crashes.arrivals(record, found.likely, now)
        state = batch_state(record, found, self._outlooks.facts(record), self.scores, now)
        state = state.model_copy(update={"steps": with_arrivals(state.steps, arrivals, record.arrived)})
        old = self._states.get(record.batch)
        if old is not None and state.model_copy(update={"at": old.at}) == old:
            return []
        self._states[record.batch] = state
        return [state]

    def renew(self, batch: str) -> None:
        """Something is known of it that its record does not say."""
        self._told.pop(batch, None)

    def with_foretold(self, record: BatchRecord, now: datetime) -> BatchRecord:
        """The batch with what was last foretold of it, to be scored when it has come."""
        found = self._plans.pop(record.batch, None)
        noted = record if found is None else with_foretold(record, found, now)
        if found is not None and noted.crash is not None and noted.crash.arrived is None:
            expected = self._arrivals.get(record.batch, {}).get(noted.crash.index)
            crash = with_expected(noted.crash, expected, now)
            noted = noted if crash is noted.crash else noted.but(crash=crash)
        self._told[record.batch] = noted
        return noted

    def of_chamber(self, chamber: str, now: datetime) -> list[Message]:
        """Its conditions, and what is asked of it."""
        record = self._book.in_chamber(chamber)
        found = [] if record is None else truths(record, self._outlooks.of(record), now)
        said = self._changes(chamber, found, now)
        setpoint = self._wanted(chamber, record, now)
        old = self._setpoints.get(chamber)
        if setpoint is None or (old is not None and setpoint.model_copy(update={"at": old.at}) == old):
            return said
        self._setpoints[chamber] = setpoint
        return [*said, setpoint]

    def of_site(self, now: datetime) -> list[Message]:
        """Chores."""
        return self._changes(SITE_WIDE, chore_truths(self._chores), now)

    def wakes_at(self, record: BatchRecord, now: datetime) -> datetime | None:
        """When time alone will give something to say of a batch."""
        outlook = self._outlooks.of(record)
        moments = [*self._own_moments(record, outlook, now), *(edit.at for edit in record.edits)]
        return min((moment for moment in moments if moment is not None), default=None)

    def forget(self, batch: str) -> None:
        """The batch is no more."""
        self._expected.pop(batch, None)
        self._states.pop(batch, None)
        self._told.pop(batch, None)
        self._arrivals.pop(batch, None)
        self._outlooks.forget(batch)

    def _own_moments(self, record: BatchRecord, outlook: Outlook, now: datetime) -> list[datetime | None]:
        if record.phase is BatchPhase.IDLE:
            return [record.begins if record.begins > now else None]
        if record.step is None or record.run is None:
            return []
        moving = next_move(record.step, record.run, now)
        return [wakes_at(record, outlook), truths_change_at(record, outlook, now), moving]

    def _wanted(self, chamber: str, record: BatchRecord | None, now: datetime) -> Setpoint | None:
        under = self._programme(chamber, record, now)
        manual = self._manual.by_chamber.get(chamber)
        return under if manual is None else manual_setpoint(manual, under, now)

    def _programme(self, chamber: str, record: BatchRecord | None, now: datetime) -> Setpoint | None:
        if record is not None:
            expected = self._expected.get(record.batch, ())
            return programme_setpoint(record, expected, self._outlooks.facts(record), now)
        resting = self._book.rests_at(chamber)
        return None if resting is None else resting_setpoint(chamber, resting, now)

    def _changes(self, chamber: str, found: Sequence[Truth], now: datetime) -> list[Message]:
        true = {one.name: one.detail for one in found}
        known = {one.name for one in self.conditions.values() if one.chamber == chamber and one.active}
        return [self._condition(chamber, name, true.get(name), now) for name in sorted(known ^ true.keys())]

    def _condition(self, chamber: str, name: str, detail: str | None, now: datetime) -> Condition:
        """True with its detail, or no longer true (None)."""
        condition = Condition(
            at=now, source=SOURCE, chamber=chamber, name=name, active=detail is not None, since=now,
            detail=detail or "no longer so",
        )  # fmt: skip
        self.conditions[chamber, name] = condition
        return condition
