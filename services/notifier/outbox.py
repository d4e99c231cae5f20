"""Messages on their way to people: written once, tried until the other side has taken them, never two at a time to one
address. Pure: what is due goes out as a `Dispatch`, and what became of it comes back as a `Result`.

Everything here is kept in the notifier's state file before anything is sent, so neither a kill nor an outage loses a
message. What the other side has taken, its courier has kept (see `taken`); one whose answer was lost goes again with
the same id.
"""

import hashlib
import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Annotated

from pydantic import Field

from schemas.alarms import Priority
from schemas.base import Instant, Model, Name, Text
from schemas.deliveries import Deliveries, DeliveryNote, DeliveryState

FIRST_RETRY_S, LONGEST_RETRY_S = 15.0, 900.0
GIVE_UP_AFTER = timedelta(days=14)
NO_ANSWER_AFTER = timedelta(minutes=5)
FLOOD_WINDOW = timedelta(minutes=10)
CLOCK_WAS_SET = timedelta(seconds=2 * LONGEST_RETRY_S)
"""No attempt is put off for so long: the clock has been set back meanwhile."""
REPORTED = 10
"""Messages that stay in an address's report."""


class Notice(Model):
    """One alarm's occurrence that somebody is to be told of, by one step of one route."""

    chamber: Name
    name: Name
    raised: Instant
    priority: Priority
    step: Text
    late_s: float = 0.0


class Envelope(Model):
    """One message to one address: notices, or a `text` of its own, or (neither) a test that `asked_by` wanted."""

    id: Text
    member: Text
    notices: tuple[Notice, ...] = ()
    asked_by: Text = ""
    written: Instant
    subject: Text = ""
    text: str = ""
    attempts: Annotated[int, Field(ge=0)] = 0
    next_attempt: Instant | None = None
    delivered: Instant | None = None
    given_up: bool = False
    error: Text = ""

    @property
    def waiting(self) -> bool:
        """Whether it is still to be sent."""
        return self.delivered is None and not self.given_up

    def note(self) -> DeliveryNote:
        """For the report."""
        state = DeliveryState.DELIVERED if self.delivered else DeliveryState.WAITING
        return DeliveryNote(
            id=self.id,
            subject=self.subject,
            state=DeliveryState.GIVEN_UP if self.given_up else state,
            written=self.written,
            attempts=self.attempts,
            delivered=self.delivered,
            next_attempt=self.next_attempt if self.waiting else None,
            error=self.error,
        )


class OutboxState(Model):
    """What must survive."""

    queued: dict[str, tuple[Notice, ...]] = {}
    envelopes: tuple[Envelope, ...] = ()


class Outbox:
    """By address (`ann.phone`): notices not yet written up, and messages in the order in which they go."""

    def __init__(self, kept: OutboxState, flood_at: int) -> None:
        self.flood_at = flood_at
        self._queued: dict[str, list[Notice]] = defaultdict(list)
        for member, notices in kept.queued.items():
            self._queued[member] = list(notices)
        self._envelopes: dict[str, list[Envelope]] = defaultdict(list)
        for envelope in kept.envelopes:
            self._envelopes[envelope.member].append(envelope)
        self._under_way: dict[str, datetime] = {}

    @property
    def kept(self) -> OutboxState:
        """For the snapshot."""
        queued = {member: tuple(notices) for member, notices in self._queued.items() if notices}
        return OutboxState(queued=queued, envelopes=tuple(one for sent in self._envelopes.values() for one in sent))

    @property
    def busy(self) -> bool:
        """Whether anything waits."""
        return any(self._queued.values()) or any(one.waiting for sent in self._envelopes.values() for one in sent)

    def add(self, member: str, notice: Notice) -> None:
        """Somebody is to be told; what is critical has an address that does not answer tried again at once."""
        self._queued[member].append(notice)
        if notice.priority is Priority.CRITICAL:
            for failing in [one for one in self._envelopes[member] if one.waiting and one.error]:
                self._replace(failing, next_attempt=None)

    def add_test(self, member: str, asked_by: str, request: str, now: datetime) -> None:
        """A test message, sent next."""
        self._envelopes[member].append(
            Envelope(id=_id_of(member, [request]), member=member, asked_by=asked_by, written=now)
        )

    def add_text(self, member: str, key: str, subject: str, text: str, now: datetime) -> None:
        """A message of its own, once for its key."""
        fresh = Envelope(id=_id_of(member, [key]), member=member, written=now, subject=subject, text=text)
        if self.find(fresh.id) is None:
            self._envelopes[member].append(fresh)

    def write_up(self, now: datetime) -> set[str]:
        """Makes messages of what is queued, a flood one message; returns the addresses for which it did."""
        return {member for member, notices in self._queued.items() if notices and self._write_up(member, notices, now)}

    def due(self, now: datetime) -> Iterator[Envelope]:
        """The next message for each address, where it is time to try and none is under way."""
        for member, envelopes in self._envelopes.items():
            first = next((one for one in envelopes if one.waiting), None)
            if first is None or self._is_under_way(member, now):
                continue
            if first.next_attempt is None or not now < first.next_attempt < now + CLOCK_WAS_SET:
                yield first

    def leaves(self, envelope: Envelope, subject: str, now: datetime) -> Envelope:
        """It is being sent under this subject."""
        self._under_way[envelope.member] = now
        return self._replace(envelope, subject=subject, attempts=envelope.attempts + 1)

    def settle(self, envelope_id: str, error: str, now: datetime) -> Envelope | None:
        """What became of an attempt; the message as it then stands, or None where nothing was open."""
        found = self.find(envelope_id)
        under_way = found is not None and self._under_way.pop(found.member, None) is not None
        if found is None or not found.waiting or (error and not under_way):
            return None
        if not error:
            return self._replace(found, delivered=now, next_attempt=None, error="")
        late = now - found.written >= GIVE_UP_AFTER
        return self._replace(found, error=error[:300], next_attempt=now + _pause(found), given_up=late)

    def find(self, envelope_id: str) -> Envelope | None:
        """A message by its id."""
        return next((one for sent in self._envelopes.values() for one in sent if one.id == envelope_id), None)

    def drop(self, members: Iterable[str]) -> None:
        """Addresses that are no more."""
        for member in members:
            self._queued.pop(member, None)
            self._envelopes.pop(member, None)
            self._under_way.pop(member, None)

    @property
    def members(self) -> tuple[str, ...]:
        """Addresses of which anything is known."""
        return tuple({*self._queued, *self._envelopes})

    def report(self, member: str, now: datetime, source: str) -> Deliveries:
        """What can be said of an address."""
        person, _, way = member.partition(".")
        sent = self._envelopes.get(member, [])
        waiting = [one for one in sent if one.waiting]
        failing = [one.written for one in waiting if one.error]
        return Deliveries(
            at=now,
            source=source,
            person=person,
            way=way,
            waiting=len(waiting) + len(self._queued.get(member, [])),
            failing_since=min(failing, default=None),
            recent=tuple(one.note() for one in sent[-REPORTED:]),
        )

    def unreached_since(self, priorities: Sequence[Priority]) -> datetime | None:
        """Since when the oldest message about something of such priority has been waiting; None when none is."""
        waiting = (one for sent in self._envelopes.values() for one in sent if one.waiting)
        written = [one.written for one in waiting if any(notice.priority in priorities for notice in one.notices)]
        return min(written, default=None)

    def _write_up(self, member: str, notices: list[Notice], now: datetime) -> bool:
        critical = any(one.priority is Priority.CRITICAL for one in notices)
        if any(one.waiting and one.error for one in self._envelopes[member]):
            return False  # the address does not answer: what comes meanwhile is written up when it does
        recent = sum(timedelta(0) <= now - one.written < FLOOD_WINDOW for one in self._envelopes[member])
        low = [one for one in notices if one.priority is Priority.LOW]
        others = [one for one in notices if one.priority is not Priority.LOW]
        if recent >= self.flood_at and not critical:
            return False
        for heap in (_heaps(others, recent, self.flood_at), [low] if low else []):
            for one in heap:
                self._seal(member, one, now)
        self._queued[member] = []
        return True

    def _seal(self, member: str, notices: Sequence[Notice], now: datetime) -> None:
        keys = [f"{one.chamber}/{one.name}/{one.raised.timestamp():.3f}/{one.step}" for one in notices]
        envelope = Envelope(id=_id_of(member, keys), member=member, notices=tuple(notices), written=now)
        done = [one for one in self._envelopes[member] if not one.waiting]
        forgotten = {one.id for one in done[: -max(REPORTED, self.flood_at)]}
        self._envelopes[member] = [one for one in self._envelopes[member] if one.id not in forgotten] + [envelope]

    def _is_under_way(self, member: str, now: datetime) -> bool:
        since = self._under_way.get(member)
        return since is not None and timedelta(0) <= now - since < NO_ANSWER_AFTER

    def _replace(self, envelope: Envelope, **changed: object) -> Envelope:
        fresh = envelope.model_copy(update=changed)
        mine = self._envelopes[envelope.member]
        self._envelopes[envelope.member] = [fresh if one.id == envelope.id else one for one in mine]
        return fresh


def _heaps(notices: Sequence[Notice], recent: int, flood_at: int) -> list[Sequence[Notice]]:
    """A message for each, or one for all where they are too many."""
    if len(notices) + recent > flood_at:
        return [notices] if notices else []
    return [[one] for one in notices]


def _id_of(member: str, keys: Sequence[str]) -> str:
    return hashlib.sha256("\n".join((member, *keys)).encode()).hexdigest()[:24]


def _pause(envelope: Envelope) -> timedelta:
    """Twice as long after each attempt, up to a quarter of an hour; spread a little, so that not all come at once."""
    pause_s = min(LONGEST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(10, envelope.attempts - 1))
    return timedelta(seconds=pause_s * (0.9 + 0.2 * (zlib.crc32(envelope.id.encode()) % 100) / 100))
