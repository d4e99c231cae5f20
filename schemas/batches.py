"""A batch as the scheduler tells of it."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from schemas.base import Celsius, Finite, Instant, Level, Message, Model, Name, NotNegative, Text


def _is_none(value: object) -> bool:
    return value is None


SpecificGravity = Annotated[float, Field(ge=0.98, le=1.2)]


class BatchPhase(StrEnum):
    """The states of IEC 61512 / ISA-88 that a batch can rest in."""

    IDLE = "idle"
    RUNNING = "running"
    HELD = "held"
    COMPLETE = "complete"
    STOPPED = "stopped"
    ABORTED = "aborted"


class PlannedStep(Model):
    """One step of a batch: real times for what has been, expected ones for what is to come."""

    name: Text
    does: Literal["hold", "ramp", "free-rise"]
    from_c: Celsius
    to_c: Celsius
    begins: Instant | None = Field(description="None while it cannot be said.")
    ends: Instant | None = Field(description="None while it cannot be said.")
    ends_when: Text = Field(default="", description="What ends it, in words.")
    done: bool = False
    late: bool = Field(default=False, description="It began late, because nobody was there when it was due.")
    ends_earliest: Instant | None = Field(default=None, description="Lower end of the 80 % interval, where forecast.")
    ends_latest: Instant | None = Field(default=None, description="Upper end of the 80 % interval, where forecast.")
    arrives: Instant | None = Field(
        default=None,
        exclude_if=_is_none,
        description="When the beer itself is at `to_c`, where a step chills it: a forecast, until it is there.",
    )
    arrives_earliest: Instant | None = Field(
        default=None, exclude_if=_is_none, description="Lower end of the 80 % interval of that, while it is forecast."
    )
    arrives_latest: Instant | None = Field(
        default=None, exclude_if=_is_none, description="Upper end; None where it may never be there."
    )
    instruction: Text = Field(default="", description="What a person is to do when it begins.")
    pressure_bar: Annotated[float, Field(ge=0, le=10)] | None = None


class BatchState(Message):
    """One beer on its way through its profile."""

    batch: Name
    title: Text = Field(description="What people call it.")
    chamber: Name
    profile: Name
    phase: BatchPhase
    started: Instant | None
    step: Annotated[int, Field(ge=0)] | None = Field(description="Index into `steps`; None before and after.")
    step_began: Instant | None = None
    steps: tuple[PlannedStep, ...]
    original_gravity_sg: SpecificGravity | None = None
    gravity_sg: SpecificGravity | None = None
    attenuation_percent: Finite | None = Field(default=None, description="Apparent attenuation.")
    alcohol_percent: NotNegative | None = Field(default=None, description="By volume, at 20 degC.")
    forecasts_held: Level | None = Field(
        default=None, description="Share of this site's earlier 80 % intervals that held what happened."
    )
    forecast_width_h: NotNegative | None = Field(default=None, description="How wide they were on average.")
    awaits: Text = Field(default="", description="What a person is asked to do or to say now; empty when nothing.")
    why: Text = Field(default="", description="The last decision and its reason.")
