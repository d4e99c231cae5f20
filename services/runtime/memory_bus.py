"""A bus within one process, with MQTT's semantics and, on request, its mishaps.

`publish` only queues; `deliver` hands out what is due, including whatever the receivers publish meanwhile. Everything
happens in one thread and in an order that depends on nothing but the calls made and the Random handed in.
"""

import heapq
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

from schemas.base import Message
from schemas.contract import Unreadable, decode, encode
from schemas.topics import matches, parse
from services.runtime.service import Incoming, Outgoing

Handler = Callable[[Incoming], None]

_ROUTES_KEPT = 65_536


@dataclass(frozen=True, slots=True)
class Mishaps:
    """What may happen to one delivery, as probabilities; only topics under `filters` are touched.

    `reorder` slips it in among those now waiting; `delay` holds it back up to `longest_delay` while others go by.
    """

    random: Random
    drop: float = 0.0
    duplicate: float = 0.0
    delay: float = 0.0
    reorder: float = 0.0
    longest_delay: timedelta = timedelta(seconds=30)
    filters: tuple[str, ...] = ("#",)

    def strike(self, topic: str) -> bool:
        """Whether deliveries on this topic are at risk."""
        return any(matches(wanted, topic) for wanted in self.filters)

    def copies(self) -> int:
        """How often it arrives: 0, 1 or 2 times."""
        if self.random.random() < self.drop:
            return 0
        return 2 if self.random.random() < self.duplicate else 1

    def held_back(self) -> timedelta | None:
        """How long one copy is late, or None when it is not."""
        if self.random.random() >= self.delay:
            return None
        return self.longest_delay * self.random.random()

    def place(self, waiting: int) -> int | None:
        """Where among those waiting it slips in, or None when it keeps its place."""
        return self.random.randrange(waiting + 1) if self.random.random() < self.reorder else None


@dataclass(eq=False, slots=True)
class Session:
    """One client's side of the bus: what it listens to, and what waits for it while it is away."""

    client_id: str
    handler: Handler
    filters: tuple[str, ...] = ()
    persistent: bool = False
    will: Outgoing | None = None
    up: bool = True
    backlog: deque[Incoming] = field(default_factory=deque)

    def hears(self, topic: str) -> bool:
        """Whether one of its filters takes the topic in."""
        return any(matches(wanted, topic) for wanted in self.filters)


_Delivery = tuple[Session, Incoming, int]


class MemoryBus:
    """The broker. With `on_the_wire`, messages travel as bytes and are read back as a real receiver would."""

    def __init__(self, *, on_the_wire: bool = False, mishaps: Mishaps | None = None) -> None:
        self.retained: dict[str, Outgoing] = {}
        self.unreadable = 0
        self.mishaps = mishaps
        self._on_the_wire = on_the_wire
        self._sessions: dict[str, Session] = {}
        self._routes: dict[str, tuple[Session, ...]] = {}
        self._waiting: deque[_Delivery] = deque()
        self._late: list[tuple[datetime, int, _Delivery]] = []
        self._late_count = 0
        self._now: datetime | None = None

    def join(
        self,
        client_id: str,
        handler: Handler,
        filters: Iterable[str] = (),
        *,
        persistent: bool = False,
        will: Outgoing | None = None,
    ) -> Session:
        """Connects a client; what was kept for its persistent session comes first, then what is retained."""
        before = self._sessions.get(client_id)
        if before is not None and before.up:
            self.die(before)
        session = Session(client_id, handler, persistent=persistent, will=will)
        self._sessions[client_id] = session
        if before is not None and persistent and before.persistent:
            session.filters = before.filters
            self._waiting.extend((session, incoming, 1) for incoming in before.backlog)
        self.listen(session, filters)
        return session

    def listen(self, session: Session, filters: Iterable[str]) -> None:
        """Replaces what a client listens to; each filter new to it brings what is retained under it."""
        wanted = tuple(filters)
        new = [one for one in wanted if one not in session.filters]
        session.filters = wanted
        self._routes.clear()
        for topic, kept in sorted(self.retained.items()) if new else ():
            if any(matches(one, topic) for one in new):
                self._hand_retained(session, kept)

    def leave(self, session: Session) -> None:
        """A clean goodbye: no last will."""
        self._part(session)

    def die(self, session: Session) -> None:
        """The client is gone without a word: its last will is published."""
        if session.up:
            self._part(session)
            if session.will is not None:
                self.publish(session.will)

    def publish(self, outgoing: Outgoing) -> None:
        """Queues one message for everybody who listens."""
        topic = outgoing.topic
        routes = self._routes.get(topic)
        if routes is None:
            routes = self._find_routes(topic)
        body = self._carried(topic, outgoing.body)
        if body is None:
            return
        if outgoing.retain:
            self._retain(topic, outgoing)
        if not routes:
            return
        incoming = Incoming(topic, body)
        if self.mishaps is None:
            qos = outgoing.qos
            for session in routes:
                self._waiting.append((session, incoming, qos))
        else:
            self._risk(self.mishaps, routes, incoming, outgoing.qos)

    def deliver(self, now: datetime, limit: int = 1_000_000) -> int:
        """Hands out everything due by now, and what that brings about; returns how many were handed out.

        Raises RuntimeError at the limit: receivers that answer each other for ever.
        """
        self._now = now
        waiting, late = self._waiting, self._late
        count = 0
        while True:
            while late and late[0][0] <= now:
                waiting.append(heapq.heappop(late)[2])
            if not waiting:
                return count
            while waiting:
                session, incoming, qos = waiting.popleft()
                if session.up:
                    session.handler(incoming)
                    count += 1
                elif qos and session.persistent:
                    self._keep(session, incoming)
                if count >= limit:
                    raise RuntimeError(f"{count} deliveries at {now}: the receivers answer each other for ever")

    def next_due(self) -> datetime | None:
        """When the first delivery that is held back comes due."""
        return self._late[0][0] if self._late else None

    def _part(self, session: Session) -> None:
        session.up = False
        if not session.persistent:
            session.filters = ()
            self._routes.clear()

    def _keep(self, session: Session, incoming: Incoming) -> None:
        heir = self._sessions.get(session.client_id, session)
        if heir.up:
            self._waiting.append((heir, incoming, 1))
        else:
            heir.backlog.append(incoming)

    def _find_routes(self, topic: str) -> tuple[Session, ...]:
        if len(self._routes) >= _ROUTES_KEPT:
            self._routes.clear()
        routes = tuple(session for session in self._sessions.values() if session.hears(topic))
        self._routes[topic] = routes
        return routes

    def _carried(self, topic: str, body: Message | bytes) -> Message | bytes | None:
        """The body as receivers get it; None for what no receiver could read."""
        if self._on_the_wire and not isinstance(body, bytes):
            body = encode(body)
        if isinstance(body, bytes) and body and parse(topic) is not None:
            try:
                return decode(topic, body)
            except Unreadable:
                self.unreadable += 1
                return None
        return body

    def _retain(self, topic: str, outgoing: Outgoing) -> None:
        if outgoing.body == b"":
            self.retained.pop(topic, None)
        else:
            self.retained[topic] = outgoing

    def _hand_retained(self, session: Session, kept: Outgoing) -> None:
        body = self._carried(kept.topic, kept.body)
        if body is not None:
            self._waiting.append((session, Incoming(kept.topic, body, retained=True), kept.qos))

    def _risk(self, mishaps: Mishaps, routes: tuple[Session, ...], incoming: Incoming, qos: int) -> None:
        at_risk = mishaps.strike(incoming.topic)
        for session in routes:
            for _ in range(mishaps.copies() if at_risk else 1):
                self._send_late(mishaps if at_risk else None, (session, incoming, qos))

    def _send_late(self, mishaps: Mishaps | None, delivery: _Delivery) -> None:
        late_by = mishaps.held_back() if mishaps else None
        place = mishaps.place(len(self._waiting)) if mishaps else None
        if late_by is not None and self._now is not None:
            self._late_count += 1
            heapq.heappush(self._late, (self._now + late_by, self._late_count, delivery))
        elif place is not None:
            self._waiting.insert(place, delivery)
        else:
            self._waiting.append(delivery)
