"""Conditions that services see, and the alarms that the notifier makes of them."""

from enum import StrEnum

from pydantic import Field

from schemas.base import Finite, Instant, Message, Name, Text


class Condition(Message):
    """Something that is true, or no longer true, of a chamber or (chamber `site`) of the whole site."""

    chamber: Name
    name: Name
    active: bool
    since: Instant
    detail: Text
    value: Finite | None = None
    limit: Finite | None = None
    unit: str = ""


class AlarmPhase(StrEnum):
    """Alarm states as IEC 62682 / ISA-18.2 draw them."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned-unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed-by-design"
    OUT_OF_SERVICE = "out-of-service"


class Priority(StrEnum):
    """How soon a person must act."""

    CRITICAL = "critical"
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Nuisance(StrEnum):
    """What is wrong with an alarm itself, as IEC 62682 / ISA-18.2 name it."""

    CHATTERING = "chattering"
    STALE = "stale"


class Alarm(Message):
    """One alarm: where, what, since when, what to do."""

    chamber: Name
    name: Name
    phase: AlarmPhase
    priority: Priority
    since: Instant
    detail: Text
    cause: Text
    consequence: Text
    response: Text
    by: Text = Field(default="", description="Who acknowledged or shelved it.")
    until: Instant | None = Field(default=None, description="When a shelved alarm comes back.")
    nuisance: tuple[Nuisance, ...] = Field(
        default=(), description="It comes and goes three times within the hour, or has stood for over a day."
    )
