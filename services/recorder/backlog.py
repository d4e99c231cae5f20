"""What waits between the recorder and its store."""

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, runtime_checkable


@dataclass(frozen=True, slots=True)
class Waiting:
    """`oldest` is the oldest row that the store does not have yet; `problem` says why not."""

    rows: int = 0
    size_bytes: int = 0
    oldest: datetime | None = None
    full: bool = False
    problem: str = ""


@runtime_checkable
class Backlog(Protocol):
    """A sink that keeps rows safe before the store has them."""

    def backlog(self, now: datetime) -> Waiting:
        """How much waits, and for how long."""
        ...
