"""A small real core: it counts numbered raw messages, remembers which it saw, and writes a journal line for each.

As a program it runs on a broker: `python -m tests.runtime.counting BROKER STATE DURABILITY`.
"""

import sys
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from schemas.base import Model, ServiceName
from schemas.journal import JournalEntry
from services.runtime.address import BrokerAddress
from services.runtime.compose import Part, Surroundings, run_services
from services.runtime.service import Durability, Incoming, Outgoing

SITE = "barn"
FEED = "feed/numbers"
STANDING = "feed/standing"
"""A retained topic that the core owns: how many it has seen."""
JOURNAL = f"coldside/{SITE}/journal/scheduler"


class Seen(Model):
    """What was seen."""

    v: int = 1
    numbers: tuple[int, ...] = ()


class Counter:
    """Answers every number with a journal line; chokes on what is none."""

    name = ServiceName.SCHEDULER

    def __init__(self, seen: Seen | None = None, durability: Durability = Durability.BEFORE_EFFECTS) -> None:
        self.durability = durability
        self.numbers = list(seen.numbers if seen else ())
        self.ticks = 0

    @property
    def listens(self) -> tuple[str, ...]:
        return (FEED, f"coldside/{SITE}/setpoint/+")

    def start(self, now: datetime) -> Iterable[Outgoing]:
        return [self._line("started", now)]

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        return [Outgoing(STANDING, b"%d" % len(self.numbers), retain=True)]

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        if not isinstance(incoming.body, bytes):
            return ()
        number = int(incoming.body)
        if number not in self.numbers:
            self.numbers.append(number)
        return [self._line(f"number-{number}", now)]

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        self.ticks += 1
        return ()

    def stop(self, now: datetime) -> Iterable[Outgoing]:
        return [self._line("stopped", now)]

    def snapshot(self) -> Seen:
        return Seen(numbers=tuple(self.numbers))

    def _line(self, event: str, now: datetime) -> Outgoing:
        entry = JournalEntry(at=now, source="scheduler", id=event, event=event, who="scheduler", why="it was counted")
        return Outgoing(JOURNAL, entry)


def main(broker: str, state: str, durability: str) -> int:
    """Runs the core until a signal."""
    part = Part(
        name=ServiceName.SCHEDULER,
        build=lambda seen, _now: Counter(seen, Durability(durability)),
        state=Seen,
        persistent=True,
    )
    return run_services(
        [part], Surroundings(site=SITE, broker=BrokerAddress.from_url(broker), state_folder=Path(state))
    )


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
