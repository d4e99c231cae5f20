"""What a watcher is, and what it finds."""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple, Protocol

from schemas.base import Message
from schemas.plant import Measure, Plant
from schemas.topics import TopicKind, topic


class Finding(NamedTuple):
    """A condition that holds, or does not, as far as a watcher can see."""

    chamber: str
    name: str
    active: bool
    detail: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""


class Watcher(Protocol):
    """Looks at one thing. Findings that repeat what is known are harmless; one it cannot judge it does not name."""

    @property
    def listens(self) -> Iterable[str]:
        """Topics of what it looks at."""
        ...

    def hear(self, message: Message, now: datetime) -> None:
        """Takes in what may concern it."""
        ...

    def judge(self, now: datetime) -> Iterable[Finding]:
        """What holds and what does not. Called once a second or so."""
        ...


Key = tuple[str, str]


def probes_that_measure(plant: Plant, measure: Measure) -> list[Key]:
    """Chamber and name of each."""
    return [
        (chamber, name)
        for chamber, one in plant.chambers.items()
        for name, probe in one.probes.items()
        if probe.measures is measure
    ]


def reading_topics(plant: Plant, keys: Iterable[Key]) -> list[str]:
    """Where these probes' readings are published."""
    return [topic(plant.site.name, TopicKind.READING, *key) for key in keys]
