"""What a sink may offer beyond taking rows: to say what still waits, and to keep itself in order."""

from collections import Counter
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

    @property
    def counts(self) -> Counter[str]:
        """What became, since the process began, of rows that are neither sent nor simply waiting."""
        ...

    def backlog(self, now: datetime) -> Waiting:
        """How much waits, and for how long."""
        ...


@runtime_checkable
class Upkeep(Protocol):
    """A sink that keeps itself in order, a small piece at a time."""

    def maintain(self, now: datetime) -> bool:
        """Does one piece; False when nothing is left to do. Raises StoreError."""
        ...
