"""What a host needs of its way to the broker, whichever it is."""

from dataclasses import dataclass
from typing import Protocol

from schemas.base import Message
from schemas.topics import TopicKind, parse
from services.runtime.service import Outgoing

KEPT_WHILE_OFFLINE = frozenset(
    {TopicKind.READING, TopicKind.JOURNAL, TopicKind.REPLY, TopicKind.CONDITION, TopicKind.ALARM}
)
"""Kinds that wait for the broker to come back. All others would be stale by then: a command or a device's payload could
switch something on long after its lease, and what is retained is published anew by its owner on every connection."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message as it came; a `ticket` of 0 needs no acknowledgement."""

    topic: str
    body: Message | bytes
    retained: bool
    ticket: int


class Link(Protocol):
    """A client's side of an MQTT connection, driven by its owner's thread alone."""

    @property
    def connected(self) -> bool:
        """Whether what is published leaves now."""
        ...

    @property
    def listening(self) -> bool:
        """Whether it is connected and all it listens to is on its way here from now on."""
        ...

    @property
    def connections(self) -> int:
        """How often it has been connected; a new number means that retained topics must be published again."""
        ...

    @property
    def waiting(self) -> int:
        """Messages published and not confirmed, and messages received and not taken."""
        ...

    @property
    def untaken(self) -> int:
        """Messages received and not taken."""
        ...

    @property
    def trouble(self) -> str:
        """What went wrong last, for people; empty when nothing did."""
        ...

    @property
    def counts(self) -> dict[str, int]:
        """What was counted since the start, by name."""
        ...

    def listen(self, filters: tuple[str, ...]) -> None:
        """Replaces what is listened to, now and after every reconnection."""
        ...

    def publish(self, outgoing: Outgoing) -> int:
        """Sends it, or keeps it until it can be sent; the number is confirmed later, 0 never is."""
        ...

    def flush(self) -> None:
        """Lets what was published and acknowledged leave now, rather than with the next turn."""
        ...

    def turn(self, wait_s: float) -> None:
        """Moves traffic both ways; waits at most so many real seconds for some to come."""
        ...

    def take(self, limit: int) -> list[Delivery]:
        """What has come, oldest first."""
        ...

    def acknowledge(self, ticket: int) -> None:
        """Tells the broker that a delivery is safe here; one from an earlier connection is ignored."""
        ...

    def confirmed(self) -> list[int]:
        """Which published messages are safe with the broker (or given up, see `counts`), since the last call."""
        ...

    def close(self) -> None:
        """Says goodbye: no last will."""
        ...


def kept_while_offline(outgoing: Outgoing) -> bool:
    """Whether a message still makes sense after an outage."""
    address = parse(outgoing.topic)
    return outgoing.qos > 0 and address is not None and address.kind in KEPT_WHILE_OFFLINE
