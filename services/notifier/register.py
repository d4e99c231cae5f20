"""All alarms of a site: what conditions and time make of them, and which explains which away."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import NamedTuple

from schemas.alarms import AlarmPhase as Phase
from schemas.alarms import Condition
from schemas.base import SITE_WIDE, ServiceName
from services.notifier.catalogue import Definition, Definitions
from services.notifier.records import (
    AlarmRecord,
    after,
    due_events,
    out_of_order,
    quiet_record,
    with_condition,
    with_nuisance,
    with_phase,
)
from services.notifier.states import AlarmEvent

OWN = ServiceName.NOTIFIER.value

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


ANNOUNCED = frozenset({Phase.UNACKNOWLEDGED, Phase.ACKNOWLEDGED, Phase.RETURNED_UNACKNOWLEDGED})


class Change(NamedTuple):
    """An alarm that moved: what the journal calls it, who did it and why."""

    record: AlarmRecord
    event: str
    who: str
    why: str


class Register:
    """Records by chamber and name. `rules` says what is known of each."""

    def __init__(self, rules: Definitions, kept: Iterable[AlarmRecord] = ()) -> None:
        self.rules = rules
        self.records: dict[tuple[str, str], AlarmRecord] = {record.key: record for record in kept}

    def find(self, chamber: str, name: str) -> AlarmRecord | None:
        """The record of an alarm, or None when nothing has been heard of it."""
        return self.records.get((chamber, name))

    def definition(self, record: AlarmRecord) -> Definition:
        """What is known of it."""
        return self.rules(record.chamber, record.name)

    def take(self, condition: Condition, now: datetime) -> bool:
        """Takes a condition in; False when it was overtaken by a later one."""
        record = self.find(condition.chamber, condition.name)
        if record is None:
            record = quiet_record(condition.chamber, condition.name, now)
        elif out_of_order(record, condition):
            return False
        self.records[record.key] = with_condition(record, condition, now)
        return True

    def look(self, now: datetime) -> list[Change]:
        """What time alone, or what was heard, has brought about."""
        changes: list[Change] = []
        for record in [record for record in self.records.values() if record.restless]:
            definition = self.definition(record)
            for event in due_events(record, definition, self._explained(record, definition, now), now):
                record = self._apply(record, event, definition, now, changes)
            self._mark(record, now, changes)
        return changes

    def move(self, record: AlarmRecord, phase: Phase, now: datetime, who: str, why: str, **said: object) -> Change:
        """Puts an alarm where a person, or a plant file, wants it."""
        moved = with_phase(record, phase, now, **said)
        self.records[moved.key] = moved
        return Change(moved, TOLD_AS[phase], who, why)

    def drop_chambers(self, known: Iterable[str], now: datetime) -> list[Change]:
        """Closes and forgets the alarms of chambers that are no more."""
        here = {*known, SITE_WIDE}
        gone = [self.records.pop(key) for key in list(self.records) if key[0] not in here]
        why = "The chamber is no longer there."
        return [
            Change(with_phase(record, Phase.NORMAL, now), TOLD_AS[Phase.NORMAL], OWN, why)
            for record in gone
            if record.phase is not Phase.NORMAL
        ]

    def _explained(self, record: AlarmRecord, definition: Definition, now: datetime) -> bool:
        """Whether a condition of its chamber or of the site explains this one away."""
        near = (record.chamber, SITE_WIDE)
        return any(
            other.explains(cause, now) and (record.phase not in ANNOUNCED or self._stands(other, now))
            for cause in definition.suppressed_by
            for other in self._near(near)
            if other is not record
        )

    def _stands(self, cause: AlarmRecord, now: datetime) -> bool:
        """Whether a cause has lasted long enough to be told itself: a door opened for a moment takes nothing back."""
        lasted_s = (now - cause.condition_changed).total_seconds()
        return cause.counted_on or (cause.condition_on and lasted_s >= self.definition(cause).on_delay_s)

    def _near(self, chambers: tuple[str, str]) -> Iterator[AlarmRecord]:
        return (other for other in self.records.values() if other.ever_on and other.chamber in chambers)

    def _apply(
        self, record: AlarmRecord, event: AlarmEvent, definition: Definition, now: datetime, changes: list[Change]
    ) -> AlarmRecord:
        record, phase = after(record, event, definition)
        if phase is not None:
            record = with_phase(record, phase, now)
            changes.append(Change(record, TOLD_AS[phase], OWN, record.detail))
        self.records[record.key] = record
        return record

    def _mark(self, record: AlarmRecord, now: datetime, changes: list[Change]) -> None:
        """Notes an alarm that is a nuisance itself: it has stood for a day, or no longer chatters."""
        marked = with_nuisance(record, now)
        if marked is record:
            return
        self.records[marked.key] = marked
        event = "alarm-stale" if marked.stale and not record.stale else "alarm-calm"
        changes.append(Change(marked, event, OWN, marked.detail))
