"""The scheduler's core: requests and news of batches in, setpoints, plans, conditions and journal lines out."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from schemas.alarms import Condition
from schemas.base import Message, Model, ServiceName
from schemas.batches import BatchState
from schemas.contract import retained, topic_for
from schemas.control import ChamberStatus
from schemas.journal import JournalEntry
from schemas.people import DaySpan
from schemas.plant import Measure, Plant
from schemas.requests import (
    AbortBatch,
    Accepted,
    ClearChore,
    ClearTemperature,
    ConfirmStep,
    DoChore,
    EditSteps,
    FinishBatch,
    GoBack,
    HoldBatch,
    LogGravity,
    MoveBatch,
    Refused,
    RequestBase,
    ResumeBatch,
    SetChore,
    SetQuietHours,
    SetTemperature,
    SkipStep,
    StartBatch,
    StopBatch,
    StrikeGravity,
    TellChores,
    TellGravity,
    TellProgramme,
)
from schemas.telemetry import GravityReading
from schemas.topics import TopicKind, every, topic
from services.runtime.service import Durability, Incoming, Outgoing
from services.scheduler import senses
from services.scheduler.answers import Answer, Answers, Refusal
from services.scheduler.book import Book
from services.scheduler.chores import Chore, ChoreList
from services.scheduler.crash import ChamberCooling, CrashDesk, arrived
from services.scheduler.foresight import Foresight, Scores, score, score_arrivals, together
from services.scheduler.herald import Herald
from services.scheduler.manual import ManualSetpoints
from services.scheduler.messages import (
    SOURCE,
)
from services.scheduler.outlooks import Outlooks
from services.scheduler.progress import GRACE
from services.scheduler.records import BatchRecord, Decision, ManualSetpoint

NEVER = datetime.max.replace(tzinfo=UTC)
WAKE_TOPIC = "calendar/bell"
"""On it the shell hands over, never on the bus, that a bell of the calendar has rung."""
ALWAYS = datetime.min.replace(tzinfo=UTC)


class SchedulerState(Model):
    """What must survive a restart."""

    version: int = 1
    batches: tuple[BatchRecord, ...] = ()
    manual: tuple[ManualSetpoint, ...] = ()
    resting: dict[str, float] = {}
    chores: tuple[Chore, ...] = ()
    quiet: DaySpan | None = None
    conditions: tuple[Condition, ...] = ()
    answers: tuple[Answer, ...] = ()
    journal_lines: int = 0
    scores: Scores = Scores()
    cooling: tuple[ChamberCooling, ...] = ()


class Scheduler:
    """Takes batches through their profiles, one in a chamber. `revision` counts up when anything may have changed."""

    name = ServiceName.SCHEDULER
    durability = Durability.BEFORE_EFFECTS
    State = SchedulerState

    def __init__(
        self, plant: Plant, restored: SchedulerState | None = None, *, foresight: Foresight | None = None
    ) -> None:
        state = restored or SchedulerState()
        self.book = Book(plant, state.batches, state.resting)
        self.chores = ChoreList(plant.zone, state.chores, state.quiet)
        self.manual = ManualSetpoints(self.book, state.manual)
        self._crashes = CrashDesk(plant, state.cooling)
        self._outlooks = Outlooks(self.book, ALWAYS, self._crashes, foresight)
        self._herald = Herald(self.book, self.chores, self.manual, self._outlooks, state.conditions)
        self._herald.scores = state.scores
        self._site = plant.site.name
        self._gravity_topics = gravity_topics(plant)
        self._answers = Answers(state.answers)
        self._journal_lines = state.journal_lines
        self._wakes: dict[str, datetime] = dict.fromkeys(self.book.batches, ALWAYS)
        self.revision = 0
        self._wake = self._seen = ALWAYS
        self._everything = True
        self._handlers: Mapping[type[Message], Callable[[Any, datetime], Iterable[Decision]]] = {
            StartBatch: self.book.start,
            HoldBatch: self.book.hold,
            ResumeBatch: self.book.resume,
            SkipStep: self.book.skip,
            StopBatch: self.book.stop,
            AbortBatch: self.book.abort,
            FinishBatch: self.book.finish,
            GoBack: self.book.go_back,
            ConfirmStep: self.book.confirm,
            EditSteps: self.book.edit,
            MoveBatch: self.book.move,
            LogGravity: self.book.log_gravity,
            StrikeGravity: self.book.strike_gravity,
            SetChore: self.chores.set,
            ClearChore: self.chores.clear,
            DoChore: self.chores.do,
            SetQuietHours: self.chores.set_quiet,
            SetTemperature: self.manual.set,
            ClearTemperature: self.manual.clear,
        }
        self._questions: Mapping[type[Message], Callable[[Any], dict[str, float | str]]] = {
            TellProgramme: self.book.programme,
            TellGravity: self.book.measured,
            TellChores: self.chores.told,
        }

    @property
    def listens(self) -> tuple[str, ...]:
        """Requests made of it, what the supervisor knows of the chambers, and gravity instruments."""
        requests, statuses = every(self._site, TopicKind.REQUEST, self.name), every(self._site, TopicKind.STATUS)
        return requests, statuses, *self._gravity_topics

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """What came due while it was away."""
        self._seen = self._outlooks.awake_since = now
        return self._settle(now)

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Every batch, setpoint and condition, as they stand."""
        return [self._send(message) for message in self._herald.everything()]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Takes a request or a chamber's status in; anything else is none of its business."""
        body = incoming.body
        if isinstance(body, ChamberStatus):
            return [*self._follow_crash(body, now), *self._moved_on(senses.see_beer(self.book, body, now), now)]
        if isinstance(body, GravityReading):
            return self._moved_on(senses.hear_gravity(self.book, body, now), now)
        if incoming.topic == WAKE_TOPIC:
            return self.tick(now)
        if isinstance(body, RequestBase) and type(body) in self._questions:
            return [self._answered(self._told(body, now))]
        if isinstance(body, RequestBase) and type(body) in self._handlers:
            return self._take_request(body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Nothing, in a microsecond, until something is due."""
        if now - self._seen > GRACE:
            self._outlooks.awake_since = now
        self._seen = now
        return () if now < self._wake else self._settle(now)

    @property
    def batch_states(self) -> tuple[BatchState, ...]:
        """Every batch as last told."""
        return self._herald.states

    def timetable(self) -> dict[str, datetime | str]:
        """What a calendar is to ring for: the next moment of each batch, and each chore's local times."""
        steps: dict[str, datetime | str] = {
            f"batch-{name}": state.steps[state.step].ends or NEVER
            for name, state in ((one.batch, one) for one in self._herald.states)
            if state.step is not None
        }
        steps = {bell: when for bell, when in steps.items() if when != NEVER}
        return steps | {f"chore-{one.chore}": one.when for one in self.chores.chores.values()}

    def snapshot(self) -> SchedulerState:
        """Everything but what can be worked out again."""
        return SchedulerState(
            batches=tuple(self.book.batches.values()),
            manual=tuple(self.manual.by_chamber.values()),
            resting=dict(self.book.resting),
            chores=tuple(self.chores.chores.values()),
            quiet=self.chores.quiet,
            conditions=tuple(self._herald.conditions.values()),
            answers=self._answers.kept,
            journal_lines=self._journal_lines,
            scores=self._herald.scores,
            cooling=self._crashes.kept,
        )

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Limits and holds as they are now; batches under way stay as they were accepted."""
        self.book.plant, self._crashes.plant, self.chores.zone = plant, plant, plant.zone
        self._gravity_topics = gravity_topics(plant)
        self._touch_everything()
        return self._settle(now)

    def _take_request(self, request: RequestBase, now: datetime) -> list[Outgoing]:
        answer = self._answers.get(request.id)
        if answer is not None:
            return [self._answered(answer)]
        said = list(self.tick(now))
        try:
            decisions = list(self._handlers[type(request)](request, now))
        except Refusal as refusal:
            reply = Refused(at=now, source=SOURCE, id=request.id, reason=refusal.reason, remedy=refusal.remedy)
            return [*said, self._answer(request, reply)]
        self._touch_everything()
        said += [self._journal(one, now, request.id if number == 0 else "") for number, one in enumerate(decisions)]
        said += self._settle(now)
        record = self.book.batches.get(getattr(request, "batch", ""))
        detail = f"{record.title}, {record.phase}. {record.why}" if record is not None else ""
        return [*said, self._answer(request, Accepted(at=now, source=SOURCE, id=request.id, detail=detail))]

    def _told(self, request: RequestBase, now: datetime) -> Answer:
        """Answered each time anew and not kept: it changes nothing."""
        reply: Accepted | Refused
        try:
            reply = Accepted(at=now, source=SOURCE, id=request.id, facts=self._questions[type(request)](request))
        except Refusal as refusal:
            reply = Refused(at=now, source=SOURCE, id=request.id, reason=refusal.reason, remedy=refusal.remedy)
        return Answer(client=request.client, reply=reply)

    def _moved_on(self, batch: str | None, now: datetime) -> Iterable[Outgoing]:
        """News of a batch that may end a step."""
        if batch is None:
            return ()
        self._touch(batch)
        return self._settle(now)

    def _follow_crash(self, status: ChamberStatus, now: datetime) -> list[Outgoing]:
        """What is learnt of a beer that is being chilled, and that it is there."""
        record = self.book.in_chamber(status.chamber)
        if record is None or record.crash is None or record.crash.arrived is not None or status.estimate is None:
            return []
        beer_c, at = status.estimate.beer_c, min(status.at, now)
        learnt, there = self._crashes.see(record, beer_c, at), arrived(record, beer_c, at)
        if there is None and not learnt:
            return []
        self._herald.renew(record.batch)
        self._touch(record.batch)
        told = [] if there is None else [self._journal(self._arrived(*there), now)]
        return [*told, *self._settle(now)]

    def _arrived(self, record: BatchRecord, decision: Decision) -> Decision:
        """Keeps it, and compares it with what was foretold."""
        self.book.batches[record.batch] = record
        found = score_arrivals(record.crash.foretold if record.crash else (), decision.at)
        self._herald.scores = together(self._herald.scores, found)
        return replace(decision, facts={**decision.facts, "made": float(found.made), "held": float(found.held)})

    def _touch(self, batch: str) -> None:
        self._wakes[batch] = self._wake = ALWAYS

    def _touch_everything(self) -> None:
        self._wakes = dict.fromkeys([*self._wakes, *self.book.batches], ALWAYS)
        self._wake, self._everything = ALWAYS, True

    def _settle(self, now: datetime) -> list[Outgoing]:
        """Does what is due, in order, until nothing is; then says what has changed."""
        self.revision += 1
        said: list[Outgoing] = []
        while decisions := self._due(now):
            self._touch_everything()
            said += [self._journal(one, now) for one in decisions]
        said += [self._send(message) for message in self._changes(now)]
        others = (self.chores.wakes_at(), self.manual.wakes_at())
        self._wake = min([*self._wakes.values(), *(moment for moment in others if moment is not None)], default=NEVER)
        return said

    def _due(self, now: datetime) -> list[Decision]:
        decisions: list[Decision] = self.manual.lapse(now) + self.book.apply_edits(now) + self.chores.come_due(now)
        for batch in self._touched(now):
            record = self.book.batches.get(batch)
            if record is not None and record.active:
                moved = self.book.advance(batch, self._outlooks.of(record), now)
                decisions += moved + self._scored(moved, now)
        return decisions + self.book.begin_waiting(now, self._outlooks.awake_since)

    def _scored(self, decisions: list[Decision], now: datetime) -> list[Decision]:
        """Compares ends that have come in their time with what was foretold of them."""
        told = []
        for one in decisions:
            record = self.book.batches.get(one.batch or "")
            if record is None or one.event != "step-ended" or one.facts["late_s"]:
                continue
            found = score(record.foretold, [past for past in record.past if past.index == one.facts["index"]][-1])
            if found.made:
                self._herald.scores = together(self._herald.scores, found)
                why = f"{found.held} of {found.made} forecasts of '{one.facts['step']}' held what happened"
                facts = {"made": float(found.made), "held": float(found.held), "width_h": found.width_h / found.made}
                told.append(Decision("forecast-scored", why, now, record.batch, record.chamber, facts=facts))
        return told

    def _changes(self, now: datetime) -> Iterator[Message]:
        chambers = set(self.book.plant.chambers) if self._everything else set()
        for batch in self._touched(now):
            record = self.book.batches.get(batch)
            if record is None:
                del self._wakes[batch]
                self._herald.forget(batch)
                continue
            yield from self._herald.of_batch(record, now, afresh=self._everything)
            record = self.book.batches[batch] = self._herald.with_foretold(record, now)
            self._wakes[batch] = self._herald.wakes_at(record, now) or NEVER
            chambers.add(record.chamber)
        for chamber in sorted(chambers & self.book.plant.chambers.keys()):
            yield from self._herald.of_chamber(chamber, now)
        if self._everything:
            yield from self._herald.of_site(now)
        self._everything = False

    def _touched(self, now: datetime) -> list[str]:
        return [name for name, wake in self._wakes.items() if wake <= now]

    def _journal(self, decision: Decision, now: datetime, request_id: str = "") -> Outgoing:
        self._journal_lines += 1
        entry = JournalEntry(
            at=now,
            source=SOURCE,
            id=f"{SOURCE}-{request_id or self._journal_lines}",
            event=decision.event,
            who=decision.who or SOURCE,
            why=decision.why,
            chamber=decision.chamber,
            batch=decision.batch,
            facts={**decision.facts, "effective": decision.at.isoformat()},
        )
        return Outgoing(topic_for(self._site, entry, SOURCE), entry)

    def _answer(self, request: RequestBase, reply: Accepted | Refused) -> Outgoing:
        answer = Answer(client=request.client, reply=reply)
        self._answers.keep(answer)
        return self._answered(answer)

    def _answered(self, answer: Answer) -> Outgoing:
        return Outgoing(topic_for(self._site, answer.reply, answer.client, answer.reply.id), answer.reply)

    def _send(self, message: Message) -> Outgoing:
        return Outgoing(topic_for(self._site, message), message, retain=retained(message))


def gravity_topics(plant: Plant) -> tuple[str, ...]:
    """Where the readings of the plant's gravity instruments come."""
    return tuple(
        topic(plant.site.name, TopicKind.READING, chamber, probe)
        for chamber, one in plant.chambers.items()
        for probe, measured in one.probes.items()
        if measured.measures is Measure.GRAVITY
    )
