"""What a service's core looks like to whatever runs it: a process on a broker, or a rehearsal in virtual time."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Protocol

from pydantic import BaseModel

from schemas.base import Message, ServiceName


class Durability(StrEnum):
    """When a snapshot must be on disk: `before_effects` before anything sent leaves, `lazily` within seconds."""

    BEFORE_EFFECTS = "before_effects"
    LAZILY = "lazily"


@dataclass(frozen=True, slots=True)
class Incoming:
    """One message as a core gets it: validated when it is one of ours, bytes when it is a device's own traffic."""

    topic: str
    body: Message | bytes
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message as a core wants it sent."""

    topic: str
    body: Message | bytes
    retain: bool = False
    qos: int = 1


class Service(Protocol):
    """A core: a state machine that is handed messages and the time (always aware, UTC) and answers with messages.

    It never reads a clock, sleeps, opens a socket or file, starts a thread, or draws randomness it was not handed.
    `start` is called once, and `rejoin` after every (re)connection, to publish again every retained topic it owns.
    """

    name: ServiceName
    durability: Durability

    @property
    def listens(self) -> tuple[str, ...]:
        """MQTT topic filters; may change when the plant file does."""
        ...

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """First words after being built or restored."""
        ...

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Every retained message this service owns, once more."""
        ...

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Takes one message in."""
        ...

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Called about once a second of the service's time, and never less than every ten."""
        ...

    def snapshot(self) -> BaseModel:
        """What must survive a restart; frozen, versioned."""
        ...
