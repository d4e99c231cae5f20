"""A host with a small core on the memory bus, in virtual time."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from schemas.base import ServiceName
from schemas.journal import Health
from services.runtime.clock import VirtualClock
from services.runtime.health import HealthBook
from services.runtime.host import Host, Options
from services.runtime.memory_bus import MemoryBus, Session
from services.runtime.memory_link import MemoryLink
from services.runtime.outbox import Outbox
from services.runtime.service import Incoming, Outgoing
from services.runtime.state import Saved, StateFile
from tests.runtime.counting import FEED, JOURNAL, SITE, Counter, Seen

START = datetime(2026, 5, 1, 12, tzinfo=UTC)
HEALTH = f"coldside/{SITE}/health/scheduler"


class Bench:
    """A bus, an ear on all of it, and a host that can be killed and started again on the same state."""

    def __init__(self, folder: Path, core: Callable[[Seen | None], Any] = Counter, **options: Any) -> None:
        self.clock = VirtualClock(START)
        self.bus = MemoryBus()
        self.heard: list[Incoming] = []
        self.ear: Session = self.bus.join("ear", self.heard.append, ["#"])
        self.path = folder / "scheduler.json"
        self._core = core
        self._options = Options(**options)
        self.live()

    def live(self) -> None:
        """Starts a host from what is on disk."""
        file = StateFile(self.path, Saved)
        saved = file.load()
        self.core = self._core(Seen.model_validate(saved.snapshot) if saved else None)
        self.link = MemoryLink(self.bus, "scheduler", self.clock, persistent=True)
        self.book = HealthBook(ServiceName.SCHEDULER, SITE, "1.2.3", START)
        outbox = Outbox(saved.unsent if saved else ())
        self.host = Host(self.core, self.link, self.clock, self.book, file, self._options, outbox)
        self.host.begin()
        self.turn()

    def send(self, *bodies: bytes, topic: str = FEED) -> None:
        """Publishes, and lets the host take its turn."""
        for body in bodies:
            self.bus.publish(Outgoing(topic, body))
        self.turn()

    def turn(self, seconds: float = 0) -> None:
        """Lets time pass in steps of a second, with a turn for each and two more."""
        for _ in range(int(seconds)):
            self.clock.advance(timedelta(seconds=1))
            self.host.turn(0)
        self.host.turn(0)
        self.host.turn(0)

    def journal(self) -> list[str]:
        """The events written, in order."""
        return [one.body.event for one in self.heard if one.topic == JOURNAL]  # type: ignore[union-attr]

    def health(self) -> Health:
        """What it said of itself last."""
        return [one.body for one in self.heard if one.topic == HEALTH][-1]  # type: ignore[return-value]
