"""The notifier's core: conditions, health and readings in; alarms, journal lines and messages to people out."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from pydantic import ValidationError

from schemas.alarms import Alarm, Condition
from schemas.base import SITE_WIDE, Instant, Message, Model, ServiceName
from schemas.batches import BatchState
from schemas.conditions import ConditionKind
from schemas.contract import topic_for
from schemas.journal import Health
from schemas.plant import Plant
from schemas.requests import DeclareTask, EndTask, RequestBase, SendTestMessage
from schemas.topics import TopicKind, every
from services.notifier.absence import Absence
from services.notifier.catalogue import Catalogue, Definitions, standard_catalogue
from services.notifier.desk import Desk, DeskState
from services.notifier.dispatch import ANSWER, FOLLOWED, RESULT, Result
from services.notifier.herald import Herald
from services.notifier.ledger import Ledger, LedgerState
from services.notifier.loads import Loads
from services.notifier.orders import Orders, Tasks
from services.notifier.records import AlarmRecord
from services.notifier.register import Change, Register
from services.notifier.requests import ASKED_FOR, Answer
from services.notifier.watch import HealthWatch
from services.notifier.watchers import Finding, watchers_for
from services.notifier.week import week_in_words
from services.runtime.service import Durability, Incoming, Outgoing

HEALTH_PERIOD_S = 10.0

CLOCK_STEP_TOLD = timedelta(seconds=30)
CLOCK_TOLD_FOR = timedelta(minutes=10)
CLOCK_WRONG, PLANT_REFUSED = ConditionKind.CLOCK_WRONG, ConditionKind.PLANT_FILE_REFUSED
OUT_OF_USE, TASK = ConditionKind.OUT_OF_USE, ConditionKind.TASK_DECLARED


class NotifierState(Model):
    """What must survive a restart."""

    version: int = 1
    records: tuple[AlarmRecord, ...] = ()
    answers: tuple[Answer, ...] = ()
    watched: tuple[ServiceName, ...] = ()
    journal_lines: int = 0
    desk: DeskState = DeskState()
    tasks: dict[str, Instant] = {}
    week: LedgerState = LedgerState()
    seen: Instant | None = None


class Notifier:
    """Decides which conditions people hear of, and how.

    `announce` is called with each alarm that changes, besides the bus. `key` signs links in messages; without one they
    carry none. `booted` is when the computer was started, where that is known: it tells a power cut from a restart.
    """

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
        key: bytes = b"",
        booted: datetime | None = None,
    ) -> None:
        state = restored or NotifierState()
        self.plant = plant
        self._site = plant.site.name
        self._catalogue = standard_catalogue() if catalogue is None else catalogue
        self._watch = HealthWatch({*expected, *state.watched}, health_period_s, own=self.name)
        self._loads = Loads(plant)
        self._register = Register(Definitions(plant, self._catalogue, self._loads), state.records)
        self._desk = Desk(plant, state.desk, key)
        self._orders = Orders(plant, self._register, self._desk, state.answers, Tasks(dict(state.tasks)), key)
        self._ledger = Ledger(state.week)
        self._absence = Absence(state.seen, booted)
        self._watchers = watchers_for(plant)
        self._herald = Herald(self._site, self.name, state.journal_lines, announce)
        self._handlers: Mapping[type[Message], Callable[[Any, datetime], Iterable[Outgoing]]] = {
            Condition: self._take_condition,
            Health: self._take_health,
            BatchState: self._take_batch,
            **dict.fromkeys((*ASKED_FOR, DeclareTask, EndTask, SendTestMessage), self._take_request),
        }

    @property
    def listens(self) -> tuple[str, ...]:
        """Conditions, health, batches, requests made of it, and what its watchers look at."""
        return (
            every(self._site, TopicKind.CONDITION),
            every(self._site, TopicKind.HEALTH),
            every(self._site, TopicKind.BATCH),
            every(self._site, TopicKind.REQUEST, self.name),
            *dict.fromkeys(topic for watcher in self._watchers for topic in watcher.listens),
        )

    @property
    def alarms(self) -> tuple[Alarm, ...]:
        """Every alarm it has a record of, quiet ones too."""
        return tuple(self._herald.alarm(record, self._register) for record in self._register.records.values())

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """What came due while it was away, and that it was."""
        told = self._absence.returned(now, self.plant.notifier.power_off_told_after_s)
        said = self._raise(SITE_WIDE, ConditionKind.POWER_RETURNED, bool(told), now, told or "It has stayed on since.")
        return [*said, *self._say_use(now), *self.tick(now)]

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Every alarm, every condition of its own and every address, as they stand."""
        own = [self._own(record) for record in self._register.records.values() if record.source == self.name]
        return [*(self._herald.send(message) for message in (*self.alarms, *own)), *self._desk.reports(now)]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Takes in what it listens to, and what its shell tells it; anything else is none of its business."""
        body = incoming.body
        if isinstance(body, bytes):
            return self._take_local(incoming.topic, body, now)
        handler = self._handlers.get(type(body))
        if handler is not None:
            return handler(body, now)
        for watcher in self._watchers:
            watcher.hear(body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Lets delays run out, shelves end, silent services be noticed and messages go."""
        self._absence.here(now)
        said = self._look_at_services(now)
        for chamber in self._orders.tasks.over(now):
            said += self._raise(chamber, TASK, False, now, "The time declared is over.")
        said += self._end_momentary(now)
        for finding in [one for watcher in self._watchers for one in watcher.judge(now)]:
            said += self._take_finding(finding, now)
        if self._desk.week_is_over(now):
            self._tell_of_week(now)
        return [*said, *self._look(now)]

    def snapshot(self) -> NotifierState:
        """Records, answers, the services watched, messages on their way."""
        return NotifierState(
            records=tuple(self._register.records.values()),
            answers=self._orders.answers.kept,
            watched=self._watch.watched,
            journal_lines=self._herald.lines,
            desk=self._desk.kept,
            tasks=self._orders.tasks.until,
            week=self._ledger.kept,
            seen=self._absence.seen,
        )

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Closes the alarms of chambers that are no more, and that of a refused file."""
        self.plant = self._orders.plant = plant
        self._loads.plant = plant
        self._register.rules = Definitions(plant, self._catalogue, self._loads)
        self._desk.plant_changed(plant)
        self._watchers = watchers_for(plant)
        said = self._raise(SITE_WIDE, PLANT_REFUSED, False, now, "The plant file was read.")
        gone = self._tell(self._register.drop_chambers(plant.chambers, now), now)
        return [*said, *gone, *self._say_use(now), *self._look(now)]

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """A changed plant file was refused: a condition of the site, with the text that says where and why."""
        return [*self._raise(SITE_WIDE, PLANT_REFUSED, True, now, text), *self._look(now)]

    def clock_stepped(self, by: timedelta, now: datetime) -> Iterable[Outgoing]:
        """The wall clock was set: a condition of the site, for ten minutes, when it was by more than 30 s."""
        self._absence.here(now)
        if abs(by) < CLOCK_STEP_TOLD:
            return ()
        told = f"The clock was set by {by.total_seconds():+.0f} s."
        return [*self._raise(SITE_WIDE, CLOCK_WRONG, True, now, told), *self._look(now)]

    def _take_condition(self, condition: Condition, now: datetime) -> Iterable[Outgoing]:
        if condition.source == ServiceName.DEPUTY:
            return ()
        return self._look(now) if self._register.take(condition, now) else ()

    def _take_health(self, health: Health, now: datetime) -> Iterable[Outgoing]:
        self._watch.hear(health, now)
        said = self._look_at_services(now)
        return [*said, *self._look(now)] if said else ()

    def _take_batch(self, batch: BatchState, now: datetime) -> Iterable[Outgoing]:
        self._loads.take(batch)
        return ()

    def _take_finding(self, one: Finding, now: datetime) -> list[Outgoing]:
        return self._raise(one.chamber, one.name, one.active, now, one.detail, one.value, one.limit, one.unit)

    def _take_request(self, request: RequestBase, now: datetime) -> Iterable[Outgoing]:
        answer, changes = self._orders.take(request, now)
        said = self._tell(changes, now)
        if isinstance(request, DeclareTask | EndTask) and request.chamber in self.plant.chambers:
            declared = request.chamber in self._orders.tasks.until
            said += self._raise(request.chamber, TASK, declared, now, request.why or f"{request.who} works here.")
        topic = topic_for(self._site, answer.reply, answer.client, answer.reply.id)
        return [*said, *self._look(now), Outgoing(topic, answer.reply)]

    def _take_local(self, topic: str, body: bytes, now: datetime) -> Iterable[Outgoing]:
        if topic.startswith(RESULT):
            return self._take_result(topic.removeprefix(RESULT), body, now)
        if topic.startswith(FOLLOWED):
            shown, changes = self._orders.follow(body.decode(errors="replace"), now)
            answer = Outgoing(f"{ANSWER}{topic.removeprefix(FOLLOWED)}", shown.model_dump_json().encode())
            return [*self._tell(changes, now), *self._look(now), answer]
        return ()

    def _take_result(self, envelope_id: str, body: bytes, now: datetime) -> Iterable[Outgoing]:
        try:
            error = Result.model_validate_json(body).error
        except ValidationError as broken:
            error = f"the courier's answer cannot be read: {broken.error_count()} errors"
        settled = self._desk.settle(envelope_id, error, now)
        if settled is None:
            return ()
        return [*self._herald.delivery(settled, now), *self._look(now)]

    def _look_at_services(self, now: datetime) -> list[Outgoing]:
        judged = self._watch.judge(now).items()
        words = {True: "Nothing is heard of it.", False: "It is back."}
        return [one for name, lost in judged for one in self._raise(SITE_WIDE, name, lost, now, words[lost])]

    def _say_use(self, now: datetime) -> list[Outgoing]:
        said = []
        for name, chamber in self.plant.chambers.items():
            said += self._raise(name, OUT_OF_USE, not chamber.in_use, now, "The plant file says so.")
        return said

    def _end_momentary(self, now: datetime) -> list[Outgoing]:
        """Conditions that are an event more than a state hold for a while after it."""
        said: list[Outgoing] = []
        for name, lasts in ((CLOCK_WRONG, CLOCK_TOLD_FOR), (ConditionKind.POWER_RETURNED, CLOCK_TOLD_FOR)):
            record = self._register.find(SITE_WIDE, name)
            if record is not None and record.condition_on and abs(now - record.since) > lasts:
                said += self._raise(SITE_WIDE, name, False, now, "It has run steadily since.")
        return said

    def _raise(
        self, chamber: str, name: str, active: bool, now: datetime, detail: str, *figures: Any
    ) -> list[Outgoing]:
        """Says a condition of its own when it changes or has something new to say, and takes it in like any other.

        `figures` are value, limit and unit; they alone are nothing new.
        """
        record = self._register.find(chamber, name)
        if record is None and not active:
            return []
        told_before = record is not None and record.condition_on == active
        if told_before and record is not None and (not active or figures or record.detail == detail):
            return []
        value, limit, unit = figures or (None, None, "")
        figured = {"value": value, "limit": limit, "unit": unit}
        condition = self._herald.condition(chamber, name, active, now, detail, **figured)
        self._register.take(condition, now)
        return [self._herald.send(condition)]

    def _own(self, record: AlarmRecord) -> Condition:
        """A condition of its own as it stands."""
        return self._herald.condition(
            record.chamber, record.name, record.condition_on, record.reported_at, record.detail,
            since=record.condition_changed, value=record.value, limit=record.limit, unit=record.unit,
        )  # fmt: skip

    def _look(self, now: datetime) -> list[Outgoing]:
        said = self._tell(self._register.look(now), now)
        records = [record for record in self._register.records.values() if record.raised is not None]
        return [*said, *self._desk.look(records, self._register.find, self._register.rules, now)]

    def _tell_of_week(self, now: datetime) -> None:
        written = week_in_words(self._ledger.week(now), self._register, self.plant, now)
        if written is not None:
            self._desk.tell_of_week(written, now)

    def _tell(self, changes: Iterable[Change], now: datetime) -> list[Outgoing]:
        changes = tuple(changes)
        for change in changes:
            self._ledger.note(change, now)
        return self._herald.changes(changes, self._register, now)
