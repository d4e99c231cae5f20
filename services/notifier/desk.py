"""Where alarms become messages: who is due to be told goes into the outbox, and what is due there goes out."""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta

from schemas.alarms import Alarm, Priority
from schemas.base import Instant, Model, Name, ServiceName, Text
from schemas.contract import topic_for
from schemas.deliveries import Deliveries
from schemas.plant import Plant
from services.notifier.catalogue import Definitions
from services.notifier.dispatch import DISPATCH, HEARTBEAT, Beat, Dispatch
from services.notifier.escalation import SPEAKING, Occurrence, Step, due_steps
from services.notifier.links import Claim, sign
from services.notifier.messages import Told, Written, message, test_message
from services.notifier.outbox import Envelope, Notice, Outbox, OutboxState
from services.notifier.records import AlarmRecord, alarm_of
from services.notifier.routes import hears_of_weeks, members, week_ended
from services.runtime.service import Outgoing

URGENT = (Priority.CRITICAL, Priority.HIGH)
UNREACHED = timedelta(minutes=30)
"""When something urgent has waited so long, the heartbeat stops, so that its silence tells people by another way."""
CHATTER_TOLD_EVERY = timedelta(hours=1)


class Episode(Model):
    """One occurrence of an alarm, and the steps by which people were told of it."""

    chamber: Name
    name: Name
    raised: Instant
    told: tuple[Text, ...] = ()
    told_at: Instant | None = None


class DeskState(Model):
    """What must survive."""

    episodes: tuple[Episode, ...] = ()
    outbox: OutboxState = OutboxState()
    week_ended: Instant | None = None


class Desk:
    """`key` signs the links by which a message is acknowledged; without one, messages carry none."""

    def __init__(self, plant: Plant, kept: DeskState, key: bytes = b"") -> None:
        self._plant = plant
        self._key = key
        self._episodes = {(one.chamber, one.name): one for one in kept.episodes}
        self._outbox = Outbox(kept.outbox, plant.notifier.flood_at)
        self._outbox.drop(set(self._outbox.members) - set(members(plant)))
        self._beaten: datetime | None = None
        self._week_ended = kept.week_ended
        self._changed: set[str] = set()

    @property
    def kept(self) -> DeskState:
        """For the snapshot."""
        return DeskState(episodes=tuple(self._episodes.values()), outbox=self._outbox.kept, week_ended=self._week_ended)

    def plant_changed(self, plant: Plant) -> None:
        """Addresses that are no more are forgotten, with what waits for them."""
        self._plant = plant
        self._outbox.flood_at = plant.notifier.flood_at
        self._outbox.drop(set(self._outbox.members) - set(members(plant)))

    def look(
        self, records: Iterable[AlarmRecord], find: Callable[[str, str], AlarmRecord | None], rules: Definitions,
        now: datetime,
    ) -> list[Outgoing]:  # fmt: skip
        """Everything that is due: notices, messages, reports of addresses, a heartbeat."""
        if self._plant.notifier.routes:
            for record in records:
                self._tell(record, rules(record.chamber, record.name).priority, now)
        if self._outbox.busy:
            self._changed |= self._outbox.write_up(now)
        sent = [one for envelope in list(self._outbox.due(now)) for one in self._send(envelope, find, rules, now)]
        reports = [self._report(member, now) for member in sorted(self._changed)]
        self._changed.clear()
        return [*sent, *reports, *self._beat(now)]

    def settle(self, envelope_id: str, error: str, now: datetime) -> Envelope | None:
        """Takes in what became of an attempt; returns the message as it stands, or None when it is not known."""
        settled = self._outbox.settle(envelope_id, error, now)
        if settled is not None:
            self._changed.add(settled.member)
        return settled

    def test(self, targets: Iterable[str], who: str, request: str, now: datetime) -> None:
        """Puts a test message for each address in line."""
        for member in targets:
            self._outbox.add_test(member, who, request, now)
            self._changed.add(member)

    def week_is_over(self, now: datetime) -> bool:
        """Whether people are to be told of a week; the first that begins while nobody looks on is not told."""
        ended = week_ended(now, self._plant) if self._plant.notifier.routes else None
        before, self._week_ended = self._week_ended, ended or self._week_ended
        return before is not None and ended is not None and ended > before

    def tell_of_week(self, written: Written, now: datetime) -> None:
        """Puts what is said of a week in line for whoever is told what is low."""
        for member in hears_of_weeks(self._plant):
            self._outbox.add_text(member, f"week {self._week_ended}", written.subject, written.text, now)
            self._changed.add(member)

    def reports(self, now: datetime) -> list[Outgoing]:
        """Every address, for a broker that may have forgotten."""
        return [self._report(member, now) for member in members(self._plant)]

    def _tell(self, record: AlarmRecord, priority: Priority, now: datetime) -> None:
        if record.raised is None or record.phase not in SPEAKING:
            return
        episode = self._episodes.get(record.key)
        if episode is None or episode.raised != record.raised:
            told_at = None if episode is None else episode.told_at
            episode = Episode(chamber=record.chamber, name=record.name, raised=record.raised, told_at=told_at)
        if record.chattering and not episode.told and _lately(episode.told_at, now):
            return
        steps = list(due_steps(self._plant, _occurrence(record, priority), episode.told, now))
        for step in steps:
            self._outbox.add(step.member, _notice(record, priority, step))
        if steps:
            told = (*episode.told, *(step.key for step in steps))
            self._episodes[record.key] = episode.model_copy(update={"told": told, "told_at": now})

    def _send(
        self, envelope: Envelope, find: Callable[[str, str], AlarmRecord | None], rules: Definitions, now: datetime
    ) -> Iterator[Outgoing]:
        person, _, way_name = envelope.member.partition(".")
        told = [one for notice in envelope.notices if (one := _told(notice, find, rules)) is not None]
        written, link = self._words(envelope, told, person, now)
        self._outbox.leaves(envelope, written.subject, now)
        dispatch = Dispatch(
            id=envelope.id,
            member=envelope.member,
            way=self._plant.people[person].ways[way_name],
            server=self._plant.notifier.mail,
            site=self._plant.site.name,
            subject=written.subject,
            text=written.text,
            priority=min((one.alarm.priority for one in told), key=list(Priority).index, default=Priority.LOW),
            written=envelope.written,
            alarms=tuple(one.alarm for one in told),
            link=link,
        )
        yield Outgoing(f"{DISPATCH}{envelope.id}", dispatch.model_dump_json().encode())

    def _words(self, envelope: Envelope, told: list[Told], person: str, now: datetime) -> tuple[Written, str]:
        if envelope.text:
            return Written(subject=envelope.subject, text=envelope.text), ""
        if not envelope.notices:
            return test_message(self._plant, envelope.member, envelope.asked_by, now), ""
        if not told:
            about = ", ".join(f"{one.name} in {one.chamber}" for one in envelope.notices)
            return Written(subject=f"[over] {self._plant.site.name}: {about}", text="The chamber is no more."), ""
        link = self._link(envelope.notices[0], person, now)
        return message(told, self._plant, now, link), link

    def _link(self, notice: Notice, person: str, now: datetime) -> str:
        rules = self._plant.notifier.link
        if rules is None or not self._key:
            return ""
        claim = Claim(
            chamber=notice.chamber,
            name=notice.name,
            raised=notice.raised,
            person=person,
            expires=now + timedelta(seconds=rules.valid_s),
        )
        return f"{rules.base.rstrip('/')}/acknowledge/{sign(claim, self._key)}"

    def _report(self, member: str, now: datetime) -> Outgoing:
        report: Deliveries = self._outbox.report(member, now, ServiceName.NOTIFIER)
        return Outgoing(topic_for(self._plant.site.name, report), report, retain=True)

    def _beat(self, now: datetime) -> Iterator[Outgoing]:
        rules = self._plant.notifier.heartbeat
        if rules is None or (self._beaten is not None and 0 <= (now - self._beaten).total_seconds() < rules.every_s):
            return
        waiting = self._outbox.unreached_since(URGENT)
        if waiting is not None and now - waiting >= UNREACHED:
            return
        self._beaten = now
        yield Outgoing(f"{HEARTBEAT}{int(now.timestamp())}", Beat(heartbeat=rules).model_dump_json().encode())


def _lately(told_at: datetime | None, now: datetime) -> bool:
    return told_at is not None and timedelta(0) <= now - told_at < CHATTER_TOLD_EVERY


def _occurrence(record: AlarmRecord, priority: Priority) -> Occurrence:
    assert record.raised is not None
    return Occurrence(
        chamber=record.chamber, name=record.name, priority=priority, raised=record.raised, phase=record.phase
    )


def _notice(record: AlarmRecord, priority: Priority, step: Step) -> Notice:
    assert record.raised is not None
    return Notice(
        chamber=record.chamber,
        name=record.name,
        raised=record.raised,
        priority=priority,
        step=step.key,
        late_s=step.late_s,
    )


def _told(notice: Notice, find: Callable[[str, str], AlarmRecord | None], rules: Definitions) -> Told | None:
    record = find(notice.chamber, notice.name)
    if record is None:
        return None
    definition = rules(notice.chamber, notice.name)
    alarm: Alarm = alarm_of(record, definition, ServiceName.NOTIFIER)
    return Told(alarm=alarm, definition=definition, late_s=notice.late_s)
