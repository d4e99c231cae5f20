"""How a service that makes alarms says what it has to say: alarms, conditions, and lines in the journal."""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from schemas.alarms import Alarm, Condition
from schemas.base import Message, ServiceName
from schemas.contract import retained, topic_for
from schemas.journal import JournalEntry
from services.notifier.outbox import Envelope
from services.notifier.records import AlarmRecord, alarm_of
from services.notifier.register import Change, Register
from services.runtime.service import Outgoing


class Herald:
    """`lines` counts journal lines, so that each has an id of its own through restarts."""

    def __init__(
        self, site: str, source: ServiceName, lines: int, announce: Callable[[Alarm], None] | None = None
    ) -> None:
        self.lines = lines
        self._site = site
        self._source = source
        self._announce = announce

    def send(self, message: Message) -> Outgoing:
        """On its own topic, retained where that is so."""
        return Outgoing(topic_for(self._site, message), message, retain=retained(message))

    def alarm(self, record: AlarmRecord, register: Register) -> Alarm:
        """The message that tells of a record."""
        return alarm_of(record, register.definition(record), self._source)

    def changes(self, changes: Iterable[Change], register: Register, now: datetime) -> list[Outgoing]:
        """Each change as an alarm and a journal line."""
        said = []
        for change in changes:
            alarm = self.alarm(change.record, register)
            if self._announce is not None:
                self._announce(alarm)
            facts = {"alarm": change.record.name, "phase": change.record.phase.value}
            chamber = change.record.chamber
            said += [
                self.send(alarm),
                self.journal(change.event, change.who, change.why, now, chamber=chamber, facts=facts),
            ]
        return said

    def delivery(self, envelope: Envelope, now: datetime) -> list[Outgoing]:
        """The first failure of a message, its arrival, its being given up; not every attempt."""
        if envelope.waiting and envelope.attempts > 1:
            return []
        event = "message-delivered" if envelope.delivered else "message-failed"
        event = "message-given-up" if envelope.given_up else event
        facts = {"message": envelope.id, "to": envelope.member, "attempts": float(envelope.attempts)}
        return [self.journal(event, self._source, envelope.error or envelope.subject, now, facts=facts)]

    def journal(self, event: str, who: str, why: str, now: datetime, **said: Any) -> Outgoing:
        """One line."""
        self.lines += 1
        number = f"{self._source}-{int(now.timestamp())}-{self.lines}"
        entry = JournalEntry(at=now, source=self._source, id=number, event=event, who=who, why=why, **said)
        return Outgoing(topic_for(self._site, entry, self._source), entry)

    def condition(self, chamber: str, name: str, active: bool, at: datetime, detail: str, **said: Any) -> Condition:
        """One of this service's own."""
        since = said.pop("since", at)
        return Condition(
            at=at, source=self._source, chamber=chamber, name=name, active=active, since=since, detail=detail[:2000],
            **said,
        )  # fmt: skip
