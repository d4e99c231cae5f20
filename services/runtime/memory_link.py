"""The link to a `MemoryBus`: what a host runs on in tests and rehearsals."""

from collections import Counter, deque
from collections.abc import Callable

from services.runtime.clock import Clock
from services.runtime.link import Delivery, kept_while_offline
from services.runtime.memory_bus import MemoryBus, Session
from services.runtime.service import Incoming, Outgoing


class MemoryLink:
    """A `Link` that can be cut and mended by hand; it connects at its first turn."""

    def __init__(
        self,
        bus: MemoryBus,
        client_id: str,
        clock: Clock,
        *,
        will: Callable[[], Outgoing | None] = lambda: None,
        persistent: bool = False,
    ) -> None:
        self.connections = 0
        self.trouble = ""
        self.counts: Counter[str] = Counter()
        self.reachable = True
        self._bus = bus
        self._client_id = client_id
        self._clock = clock
        self._will = will
        self._persistent = persistent
        self._filters: tuple[str, ...] = ()
        self._session: Session | None = None
        self._inbox: deque[tuple[int, Incoming]] = deque()
        self._unacknowledged: dict[int, Incoming] = {}
        self._kept: deque[tuple[int, Outgoing]] = deque()
        self._confirmed: list[int] = []
        self._number = 0

    @property
    def connected(self) -> bool:
        """Whether its session is up."""
        return self._session is not None and self._session.up

    @property
    def listening(self) -> bool:
        """The same, here."""
        return self.connected

    @property
    def waiting(self) -> int:
        """Messages kept for later and messages not yet taken."""
        return len(self._inbox) + len(self._kept)

    @property
    def untaken(self) -> int:
        """Messages received and not taken."""
        return len(self._inbox)

    @property
    def unacknowledged(self) -> int:
        """Messages that a persistent session would get again."""
        return len(self._unacknowledged)

    def listen(self, filters: tuple[str, ...]) -> None:
        """Replaces what is listened to."""
        self._filters = filters
        if self._session is not None and self._session.up:
            self._bus.listen(self._session, filters)

    def publish(self, outgoing: Outgoing) -> int:
        """Confirmed at once while connected; otherwise kept or dropped as on a real link."""
        self._number += 1
        if self.connected:
            self._bus.publish(outgoing)
            self._confirmed.append(self._number)
        elif kept_while_offline(outgoing):
            self._kept.append((self._number, outgoing))
        else:
            self.counts["dropped-offline"] += 1
            return 0
        return self._number if outgoing.qos else 0

    def flush(self) -> None:
        """Nothing waits here."""

    def turn(self, wait_s: float) -> None:
        """Connects when it can, and lets the bus deliver; never waits."""
        if not self.connected and self.reachable:
            self._connect()
        self._bus.deliver(self._clock.now())

    def take(self, limit: int) -> list[Delivery]:
        """What has come, oldest first."""
        count = min(limit, len(self._inbox))
        return [self._delivery(*self._inbox.popleft()) for _ in range(count)]

    def acknowledge(self, ticket: int) -> None:
        """The bus will not deliver it again."""
        self._unacknowledged.pop(ticket, None)

    def confirmed(self) -> list[int]:
        """Which published messages the bus has."""
        confirmed, self._confirmed = self._confirmed, []
        return confirmed

    def close(self) -> None:
        """Says goodbye: no last will."""
        if self._session is not None and self._session.up:
            self._bus.leave(self._session)
            self._give_back(self._session)

    def cut(self) -> None:
        """The connection breaks, and stays broken until `reachable` is set again; the last will goes out."""
        self.reachable = False
        if self._session is not None and self._session.up:
            self._bus.die(self._session)
            self._give_back(self._session)

    def _connect(self) -> None:
        self.connections += 1
        self._session = self._bus.join(
            self._client_id, self.arrive, self._filters, persistent=self._persistent, will=self._will()
        )
        while self._kept:
            number, outgoing = self._kept.popleft()
            self._bus.publish(outgoing)
            self._confirmed.append(number)

    def arrive(self, incoming: Incoming) -> None:
        """Takes one message in, as the bus hands it over."""
        self._number += 1
        self._unacknowledged[self._number] = incoming
        self._inbox.append((self._number, incoming))

    def _delivery(self, number: int, incoming: Incoming) -> Delivery:
        return Delivery(incoming.topic, incoming.body, incoming.retained, number)

    def _give_back(self, session: Session) -> None:
        """A persistent session gets everything again that was not acknowledged, as a real broker would send it."""
        if self._persistent:
            session.backlog.extendleft(reversed(self._unacknowledged.values()))
        self._unacknowledged.clear()
        self._inbox.clear()
