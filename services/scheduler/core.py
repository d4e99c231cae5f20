"""The scheduler's core: requests and news of batches in, setpoints, plans, conditions and journal lines out."""

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from schemas.alarms import Condition
from schemas.base import Message, Model, ServiceName
from schemas.batches import BatchPhase, BatchState
from schemas.contract import retained, topic_for
from schemas.control import ChamberStatus, Setpoint
from schemas.journal import JournalEntry
from schemas.plant import Measure, Plant
from schemas.requests import (
    AbortBatch,
    Accepted,
    ClearTemperature,
    ConfirmStep,
    EditSteps,
    FinishBatch,
    GoBack,
    HoldBatch,
    LogGravity,
    MoveBatch,
    Refused,
    RequestBase,
    ResumeBatch,
    SetTemperature,
    SkipStep,
    StartBatch,
    StopBatch,
    StrikeGravity,
)
from schemas.telemetry import GravityReading
from schemas.topics import TopicKind, every, topic
from services.runtime.service import Durability, Incoming, Outgoing
from services.scheduler.answers import Answer, Answers, Refusal
from services.scheduler.book import Book
from services.scheduler.course import next_move
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.messages import (
    SOURCE,
    batch_state,
    manual_setpoint,
    programme_setpoint,
    resting_setpoint,
    truths,
    truths_change_at,
)
from services.scheduler.plan import Expected, Outlook, expect
from services.scheduler.progress import GRACE, wakes_at
from services.scheduler.records import BatchRecord, Decision, ManualSetpoint

NEVER = datetime.max.replace(tzinfo=UTC)
ALWAYS = datetime.min.replace(tzinfo=UTC)


class SchedulerState(Model):
    """What must survive a restart."""

    version: int = 1
    batches: tuple[BatchRecord, ...] = ()
    manual: tuple[ManualSetpoint, ...] = ()
    resting: dict[str, float] = {}
    conditions: tuple[Condition, ...] = ()
    answers: tuple[Answer, ...] = ()
    journal_lines: int = 0


class Scheduler:
    """Takes batches through their profiles, one in a chamber."""

    name = ServiceName.SCHEDULER
    durability = Durability.BEFORE_EFFECTS
    State = SchedulerState

    def __init__(self, plant: Plant, restored: SchedulerState | None = None) -> None:
        state = restored or SchedulerState()
        self.book = Book(plant, state.batches, state.resting)
        self._site = plant.site.name
        self._gravity_topics = gravity_topics(plant)
        self._facts: dict[str, GravityFacts] = {}
        self._manual = {one.chamber: one for one in state.manual}
        self._conditions = {(one.chamber, one.name): one for one in state.conditions}
        self._answers = Answers(state.answers)
        self._journal_lines = state.journal_lines
        self._setpoints: dict[str, Setpoint] = {}
        self._states: dict[str, BatchState] = {}
        self._expected: dict[str, list[Expected]] = {}
        self._wakes: dict[str, datetime] = dict.fromkeys(self.book.batches, ALWAYS)
        self._wake = ALWAYS
        self._seen = self._awake_since = ALWAYS
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
            SetTemperature: self._set_temperature,
            ClearTemperature: self._clear_temperature,
        }

    @property
    def listens(self) -> tuple[str, ...]:
        """Requests made of it, what the supervisor knows of the chambers, and gravity instruments."""
        requests, statuses = every(self._site, TopicKind.REQUEST, self.name), every(self._site, TopicKind.STATUS)
        return requests, statuses, *self._gravity_topics

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """What came due while it was away."""
        self._seen = self._awake_since = now
        return self._settle(now)

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Every batch, setpoint and condition, as they stand."""
        messages = (*self._states.values(), *self._setpoints.values(), *self._conditions.values())
        return [self._send(message) for message in messages]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Takes a request or a chamber's status in; anything else is none of its business."""
        body = incoming.body
        if isinstance(body, ChamberStatus):
            return self._moved_on(self.book.see_beer(body, now), now)
        if isinstance(body, GravityReading):
            return self._moved_on(self.book.hear_gravity(body, now), now)
        if isinstance(body, RequestBase) and type(body) in self._handlers:
            return self._take_request(body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Nothing, in a microsecond, until something is due."""
        if now - self._seen > GRACE:
            self._awake_since = now
        self._seen = now
        return () if now < self._wake else self._settle(now)

    def snapshot(self) -> SchedulerState:
        """Everything but what can be worked out again."""
        return SchedulerState(
            batches=tuple(self.book.batches.values()),
            manual=tuple(self._manual.values()),
            resting=dict(self.book.resting),
            conditions=tuple(self._conditions.values()),
            answers=self._answers.kept,
            journal_lines=self._journal_lines,
        )

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Limits and holds as they are now; batches under way stay as they were accepted."""
        self.book.plant = plant
        self._gravity_topics = gravity_topics(plant)
        self._touch(*self.book.batches)
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
        self._touch(*self.book.batches)
        said += [self._journal(one, now, request.id if number == 0 else "") for number, one in enumerate(decisions)]
        said += self._settle(now)
        record = self.book.batches.get(getattr(request, "batch", ""))
        detail = f"{record.title}, {record.phase}. {record.why}" if record is not None else ""
        return [*said, self._answer(request, Accepted(at=now, source=SOURCE, id=request.id, detail=detail))]

    def _moved_on(self, batch: str | None, now: datetime) -> Iterable[Outgoing]:
        """News of a batch that may end a step."""
        if batch is None:
            return ()
        self._touch(batch)
        return self._settle(now)

    def _set_temperature(self, request: SetTemperature, now: datetime) -> list[Decision]:
        self.book.ask_temperature(request.chamber, request.temperature_c)
        if request.until is not None and request.until <= now:
            raise Refusal(f"{request.until:%d %b %H:%M} UTC is past", "name a time to come, or none")
        self._manual[request.chamber] = ManualSetpoint(
            chamber=request.chamber, temperature_c=request.temperature_c, until=request.until, who=request.who
        )
        facts = {"temperature_c": request.temperature_c}
        return [Decision("temperature-set", request.why, now, None, request.chamber, request.who, facts)]

    def _clear_temperature(self, request: ClearTemperature, now: datetime) -> list[Decision]:
        if request.chamber not in self._manual:
            raise Refusal(f"nobody has set a temperature for {request.chamber}", "")
        return [self._lapse(request.chamber, request.why or "taken back", request.who, now)]

    def _lapse(self, chamber: str, why: str, who: str, now: datetime) -> Decision:
        manual = self._manual.pop(chamber)
        if self._programme(chamber, now) is None:
            self.book.resting[chamber] = manual.temperature_c
        return Decision("temperature-cleared", why, now, None, chamber, who)

    def _touch(self, *batches: str) -> None:
        self._wakes.update(dict.fromkeys(batches, ALWAYS))
        self._wake = ALWAYS

    def _settle(self, now: datetime) -> list[Outgoing]:
        """Does what is due, in order, until nothing is; then says what has changed."""
        said: list[Outgoing] = []
        while decisions := self._due(now):
            self._touch(*self.book.batches)
            said += [self._journal(one, now) for one in decisions]
        said += self._tell_changes(now)
        self._wake = min([*self._wakes.values(), *self._manual_ends()], default=NEVER)
        return said

    def _due(self, now: datetime) -> list[Decision]:
        decisions = [self._lapse(chamber, "it has expired", SOURCE, now) for chamber in self._expired(now)]
        decisions += self.book.apply_edits(now)
        for batch in [name for name, wake in self._wakes.items() if wake <= now and name in self.book.batches]:
            if self.book.batches[batch].active:
                decisions += self.book.advance(batch, self._outlook(batch), now)
        return decisions + self.book.begin_waiting(now, self._outlook(""))

    def _tell_changes(self, now: datetime) -> list[Outgoing]:
        said: list[Outgoing] = []
        for batch in [name for name, wake in self._wakes.items() if wake <= now]:
            record = self.book.batches.get(batch)
            if record is None:
                del self._wakes[batch]
                self._expected.pop(batch, None)
                self._states.pop(batch, None)
                continue
            said += self._tell_batch(record, now)
        for chamber in self.book.plant.chambers:
            said += self._tell_chamber(chamber, now)
        return said

    def _tell_batch(self, record: BatchRecord, now: datetime) -> list[Outgoing]:
        outlook = self._outlook(record.batch)
        expected = self._expected[record.batch] = expect(record, outlook, now)
        self._wakes[record.batch] = self._next_wake(record, outlook, now)
        state = batch_state(record, expected, self._facts_of(record), now)
        old = self._states.get(record.batch)
        if old is not None and state.model_copy(update={"at": old.at}) == old:
            return []
        self._states[record.batch] = state
        return [self._send(state)]

    def _tell_chamber(self, chamber: str, now: datetime) -> list[Outgoing]:
        said = self._tell_conditions(chamber, now)
        setpoint = self._wanted(chamber, now)
        old = self._setpoints.get(chamber)
        if setpoint is None or (old is not None and setpoint.model_copy(update={"at": old.at}) == old):
            return said
        self._setpoints[chamber] = setpoint
        return [*said, self._send(setpoint)]

    def _tell_conditions(self, chamber: str, now: datetime) -> list[Outgoing]:
        record = self.book.in_chamber(chamber)
        true = {} if record is None else {one.name: one.detail for one in truths(record, self._facts_of(record), now)}
        known = {one.name for one in self._conditions.values() if one.chamber == chamber and one.active}
        changes = [(name, name in true, true.get(name, "no longer so")) for name in sorted(known ^ true.keys())]
        said = []
        for name, active, detail in changes:
            condition = Condition(
                at=now, source=SOURCE, chamber=chamber, name=name, active=active, since=now, detail=detail
            )
            self._conditions[chamber, name] = condition
            said.append(self._send(condition))
        return said

    def _wanted(self, chamber: str, now: datetime) -> Setpoint | None:
        under = self._programme(chamber, now)
        manual = self._manual.get(chamber)
        return under if manual is None else manual_setpoint(manual, under, now)

    def _programme(self, chamber: str, now: datetime) -> Setpoint | None:
        record = self.book.in_chamber(chamber)
        if record is not None:
            return programme_setpoint(record, self._expected.get(record.batch, ()), self._facts_of(record), now)
        own = self.book.plant.chambers[chamber].hold_c if chamber in self.book.plant.chambers else None
        resting = self.book.resting.get(chamber, own)
        return None if resting is None else resting_setpoint(chamber, resting, now)

    def _next_wake(self, record: BatchRecord, outlook: Outlook, now: datetime) -> datetime:
        moments = [wakes_at(record, outlook), truths_change_at(record, now)]
        if record.phase is BatchPhase.IDLE and record.begins <= now:
            moments[0] = None
        if record.step is not None and record.run is not None:
            moments.append(next_move(record.step, record.run, now))
        moments += [edit.at for edit in record.edits]
        return min((moment for moment in moments if moment is not None), default=NEVER)

    def _outlook(self, batch: str) -> Outlook:
        record = self.book.batches.get(batch)
        facts = None if record is None else self._facts_of(record)
        return Outlook(self.book.plant.zone, facts, self.book.reached, self._awake_since)

    def _facts_of(self, record: BatchRecord) -> GravityFacts:
        known = self._facts.get(record.batch)
        if known is None or known.log is not record.gravity or known.original_gravity_sg != record.original_gravity_sg:
            known = self._facts[record.batch] = GravityFacts(record.gravity, record.original_gravity_sg)
        return known

    def _expired(self, now: datetime) -> list[str]:
        return [name for name, one in self._manual.items() if one.until is not None and one.until <= now]

    def _manual_ends(self) -> list[datetime]:
        return [one.until for one in self._manual.values() if one.until is not None]

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
