"""What became of the messages to people: one report for each address."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from schemas.base import Instant, Message, Model, Name, Text


class DeliveryState(StrEnum):
    """Where one message is. `delivered` means that the other side has taken it, not that somebody has read it."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    GIVEN_UP = "given-up"


class DeliveryNote(Model):
    """One message to one address."""

    id: Text = Field(description="The same at every attempt, so that a message that came twice can be told.")
    subject: Text
    state: DeliveryState
    written: Instant
    attempts: Annotated[int, Field(ge=0)] = 0
    delivered: Instant | None = None
    next_attempt: Instant | None = None
    error: Text = Field(default="", description="Why the last attempt failed; empty when it did not.")


class Deliveries(Message):
    """One address: what waits for it, and the last messages."""

    person: Name
    way: Name
    waiting: Annotated[int, Field(ge=0)]
    failing_since: Instant | None = Field(default=None, description="None while messages arrive.")
    recent: tuple[DeliveryNote, ...] = ()
