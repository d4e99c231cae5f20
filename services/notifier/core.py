"""The notifier's core: conditions and health in, alarms and journal lines out."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

from schemas.alarms import Alarm, Condition
from schemas.alarms import AlarmPhase as Phase
from schemas.base import SITE_WIDE, Message, Model, ServiceName
from schemas.conditions import ConditionKind, kind_of
from schemas.contract import retained, topic_for
from schemas.journal import Health, JournalEntry
from schemas.plant import Plant
from schemas.requests import Accepted, Refused, Reply, RequestBase
from schemas.topics import TopicKind, every
from services.notifier.catalogue import Catalogue, Definition, definition_of, standard_catalogue
from services.notifier.records import (
    AlarmRecord,
    after,
    alarm_of,
    due_events,
    out_of_order,
    quiet_record,
    with_condition,
    with_phase,
)
from services.notifier.requests import ALREADY, ASKED_FOR, Answer, Answers, inapplicable, problem_with
from services.notifier.states import AlarmEvent
from services.notifier.watch import HealthWatch
from services.runtime.service import Durability, Incoming, Outgoing

HEALTH_PERIOD_S = 10.0

CLOCK_STEP_TOLD = timedelta(seconds=30)
CLOCK_TOLD_FOR = timedelta(minutes=10)
CLOCK_WRONG, PLANT_REFUSED = ConditionKind.CLOCK_WRONG, ConditionKind.PLANT_FILE_REFUSED
OWN = frozenset({ConditionKind.SERVICE_LOST, ConditionKind.BROKER_LOST, CLOCK_WRONG, PLANT_REFUSED})
"""Kinds of condition that the notifier itself raises, all of the site."""

TOLD_AS: dict[Phase, str] = {
    Phase.NORMAL: "alarm-closed",
    Phase.UNACKNOWLEDGED: "alarm-raised",
    Phase.ACKNOWLEDGED: "alarm-acknowledged",
    Phase.RETURNED_UNACKNOWLEDGED: "alarm-returned",
    Phase.LATCHED_UNACKNOWLEDGED: "alarm-latched",
    Phase.LATCHED_ACKNOWLEDGED: "alarm-acknowledged",
    Phase.SHELVED: "alarm-shelved",
    Phase.SUPPRESSED: "alarm-suppressed",
    Phase.OUT_OF_SERVICE: "alarm-taken-out-of-service",
}


class NotifierState(Model):
    """What must survive a restart."""

    version: int = 1
    records: tuple[AlarmRecord, ...] = ()
    answers: tuple[Answer, ...] = ()
    watched: tuple[ServiceName, ...] = ()
    journal_lines: int = 0


class Notifier:
    """Decides which conditions people hear of. `announce` is called with each alarm that changes, besides the bus."""

    name = ServiceName.NOTIFIER
    durability = Durability.BEFORE_EFFECTS
    State = NotifierState

    def __init__(
        self,
        plant: Plant,
        restored: NotifierState | None = None,
        *,
        catalogue: Catalogue | None = None,
        expected: Iterable[ServiceName] = (),
        health_period_s: float = HEALTH_PERIOD_S,
        announce: Callable[[Alarm], None] | None = None,
    ) -> None:
        state = restored or NotifierState()
        self.plant = plant
        self._site = plant.site.name
        self._catalogue = standard_catalogue() if catalogue is None else catalogue
        self._announce = announce
        self._watch = HealthWatch({*expected, *state.watched}, health_period_s)
        self._records: dict[tuple[str, str], AlarmRecord] = {record.key: record for record in state.records}
        self._answers = Answers(state.answers)
        self._journal_lines = state.journal_lines
        self._handlers: Mapping[type[Message], Callable[[Any, datetime], Iterable[Outgoing]]] = {
            Condition: self._take_condition,
            Health: self._take_health,
            **dict.fromkeys(ASKED_FOR, self._take_request),
        }

    @property
    def listens(self) -> tuple[str, ...]:
        """Conditions, health, and requests made of it."""
        return (
            every(self._site, TopicKind.CONDITION),
            every(self._site, TopicKind.HEALTH),
            every(self._site, TopicKind.REQUEST, self.name),
        )

    @property
    def alarms(self) -> tuple[Alarm, ...]:
        """Every alarm it has a record of, quiet ones too."""
        return tuple(self._alarm(record) for record in self._records.values())

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """What came due while it was away."""
        return self.tick(now)

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Every alarm, and every condition of its own, as they stand."""
        return [self._send(message) for message in (*self.alarms, *self._own_conditions())]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Takes a condition, a service's health or a request in; anything else is none of its business."""
        handler = self._handlers.get(type(incoming.body))  # type: ignore[arg-type]
        return () if handler is None else handler(incoming.body, now)

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Lets delays run out, shelves end and silent services be noticed."""
        said = [*self._look_at_services(now), *self._look_at_records(now)]
        clock = self._records.get((SITE_WIDE, CLOCK_WRONG))
        if clock is not None and clock.condition_on and abs(now - clock.since) > CLOCK_TOLD_FOR:
            said += self._raise(CLOCK_WRONG, False, now, "The clock has run steadily since.")
        return said

    def snapshot(self) -> NotifierState:
        """Records, answers, the services watched."""
        return NotifierState(
            records=tuple(self._records.values()),
            answers=self._answers.kept,
            watched=self._watch.watched,
            journal_lines=self._journal_lines,
        )

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Closes the alarms of chambers that are no more, and that of a refused file."""
        self.plant = plant
        gone = [key for key in self._records if key[0] != SITE_WIDE and key[0] not in plant.chambers]
        said = self._raise(PLANT_REFUSED, False, now, "The plant file was read.")
        for key in gone:
            record = self._records.pop(key)
            if record.phase is not Phase.NORMAL:
                said.append(self._send(self._alarm(with_phase(record, Phase.NORMAL, now))))
                said.append(self._journal(record, "alarm-closed", self.name, "The chamber is no longer there.", now))
        return said

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """A changed plant file was refused: a condition of the site, with the text that says where and why."""
        return self._raise(PLANT_REFUSED, True, now, text)

    def clock_stepped(self, by: timedelta, now: datetime) -> Iterable[Outgoing]:
        """The wall clock was set: a condition of the site, for ten minutes, when it was by more than 30 s."""
        if abs(by) < CLOCK_STEP_TOLD:
            return ()
        return self._raise(CLOCK_WRONG, True, now, f"The clock was set by {by.total_seconds():+.0f} s.")

    def _take_condition(self, condition: Condition, now: datetime) -> Iterable[Outgoing]:
        record = self._records.get((condition.chamber, condition.name))
        if record is None:
            record = quiet_record(condition.chamber, condition.name, now)
        elif out_of_order(record, condition):
            return ()
        self._records[record.key] = with_condition(record, condition, now)
        return self._look_at_records(now)

    def _take_health(self, health: Health, now: datetime) -> Iterable[Outgoing]:
        self._watch.hear(health, now)
        return self._look_at_services(now)

    def _look_at_services(self, now: datetime) -> Iterator[Outgoing]:
        for name, lost in self._watch.judge(now).items():
            yield from self._raise(name, lost, now, "Nothing is heard of it." if lost else "It is back.")

    def _raise(self, name: str, active: bool, now: datetime, detail: str) -> list[Outgoing]:
        """Says a condition of its own when it changes or has something new to say, and takes it in like any other."""
        record = self._records.get((SITE_WIDE, name))
        if record is None and not active:
            return []
        if record is not None and record.condition_on == active and (not active or record.detail == detail):
            return []
        condition = self._own_condition(name, active, now, detail)
        return [self._send(condition), *self._take_condition(condition, now)]

    def _own_condition(self, name: str, active: bool, at: datetime, detail: str) -> Condition:
        return Condition(
            at=at, source=self.name, chamber=SITE_WIDE, name=name, active=active, since=at, detail=detail[:2000]
        )

    def _own_conditions(self) -> list[Condition]:
        own = [
            record for record in self._records.values() if record.chamber == SITE_WIDE and kind_of(record.name) in OWN
        ]
        return [self._own_condition(one.name, one.condition_on, one.reported_at, one.detail) for one in own]

    def _look_at_records(self, now: datetime) -> Iterable[Outgoing]:
        said: list[Outgoing] = []
        for record in [record for record in self._records.values() if record.restless]:
            definition = definition_of(record.name, self._catalogue)
            for event in due_events(record, definition, self._explained(record, definition, now), now):
                record = self._apply(record, event, definition, now, said)
        return said

    def _explained(self, record: AlarmRecord, definition: Definition, now: datetime) -> bool:
        """Whether a condition of its chamber or of the site explains this one away."""
        near = (record.chamber, SITE_WIDE)
        return any(
            other.explains(cause, now)
            for cause in definition.suppressed_by
            for other in self._records.values()
            if other.chamber in near and other is not record
        )

    def _apply(
        self, record: AlarmRecord, event: AlarmEvent, definition: Definition, now: datetime, said: list[Outgoing]
    ) -> AlarmRecord:
        record, phase = after(record, event, definition)
        if phase is not None:
            record = with_phase(record, phase, now)
            said += self._tell(record, self.name, record.detail, now)
        self._records[record.key] = record
        return record

    def _take_request(self, request: RequestBase, now: datetime) -> Iterable[Outgoing]:
        answer = self._answers.get(request.id)
        if answer is not None:
            return [self._answered(answer)]
        reply, said = self._carry_out(request, now)
        answer = Answer(client=request.client, reply=reply)
        self._answers.keep(answer)
        return [*said, self._answered(answer)]

    def _carry_out(self, request: Any, now: datetime) -> tuple[Reply, Iterable[Outgoing]]:
        event = ASKED_FOR[type(request)]
        record = self._records.get((request.chamber, request.name)) or self._unheard(request, now)
        if record is None:
            return self._refuse(request, now, f"there is no alarm {request.name!r} in {request.chamber!r}"), ()
        if record.phase in ALREADY.get(event, ()):
            return Accepted(at=now, source=self.name, id=request.id, detail=f"It is {record.phase} already."), ()
        problem = problem_with(request, now)
        if problem:
            return self._refuse(request, now, problem), ()
        record, phase = after(record, event, definition_of(record.name, self._catalogue))
        if phase is None or (event is AlarmEvent.RESET and record.condition_on):
            return self._refuse(request, now, inapplicable(record, event)), ()
        until = getattr(request, "until", None)
        self._records[record.key] = moved = with_phase(
            record, phase, now, by=request.who, reason=request.why, until=until
        )
        accepted = Accepted(at=now, source=self.name, id=request.id, facts={"phase": phase.value})
        return accepted, self._tell(moved, request.who, request.why or record.detail, now)

    def _unheard(self, request: Any, now: datetime) -> AlarmRecord | None:
        """A quiet record, for an alarm that could come and is to be set aside beforehand."""
        known = request.chamber == SITE_WIDE or request.chamber in self.plant.chambers
        return quiet_record(request.chamber, request.name, now) if known and kind_of(request.name) else None

    def _refuse(self, request: RequestBase, now: datetime, reason: str) -> Refused:
        remedy = "Look at the list of alarms for where it stands."
        return Refused(at=now, source=self.name, id=request.id, reason=reason, remedy=remedy)

    def _answered(self, answer: Answer) -> Outgoing:
        topic = topic_for(self._site, answer.reply, answer.client, answer.reply.id)
        return Outgoing(topic, answer.reply)

    def _tell(self, record: AlarmRecord, who: str, why: str, now: datetime) -> list[Outgoing]:
        alarm = self._alarm(record)
        if self._announce is not None:
            self._announce(alarm)
        return [self._send(alarm), self._journal(record, TOLD_AS[record.phase], who, why, now)]

    def _journal(self, record: AlarmRecord, event: str, who: str, why: str, now: datetime) -> Outgoing:
        self._journal_lines += 1
        entry = JournalEntry(
            at=now,
            source=self.name,
            id=f"{self.name}-{int(now.timestamp())}-{self._journal_lines}",
            event=event,
            who=who,
            why=why,
            chamber=record.chamber,
            facts={"alarm": record.name, "phase": record.phase.value},
        )
        return Outgoing(topic_for(self._site, entry, self.name), entry)

    def _alarm(self, record: AlarmRecord) -> Alarm:
        return alarm_of(record, definition_of(record.name, self._catalogue), self.name)

    def _send(self, message: Message) -> Outgoing:
        return Outgoing(topic_for(self._site, message), message, retain=retained(message))
