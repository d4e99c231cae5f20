"""What a core may offer beyond the service protocol; a host uses what it finds."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Protocol, runtime_checkable

from schemas.plant import Plant
from services.runtime.service import Outgoing, Service


@runtime_checkable
class Stopping(Protocol):
    """Has something to do before a clean shutdown, such as releasing outputs."""

    def stop(self, now: datetime) -> Iterable[Outgoing]:
        """Last words."""
        ...


@runtime_checkable
class Flushing(Protocol):
    """Makes inputs safe by itself: they are acknowledged only after `flush` returned True."""

    def flush(self, now: datetime) -> bool:
        """Whether everything received so far is safe. Asked every 0.5 s or 500 messages while some are not."""
        ...


@runtime_checkable
class PlantFollowing(Protocol):
    """Follows changes of the plant file."""

    def plant_changed(self, plant: Plant, now: datetime) -> Iterable[Outgoing]:
        """A valid new plant."""
        ...

    def plant_refused(self, text: str, now: datetime) -> Iterable[Outgoing]:
        """The file was changed and is not valid; the old plant goes on."""
        ...


@runtime_checkable
class ClockMinding(Protocol):
    """Wants to know when the wall clock is set."""

    def clock_stepped(self, by: timedelta, now: datetime) -> Iterable[Outgoing]:
        """Set forward by so much, or back when negative; `now` is already the new time."""
        ...


@runtime_checkable
class Counting(Protocol):
    """Counts what it met and could not use, by kind; its health tells of it."""

    counts: Counter[str]


@runtime_checkable
class Keeping(Protocol):
    """Keeps things for somebody who does not take them now; its health tells of it."""

    def kept_back(self) -> tuple[int, str]:
        """How many things wait, and what keeps them; "" when nothing does."""
        ...


def heed_plant(core: Service, seen: Plant | str, now: datetime) -> Iterable[Outgoing]:
    """Tells a core that follows the plant about a new one, or why it was refused."""
    if not isinstance(core, PlantFollowing):
        return ()
    return core.plant_refused(seen, now) if isinstance(seen, str) else core.plant_changed(seen, now)


def heed_step(core: Service, by: timedelta, now: datetime) -> Iterable[Outgoing]:
    """Tells a core that minds the clock about a step."""
    return core.clock_stepped(by, now) if isinstance(core, ClockMinding) else ()
