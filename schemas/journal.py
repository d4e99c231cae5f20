"""The append-only record of what people and services decided, and why; and each service's health."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from schemas.base import Finite, Instant, Message, Name, NotNegative, ServiceName, Text


class JournalEntry(Message):
    """One decision. `id` makes a repeated delivery harmless."""

    id: Annotated[str, Field(min_length=1, max_length=80)]
    event: Name = Field(description="Past tense: `batch-started`.")
    who: Text = Field(description="A person's name, or the service's own.")
    why: Text
    chamber: Name | None = None
    batch: Name | None = None
    facts: dict[str, Finite | str | bool] = {}


class Wellness(StrEnum):
    """Whether a service runs; `lost` is its last will."""

    RUNNING = "running"
    STOPPING = "stopping"
    LOST = "lost"


class Health(Message):
    """How a service is."""

    service: ServiceName
    state: Wellness
    version: str = ""
    started: Instant | None = None
    uptime_s: NotNegative = 0
    queue_depth: Annotated[int, Field(ge=0)] = 0
    last_error: Text = ""
    counts: dict[str, int] = Field(default={}, description="What was counted since the start, by name.")
