"""What steers a chamber: the setpoint asked for, the commands to outputs, and the supervisor's account of itself."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from schemas.base import Celsius, Finite, Instant, Level, Message, Model, Name, NotNegative, Positive, Text


class Waypoint(Model):
    """A temperature that will be asked for at a time; between two waypoints the setpoint runs straight."""

    at: Instant
    temperature_c: Celsius


class Setpoint(Message):
    """What is asked of a chamber now and as far ahead as is known; held on to when the scheduler is silent."""

    chamber: Name
    temperature_c: Celsius
    rate_k_per_h: Finite = Field(default=0, description="How fast it is meant to move now; 0 when holding.")
    tolerance_k: Positive = Field(default=0.5, description="How far off is still well.")
    ahead: tuple[Waypoint, ...] = Field(default=(), description="What is known to come, in order of time.")
    batch: Name | None = None
    step: Text = ""
    freezes_at_c: Celsius | None = Field(default=None, description="Where this beer begins to freeze, when known.")
    expires: Instant | None = Field(default=None, description="When a person's own setpoint lapses.")
    may_heat: bool = Field(default=True, description="False while the beer is left to warm itself up to the setpoint.")
    alarm_above_c: Celsius | None = Field(default=None, description="Too warm for this step, whatever the tolerance.")
    alarm_below_c: Celsius | None = Field(default=None, description="Too cold for this step, whatever the tolerance.")


class Command(Message):
    """What an output is asked to do, until the lease ends."""

    chamber: Name
    output: Name
    level: Level
    lease_s: Annotated[float, Field(gt=0, le=600)] = Field(
        default=60, description="Counted from `at`; after it the bridge drops the output to its safe level."
    )
    why: Text


class Activity(StrEnum):
    """What a chamber is doing, in plain words."""

    RESTING = "resting"
    COOLING = "cooling"
    HEATING = "heating"
    WAITING = "waiting"
    SAFE = "safe"
    LOCKED_OUT = "locked-out"


class ActiveInterlock(Model):
    """An interlock that holds something back at this moment."""

    id: Name
    reason: Text
    since: Instant
    latched: bool = Field(default=False, description="Stays until a person resets it.")


class Estimate(Model):
    """What the supervisor believes of a chamber."""

    beer_c: Celsius
    beer_sd_k: NotNegative = Field(description="One standard deviation.")
    heat_w: Finite | None = Field(default=None, description="Heat given off by the yeast, and other unknown loads.")
    certainty: Annotated[float, Field(ge=0, le=1)] = Field(default=0, description="How well the chamber is known.")


class Reach(Model):
    """The coldest beer that a chamber can hold as things are: its machine or bath, its room, its beer's own heat."""

    coldest_c: Celsius
    sd_k: NotNegative = Field(description="One standard deviation.")
    certainty: Annotated[float, Field(ge=0, le=1)] = Field(description="How well what it rests on is known.")


class GuidedRun(Model):
    """How far a guided first run is; it tries one side of control in each part."""

    part: Annotated[int, Field(ge=1)]
    parts: Annotated[int, Field(ge=1)]
    doing: Text
    share: Level = Field(description="Of the whole, as far as can be said beforehand.")


class ChamberStatus(Message):
    """One chamber as the supervisor sees it."""

    chamber: Name
    doing: Activity
    why: Text = Field(description="One plain sentence, such as 'Compressor resting, 2 min left.'")
    setpoint_c: Celsius | None
    demand: Level = Field(default=0, description="How much it would hurt to wait: 0 not at all.")
    interlocks: tuple[ActiveInterlock, ...] = ()
    estimate: Estimate | None = None
    reach: Reach | None = Field(default=None, description="None while nobody can tell, or nothing cools.")
    guided: GuidedRun | None = Field(default=None, description="Only while a guided first run is under way.")
