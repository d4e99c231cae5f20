"""What is known of one alarm at one moment, and what time alone makes of it. Nothing here changes; copies do."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from schemas.alarms import Alarm, Condition, Nuisance, Priority
from schemas.alarms import AlarmPhase as Phase
from schemas.base import Finite, Instant, Model, Name, Text
from services.notifier.catalogue import Definition
from services.notifier.states import AlarmEvent, next_phase

SETTLE = timedelta(minutes=2)
"""What a cause explained away stays quiet so long after the cause is gone, to give it time to mend itself."""

REORDERED_WITHIN = timedelta(minutes=2)
"""A condition older than the last by less than this came out of order; by more, somebody set a clock back."""

CHATTER_AT, CHATTER_WITHIN = 3, timedelta(hours=1)
"""So many times announced within so long. The standards say three in a minute of a process that moves in seconds."""
CHATTER_PATIENCE = 4.0
"""One that chatters has returned only after so many times its off-delay."""
STALE_AFTER = timedelta(hours=24)
"""What has stood for so long tells nobody anything new (IEC 62682 / ISA-18.2: stale)."""
STANDING = frozenset({Phase.UNACKNOWLEDGED, Phase.ACKNOWLEDGED})

URGENT = frozenset({Priority.CRITICAL, Priority.HIGH})


class AlarmRecord(Model):
    """One alarm: what its condition does, and where the alarm stands."""

    chamber: Name
    name: Name
    phase: Phase = Phase.NORMAL
    phase_since: Instant
    condition_on: bool = False
    condition_changed: Instant
    counted_on: bool = False
    ever_on: bool = False
    reported_at: Instant
    since: Instant
    detail: Text = ""
    value: Finite | None = None
    limit: Finite | None = None
    unit: Text = ""
    by: Text = ""
    reason: Text = ""
    until: Instant | None = None
    source: Text = ""
    raised: Instant | None = None
    raises: tuple[Instant, ...] = ()
    chattering: bool = False
    stale: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Chamber and name."""
        return self.chamber, self.name

    @property
    def restless(self) -> bool:
        """Whether time alone may change it."""
        return self.condition_on != self.counted_on or self.phase is not Phase.NORMAL or self.chattering

    def explains(self, name: str, now: datetime) -> bool:
        """Whether its condition, when that is or is of the kind `name`, holds or has only just ceased to."""
        if self.name != name and not self.name.startswith(f"{name}-"):
            return False
        return self.condition_on or (self.ever_on and timedelta(0) <= now - self.condition_changed < SETTLE)


def quiet_record(chamber: str, name: str, now: datetime) -> AlarmRecord:
    """An alarm of which nothing has been heard."""
    return AlarmRecord(chamber=chamber, name=name, phase_since=now, condition_changed=now, reported_at=now, since=now)


def out_of_order(record: AlarmRecord, condition: Condition) -> bool:
    """Whether a condition was overtaken by the one heard before it."""
    return timedelta(0) < record.reported_at - condition.at < REORDERED_WITHIN


def with_condition(record: AlarmRecord, condition: Condition, now: datetime) -> AlarmRecord:
    """The record after its condition was heard; the alarm itself does not move yet."""
    said = {
        "reported_at": condition.at,
        "detail": condition.detail,
        "value": condition.value,
        "limit": condition.limit,
        "unit": condition.unit,
        "source": condition.source,
    }
    if condition.active and not record.condition_on:
        began = min(condition.since, now)
        said |= {"since": began, "condition_changed": began, "condition_on": True, "ever_on": True}
    elif not condition.active and record.condition_on:
        said |= {"condition_changed": now, "condition_on": False}
    return record.model_copy(update=said)


def with_phase(record: AlarmRecord, phase: Phase, now: datetime, **said: object) -> AlarmRecord:
    """The record in another phase; who did it and until when are forgotten unless said again."""
    update = {"phase": phase, "phase_since": now, "by": "", "reason": "", "until": None} | said
    if phase is Phase.UNACKNOWLEDGED:
        raises = (*(one for one in record.raises if timedelta(0) <= now - one < CHATTER_WITHIN), now)[-CHATTER_AT:]
        update |= {"raised": now, "raises": raises, "chattering": len(raises) >= CHATTER_AT, "stale": False}
    return record.model_copy(update=update)


def with_nuisance(record: AlarmRecord, now: datetime) -> AlarmRecord:
    """The record with what is wrong with the alarm itself, as it is now; the same one when nothing has changed."""
    calm = not record.raises or not timedelta(0) <= now - record.raises[-1] < CHATTER_WITHIN
    stale = record.phase in STANDING and record.counted_on and now - (record.raised or now) >= STALE_AFTER
    if record.chattering and calm:
        record = record.model_copy(update={"chattering": False})
    return record if stale == record.stale else record.model_copy(update={"stale": stale})


def due_events(record: AlarmRecord, definition: Definition, suppressed: bool, now: datetime) -> Iterator[AlarmEvent]:
    """What time alone has brought about since the last look, in the order it must be applied."""
    if suppressed and record.condition_on:
        yield AlarmEvent.SUPPRESS
    if record.condition_on != record.counted_on and _delay_over(record, definition, now):
        yield AlarmEvent.CONDITION_ON if record.condition_on else AlarmEvent.CONDITION_OFF
    if not suppressed and record.phase is Phase.SUPPRESSED:
        yield AlarmEvent.UNSUPPRESS
    if record.phase is Phase.SHELVED and record.until is not None and now >= record.until:
        yield AlarmEvent.UNSHELVE
    if _overdue(record, definition, now):
        yield AlarmEvent.RE_ALARM


def after(record: AlarmRecord, event: AlarmEvent, definition: Definition) -> tuple[AlarmRecord, Phase | None]:
    """The record with its condition counted where the event says so, and the phase the event leads to, if any."""
    if event in (AlarmEvent.CONDITION_ON, AlarmEvent.CONDITION_OFF):
        record = record.model_copy(update={"counted_on": event is AlarmEvent.CONDITION_ON})
    return record, next_phase(record.phase, event, active=record.counted_on, latching=definition.latching)


def alarm_of(record: AlarmRecord, definition: Definition, source: str) -> Alarm:
    """The message that tells of it; the same record always gives the same message."""
    return Alarm(
        at=record.phase_since,
        source=source,
        chamber=record.chamber,
        name=record.name,
        phase=record.phase,
        priority=definition.priority,
        since=record.since,
        detail=record.detail or definition.title,
        cause=definition.cause,
        consequence=definition.consequence,
        response=definition.response,
        by=record.by,
        until=record.until,
        nuisance=tuple(
            kind for kind, holds in ((Nuisance.CHATTERING, record.chattering), (Nuisance.STALE, record.stale)) if holds
        ),
    )


def _delay_over(record: AlarmRecord, definition: Definition, now: datetime) -> bool:
    delay_s = definition.on_delay_s if record.condition_on else definition.off_delay(record.value, record.limit)
    delay_s *= CHATTER_PATIENCE if record.chattering and not record.condition_on else 1.0
    lasted_s = (now - record.condition_changed).total_seconds()
    return lasted_s >= delay_s or lasted_s < 0


def _overdue(record: AlarmRecord, definition: Definition, now: datetime) -> bool:
    """Somebody took an urgent alarm, the time to respond has run out, and it still holds."""
    if record.phase is not Phase.ACKNOWLEDGED or definition.priority not in URGENT or not record.counted_on:
        return False
    return (now - record.phase_since).total_seconds() >= definition.respond_within_s
