"""The deputy: watches the notifier from a process of its own, and tells people by the same routes when that is lost.

It knows one alarm. It closes by itself once the notifier is back, because nobody can acknowledge it meanwhile.
"""

from collections.abc import Iterable
from datetime import datetime

from pydantic import ValidationError

from schemas.alarms import AlarmPhase as Phase
from schemas.base import SITE_WIDE, Model, ServiceName
from schemas.conditions import ConditionKind, condition_name
from schemas.deliveries import Deliveries
from schemas.journal import Health
from schemas.plant import Plant
from schemas.topics import TopicKind, every
from services.notifier.catalogue import Definitions, standard_catalogue
from services.notifier.desk import Desk, DeskState
from services.notifier.dispatch import RESULT, Result
from services.notifier.herald import Herald
from services.notifier.records import AlarmRecord
from services.notifier.register import Register
from services.notifier.watch import HealthWatch
from services.runtime.service import Durability, Incoming, Outgoing

HEALTH_PERIOD_S = 10.0
LOST = condition_name(ConditionKind.SERVICE_LOST, ServiceName.NOTIFIER)


class DeputyState(Model):
    """What must survive a restart."""

    version: int = 1
    records: tuple[AlarmRecord, ...] = ()
    desk: DeskState = DeskState()
    journal_lines: int = 0


class Deputy:
    """Hears everybody's health, so that it can tell a lost notifier from a lost broker, of which the notifier tells."""

    name = ServiceName.DEPUTY
    durability = Durability.BEFORE_EFFECTS
    State = DeputyState

    def __init__(
        self, plant: Plant, restored: DeputyState | None = None, *, health_period_s: float = HEALTH_PERIOD_S
    ) -> None:
        state = restored or DeputyState()
        self._site = plant.site.name
        expected = (ServiceName.NOTIFIER, ServiceName.SUPERVISOR)
        self._watch = HealthWatch(expected, health_period_s, own=self.name)
        self._register = Register(Definitions(plant, standard_catalogue()), state.records)
        self._desk = Desk(_without_signs_of_life(plant), state.desk)
        self._herald = Herald(self._site, self.name, state.journal_lines)

    @property
    def listens(self) -> tuple[str, ...]:
        """Health."""
        return (every(self._site, TopicKind.HEALTH),)

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """What came due while it was away."""
        return self.tick(now)

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """The one alarm and its condition, if there has ever been one."""
        record = self._register.find(SITE_WIDE, LOST)
        if record is None:
            return ()
        condition = self._herald.condition(SITE_WIDE, LOST, record.condition_on, record.reported_at, record.detail)
        return [self._herald.send(condition), self._herald.send(self._herald.alarm(record, self._register))]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Health, and what became of its messages."""
        body = incoming.body
        if isinstance(body, Health):
            self._watch.hear(body, now)
            return ()
        if isinstance(body, bytes) and incoming.topic.startswith(RESULT):
            return self._settle(incoming.topic.removeprefix(RESULT), body, now)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Looks whether the notifier is there."""
        said = []
        lost = self._watch.judge(now).get(LOST, False)
        record = self._register.find(SITE_WIDE, LOST)
        if lost != (record is not None and record.condition_on):
            detail = "Nothing is heard of the notifier: alarms reach nobody." if lost else "The notifier is back."
            condition = self._herald.condition(SITE_WIDE, LOST, lost, now, detail)
            self._register.take(condition, now)
            said.append(self._herald.send(condition))
        said += self._herald.changes(self._register.look(now), self._register, now)
        return [*said, *self._close(now), *self._tell(now)]

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """Other people, other routes."""
        self._register.rules = Definitions(plant, standard_catalogue())
        self._desk.plant_changed(_without_signs_of_life(plant))
        return ()

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """The old routes go on."""
        return ()

    def snapshot(self) -> DeputyState:
        """The alarm, and messages on their way."""
        return DeputyState(
            records=tuple(self._register.records.values()), desk=self._desk.kept, journal_lines=self._herald.lines
        )

    def _close(self, now: datetime) -> list[Outgoing]:
        record = self._register.find(SITE_WIDE, LOST)
        if record is None or record.phase is not Phase.RETURNED_UNACKNOWLEDGED:
            return []
        change = self._register.move(record, Phase.NORMAL, now, self.name, "The notifier is back.")
        return self._herald.changes([change], self._register, now)

    def _settle(self, envelope_id: str, body: bytes, now: datetime) -> Iterable[Outgoing]:
        try:
            error = Result.model_validate_json(body).error
        except ValidationError:
            error = "the courier's answer cannot be read"
        settled = self._desk.settle(envelope_id, error, now)
        return [] if settled is None else [*self._herald.delivery(settled, now), *self._tell(now)]

    def _tell(self, now: datetime) -> list[Outgoing]:
        """Messages that are due; the reports of addresses are the notifier's to publish."""
        records = self._register.records.values()
        said = self._desk.look(records, self._register.find, self._register.rules, now)
        return [one for one in said if not isinstance(one.body, Deliveries)]


def _without_signs_of_life(plant: Plant) -> Plant:
    """The heartbeat stands for the notifier, and links lead to it."""
    rules = plant.notifier.model_copy(update={"heartbeat": None, "link": None})
    return plant.model_copy(update={"notifier": rules})
