"""What every message has in common, and the small types that many share."""

from datetime import UTC, datetime
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field, PlainSerializer, StringConstraints

SCHEMA_VERSION = 1

Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$")]
"""A name as it stands in topics and files: lower-case letters, digits and inner hyphens, 40 at the most."""

Finite = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Level = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
"""What an output is set to: 0 is off, 1 is full; a switch knows only these two."""
Celsius = Annotated[float, Field(ge=-273.15, le=1000, allow_inf_nan=False)]
Text = Annotated[str, StringConstraints(max_length=2000)]

SITE_WIDE = "site"
"""Stands in a topic's chamber level for what concerns the whole site; no chamber may have this name."""


def _in_utc(instant: datetime) -> datetime:
    return instant if instant.tzinfo is UTC else instant.astimezone(UTC)


def iso(instant: datetime) -> str:
    """UTC ISO 8601 with milliseconds and a final Z."""
    return _in_utc(instant).isoformat(timespec="milliseconds")[:-6] + "Z"


Instant = Annotated[AwareDatetime, AfterValidator(_in_utc), PlainSerializer(iso, return_type=str, when_used="json")]
"""A moment in UTC; times without a zone are refused."""


class ServiceName(StrEnum):
    """The services, as topics name them."""

    BRIDGE = "bridge"
    SUPERVISOR = "supervisor"
    SCHEDULER = "scheduler"
    NOTIFIER = "notifier"
    DEPUTY = "deputy"
    RECORDER = "recorder"
    CONSOLE = "console"
    SIMULATOR = "simulator"
    REHEARSAL = "rehearsal"


class Model(BaseModel):
    """Frozen; refuses fields it does not know, so that our own typing errors show at once."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Message(Model):
    """What travels over the bus."""

    v: Annotated[int, Field(ge=1)] = Field(default=SCHEMA_VERSION, description="Major version of the schema.")
    at: Instant = Field(description="When it was true.")
    source: Name = Field(description="The service, or other program, that says so.")
