"""The console's core: asks what it is told to ask, and tells what it hears."""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Literal

from schemas.base import Message, Model, ServiceName
from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.requests import RequestBase
from schemas.topics import TopicKind, every
from services.runtime.service import Durability, Incoming, Outgoing

CLIENT = ServiceName.CONSOLE.value
"""Answers to what the console asks come to `reply/console/...`."""
ASKED = "console/asked"
"""Under this name a request comes in from the people's side."""
HEARD = (
    TopicKind.READING,
    TopicKind.REPORT,
    TopicKind.COMMAND,
    TopicKind.SETPOINT,
    TopicKind.STATUS,
    TopicKind.BATCH,
    TopicKind.CONDITION,
    TopicKind.ALARM,
    TopicKind.DELIVERY,
    TopicKind.JOURNAL,
    TopicKind.HEALTH,
)

Told = Message | Plant | str
"""A message from the bus; a plant file that has changed; or what is wrong with one that has."""


class ConsoleState(Model):
    """Nothing needs to survive: all of it comes from the bus again."""

    v: Literal[1] = 1


class Console:
    """Decides nothing; `tell` gets everything, in the order in which it came."""

    name = ServiceName.CONSOLE
    durability = Durability.LAZILY
    State = ConsoleState

    def __init__(self, plant: Plant, tell: Callable[[Told], None]) -> None:
        self._site = plant.site.name
        self._tell = tell

    @property
    def listens(self) -> tuple[str, ...]:
        """All that the services say, and the answers to what is asked here."""
        return (*(every(self._site, kind) for kind in HEARD), every(self._site, TopicKind.REPLY, CLIENT))

    def start(self, now: datetime) -> Iterable[Outgoing]:
        """Has nothing to say."""
        return ()

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        """Owns nothing that is retained."""
        return ()

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        """Passes a request on, and tells of anything else."""
        body = incoming.body
        if isinstance(body, RequestBase) and incoming.topic == ASKED:
            return (Outgoing(topic_for(self._site, body), body),)
        if isinstance(body, Message):
            self._tell(body)
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        """Nothing is due by time."""
        return ()

    def snapshot(self) -> ConsoleState:
        """Empty."""
        return ConsoleState()

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """From now on this plant is shown."""
        self._site = plant.site.name
        self._tell(plant)
        return ()

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """The changed file is not valid; the earlier one is shown on."""
        self._tell(text)
        return ()
